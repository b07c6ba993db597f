"""What to know before trusting the effect of a swap."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from panel.checks.making_day import making_day
from panel.models.emollients.contrasts import ScoreArray
from panel.study.study import Study

_ALWAYS = (
    "The effects hold in this base. An emollient can also act through the structure of the cream (viscosity, "
    "crystals), not only as a film on the skin; compare the viscosity of the batches.",
    "The intervals generalise over assessors, not over batches or other formulas.",
    "Assessors who use little of the scale, and scores at its ends, make effects look smaller than they are.",
)


def swap_notes(
    study: Study, scores: ScoreArray, pairs: pd.DataFrame, together: pd.DataFrame, differing: pd.DataFrame
) -> tuple[str, ...]:
    """Return the notes on these swaps: pairs, batches, making days, assessors, and what always holds."""
    changes = pd.concat([pairs, together], ignore_index=True)
    return (
        *_on_pairs(scores, pairs, together),
        *_on_unpaired(scores, changes, differing),
        *_on_batches(study, scores),
        *_on_making_days(study),
        *_on_assessors(scores, changes),
        *_ALWAYS,
    )


def _on_pairs(scores: ScoreArray, pairs: pd.DataFrame, together: pd.DataFrame) -> Iterator[str]:
    if pairs.empty:
        yield (
            "No two prototypes differ by exactly one emollient replaced by another at equal mass, so no single swap "
            "can be judged. Make one prototype that changes one emollient only."
        )
    for swap in dict.fromkeys(together["swap"]):
        yield f"Always changed at once, so these data cannot say which of them did it: {swap}."
    counts = pairs["swap"].value_counts(sort=False)
    single = [str(swap) for swap in counts.index[counts == 1]]
    if single:
        yield f"Rests on one matched pair only, no interaction can be seen: {'; '.join(single)}."


def _on_unpaired(scores: ScoreArray, changes: pd.DataFrame, differing: pd.DataFrame) -> Iterator[str]:
    paired = {*changes["prototype"], *changes["versus"]}
    alone = [name for name in scores.prototypes if name not in paired]
    if alone:
        yield f"In no matched pair, so without part in any swap effect: {', '.join(alone)}."
    water = differing.loc[differing["kind"] == "water", ["prototype", "versus"]]
    if len(water):
        named = ", ".join(f"{row.prototype} and {row.versus}" for row in water.itertuples())
        yield (
            f"Not swaps, because water took up the difference and the emollient total changed: {named}. "
            "What they show is richness, not the kind of emollient."
        )
    same = differing.loc[differing["kind"] == "same", ["prototype", "versus"]]
    if len(same):
        named = ", ".join(f"{row.prototype} and {row.versus}" for row in same.itertuples())
        yield f"The same formula, so their difference shows what batches and chance do: {named}."


def _on_batches(study: Study, scores: ScoreArray) -> Iterator[str]:
    batches = study.table("batches")
    made = batches.loc[batches["prototype"].isin(scores.prototypes), "prototype"].value_counts()
    if not (made > 1).any():
        yield (
            "One batch per prototype: a swap cannot be told from the luck of its batch. A second batch of the base "
            "is the cheapest check."
        )


def _on_making_days(study: Study) -> Iterator[str]:
    """Name the swaps whose prototypes were all made earlier, or all later, than those they are compared with."""
    for finding in making_day(study, study.table("batches")):
        yield finding.message


def _on_assessors(scores: ScoreArray, changes: pd.DataFrame) -> Iterator[str]:
    """Name the assessors who never scored both prototypes of any pair in one sitting, swap by swap."""
    scored = np.any(~np.isnan(scores.values), axis=2)  # assessors x sittings x prototypes
    for swap, part in changes.groupby("swap", sort=False):
        both = scored[..., scores.places(part["prototype"])] & scored[..., scores.places(part["versus"])]
        lacking = [name for name, rows in zip(scores.assessors, both, strict=True) if not rows.any()]
        if lacking:
            yield f"Scored no pair of {swap} in one sitting, so without part in its effect: {', '.join(lacking)}."
