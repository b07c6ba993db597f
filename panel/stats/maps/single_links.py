"""One descriptor at a time: correlations, slopes and how far one row alone moves them; which descriptors stay apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtr, stdtrit

Floats = NDArray[np.float64]
_NO_SPREAD = 1e-12


@dataclass(frozen=True, eq=False, slots=True)
class SingleLinks:
    """Each response against each descriptor alone; arrays descriptors x responses, NaN where either does not vary.

    Parameters
    ----------
    r, slope, std_error, df, p_value
        Pearson's correlation, the least squares slope with its error, and the t test that it is zero.
    slope_low, slope_high
        Range of the slope when each row in turn is left out.
    """

    r: Floats
    slope: Floats
    std_error: Floats
    df: int
    p_value: Floats
    slope_low: Floats
    slope_high: Floats


def single_links(X: ArrayLike, Y: ArrayLike) -> SingleLinks:
    """Regress each column of `Y` (rows x responses) on each column of `X` (rows x descriptors) alone."""
    X, Y = np.asarray(X, float), np.asarray(Y, float)
    n = len(X)
    sxx, sxy, syy = _sums(X, Y)
    slope = _ratio(sxy, sxx[:, None])
    r = _ratio(sxy, np.sqrt(sxx[:, None] * syy))
    df = n - 2
    spare = np.clip(1 - r**2, 0, None)
    with np.errstate(divide="ignore"):
        statistic = r * np.sqrt(df / spare)
    left_out = np.stack([_slopes(np.delete(X, row, axis=0), np.delete(Y, row, axis=0)) for row in range(n)])
    return SingleLinks(
        r=r,
        slope=slope,
        std_error=np.sqrt(spare * _ratio(syy, sxx[:, None]) / df),
        df=df,
        p_value=2 * stdtr(df, -np.abs(statistic)),
        slope_low=left_out.min(axis=0),
        slope_high=left_out.max(axis=0),
    )


def correlation_needed(n: int, level: float = 0.95) -> float:
    """Return the size of a correlation over `n` rows from which one pair, chosen beforehand, stands out."""
    t = float(stdtrit(n - 2, 0.5 + level / 2))
    return t / float(np.sqrt(n - 2 + t**2))


def best_by_chance(n: int, descriptors: int, share: float = 0.5) -> float:
    """Return the size of the best of `descriptors` independent pure-noise correlations over `n` rows.

    It is not exceeded in `share` of all studies; by default the median.
    """
    level = share ** (1 / descriptors)
    return correlation_needed(n, level)


def williams_test(r12: ArrayLike, r13: ArrayLike, r23: ArrayLike, n: int) -> tuple[Floats, Floats]:
    """Return t and the two-sided p-value that variable 1 goes with 2 and with 3 equally closely; n - 3 df.

    Source: Williams (1959), Journal of the Royal Statistical Society B 21, 396-399, as Steiger (1980), Psychological
    Bulletin 87, 245-251, recommends it.
    """
    r12, r13, r23 = (np.asarray(r, float) for r in (r12, r13, r23))
    determinant = 1 - r12**2 - r13**2 - r23**2 + 2 * r12 * r13 * r23
    mean = (r12 + r13) / 2
    spread = 2 * (n - 1) / (n - 3) * np.clip(determinant, 0, None) + mean**2 * (1 - r23) ** 3
    t = (r12 - r13) * np.sqrt(_ratio((n - 1) * (1 + r23), spread))
    return t, 2 * stdtr(n - 3, -np.abs(t))


def _sums(X: Floats, Y: Floats) -> tuple[Floats, Floats, Floats]:
    """Return the sums of squares and products about the means; zero where a column is only rounding."""
    x, y = X - X.mean(axis=0), Y - Y.mean(axis=0)
    x, y = (np.where(_varies(about, whole), about, 0.0) for about, whole in ((x, X), (y, Y)))
    return (x**2).sum(axis=0), x.T @ y, (y**2).sum(axis=0)


def _varies(about: Floats, whole: Floats) -> NDArray[np.bool_]:
    size = np.abs(whole).max(axis=0, initial=0.0) * np.sqrt(len(whole))
    return np.linalg.norm(about, axis=0) > _NO_SPREAD * size


def _slopes(X: Floats, Y: Floats) -> Floats:
    sxx, sxy, _ = _sums(X, Y)
    return _ratio(sxy, sxx[:, None])


def _ratio(above: Floats, below: Floats) -> Floats:
    above, below = np.broadcast_arrays(above, below)
    return np.divide(above, below, out=np.full(above.shape, np.nan), where=below > 0)
