"""What no claim may fall below, whatever its own bar: settings of convention that a study can only make stricter."""

from __future__ import annotations

import math
from collections.abc import Iterator

from panel.claims.answers_counted import Counted
from panel.claims.claim import Claim
from panel.claims.said import counted, number, percent
from panel.study.knowledge import claim_floors, lexicon
from panel.study.study import Study

FACT = "claim_floors"


def floor(study: Study, name: str) -> float:
    """Return a floor: that of the shared table, or the study's own (fact `claim_floors`) where that is stricter."""
    usual = float(claim_floors().set_index("floor")["value"].loc[name])
    stated = study.facts.get(FACT)
    own = stated.get(name) if isinstance(stated, dict) else None
    if isinstance(own, bool) or not isinstance(own, int | float) or not math.isfinite(own):
        return usual
    return min(usual, float(own)) if name.startswith("most") else max(usual, float(own))


def bar_of_people(claim: Claim, usual: float) -> float:
    """Return the bar a claim states for a share of people in per cent, else the usual one of its kind."""
    return usual if math.isnan(claim.bar) else claim.bar


def refused_bar(study: Study, bar: float) -> Iterator[str]:
    """Say where a bar for a share of people lies below the least one."""
    least = floor(study, "least_bar")
    if bar < least:
        yield (
            f"The bar of {number(bar)} % lies below the least one ({number(least)} %): what fewer agree with is not "
            f"what users say. Fix a bar of {number(least)} % or more before the data."
        )


def refused_base(study: Study, told: Counted) -> Iterator[str]:
    """Say where too few people answered, or too few of those who were given the sample."""
    least = floor(study, "least_base")
    if told.base < least:
        yield (
            f"{counted(told.base, 'person', 'people')} answered; a claim needs {number(least)} or more. "
            "Ask more people."
        )
    share = told.base / told.served if told.served else 1.0
    least = floor(study, "least_returned")
    if 100 * share < least:
        yield (
            f"{told.base} of the {told.served} people who were given it answered ({percent(share)}); a claim needs "
            f"{number(least)} % or more. Ask those who did not answer, or repeat the test."
        )


def worst_case(told: Counted) -> str:
    """Return what is left if all who did not answer had disagreed; empty where everybody answered."""
    if told.served <= told.base:
        return ""
    return (
        f"If those who did not answer had all disagreed, {told.agreed} of {told.served} would agree: "
        f"{percent(told.agreed / told.served)}."
    )


def refused_panel_bar(study: Study, attribute: str, bar: float, name: str) -> Iterator[str]:
    """Say where a bar of the panel lies on the wrong side of the level that its words stand for.

    `name` is the floor: `most_absent`, `most_low` or `least_high`, in per cent of the scale from its low end.
    """
    low, high = study.scale(attribute) or (0.0, 100.0)
    limit = low + floor(study, name) / 100 * (high - low)
    wrong = bar < limit if name.startswith("least") else bar > limit
    if wrong:
        side = "below" if name.startswith("least") else "above"
        yield (
            f"The bar {number(bar)} lies {side} {number(limit)}, and the scale runs from {number(low)} to "
            f"{number(high)}{_anchors(attribute)}. Fix a bar on the other side of {number(limit)}."
        )


def _anchors(attribute: str) -> str:
    """Return the anchors of an attribute of the lexicon in words; empty for one of the study's own."""
    known = lexicon().set_index("attribute")
    if attribute not in known.index:
        return ""
    row = known.loc[attribute]
    return f" (anchors: {row['low_anchor']} near the low end, {row['high_anchor']} near the high one)"
