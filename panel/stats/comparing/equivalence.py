"""Are two things alike within a margin, is one not worse, and what difference could have been seen at all?

From an estimate, its standard error and its degrees of freedom; every argument may be an array, shapes broadcast.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import nctdtr, ndtri, stdtr, stdtrit

from panel.errors import ModelError
from panel.stats.arrays import Array

_SAME_SHIFT = 1e-13  # relative step at which to stop
_MOST_STEPS = 100
LARGEST_DF = 1e8  # from here on t and the normal distribution agree to eight digits


@dataclass(frozen=True, eq=False, slots=True)
class Equivalence:
    """Two one-sided tests, each array of the broadcast shape.

    `low_statistic`, `low_p`: against a difference at or below the lower margin; `high_statistic`, `high_p`: against
    one at or above the upper; `p_value`, the larger of both, is that of equivalence. `ci_low`, `ci_high`: the
    (1 - 2 alpha) interval, which lies within the margins exactly when `p_value` < alpha.
    """

    low_statistic: Array
    low_p: Array
    high_statistic: Array
    high_p: Array
    p_value: Array
    ci_low: Array
    ci_high: Array


@dataclass(frozen=True, eq=False, slots=True)
class NotWorse:
    """One-sided tests that a difference is not worse than the margin; `bound` is the worst still credible."""

    statistic: Array
    p_value: Array
    bound: Array


def two_one_sided_tests(
    estimate: ArrayLike, std_error: ArrayLike, df: ArrayLike, low: ArrayLike, high: ArrayLike, alpha: float = 0.05
) -> Equivalence:
    """Test whether a difference lies between the margins `low` and `high`, which need not be symmetric.

    Schuirmann (1987), J. Pharmacokinet. Biopharm. 15:657. The margins must have been set before the data were seen.

    Raises
    ------
    ModelError
        If a lower margin is not below its upper one.
    """
    estimate, std_error, df, low, high = map(np.asarray, np.broadcast_arrays(estimate, std_error, df, low, high))
    if not (low < high).all():
        raise ModelError("The lower margin must lie below the upper one. Set two margins, such as -5 and 5.")
    low_statistic, high_statistic = (estimate - low) / std_error, (estimate - high) / std_error
    low_p, high_p = stdtr(df, -low_statistic), stdtr(df, high_statistic)
    half = stdtrit(df, 1 - alpha) * std_error
    return Equivalence(
        low_statistic=low_statistic,
        low_p=low_p,
        high_statistic=high_statistic,
        high_p=high_p,
        p_value=np.maximum(low_p, high_p),
        ci_low=estimate - half,
        ci_high=estimate + half,
    )


def non_inferiority(
    estimate: ArrayLike,
    std_error: ArrayLike,
    df: ArrayLike,
    margin: ArrayLike,
    *,
    more_is_better: bool,
    alpha: float = 0.05,
) -> NotWorse:
    """Test whether a difference is worse by less than `margin` (above zero): one half of two one-sided tests.

    Raises
    ------
    ModelError
        If a margin is not above zero.
    """
    estimate, std_error, df, margin = map(np.asarray, np.broadcast_arrays(estimate, std_error, df, margin))
    if not (margin > 0).all():
        raise ModelError("The margin of 'not worse' must be above zero: it is the largest loss that does not matter.")
    sign = 1.0 if more_is_better else -1.0
    statistic = (sign * estimate + margin) / std_error
    bound = estimate - sign * stdtrit(df, 1 - alpha) * std_error
    return NotWorse(statistic, stdtr(df, -statistic), bound)


def detection_power(difference: ArrayLike, std_error: ArrayLike, df: ArrayLike, critical: ArrayLike) -> Array:
    """Return the chance that |t| exceeds `critical` when the true difference is `difference` (noncentral t)."""
    shift = np.abs(np.asarray(difference, dtype=float)) / np.asarray(std_error, dtype=float)
    return _power(shift, np.minimum(np.asarray(df, dtype=float), LARGEST_DF), np.asarray(critical, dtype=float))


def smallest_difference(
    std_error: ArrayLike,
    df: ArrayLike,
    *,
    power: float = 0.8,
    alpha: float = 0.05,
    critical: ArrayLike | None = None,
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
    for step in range(_MOST_STEPS):
        before, width = middle, np.where(f_high > f_low, f_high - f_low, 1.0)
        middle = low - (high - low) * f_low / width
        value = function(middle)
        below = value < 0
        again = np.where((below == was_below) & (step > 0), 0.5, 1.0)
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
