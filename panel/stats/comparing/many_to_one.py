"""Several means against one (Dunnett): the largest absolute t of correlated differences from a benchmark."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from panel.stats.arrays import Array
from panel.stats.comparing.studentized import StudentizedMaximum

GRID_STEP = 0.05
LARGEST = 12.0  # a t of 12 with known variance has p below 1e-32
FACTOR_STEPS = 200
FACTOR_MISFIT = 0.02  # largest misfit of a correlation that moves no p-value by more than 0.001


@dataclass(frozen=True, eq=False, slots=True)
class ManyToOne:
    """Distribution of the largest absolute t, and how well one factor describes the correlations."""

    maximum: StudentizedMaximum
    misfit: float

    def p_value(self, statistic: Array, df: Array) -> Array:
        """Return the p-values adjusted over all the differences from the benchmark."""
        return self.maximum.sf(np.abs(statistic), df)

    def critical(self, df: Array, level: float) -> Array:
        """Return the multiple of the standard error in a simultaneous interval at `level`."""
        return self.maximum.isf(1 - level, df)


def many_to_one(covariance: Array) -> ManyToOne:
    """Return the distribution for differences with `covariance` (k, k), up to a scale.

    Differences from one mean share that mean, so that corr(i, j) = l_i l_j (Dunnett 1955, J. Am. Stat. Assoc.
    50:1096); for unbalanced data, where this holds nearly, the nearest such l is used and its misfit is given.
    """
    sd = np.sqrt(np.diagonal(covariance))
    loading, misfit = _one_factor(covariance / np.outer(sd, sd))
    x = np.arange(0, LARGEST + GRID_STEP / 2, GRID_STEP)
    z = np.arange(0.0, 8.01, 0.25)  # the chances of z and -z are the same
    weight = np.where(z > 0, 2.0, 1.0) * np.exp(-(z**2) / 2) * 0.25 / np.sqrt(2 * np.pi)
    rest = np.sqrt(1 - loading**2)
    shift = (loading / rest)[:, None, None] * z
    reach = (x / rest[:, None])[:, :, None]
    outside = ndtr(shift - reach) + ndtr(-shift - reach)  # P(|T_i| > x) given the shared mean
    survival = (-np.expm1(np.log1p(-np.minimum(outside, 1 - 1e-16)).sum(axis=0)) * weight).sum(axis=1)
    return ManyToOne(StudentizedMaximum(GRID_STEP, np.log(np.clip(survival, 1e-300, 1.0))), misfit)


def _one_factor(correlation: Array) -> tuple[Array, float]:
    """Return loadings l with l_i l_j nearest to the off-diagonal correlations, and the largest misfit."""
    k = len(correlation)
    if k == 1:
        return np.zeros(1), 0.0
    if k == 2:
        shared = np.clip(correlation[0, 1], 0.0, 0.9999)
        return np.full(2, np.sqrt(shared)), float(abs(correlation[0, 1] - shared))
    reduced = correlation.copy()
    for _ in range(FACTOR_STEPS):
        values, vectors = np.linalg.eigh(reduced)
        loading = np.abs(vectors[:, -1]) * np.sqrt(max(values[-1], 0.0))
        loading = np.minimum(loading, 0.99995)
        if np.abs(np.diagonal(reduced) - loading**2).max() < 1e-12:
            break
        np.fill_diagonal(reduced, loading**2)
    off = ~np.eye(k, dtype=bool)
    return loading, float(np.abs(np.outer(loading, loading) - correlation)[off].max())
