"""How readings were joined to the panel, and what to know before trusting it."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from panel.checks.batch_age import batch_age
from panel.checks.making_day import making_day
from panel.stats.formulas.composition import independent_moves
from panel.study.blend import blend_rounding, emollient_blend
from panel.study.scores_used import scores_used
from panel.study.study import Study


def joined_method(n_partners: int, n_screened: int, level: float, *, mapped: bool) -> str:
    """Return how it was done, as one paragraph for the report."""
    text = (
        "Readings are averaged by prototype (over batches where there are several) and correlated with the panel's "
        f"estimated means over the prototypes (Pearson's r, Fisher's {100 * level:g} % interval, two-sided t test). "
        f"Pairs declared beforehand come first ({n_partners}): each is judged by its own p-value, with Holm's "
        f"adjustment over all of them beside it. The other {n_screened} pairs of attribute and measure are a screening "
        "list under Benjamini and Hochberg. A swap's effect on a measure is the mean difference and the geometric mean "
        f"ratio over its matched pairs, with {100 * level:g} % t intervals over pairs that share no prototype."
    )
    if not mapped:
        return text
    return (
        f"{text} Joint map: multiple factor analysis of two blocks, panel and instruments; every attribute and measure "
        "standardised, each block divided by the first singular value of its own."
    )


def joined_notes(study: Study, means: pd.DataFrame, absent: pd.DataFrame, swaps: pd.DataFrame) -> tuple[str, ...]:
    """Return the cautions that apply to this study."""
    return (
        "The unit of inference is the prototype, mostly with one batch behind it: neither the number of readings nor "
        "the number of assessors makes a correlation surer.",
        "An instrument never stands in for the panel: a claim about what people feel needs people.",
        *_on_absent(absent),
        *_on_moves(study),
        *_on_batches(study, means),
        *_on_swaps(study, swaps),
    )


def _on_absent(absent: pd.DataFrame) -> Iterator[str]:
    if len(absent):
        named = ", ".join(f"{row.measure} (for {row.attribute})" for row in absent.itertuples())
        yield f"Declared as partner but not measured: {named}."


def _on_moves(study: Study) -> Iterator[str]:
    blend = emollient_blend(study)
    if len(blend) < 2:
        return
    count = independent_moves(blend.to_numpy(), blend_rounding(study)).count
    yield (
        f"The {len(blend)} blends differ in {count} independent directions only, so much goes together in these "
        "prototypes that need not in others. That two things go together does not say that one makes the other."
    )


def _on_batches(study: Study, means: pd.DataFrame) -> Iterator[str]:
    if not (means["n_batches"] > 1).any():
        yield "One batch per prototype: readings cannot tell the prototype from the luck of its batch."
    readings = study.table("readings")
    named = readings.loc[readings["batch"] != "", ["prototype", "batch"]].drop_duplicates()
    scored = scores_used(study).frame
    judged = scored.loc[scored["batch"] != "", ["prototype", "batch"]].drop_duplicates()
    both = set(named["prototype"]) & set(judged["prototype"])
    shared = named.merge(judged, on=["prototype", "batch"])
    apart = [name for name in study.prototypes if name in both - set(shared["prototype"])]
    if apart:
        yield f"The instruments measured another batch than the panel judged: {', '.join(apart)}."
    batches = study.table("batches")
    used = batches.loc[batches["batch"].isin(named["batch"])]
    for finding in batch_age(used):
        yield f"{finding.message} ({finding.where})"


def _on_swaps(study: Study, swaps: pd.DataFrame) -> Iterator[str]:
    if swaps.empty:
        return
    yield (
        "Swap effects on readings rest on matched pairs of prototypes. No people stand behind them, so there is no "
        "test over assessors; an interval holds batch, readings, and what a swap does differently in other company."
    )
    told = int(swaps["std_error"].notna().sum())
    if told > 1:
        yield f"These are {told} intervals, each by itself; among that many, about one in twenty misses by chance."
    if swaps["std_error"].isna().any():
        few = ", ".join(dict.fromkeys(swaps.loc[swaps["std_error"].isna(), "swap"]))
        yield f"Without interval, because there are fewer than three pairs or they share prototypes: {few}."
    for finding in making_day(study, study.table("batches")):
        yield finding.message
