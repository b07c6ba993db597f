"""May an ingredient get the credit? The effect of its swap in this base, and what always moves together with it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from types import MappingProxyType
from typing import Any

import pandas as pd

from panel.claims.claim import PANEL, TIMES, Claim, Evidence, NumberShown, Weaker, beyond, nothing_yet
from panel.claims.materials import Materials, people_for_share
from panel.claims.study_names import family_of, saying
from panel.models.emollients.swaps import TracedSwaps
from panel.models.prototypes.verdict import DIFFERS
from panel.stats.answers.binomial import percentile_interval, upper_tail
from panel.stats.comparing.multiplicity import LEVEL
from panel.study.formulas import canonical_ingredient
from panel.words import counted, format_interval, format_list, format_number, format_typed, level_words, p_words

_IN_THIS_BASE = "in this base, replacing"


def _ingredient_attribution(claim: Claim, materials: Materials) -> Evidence:
    """Return the effect of the swap that brings the ingredient in, with prototypes alike in everything else."""
    traced = materials.swaps
    if isinstance(traced, str):
        return nothing_yet(PANEL, traced)
    ingredient = _credited(claim, materials)
    if not ingredient:
        return nothing_yet(PANEL, "No ingredient of the formulas is named. Fill in ingredient with its INCI name.")
    row = _swap_row(claim, traced, ingredient)
    if row is None:
        return _no_swap(claim, traced, ingredient, materials.called(claim))
    return _evidence(claim, materials, traced, row, ingredient)


def _credited(claim: Claim, materials: Materials) -> str:
    """Return the ingredient that gets the credit: as stated, else the one that the sentence names."""
    formulas = materials.study.table("formulas")["ingredient"]
    known = {str(name) for name in formulas}
    if claim.ingredient:
        return next((name for name in (claim.ingredient, canonical_ingredient(claim.ingredient)) if name in known), "")
    sentence = claim.claim.casefold()
    named = [name for name in known if name.casefold() in sentence]
    return max(named, key=len, default="")


def _swap_row(claim: Claim, traced: TracedSwaps, ingredient: str) -> dict[Any, Any] | None:
    """Return the least convincing swap that brings the ingredient in; of the claim's own pair where it names one."""
    rows = traced.swaps
    rows = rows.loc[
        (rows["attribute"] == claim.attribute) & ((rows["added"] == ingredient) | (rows["removed"] == ingredient))
    ]
    if claim.versus:
        rows = rows.loc[rows["swap"].isin(_of_pair(claim, traced.pairs)["swap"])]
    if rows.empty:
        return None
    return rows.sort_values("p_value", kind="stable").to_dict("records")[-1]


def _of_pair(claim: Claim, pairs: pd.DataFrame) -> pd.DataFrame:
    ends = zip(pairs["prototype"], pairs["versus"], strict=True)
    return pairs.loc[[{claim.prototype, claim.versus} == {*each} for each in ends]]


def _no_swap(claim: Claim, traced: TracedSwaps, ingredient: str, called: str) -> Evidence:
    """Say why nothing can be _credited: never changed, or never changed alone."""
    joint = traced.joint
    together = [
        str(swap)
        for swap, removed, added in zip(joint["swap"], joint["removed"], joint["added"], strict=True)
        if ingredient in f"{removed} + {added}".split(" + ")
    ]
    if together:
        return Evidence(
            PANEL,
            against=True,
            reasons=(
                f"{ingredient} never changes alone: {together[0]} changes several emollients at once. These data "
                "cannot say which of them a change goes with.",
            ),
            needs=lambda: (f"A pair of prototypes that differ by {ingredient} alone, at equal mass.",),
        )
    pair = f"{claim.prototype} and {claim.versus}" if claim.versus else "No two prototypes"
    if "further" in set(_of_pair(claim, traced.unpaired)["kind"]):
        return nothing_yet(
            PANEL,
            f"{pair} both have some of that swap made, and each amount is told beside the prototype without it. Name "
            "that one in versus.",
        )
    return nothing_yet(
        PANEL,
        f"{pair} do not differ by {ingredient} alone at equal mass, or nobody scored {called}. Make one prototype with "
        "it and one without, alike in everything else.",
    )


def _evidence(
    claim: Claim, materials: Materials, traced: TracedSwaps, row: dict[Any, Any], ingredient: str
) -> Evidence:
    turned = 1.0 if row["added"] == ingredient else -1.0
    estimate, low, high = (turned * float(row[name]) for name in ("estimate", "ci_low", "ci_high"))
    low, high = min(low, high), max(low, high)
    out, into = (row["removed"], row["added"]) if turned > 0 else (row["added"], row["removed"])
    words = materials.called(claim)
    p_two, right = float(row["p_value"]), claim.sign * estimate > 0
    p = p_two if right else 1.0
    change = f"{format_typed(float(row['percent']))} % {out} by {into}"
    along = materials.confounds.not_credited(claim.attribute, str(row["swap"])).to_dict("records")
    credit = "" if not along else "the swap or the " + " or the ".join(str(each["factor"]) for each in along)
    return Evidence(
        PANEL,
        (NumberShown(f"{into} in place of {out}", estimate, low, high, LEVEL, *beyond(0.0, claim.sign)),),
        math.nan if along else p,
        turned * float(row["statistic"]),
        float(row["df"]),
        float(row["std_error"]),
        int(row["n_assessors"]),
        not right,
        qualifier=(
            f"Credit the swap in this base: '{_IN_THIS_BASE} ...'; never {ingredient} as such, nor a property of it."
        ),
        replaced=(str(out), str(into), float(row["percent"])),
        suggestion=f"{_IN_THIS_BASE} {change}: {saying(materials.study, claim.attribute, claim.direction)}",
        reasons=(
            *([f"{words} goes along with {credit}: nothing here says which."] if along else []),
            f"{words}: with {format_typed(float(row['percent']))} % {out} replaced by {into} it was scored "
            f"{materials.value(claim.attribute, abs(estimate))} {'higher' if estimate > 0 else 'lower'} "
            f"({level_words(LEVEL)} {materials.between(claim.attribute, low, high)}), {p_words(p_two)}, "
            f"{counted(int(row['n_pairs']), 'matched pair')}, {counted(int(row['n_assessors']), 'assessor')}.",
            *_alias_words(traced, ingredient, str(out)),
            *_interaction_words(materials, traced, claim, str(row["swap"])),
            *_over_prototypes(materials, claim, str(row["swap"]), turned),
            *(note for note in traced.notes if str(row["swap"]) in note),
        ),
        needs=lambda: ("A second batch of both prototypes, or more matched pairs with and without it.",),
        missing=tuple(str(each["advice"]) for each in along),
        method="contrast of matched pairs that differ by the swap alone, paired t test over assessors",
    )


def _alias_words(traced: TracedSwaps, ingredient: str, out: str) -> Iterator[str]:
    """Name what moves together with the ingredient in these formulas."""
    aliases = traced.aliases
    own = aliases.loc[aliases["descriptor"] == ingredient, "group"]
    together = aliases.loc[aliases["group"].isin(own) & ~aliases["descriptor"].isin([ingredient, out])]
    if len(together):
        names = format_list([str(name).replace("_", " ") for name in together["descriptor"]])
        yield (
            f"In these formulas {ingredient} always moves together with {names}: the data cannot say which of them "
            "a change goes with, so none may be named as the cause."
        )


def _interaction_words(materials: Materials, traced: TracedSwaps, claim: Claim, swap: str) -> Iterator[str]:
    """Say where another swap changes what this one does."""
    rows = traced.interactions
    rows = rows.loc[(rows["attribute"] == claim.attribute) & (rows["swap"] == swap)]
    for row in rows.loc[rows["verdict"] == DIFFERS].to_dict("records"):
        yield (
            f"It does {materials.value(claim.attribute, row['estimate'])} more where {row['with_swap']} has been made "
            f"too ({materials.between(claim.attribute, row['told_low'], row['told_high'])}): the effect is that of the "
            "range tested, not of any formula."
        )


def _over_prototypes(materials: Materials, claim: Claim, swap: str, turned: float) -> Iterator[str]:
    """Say whether the effect also holds from prototype to prototype."""
    rows: pd.DataFrame = materials.swaps_over_prototypes
    rows = rows.loc[(rows["attribute"] == claim.attribute) & (rows["swap"] == swap)]
    for row in rows.to_dict("records"):
        low, high = sorted((turned * row["ci_low"], turned * row["ci_high"]))
        yield (
            f"With prototypes as the units the effect is {materials.value(claim.attribute, turned * row['estimate'])} "
            f"({materials.between(claim.attribute, low, high)}), {p_words(row['p_value'])}: beside the scatter between "
            "prototypes."
        )


# How long does it take? The median and the 90th percentile of people's times, whatever their distribution.
#
# Times are scores of an attribute whose unit is seconds (column `unit` of the table of attributes). Each person
# counts once, with the median of her own times, so that the times are independent.


_SECONDS = frozenset(("s", "sec", "second", "seconds"))
_MOST, _HALF = 0.9, 0.5
_VERBS = {"soaking in": "sinks in"}
_FEWEST = 2


def _time(claim: Claim, materials: Materials) -> Evidence:
    """Return whether nine in ten people need no longer than the bar (seconds); else whether half of them do."""
    if not claim.attribute:
        return nothing_yet(TIMES, "No attribute is named that was measured in seconds. Fill in attribute.")
    table = materials.study.table("attributes")
    unit = str(next(iter(table.loc[table["attribute"] == claim.attribute, "unit"]), ""))
    if unit.casefold() not in _SECONDS:
        return nothing_yet(
            TIMES,
            f"{materials.called(claim)} was not measured in seconds. Record the seconds of each person as scores, and "
            "write s in the column unit of the table attributes.",
        )
    scores = materials.scores
    own = scores.loc[(scores["attribute"] == claim.attribute) & (scores["prototype"] == claim.prototype)]
    times = own.groupby("assessor")["score"].median()
    n = len(times)
    if n < _FEWEST:
        return nothing_yet(TIMES, f"{n} people were timed with {claim.prototype}; two are the fewest.")
    x = int((times <= claim.bar).sum())
    return _time_evidence(claim, materials, times, x, n)


def _time_evidence(claim: Claim, materials: Materials, times: pd.Series, x: int, n: int) -> Evidence:
    median, most = (percentile_interval(times.to_numpy(), share, LEVEL) for share in (_HALF, _MOST))
    p_most, p_half = float(upper_tail(x, n, _MOST)), float(upper_tail(x, n, _HALF))
    bar = format_typed(claim.bar)
    verb = _VERBS.get(family_of(materials.study, claim.attribute), "")
    of_people = f"{x} of {n} people within {bar} s"
    return Evidence(
        TIMES,
        (
            NumberShown("90th percentile", *most, LEVEL, math.nan, claim.bar, "s"),
            NumberShown("median", *median, LEVEL, math.nan, claim.bar, "s"),
        ),
        p_most,
        float(x),
        n=n,
        against=x / n <= _HALF,
        weaker=Weaker(
            p_half,
            f"within {bar} s for more than half of the people ({of_people})",
            "Only that more than half of the people need no longer is shown, not nine in ten.",
        ),
        suggestion=f"{verb} within {bar} seconds" if verb else "",
        reasons=(
            f"{of_people}. Median {format_number(median[0])} s ({level_words(LEVEL)} "
            f"{format_interval(*median[1:])}), 90th percentile {format_number(most[0])} s "
            f"({format_interval(*most[1:])}).",
            f"That nine in ten need no longer than {bar} s: {p_words(p_most)}; that more than half do: "
            f"{p_words(p_half)} (exact, whatever the distribution). A mean is not used: it hides the slow half.",
            "It holds for the dose and the way of use of this test.",
        ),
        needs=lambda: (people_for_share(x / n, _MOST, do="need no longer", did="needed no longer"),),
        observed_share=x / n,
        method="exact binomial test of the share of people within the time; order statistics as intervals",
    )


RULES: Mapping[str, Callable[[Claim, Materials], Evidence]] = MappingProxyType(
    {"ingredient_attribution": _ingredient_attribution, "time": _time}
)
"""What the data say about claims of an ingredient, and of a time."""
