"""What would it take to show a claim that is not shown: how many people, how many replicates?"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from scipy.special import stdtrit

from panel.claims.panel_numbers import Estimate, PanelNumbers
from panel.claims.said import number, percent
from panel.errors import ModelError
from panel.plan.consumer_numbers import agreed_numbers, parity_numbers, preferred_numbers, unsurpassed_numbers
from panel.plan.sample_size import ALONE, WITH_BENCHMARK, panel_sizes
from panel.stats.comparing.equivalence import detection_power
from panel.stats.comparing.power import equivalence_power

POWER = 0.8
MOST_ASSESSORS = 60
_CHANCE = f"with a chance of {100 * POWER:.0f} %"


def assessors_for_difference(numbers: PanelNumbers, attribute: str, size: float, *, all_others: bool = False) -> str:
    """Return how many assessors find a true difference of this size, by the scatter of this panel."""
    prototypes = numbers.prototypes(attribute)
    _, replicates = numbers.people(attribute, prototypes)
    replicates = max(replicates, 1)
    many = tuple(range(4, MOST_ASSESSORS + 1))
    sizes = panel_sizes(
        abs(size),
        len(prototypes),
        numbers.scatter(attribute),
        assessors=many,
        replicates=(replicates,),
        power=POWER,
        with_swap=1,
    )
    comparison = WITH_BENCHMARK if all_others else ALONE
    needed = int(sizes.needed.loc[sizes.needed["comparison"] == comparison, "assessors"].iloc[0])
    return _assessors(needed, replicates, f"a true difference of {number(abs(size))}")


def assessors_for_limit(found: Estimate, limit: float, people: int) -> str:
    """Return how many assessors show that a mean lies beyond a limit, if the estimate is the truth."""
    gap = abs(found.estimate - limit)

    def chance(n: int) -> float:
        error, df = _with_people(found, people, n)
        return float(detection_power(gap, error, df, float(stdtrit(df, 0.975))))

    return _assessors(_first(chance), 0, f"a mean {number(gap)} beyond {number(limit)}")


def assessors_for_margin(found: Estimate, margin: float, people: int, *, one_sided: bool = False) -> str:
    """Return how many assessors show equality within a margin (or not worse by it), if there is no difference."""

    def chance(n: int) -> float:
        error, df = _with_people(found, people, n)
        if one_sided:
            return float(detection_power(margin, error, df, float(stdtrit(df, 0.95))))
        return float(equivalence_power(margin, error, df))

    words = f"not worse by {number(margin)}" if one_sided else f"equality within {number(margin)}"
    return _assessors(_first(chance), 0, f"{words}, if there is no difference,")


def people_for_agreement(share: float, bar: float) -> str:
    """Return how many people show a share above a bar, if the observed share is the truth."""
    if share <= bar:
        return (
            f"More people alone will not do: not more than {percent(bar)} agreed. Change the formula, or the sentence."
        )
    if share >= 1:
        n = math.ceil(math.log(0.05) / math.log(bar))
        return f"About {n} people, if all of them agree."
    return _people(
        lambda: agreed_numbers(share, bar).always, f"more than {percent(bar)}, if {percent(share)} of all users agree"
    )


def people_for_preference(share: float) -> str:
    """Return how many people show a preference, if the observed share is the truth."""
    if share <= 0.5:
        return "More people alone will not do: not more than half preferred it."
    if share >= 1:
        return people_for_agreement(share, 0.5)
    return _people(lambda: preferred_numbers(share).always, f"a preference, if {percent(share)} of all people have it")


def people_for_parity(margin: float, *, one_sided: bool = False) -> str:
    """Return how many votes show parity (or 'unsurpassed') within a margin of shares, if there is no preference."""
    ask = unsurpassed_numbers if one_sided else parity_numbers
    words = "unsurpassed" if one_sided else "parity"
    return _people(lambda: ask(margin).always, f"{words} within {number(100 * margin)} points, if nobody's taste leans")


def _people(find: Callable[[], int], words: str) -> str:
    try:
        n = find()
    except ModelError:
        return "More people than can be asked: the share lies too close to the bar."
    return f"About {n} people: that many show {words}, {_CHANCE}."


def _assessors(needed: int, replicates: int, words: str) -> str:
    again = f" with {replicates} replicate{'' if replicates == 1 else 's'}" if replicates else ""
    if not needed:
        return f"More than {MOST_ASSESSORS} assessors{again} would be needed to show {words} {_CHANCE}."
    return f"About {needed} assessors{again}: that many show {words} {_CHANCE}."


def _with_people(found: Estimate, people: int, n: int) -> tuple[float, float]:
    """Return standard error and degrees of freedom with n people in place of those asked."""
    return found.std_error * math.sqrt(people / n), max(found.df * (n - 1) / max(people - 1, 1), 1.0)


def _first(chance: Callable[[int], float]) -> int:
    tried = np.arange(3, MOST_ASSESSORS + 1)
    return next((int(n) for n in tried if chance(int(n)) >= POWER), 0)
