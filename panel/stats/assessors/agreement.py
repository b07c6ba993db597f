"""How one assessor's picture of the prototypes goes with everybody else's.

Everything rests on tables of means, (q, a, p): q attributes, a assessors, p prototypes, NaN where not scored. A table
with holes is split into rows and columns by least squares; without holes these are the plain means.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import fdtri, stdtrit

from panel.stats.arrays import Array, Codes

_NOTHING_TOLD = 1e-9  # eigenvalue, relative, below which the columns are only apart by rounding


@dataclass(frozen=True, eq=False, slots=True)
class Agreement:
    """Each assessor against the others; every array (q, a) unless said otherwise, NaN where it cannot be had.

    Parameters
    ----------
    own, others
        (q, a, p) the person's means and the others', less their average over the prototypes that both scored.
    correlation, slope
        Of the person's means with, and on, the mean of the others' means.
    spread
        Variance of the person's own means, over `prototypes` - 1.
    others_square
        Sum of squares of the others' means about their mean, over the prototypes the person scored.
    scatter
        Mean square of the person's means about the line of that slope, over `prototypes` - 2.
    level
        The person's mean less the panel's; the sum over the assessors is zero.
    interaction
        Sum of squares of what the person sees differently, means less row and column of the additive table.
    prototypes
        Number of prototypes the person scored.
    """

    own: Array
    others: Array
    correlation: Array
    slope: Array
    spread: Array
    others_square: Array
    scatter: Array
    level: Array
    interaction: Array
    prototypes: Array

    @property
    def share(self) -> Array:
        """The person's share of all that is seen differently."""
        return _ratio(self.interaction, np.nansum(self.interaction, axis=-1, keepdims=True))


def agreement(means: Array) -> Agreement:
    """Return how each assessor of `means` (q, a, p) goes with the others."""
    others = others_effects(means)
    both = np.isfinite(means) & np.isfinite(others)
    own, others = _centred(np.where(both, means, np.nan)), _centred(np.where(both, others, np.nan))
    cross, own_square, others_square = (np.nansum(part, axis=-1) for part in (own * others, own**2, others**2))
    count = both.sum(axis=-1).astype(float)
    slope = _ratio(cross, others_square)
    scatter = np.nansum((own - slope[..., None] * others) ** 2, axis=-1)
    columns = column_effects(means)[..., None, :]
    rows = _mean(means - columns)
    left = np.nansum((means - rows[..., None] - columns) ** 2, axis=-1)
    return Agreement(
        own=own,
        others=others,
        correlation=_ratio(cross, np.sqrt(own_square * others_square)),
        slope=slope,
        spread=_ratio(own_square, count - 1),
        others_square=others_square,
        scatter=_ratio(scatter, count - 2),
        level=rows - _mean(rows)[..., None],
        interaction=np.where(np.isfinite(rows), left, np.nan),
        prototypes=count,
    )


def others_effects(means: Array) -> Array:
    """Return the column effects of the others for each assessor, (q, a, p), sum zero; NaN where no other scored."""
    weight, deviation, left = _normal_parts(means)
    parts = (deviation, left, weight)
    return _solved_effects(*(each.sum(axis=1, keepdims=True) - each for each in parts))


def column_effects(table: Array) -> Array:
    """Return the least-squares column effects of additive tables (..., a, p), sum zero over the columns that have any.

    From the normal equations after the rows are eliminated; columns that share no row with the rest keep the level of
    their own part.
    """
    weight, deviation, left = _normal_parts(table)
    return _solved_effects(deviation.sum(axis=-2), left.sum(axis=-3), weight.sum(axis=-2))


def _normal_parts(table: Array) -> tuple[Array, Array, Array]:
    """Return of each row which columns it has, their deviation from its mean, and its part in the normal matrix."""
    there = np.isfinite(table)
    weight = there.astype(float)
    n_row = np.maximum(weight.sum(axis=-1), 1)[..., None]
    filled = np.where(there, table, 0.0)
    deviation = np.where(there, filled - filled.sum(axis=-1, keepdims=True) / n_row, 0.0)
    left = weight[..., None] * (np.eye(table.shape[-1]) - (weight / n_row)[..., None, :])
    return weight, deviation, left


def _solved_effects(right: Array, left: Array, n_column: Array) -> Array:
    """Return the effects from the sums of the parts of the rows."""
    effect = np.einsum("...ij,...j->...i", np.linalg.pinv(left, rtol=_NOTHING_TOLD, hermitian=True), right)
    held = n_column > 0
    mean = (effect * held).sum(axis=-1, keepdims=True) / np.maximum(held.sum(axis=-1, keepdims=True), 1)
    return np.where(held, effect - mean, np.nan)


@dataclass(frozen=True, eq=False, slots=True)
class Disagreement:
    """What is seen differently beyond a wider or narrower use of the scale: mean square of means (q,) and its df."""

    mean_square: Array
    df: Array


def disagreement(means: Array) -> Disagreement:
    """Return the mean square left of `means` (q, a, p) after assessors, prototypes and each assessor's slope on them.

    In a table without holes (a - 1)(p - 2) degrees of freedom (Brockhoff, Schlich & Skovgaard 2015, Food Qual.
    Prefer. 39:156-166); otherwise as many as there are cells less what was fitted.
    """
    rest = _beyond_slopes(means, column_effects(means)[..., None, :]).sum(axis=(-1, -2))
    there = np.isfinite(means)
    columns = there.any(axis=-2).sum(axis=-1)
    return _disagreement(rest, there.sum(axis=(-1, -2)), there.any(axis=-1).sum(axis=-1), columns)


def disagreement_without_each(means: Array) -> Disagreement:
    """Return the disagreement of the others, without each assessor in turn; arrays (q, a)."""
    each = _beyond_slopes(means, others_effects(means))
    rest = each.sum(axis=-1) - np.diagonal(each, axis1=1, axis2=2)
    there = np.isfinite(means)
    cells, scored = there.sum(axis=-1), there.any(axis=-1)
    columns = (there.sum(axis=1, keepdims=True) > there).sum(axis=-1)
    other_cells, others = (part.sum(axis=1, keepdims=True) - part for part in (cells, scored.astype(int)))
    return _disagreement(rest, other_cells, others, columns)


def _beyond_slopes(means: Array, effects: Array) -> Array:
    """Return the squares left of each assessor's means beyond the slope on each of the `effects` (..., e, p)."""
    weight = np.isfinite(means).astype(float)
    own = np.nan_to_num(_centred(means))
    known = np.nan_to_num(effects)
    to_cells = np.swapaxes(weight, -1, -2)
    square = known**2 @ to_cells - (known @ to_cells) ** 2 / np.maximum(weight.sum(axis=-1), 1)[..., None, :]
    cross = known @ np.swapaxes(own, -1, -2)
    whole = (own**2).sum(axis=-1)[..., None, :]
    left = whole - np.divide(cross**2, square, out=np.zeros_like(cross), where=square > 0)
    return np.where(square > 0, np.maximum(left, 0.0), 0.0)


def _disagreement(rest: Array, cells: Codes, people: Codes, columns: Codes) -> Disagreement:
    df = (cells - 2 * people - columns + 2).astype(float)
    return Disagreement(_ratio(rest, df), df)


def _centred(values: Array) -> Array:
    """Return values less their mean along the last axis, NaN kept."""
    return values - _mean(values)[..., None]


def _mean(values: Array) -> Array:
    """Return the mean of what is there along the last axis; NaN where nothing is."""
    there = np.isfinite(values)
    return _ratio(np.where(there, values, 0.0).sum(axis=-1), there.sum(axis=-1))


def _ratio(above: Array, below: Array) -> Array:
    """Return above / below; NaN where nothing is below."""
    above, below = np.broadcast_arrays(above, below)
    return np.divide(above, below, out=np.full(above.shape, np.nan), where=below > 0)


# How far a table of ratings can be relied on: intraclass correlations, repeatability and reproducibility.


@dataclass(frozen=True, eq=False, slots=True)
class Intraclass:
    """The six intraclass correlations of Shrout & Fleiss (1979), Psychol. Bull. 86:420, and their mean squares.

    `one_*` each target rated by other judges, `two_*` judges drawn from many (agreement in level counts), `three_*`
    these very judges (level does not count, only consistency); `*_single` of one judge, `*_mean` of the mean of all.
    Arrays (q,).
    """

    ms_targets: Array
    ms_judges: Array
    ms_residual: Array
    ms_within: Array
    one_single: Array
    two_single: Array
    three_single: Array
    one_mean: Array
    two_mean: Array
    three_mean: Array


def intraclass(ratings: Array) -> Intraclass:
    """Return the intraclass correlations of `ratings` (q, targets, judges) without holes."""
    n, k = ratings.shape[-2:]
    centred = ratings - ratings.mean(axis=(-2, -1), keepdims=True)
    target, judge = centred.mean(axis=-1), centred.mean(axis=-2)
    rest = centred - target[..., :, None] - judge[..., None, :]
    b = k * (target**2).sum(axis=-1) / (n - 1)
    j = n * (judge**2).sum(axis=-1) / (k - 1)
    e = (rest**2).sum(axis=(-2, -1)) / ((n - 1) * (k - 1))
    w = ((centred - target[..., :, None]) ** 2).sum(axis=(-2, -1)) / (n * (k - 1))
    with np.errstate(divide="ignore", invalid="ignore"):
        return Intraclass(
            ms_targets=b,
            ms_judges=j,
            ms_residual=e,
            ms_within=w,
            one_single=(b - w) / (b + (k - 1) * w),
            two_single=(b - e) / (b + (k - 1) * e + k * (j - e) / n),
            three_single=(b - e) / (b + (k - 1) * e),
            one_mean=(b - w) / b,
            two_mean=(b - e) / (b + (j - e) / n),
            three_mean=(b - e) / b,
        )


def h_limit(p: int, level: float = 0.995) -> float:
    """Return the limit of h for p laboratories, two-sided at 1 - `level` in all (E691: 0.5 per cent)."""
    if p < 3:
        return float("nan")
    t = stdtrit(p - 2, 1 - (1 - level) / 2)
    return float((p - 1) * t / np.sqrt(p * (t**2 + p - 2)))


def k_limit(p: int, df: float, level: float = 0.995) -> float:
    """Return the limit of k for p laboratories with `df` degrees of freedom each, one-sided (E691: 0.5 per cent)."""
    if p < 2 or not df > 0:
        return float("nan")
    return float(np.sqrt(p / (1 + (p - 1) / fdtri(df, (p - 1) * df, level))))
