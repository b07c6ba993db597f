"""Mean squares of balanced panel data, and the REML variances that follow from them without iteration.

Assessor x prototype x session x repetition, every cell filled alike. In balanced data REML equals the
classical mixed analysis of variance; where a component would come out negative, its stratum is pooled with the
one it would be compared to (Searle, Casella & McCulloch 1992, Variance Components, ch. 4; the pooling of nested
strata is the isotonic regression of their mean squares).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from panel.stats.arrays import Array

ASSESSOR, INTERACTION, SITTING, ERROR = range(4)
SMALLEST_LEVEL = 1e-20  # of all squares; a mean square below is rounding, and its inverse stays a number


@dataclass(frozen=True, eq=False, slots=True)
class Strata:
    """Sums of squares (q, 4) and degrees of freedom (4,) of the random strata of balanced data.

    The strata are assessor, assessor x prototype, assessor x session, and error, in this order; a stratum that
    the data do not have (one session, nothing repeated) has no degree of freedom.
    """

    sum_squares: Array
    df: Array
    shape: tuple[int, int, int, int]  # assessors, prototypes, sessions, repetitions


def balanced_strata(scores: Array) -> Strata:
    """Return the strata of `scores` (assessors, prototypes, sessions, repetitions, q)."""
    a, p, s, r = scores.shape[:4]
    centred = scores - scores.mean(axis=(0, 1, 2, 3))
    assessor = centred.mean(axis=(1, 2, 3))
    by_prototype = centred.mean(axis=(2, 3)) - assessor[:, None]
    by_session = centred.mean(axis=(1, 3)) - assessor[:, None]
    interaction = by_prototype - by_prototype.mean(axis=0)
    sitting = by_session - by_session.mean(axis=0)
    fixed = by_prototype.mean(axis=0)[:, None] + by_session.mean(axis=0)[None, :]
    total = ((centred - fixed[None, :, :, None]) ** 2).sum(axis=(0, 1, 2, 3))
    squares = np.stack(
        [
            p * s * r * (assessor**2).sum(axis=0),
            s * r * (interaction**2).sum(axis=(0, 1)),
            p * r * (sitting**2).sum(axis=(0, 1)),
        ],
        axis=1,
    )
    squares = np.column_stack([squares, total - squares.sum(axis=1)])
    df = np.array([a - 1, (a - 1) * (p - 1), (a - 1) * (s - 1), a * p * s * r - p - s + 1], dtype=float)
    df[ERROR] -= df[:ERROR].sum()
    return Strata(squares, df, (a, p, s, r))


def relative_variances(strata: Strata, terms: tuple[int, ...]) -> Array:
    """Return the REML variances of `terms` over the residual variance, (q, number of terms).

    `terms` are among ASSESSOR, INTERACTION, SITTING, the strata of terms left out being part of the error.
    Exact but in one case, an assessor variance of zero beside two that are not, where it is a start for
    iteration.
    """
    _, p, s, r = strata.shape
    multiplier = {ASSESSOR: p * s * r, INTERACTION: s * r, SITTING: p * r}
    best = np.full(len(strata.sum_squares), np.inf)
    chosen = np.zeros((len(best), len(terms)))
    for kept in product((True, False), repeat=len(terms)):
        active = {term for term, keep in zip(terms, kept, strict=True) if keep}
        level = _pooled_levels(strata, active)
        error = level[:, ERROR]
        excess = {ASSESSOR: level[:, ASSESSOR] - level[:, INTERACTION] - level[:, SITTING] + error}
        excess |= {term: level[:, term] - error for term in (INTERACTION, SITTING)}
        ratio = np.stack([excess[t] / multiplier[t] / error if t in active else 0 * error for t in terms], axis=1)
        criterion = (strata.df * np.log(level) + strata.sum_squares / level).sum(axis=1)
        better = (ratio >= 0).all(axis=1) & (criterion < best)
        best = np.where(better, criterion, best)
        chosen = np.where(better[:, None], ratio, chosen)
    return chosen


def _pooled_levels(strata: Strata, active: set[int]) -> Array:
    """Return the expected mean squares (q, 4) when only the `active` components are above zero."""
    parent = {INTERACTION: ERROR, SITTING: ERROR}
    group = {stratum: stratum if stratum in active else parent[stratum] for stratum in (INTERACTION, SITTING)}
    group[ERROR] = ERROR
    above = [stratum for stratum in (INTERACTION, SITTING) if stratum in active]
    group[ASSESSOR] = ASSESSOR if ASSESSOR in active else (above[0] if above else ERROR)
    level = np.empty_like(strata.sum_squares)
    for stratum in range(4):
        together = [other for other in range(4) if group[other] == group[stratum]]
        level[:, stratum] = strata.sum_squares[:, together].sum(axis=1) / max(strata.df[together].sum(), 1.0)
    return np.maximum(level, SMALLEST_LEVEL * strata.sum_squares.sum(axis=1, keepdims=True) + np.finfo(float).tiny)
