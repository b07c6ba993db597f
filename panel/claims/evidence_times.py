"""How long does it take? The median and the 90th percentile of people's times, whatever their distribution.

Times are scores of an attribute whose unit is seconds (column `unit` of the table of attributes). Each person counts
once, with the median of her own times, so that the times are independent.
"""

from __future__ import annotations

import pandas as pd

from panel.claims.claim import Claim
from panel.claims.evidence import NAN, Evidence, NumberShown, Weaker, nothing_yet
from panel.claims.materials import Materials
from panel.claims.names import family_of
from panel.claims.needs import people_for_agreement
from panel.claims.said import interval, number, p_value
from panel.stats.answers.binomial import percentile_interval, upper_tail

TIMES = "times of people"
SECONDS = frozenset(("s", "sec", "second", "seconds"))
MOST, HALF = 0.9, 0.5
_VERBS = {"soaking in": "sinks in"}
FEWEST = 2


def time(claim: Claim, materials: Materials) -> Evidence:
    """Return whether nine in ten people need no longer than the bar (seconds); else whether half of them do."""
    if not claim.attribute:
        return nothing_yet(TIMES, "No attribute is named that was measured in seconds. Fill in attribute.")
    table = materials.study.table("attributes")
    unit = str(next(iter(table.loc[table["attribute"] == claim.attribute, "unit"]), ""))
    if unit.casefold() not in SECONDS:
        return nothing_yet(
            TIMES,
            f"{claim.attribute} was not measured in seconds. Record the seconds of each person as scores, and write s "
            "in the column unit of the table attributes.",
        )
    times = times_of_people(materials, claim)
    n = len(times)
    if n < FEWEST:
        return nothing_yet(TIMES, f"{n} people were timed with {claim.prototype}; two are the fewest.")
    x = int((times <= claim.bar).sum())
    return _evidence(claim, materials, times, x, n)


def times_of_people(materials: Materials, claim: Claim) -> pd.Series:
    """Return the time of each person for the prototype of the claim: the median of her own times."""
    scores = materials.scores
    own = scores.loc[(scores["attribute"] == claim.attribute) & (scores["prototype"] == claim.prototype)]
    return own.groupby("assessor")["score"].median()


def _evidence(claim: Claim, materials: Materials, times: pd.Series, x: int, n: int) -> Evidence:
    level = materials.level
    median, most = (percentile_interval(times.to_numpy(), share, level) for share in (HALF, MOST))
    p_most, p_half = float(upper_tail(x, n, MOST)), float(upper_tail(x, n, HALF))
    bar = number(claim.bar)
    verb = _VERBS.get(family_of(materials.study, claim.attribute), "")
    of_people = f"{x} of {n} people within {bar} s"
    return Evidence(
        TIMES,
        (
            NumberShown("90th percentile", most.estimate, most.low, most.high, level, NAN, claim.bar, "s"),
            NumberShown("median", median.estimate, median.low, median.high, level, NAN, claim.bar, "s"),
        ),
        p_most,
        float(x),
        n=n,
        against=x / n <= HALF,
        weaker=Weaker(
            p_half,
            f"within {bar} s for more than half of the people ({of_people})",
            "Only that more than half of the people need no longer is shown, not nine in ten.",
        ),
        suggestion=f"{verb} within {bar} seconds" if verb else "",
        reasons=(
            f"{of_people}. Median {number(median.estimate)} s ({100 * level:g} % interval "
            f"{interval(median.low, median.high)}), 90th percentile {number(most.estimate)} s "
            f"({interval(most.low, most.high)}).",
            f"That nine in ten need no longer than {bar} s: {p_value(p_most)}; that more than half do: "
            f"{p_value(p_half)} (exact, whatever the distribution). A mean is not used: it hides the slow half.",
            "It holds for the dose, the area and the way of rubbing of this test.",
        ),
        needs=lambda: (people_for_agreement(x / n, MOST),),
        observed_share=x / n,
        method="exact binomial test of the share of people within the time; order statistics as intervals",
    )
