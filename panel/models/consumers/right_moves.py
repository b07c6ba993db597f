"""Which tested change of emollients moves a prototype the way people want it? A question to test, never an order."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from panel.models.consumers.question_facts import QuestionFacts
from panel.models.emollients.swaps import TracedSwaps
from panel.study.formulas import SAME_AMOUNT

SEEN = 0.05  # adjusted p-value below which the effect of a swap is told as seen
PLUS = " + "
COLUMNS = [
    *("prototype", "question", "side", "attribute", "wanted", "swap", "removed", "added", "percent", "made"),
    *("estimate", "ci_low", "ci_high", "p_adjusted", "gives", "also"),
]


def move_frame(
    drops: pd.DataFrame,
    facts: Mapping[str, QuestionFacts],
    traced: TracedSwaps | None,
    formulas: pd.DataFrame | None,
) -> pd.DataFrame:
    """Return the tested changes that go the wanted way, largest effect first, as `JustAboutRight.moves` holds them.

    A change that the prototype already has can be undone; then its effect counts with the other sign. One that would
    help on one side is left out where as many people are off on the other (`split`): it would lose those. `formulas`:
    index prototype, columns ingredient.
    """
    rows: list[dict[str, Any]] = []
    if traced is not None and formulas is not None:
        tested = pd.concat([traced.swaps, traced.joint], ignore_index=True)
        seen = tested.loc[tested["p_adjusted"] < SEEN]
        worth = drops.loc[drops["verdict"].isin(["move", "perhaps"]) & ~drops["split"]]
        asked = {fact.attribute for fact in facts.values() if fact.attribute}
        by_attribute = {name: seen.loc[seen["attribute"] == name].to_dict("records") for name in asked}
        moves = _moves(traced)
        for drop in worth.to_dict("records"):
            known = facts.get(str(drop["question"]), QuestionFacts())
            if known.attribute and drop["prototype"] in formulas.index:
                amounts = formulas.loc[[str(drop["prototype"])]].iloc[0]
                rows += _helping(drop, known, by_attribute.get(known.attribute, []), amounts, moves)
    frame = pd.DataFrame(rows, columns=COLUMNS)
    text = ["prototype", "question", "side", "attribute", "wanted", "swap", "removed", "added", "made", "gives", "also"]
    numbers = ["percent", "estimate", "ci_low", "ci_high", "p_adjusted"]
    return frame.astype({**dict.fromkeys(text, "str"), **dict.fromkeys(numbers, "float64")})


@dataclass(frozen=True, slots=True)
class _Moves:
    """The emollients of each group that moves together, and by swap and prototype what making or undoing it gives."""

    groups: list[list[str]]
    made: dict[tuple[str, str], str]
    undone: dict[tuple[str, str], str]


def _helping(
    drop: Mapping[Any, Any],
    known: QuestionFacts,
    seen: list[dict[Any, Any]],
    amounts: pd.Series,
    moves: _Moves,
) -> list[dict[str, Any]]:
    """Return the changes that can be made from this prototype and move the attribute the wanted way."""
    wanted = 1 if drop["side"] == "too little" else -1
    wanted *= -1 if known.opposite else 1
    found = []
    for effect in seen:
        undone = (effect["estimate"] > 0) != (wanted > 0)
        removed, added = (effect["added"], effect["removed"]) if undone else (effect["removed"], effect["added"])
        if not _holds(amounts, removed, effect["percent"]):
            continue
        sign = -1 if undone else 1
        ends = sorted((sign * effect["ci_low"], sign * effect["ci_high"]))
        found.append(
            {
                **{name: drop[name] for name in ("prototype", "question", "side")},
                "attribute": known.attribute,
                "wanted": "more" if wanted > 0 else "less",
                **{name: effect[name] for name in ("swap", "percent", "p_adjusted")},
                "removed": removed,
                "added": added,
                "made": "undone" if undone else "yes",
                "estimate": sign * effect["estimate"],
                "ci_low": ends[0],
                "ci_high": ends[1],
                "gives": (moves.undone if undone else moves.made).get((effect["swap"], drop["prototype"]), ""),
                "also": PLUS.join(_never_apart([*removed.split(PLUS), *added.split(PLUS)], moves.groups)),
            }
        )
    return sorted(found, key=lambda row: -abs(row["estimate"]))


def _holds(amounts: pd.Series, removed: str, percent: float) -> bool:
    """Return True if the prototype holds what would have to be taken out."""
    names = removed.split(PLUS)
    return set(names) <= set(amounts.index) and float(amounts[names].sum()) >= percent - SAME_AMOUNT


def _moves(traced: TracedSwaps) -> _Moves:
    emollients = traced.aliases.loc[traced.aliases["kind"] == "emollient"]
    groups = [list(map(str, part)) for _, part in emollients.groupby("group", sort=False)["descriptor"]]
    found = _Moves(groups, {}, {})
    for swap, before, after in traced.pairs[["swap", "versus", "prototype"]].itertuples(index=False):
        found.made.setdefault((swap, before), after)
        found.undone.setdefault((swap, after), before)
    return found


def _never_apart(names: list[str], groups: list[list[str]]) -> list[str]:
    """Return the other emollients that move together with these in the study."""
    moved = [group for group in groups if set(group) & set(names)]
    return [name for group in moved for name in group if name not in names]
