"""Do the same people spread differently over categories in two conditions? Stuart and Maxwell's test."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc

from panel.stats.arrays import Array

SINGULAR = 1e-9  # relative size of an eigenvalue that is zero but for rounding


@dataclass(frozen=True, eq=False, slots=True)
class MarginTests:
    """Tests of m square tables, each (m,): `n` people, `statistic` chi-square with `df`, `p_value`.

    Where nobody changed category `df` is 0, `statistic` NaN and the p-value 1; without anybody the p-value is NaN.
    """

    n: NDArray[np.int64]
    statistic: Array
    df: NDArray[np.int64]
    p_value: Array


def stuart_maxwell(tables: ArrayLike) -> MarginTests:
    """Test whether rows and columns of `tables` (m, c, c) have the same totals; one count is one person.

    Stuart (1955), Biometrika 42:412; Maxwell (1970), Br. J. Psychiatry 116:651. A category nobody moves into or out
    of costs its degree of freedom. With two categories it is McNemar's statistic.
    """
    counts = np.asarray(tables, dtype=float)
    apart = counts.sum(axis=2) - counts.sum(axis=1)
    moved = counts + np.swapaxes(counts, 1, 2)
    c = counts.shape[1]
    moved[:, np.arange(c), np.arange(c)] = 0
    covariance = np.eye(c) * moved.sum(axis=2)[:, None, :] - moved
    values, vectors = np.linalg.eigh(covariance)
    kept = values > SINGULAR * np.maximum(values.max(axis=1, initial=0.0), 1.0)[:, None]
    along = (vectors * apart[:, :, None]).sum(axis=1) ** 2
    statistic = np.divide(along, values, out=np.zeros_like(along), where=kept).sum(axis=1)
    df = kept.sum(axis=1)
    n = np.rint(counts.sum(axis=(1, 2))).astype(np.int64)
    p_value = np.where(df > 0, chdtrc(np.maximum(df, 1), statistic), 1.0)
    return MarginTests(n, np.where(df > 0, statistic, np.nan), df, np.where(n > 0, p_value, np.nan))


def paired_tables(categories: ArrayLike, n_categories: int) -> tuple[NDArray[np.intp], NDArray[np.intp], Array]:
    """Return for every two columns (first, second) of `categories` (n, k) the table of counts (pairs, c, c).

    Categories are numbered from 0; NaN is no answer, and who lacks one of the two answers is not counted.
    """
    x = np.asarray(categories, dtype=float)
    chosen = (x[:, :, None] == np.arange(n_categories)).astype(np.float64)
    counts = np.einsum("njc,nkd->jkcd", chosen, chosen, optimize=True)
    first, second = np.triu_indices(x.shape[1], 1)
    return first, second, counts[first, second]
