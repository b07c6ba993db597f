"""Are two things alike within a margin, is one not worse, and what chance has a planned test of showing it?

From an estimate, its standard error and its degrees of freedom; every argument may be an array, shapes broadcast.
Noncentral F and t and two one-sided tests are exact for normal scores.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from itertools import product

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import (
    chdtrc,
    fdtri,
    gammaincinv,
    gammaln,
    ncfdtr,
    nctdtr,
    ndtr,
    ndtri,
    stdtr,
    stdtrit,
)

from panel.errors import ModelError
from panel.stats.arrays import Array

_SAME_SHIFT = 1e-13  # relative step at which to stop
_MOST_STEPS = 100
LARGEST_DF = 1e8  # from here on t and the normal distribution agree to eight digits


@dataclass(frozen=True, eq=False, slots=True)
class OneSided:
    """One-sided tests that a difference lies beyond a limit; `bound` is the worst still credible."""

    statistic: Array
    p_value: Array
    bound: Array


def _beyond(estimate: Array, std_error: Array, df: Array, limit: Array, *, above: bool, alpha: float) -> OneSided:
    """Test whether a difference lies above (or below) a limit."""
    sign = 1.0 if above else -1.0
    statistic = sign * (estimate - limit) / std_error
    return OneSided(statistic, stdtr(df, -statistic), estimate - sign * stdtrit(df, 1 - alpha) * std_error)


def two_one_sided_tests(
    estimate: ArrayLike, std_error: ArrayLike, df: ArrayLike, low: ArrayLike, high: ArrayLike, alpha: float = 0.05
) -> tuple[OneSided, OneSided]:
    """Test whether a difference lies above the margin `low`, then below `high`; they need not be symmetric.

    The larger p-value is that of equivalence; the bounds are the ends of the (1 - 2 alpha) interval, which lies within
    the margins exactly when it is below alpha. The margins must have been set before the data were seen. Schuirmann
    (1987), J. Pharmacokinet. Biopharm. 15:657.

    Raises
    ------
    ModelError
        If a lower margin is not below its upper one.
    """
    estimate, std_error, df, low, high = map(np.asarray, np.broadcast_arrays(estimate, std_error, df, low, high))
    if not (low < high).all():
        raise ModelError("The lower margin must lie below the upper one. Set two margins, such as -5 and 5.")
    above = _beyond(estimate, std_error, df, low, above=True, alpha=alpha)
    return above, _beyond(estimate, std_error, df, high, above=False, alpha=alpha)


def non_inferiority(
    estimate: ArrayLike,
    std_error: ArrayLike,
    df: ArrayLike,
    margin: ArrayLike,
    *,
    more_is_better: bool,
    alpha: float = 0.05,
) -> OneSided:
    """Test whether a difference is worse by less than `margin` (above zero): one half of two one-sided tests.

    Raises
    ------
    ModelError
        If a margin is not above zero.
    """
    estimate, std_error, df, margin = map(np.asarray, np.broadcast_arrays(estimate, std_error, df, margin))
    if not (margin > 0).all():
        raise ModelError("The margin of 'not worse' must be above zero: it is the smallest loss that matters.")
    limit = -margin if more_is_better else margin
    return _beyond(estimate, std_error, df, limit, above=more_is_better, alpha=alpha)


def detection_power(difference: ArrayLike, std_error: ArrayLike, df: ArrayLike, critical: ArrayLike) -> Array:
    """Return the chance that |t| exceeds `critical` when the true difference is `difference` (noncentral t)."""
    shift = np.abs(np.asarray(difference, dtype=float)) / np.asarray(std_error, dtype=float)
    return _power(shift, np.minimum(np.asarray(df, dtype=float), LARGEST_DF), np.asarray(critical, dtype=float))


def smallest_difference(
    std_error: ArrayLike, df: ArrayLike, *, power: float = 0.8, alpha: float = 0.05, critical: ArrayLike | None = None
) -> Array:
    """Return the smallest true difference that this standard error would show with probability `power`.

    Parameters
    ----------
    std_error, df
        Of the difference. The standard error is taken as that of the design; estimated from few scores it is itself
        uncertain, and so is the answer.
    power
        Chance of showing it.
    alpha
        Level of the two-sided t test of this difference alone.
    critical
        In place of `alpha`: what |t| must exceed, such as Tukey's or Dunnett's value.

    Raises
    ------
    ModelError
        If `power` lies outside 0 to 1, or is not above the chance of a false alarm.
    """
    freedom: Array = np.minimum(np.asarray(df, dtype=float), LARGEST_DF)
    alone = stdtrit(freedom, 1 - alpha / 2) if critical is None else np.asarray(critical, dtype=float)
    error, freedom, bar = np.broadcast_arrays(np.asarray(std_error, dtype=float), freedom, alone)
    # in balanced data most differences share their degrees of freedom and their bar: each kind is looked for once
    kinds, kind = np.unique(np.stack([freedom.ravel(), bar.ravel()]), axis=1, return_inverse=True)
    shift = _shift_for(power, kinds[0], kinds[1])[kind.reshape(-1)].reshape(bar.shape)
    return np.asarray(shift * error)


def _shift_for(power: float, freedom: Array, bar: Array) -> Array:
    """Return the noncentrality with which |t| exceeds `bar` with probability `power`."""
    if not 0 < power < 1 or (_power(np.zeros_like(bar), freedom, bar) >= power).any():
        raise ModelError(
            "The power must lie above the chance of a false alarm and below 1. Choose a value such as 0.8."
        )
    low, high = np.zeros_like(bar), bar + float(ndtri(power)) + 1.0
    high = np.maximum(high, 1.0)
    while (short := _power(high, freedom, bar) < power).any():
        high = np.where(short, 2 * high, high)

    return _root(lambda shift: _power(shift, freedom, bar) - power, low, high)


def _root(function: Callable[[Array], Array], low: Array, high: Array) -> Array:
    """Return where rising functions are zero, by false position; an end that stays twice loses weight (Illinois)."""
    f_low, f_high = function(low), function(high)
    middle, was_below = high, np.full(high.shape, fill_value=False)
    for _ in range(_MOST_STEPS):
        before, width = middle, np.where(f_high > f_low, f_high - f_low, 1.0)
        middle = low - (high - low) * f_low / width
        value = function(middle)
        below = value < 0
        again = np.where(below == was_below, 0.5, 1.0)
        f_low, f_high = np.where(below, value, f_low * again), np.where(below, f_high * again, value)
        low, high, was_below = np.where(below, middle, low), np.where(below, high, middle), below
        if (np.abs(middle - before) <= _SAME_SHIFT * middle).all():
            break
    return middle


def _power(shift: Array, df: Array, bar: Array) -> Array:
    """Return P(|T| > bar) for the noncentral t of noncentrality `shift`."""
    # scipy says NaN where a probability is below 3e-16
    return np.asarray(
        1 - np.nan_to_num(nctdtr(df, shift, bar), nan=0.0) + np.nan_to_num(nctdtr(df, shift, -bar), nan=0.0)
    )


_NODES = 120  # of the quadrature over the estimated standard deviation; good to nine digits
_REACH = 1e-12  # probability left out at either end of it


def f_power(df: ArrayLike, df_error: ArrayLike, noncentrality: ArrayLike, alpha: float = 0.05) -> Array:
    """Return the chance that an F test at level alpha is significant (noncentral F)."""
    df, df_error = np.asarray(df, dtype=float), np.asarray(df_error, dtype=float)
    critical = fdtri(df, df_error, 1 - alpha)
    return np.asarray(1 - ncfdtr(df, df_error, np.asarray(noncentrality, dtype=float), critical))


def sample_noncentrality(
    assessors: ArrayLike,
    replicates: ArrayLike,
    sum_of_squares: ArrayLike,
    interaction_variance: ArrayLike,
    residual_variance: ArrayLike,
) -> Array:
    """Return the noncentrality of the test of samples when assessors are random and every one tries every sample.

    lambda = K I sum tau^2 / (s2 + K s2_AP): I assessors, K replicates, `sum_of_squares` of the true effects tau around
    their mean. The error term is the interaction of assessor and sample, df J - 1 and (I - 1)(J - 1) for J samples.
    More replicates raise it no further than I sum tau^2 / s2_AP.
    """
    I, K = np.asarray(assessors, dtype=float), np.asarray(replicates, dtype=float)  # noqa: E741  # the paper's letter
    error = np.asarray(residual_variance, dtype=float) + K * np.asarray(interaction_variance, dtype=float)
    return np.asarray(K * I * np.asarray(sum_of_squares, dtype=float) / error)


def equivalence_power(
    margin: ArrayLike, std_error: ArrayLike, df: ArrayLike, true: ArrayLike = 0.0, alpha: float = 0.05
) -> Array:
    """Return the chance that two one-sided tests show a difference to lie within -margin and margin.

    The chance, given the estimated standard deviation, is a normal probability; it is averaged over the chi
    distribution of that estimate (Phillips 1990, J. Pharmacokinet. Biopharm. 18:137).
    """
    margin, std_error, df, true = (
        np.asarray(value, dtype=float)[..., None] for value in np.broadcast_arrays(margin, std_error, df, true)
    )
    nodes, weights = _quadrature()
    half = df / 2
    low, high = (np.sqrt(gammaincinv(half, tail) / half) for tail in (_REACH, 1 - _REACH))
    # beyond this estimate the interval is wider than the margins, and nothing can be shown
    high = np.minimum(high, margin / (stdtrit(df, 1 - alpha) * std_error))
    low = np.minimum(low, high)
    ratio = low + (high - low) * (nodes + 1) / 2  # estimated over true standard error
    log_density = np.log(2) + half * np.log(half) - gammaln(half) + (df - 1) * np.log(ratio) - half * ratio**2
    room = margin - stdtrit(df, 1 - alpha) * ratio * std_error
    inside = ndtr((room - true) / std_error) - ndtr((-room - true) / std_error)
    terms = np.exp(log_density) * np.maximum(inside, 0.0) * weights
    return np.asarray(terms.sum(axis=-1) * (high - low)[..., 0] / 2)


@cache
def _quadrature() -> tuple[Array, Array]:
    return np.polynomial.legendre.leggauss(_NODES)


# What is a count of right answers worth if it was planned to look at it on the way, and to stop if it was enough?


_MOST_TABLES = 200_000
_TIE = 1e-9  # relative: tables as likely as the one seen but for rounding are counted with it


def same_share_p(right: ArrayLike, n: ArrayLike) -> tuple[float, bool]:
    """Return the p-value that all sessions have the same share of right answers, and whether it is exact.

    Exact: the chance, given the totals, of every table no likelier than the one seen (Freeman and Halton 1951,
    Biometrika 38:141); for many sessions chi-square. 1 where there is nothing to compare.
    """
    x, n = np.asarray(right, dtype=float), np.asarray(n, dtype=float)
    total, answers = x.sum(), n.sum()
    if len(x) < 2 or total in (0.0, answers):
        return 1.0, True
    if np.prod(n[:-1] + 1) > _MOST_TABLES:
        expected = n * total / answers
        statistic = np.sum((x - expected) ** 2 / expected + (x - expected) ** 2 / (n - expected))
        return float(chdtrc(len(x) - 1, statistic)), False
    first = np.array(list(product(*(range(int(size) + 1) for size in n[:-1]))), dtype=float).reshape(-1, len(x) - 1)
    tables = np.column_stack([first, total - first.sum(axis=1)])  # those that cannot be have no ways
    logs = _log_ways(tables, n)
    chances = np.exp(logs - logs.max())
    seen = np.exp(_log_ways(x, n) - logs.max())
    return float(min(chances[chances <= seen * (1 + _TIE)].sum() / chances.sum(), 1.0)), True


def _log_ways(x: Array, n: Array) -> Array:
    return np.asarray(np.sum(gammaln(n + 1) - gammaln(x + 1) - gammaln(n - x + 1), axis=-1))
