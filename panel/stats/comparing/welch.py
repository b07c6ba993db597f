"""How far apart are the means of two groups of different people whose spreads may differ? Welch's t."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtr, stdtrit

from panel.stats.arrays import Array


@dataclass(frozen=True, eq=False, slots=True)
class MeanDifferences:
    """Differences of means with their t tests, arrays of one shape; NaN where they cannot be given."""

    estimate: Array
    std_error: Array
    df: Array
    statistic: Array
    p_value: Array
    ci_low: Array
    ci_high: Array


def t_differences(estimate: ArrayLike, std_error: ArrayLike, df: ArrayLike, level: float = 0.95) -> MeanDifferences:
    """Return two-sided t tests of estimates; where the standard error is zero or unknown there is no test."""
    estimate, error, df = (np.asarray(part, dtype=float) for part in np.broadcast_arrays(estimate, std_error, df))
    known = np.isfinite(error) & (error > 0) & (df > 0)
    error, df = np.where(known, error, np.nan), np.where(known, df, np.nan)
    statistic = estimate / error
    half = np.where(known, stdtrit(np.where(known, df, 1.0), (1 + level) / 2), np.nan) * error
    p_value = np.where(known, 2 * stdtr(np.where(known, df, 1.0), -np.abs(statistic)), np.nan)
    return MeanDifferences(estimate, error, df, statistic, p_value, estimate - half, estimate + half)


def welch_differences(
    n_first: ArrayLike,
    mean_first: ArrayLike,
    variance_first: ArrayLike,
    n_second: ArrayLike,
    mean_second: ArrayLike,
    variance_second: ArrayLike,
    level: float = 0.95,
) -> MeanDifferences:
    """Return first minus second mean from sizes, means and variances (n - 1 below); shapes broadcast.

    Welch (1947), Biometrika 34:28. A group of fewer than two people has no variance: no test.
    """
    given = (n_first, mean_first, variance_first, n_second, mean_second, variance_second)
    n_1, mean_1, var_1, n_2, mean_2, var_2 = (np.asarray(part, dtype=float) for part in np.broadcast_arrays(*given))
    enough = (n_1 >= 2) & (n_2 >= 2)
    part_1 = np.divide(var_1, n_1, out=np.full(n_1.shape, np.nan), where=enough)
    part_2 = np.divide(var_2, n_2, out=np.full(n_2.shape, np.nan), where=enough)
    below = part_1**2 / np.maximum(n_1 - 1, 1) + part_2**2 / np.maximum(n_2 - 1, 1)
    df = np.divide((part_1 + part_2) ** 2, below, out=np.full(n_1.shape, np.nan), where=below > 0)
    return t_differences(mean_1 - mean_2, np.sqrt(part_1 + part_2), df, level)
