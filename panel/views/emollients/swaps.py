"""What the swaps did beside the matrix of causes: all numbers, two swaps together, and what these data cannot say."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import partial
from typing import Any

import pandas as pd

from panel.models.emollients.swaps import PERHAPS, TracedSwaps
from panel.models.prototypes.verdict import DIFFERS
from panel.study import shown
from panel.study.naming import Naming
from panel.views.told import Drawer, drawer
from panel.words import counted, level_words, luck_words, p_words

_AMOUNT = re.compile(r", (\d[\d.e+-]* %)$")  # the same swap at several amounts


def swap_words(swap: str) -> str:
    """Return the label of a swap, its amount in brackets where the label has one."""
    return _AMOUNT.sub(r" (\1)", swap)


def _all_effects(result: TracedSwaps) -> pd.DataFrame:
    parts = [part for part in (result.swaps, result.joint) if len(part)]
    return pd.concat(parts or [result.swaps], ignore_index=True)


def _sources(result: TracedSwaps) -> tuple[shown.Source, ...]:
    """Return the scores behind each swap: those of the prototypes it was seen on."""
    pairs = result.members.groupby("swap", sort=False)[["prototype", "versus"]]
    seen_on = {str(swap): tuple(dict.fromkeys(own.to_numpy().ravel().tolist())) for swap, own in pairs}
    return (shown.Source("scores", same={"attribute": "attribute"}, group=("swap", seen_on)),)


def _told(effects: pd.DataFrame) -> pd.DataFrame:
    return effects.loc[(effects["verdict"] == DIFFERS) & effects["shrunken"].notna()]


def _base(row: Mapping[str, Any], _: shown.Shown) -> str:
    return f"{counted(int(row['n_pairs']), 'pair')}, {counted(int(row['n_assessors']), 'assessor')}"


SWAP = shown.each_row("Swap", lambda row, _: swap_words(row["swap"]), "swap")
_SWAPS = shown.Table(
    "swaps",
    "What changed with each swap of emollients",
    _all_effects,
    (
        SWAP,
        shown.ATTRIBUTE,
        shown.change("Change of the score"),
        shown.deciding(),
        shown.P,
        shown.P_ADJUSTED,
        shown.VERDICT,
        shown.each_row("Seen on", _base, "n_pairs", "n_assessors"),
    ),
    key=("attribute", "removed", "added"),
    code="S",
    sources=_sources,
    none="No two prototypes differ by one swap only, so no effect can be credited to a swap.",
)
_WITHOUT_LUCK = shown.Table(
    "swaps_without_luck",
    "Effects that were told, and what is left of each with luck taken out",
    lambda found: _told(_all_effects(found)),
    (SWAP, *(shown.ATTRIBUTE, shown.change("Change of the score"), shown.SHRUNKEN, shown.WRONG_SIGN)),
    key=("attribute", "removed", "added"),
    code="SL",
    sources=_sources,
    none="No effect was told, so none was picked because it came out large.",
)
_INTERACTIONS = shown.Table(
    "interactions",
    "What goes with two swaps together, beyond the sum of both",
    "interactions",
    (
        SWAP,
        shown.each_row("Together with", lambda row, _: swap_words(row["with_swap"]), "with_swap"),
        shown.ATTRIBUTE,
        shown.change("Beyond the sum of both"),
        shown.deciding(),
        shown.P_ADJUSTED,
    ),
    key=("attribute", "swap", "with_swap"),
    code="SI",
    sources=(shown.Source("scores", same={"attribute": "attribute"}),),
    printed=False,
    none="No two swaps were made both apart and together, so whether they act together is not known.",
)
NUMBERS = (_SWAPS, _WITHOUT_LUCK, _INTERACTIONS)
"""Its tables of numbers, in the order of the evidence file."""


def swap_drawers(result: TracedSwaps, names: Naming) -> tuple[Drawer, ...]:
    """Return what lies behind the matrix of causes: all numbers, and what two swaps do together."""
    effects = _all_effects(result)
    table = shown.Shown(_SWAPS, result, names)
    found = [drawer("All effects of the swaps", table)] if len(effects) else []
    if len(_told(effects)):
        found.append(
            drawer("With luck taken out", *_largest(effects, names), shown.Shown(_WITHOUT_LUCK, result, names))
        )
    together = _interaction_sentences(result, names)
    tables = (shown.Shown(_INTERACTIONS, result, names),) if len(result.interactions) else ()
    return (*found, drawer("Two swaps together", *together, *tables))


def _largest(effects: pd.DataFrame, names: Naming) -> tuple[str, ...]:
    """Return what is left of the largest effect told once the luck that made it the largest is taken out."""
    told = _told(effects)
    row = told.iloc[int(told["estimate"].abs().argmax())]
    attribute = str(row["attribute"])
    luck = luck_words(row.to_dict(), partial(names.change, attribute))
    return (f"The largest, {swap_words(row['swap'])} on {names.attribute(attribute)}, is {luck}.",)


def _interaction_sentences(result: TracedSwaps, names: Naming) -> tuple[str, ...]:
    """Return one sentence per interaction that is seen or may be there, or one saying that none is."""
    if result.interactions.empty:
        return ("Whether swaps strengthen or weaken each other cannot be seen from these prototypes.",)
    told = result.interactions.loc[result.interactions["verdict"].isin((DIFFERS, PERHAPS))]
    if told.empty:
        return (
            "No two swaps clearly strengthen or weaken each other; interactions are known less well than the swaps "
            "themselves.",
        )
    return tuple(_interaction(row, names) for row in told.to_dict("records"))


def _interaction(row: Mapping[Any, Any], names: Naming) -> str:
    attribute = str(row["attribute"])
    more = " ".join(names.amount(attribute, up=row["estimate"] > 0))
    ends = f"{level_words(row['told_level'])} {names.interval(attribute, row['told_low'], row['told_high'])}"
    go = "go" if row["verdict"] == DIFFERS else "may go"
    return (
        f"Both swaps together ({swap_words(row['swap'])}; {swap_words(row['with_swap'])}) {go} with {more} "
        f"than their two changes added up: "
        f"{names.change(attribute, row['estimate'])} ({ends}; {p_words(row['p_adjusted'])} after adjusting)"
        f"{'.' if row['verdict'] == DIFFERS else '; this can be chance.'}"
    )
