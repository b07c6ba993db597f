"""Correlations of the columns of two tables, and how large one has to be before chance is no longer a good reason."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri, stdtr, stdtrit

Array = NDArray[np.float64]

FEWEST_ROWS = 4  # below this there is no interval: the standard error of atanh(r) is 1 / sqrt(n - 3)

# A column whose spread is this small against its size differs by rounding only.
_NO_SPREAD = 1e-12


@dataclass(frozen=True, eq=False, slots=True)
class Correlations:
    """Pearson's r of each column of one table with each of another; all of shape (p, q).

    `n` counts the rows known in both; where these are fewer than four or a column does not vary, the rest is NaN.
    `p_value` is two-sided; the interval is Fisher's.
    """

    estimate: Array
    n: NDArray[np.int64]
    p_value: Array
    ci_low: Array
    ci_high: Array


def correlations(first: ArrayLike, second: ArrayLike, level: float = 0.95) -> Correlations:
    """Correlate the p columns of `first` with the q columns of `second`, rows (prototypes) in the same order.

    NaN is a value that is not there: each pair of columns uses the rows known in both.

    References
    ----------
    Fisher (1915) Biometrika 10:507-521; Fisher (1921) Metron 1:3-32.
    """
    X, Y = (np.atleast_2d(np.asarray(table, dtype=float).T).T for table in (first, second))
    both = np.isfinite(X)[:, :, None] & np.isfinite(Y)[:, None, :]
    n = both.sum(axis=0)
    dx, dy = _deviations(X[:, :, None], both, n), _deviations(Y[:, None, :], both, n)
    sxx, syy, sxy = (dx**2).sum(axis=0), (dy**2).sum(axis=0), (dx * dy).sum(axis=0)
    varies = _varies(sxx, X[:, :, None], both) & _varies(syy, Y[:, None, :], both) & (n >= FEWEST_ROWS)
    scale = np.sqrt(np.where(varies, sxx * syy, 1.0))
    r = np.where(varies, np.clip(sxy / scale, -1.0, 1.0), np.nan)
    with np.errstate(divide="ignore", invalid="ignore"):
        t = r * np.sqrt((n - 2) / (1 - r**2))
        centre, half = np.arctanh(r), ndtri(0.5 + level / 2) / np.sqrt(n - 3)
        p_value = np.where(varies, 2 * stdtr(n - 2, -np.abs(t)), np.nan)
    return Correlations(
        estimate=r,
        n=np.asarray(n, dtype=np.int64),
        p_value=p_value,
        ci_low=np.where(varies, np.tanh(centre - half), np.nan),
        ci_high=np.where(varies, np.tanh(centre + half), np.nan),
    )


def needed_correlation(n: ArrayLike, level: float = 0.95) -> Array:
    """Return the |r| that n rows need for p < 1 - level, two-sided, for one pair chosen beforehand; NaN below three.

    t / sqrt(n - 2 + t^2) with Student's t of n - 2 degrees of freedom.
    """
    df = np.asarray(n, dtype=float) - 2
    t = stdtrit(np.where(df > 0, df, np.nan), 0.5 + level / 2)
    return np.asarray(t / np.sqrt(df + t**2))


def _deviations(X: Array, both: NDArray[np.bool_], n: NDArray[np.int64]) -> Array:
    """Return deviations from the mean of the rows used, zero in the others."""
    used = np.where(both, X, 0.0)
    return np.where(both, used - used.sum(axis=0) / np.maximum(n, 1), 0.0)


def _varies(squares: Array, X: Array, both: NDArray[np.bool_]) -> NDArray[np.bool_]:
    size = np.where(both, np.abs(X), 0.0).max(axis=0, initial=0.0)
    return np.asarray(np.sqrt(squares) > _NO_SPREAD * size)
