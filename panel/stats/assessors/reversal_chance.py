"""With what chance would somebody who uses a scale backwards be told from honest people?

The slope of such a person's means on the others' is expected at minus the others' reliability. It is noticed when it
falls below what honest slopes allow, and the person's own table tells the prototypes apart as well; of the two chances
the smaller one is taken, for both come from the same means. An approximation: about, not exactly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import fdtri, ncfdtr, ndtr, stdtrit

from panel.stats.arrays import Array
from panel.stats.assessors.departures import SCALE_SD


@dataclass(frozen=True, eq=False, slots=True)
class ReversalRule:
    """Reversed is a slope whose adjusted p-value is below `alpha`, and that of the own table below `separates`.

    Slopes are looked at only where a reversed one lies at least `turn` standard errors below an honest one.
    """

    alpha: float
    separates: float
    turn: float = 0.0


def reversal_chance(
    rules: tuple[ReversalRule, ...],
    tests: tuple[float, ...],
    *,
    reliability: Array,
    others_square: Array,
    std_error: Array,
    df: Array,
    own: tuple[Array, Array, Array],
    prototypes: Array,
) -> Array:
    """Return the chance that a reversed scale is noticed by any one of the rules, (q, a); NaN where not judged.

    Parameters
    ----------
    tests
        How many slopes are counted together by each of the rules.
    reliability, others_square, std_error, df
        Of the others' means, and of the slope on them, as in `panel.stats.assessors.departures`.
    own
        The person's residual mean square, its degrees of freedom, and the scores behind each mean.
    prototypes
        Number of prototypes the person scored.
    """
    error = np.sqrt(std_error**2 + (reliability * SCALE_SD) ** 2)
    honest = np.sqrt(error**2 + (reliability * SCALE_SD) ** 2)
    mean_square, df_error, scores = own
    chances = []
    with np.errstate(divide="ignore", invalid="ignore"):
        strength = reliability * others_square * scores / mean_square
        for rule, counted in zip(rules, tests, strict=True):
            limit = np.minimum(reliability + honest * stdtrit(df, rule.alpha / max(counted, 1.0)), 0.0)
            looked_at = 2 * reliability / honest >= rule.turn
            low = np.where(looked_at, ndtr((limit + reliability) / error), 0.0)
            bar = fdtri(prototypes - 1, df_error, 1 - rule.separates)
            chances.append(np.minimum(low, 1 - ncfdtr(prototypes - 1, df_error, strength, bar)))
    usable = (reliability > 0) & np.isfinite(error) & (df_error > 0) & (prototypes > 2)
    return np.where(usable, np.max(chances, axis=0), np.nan)
