"""How far a table of ratings can be relied on: intraclass correlations, repeatability and reproducibility."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import fdtri, stdtrit

from panel.stats.arrays import Array


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


@dataclass(frozen=True, eq=False, slots=True)
class Interlaboratory:
    """Precision of a method by ASTM E691; `h` and `k` are (p, m), the others (m,) for m materials and p laboratories.

    `s_r` repeatability, `s_x` standard deviation of the laboratories' means, `s_big_r` reproducibility (index R);
    `h` how many of `s_x` a laboratory's mean lies off, `k` its own standard deviation over `s_r`.
    """

    mean: Array
    s_r: Array
    s_x: Array
    s_big_r: Array
    h: Array
    k: Array


def interlaboratory(results: Array) -> Interlaboratory:
    """Return the precision of `results` (p, m, n): p laboratories, m materials, n results each. ASTM E691."""
    n = results.shape[-1]
    means, own = results.mean(axis=-1), results.std(axis=-1, ddof=1)
    s_r = np.sqrt((own**2).mean(axis=0))
    s_x = means.std(axis=0, ddof=1)
    between = np.sqrt(s_x**2 + s_r**2 * (n - 1) / n)
    mean = means.mean(axis=0)
    return Interlaboratory(mean, s_r, s_x, np.maximum(s_r, between), (means - mean) / s_x, own / s_r)


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
