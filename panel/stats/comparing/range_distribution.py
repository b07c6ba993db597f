"""The studentized range (Tukey): how far apart the largest and smallest of k means fall by chance."""

from __future__ import annotations

from functools import cache

import numpy as np
from scipy.special import log_ndtr

from panel.errors import ModelError
from panel.stats.arrays import Array
from panel.stats.comparing.studentized import StudentizedMaximum

GRID_STEP = 0.025
LARGEST = 30.0  # P(range > 30) is below 1e-90 for up to 1000 means


@cache
def studentized_range(k: int) -> StudentizedMaximum:
    """Return the distribution of the studentized range of `k` means.

    P(range <= w) = k int phi(z) [Phi(z) - Phi(z - w)]^(k-1) dz (Hartley 1942, Biometrika 32:334), its complement
    taken before the difference of powers so that small tails keep their digits.

    Raises
    ------
    ModelError
        With fewer than two means.
    """
    if k < 2:
        raise ModelError("A range needs at least two prototypes. Add a prototype that was scored.")
    w = np.arange(0, LARGEST + GRID_STEP / 2, GRID_STEP)
    z = np.arange(-9.0, LARGEST + 9.0, 0.25)  # 0.125 changes nothing above 1e-14
    log_density = -(z**2) / 2 - np.log(2 * np.pi) / 2 + np.log(k) + (k - 1) * log_ndtr(z)
    below = np.exp(np.minimum(log_ndtr(z[None, :] - w[:, None]) - log_ndtr(z)[None, :], 0.0))
    with np.errstate(divide="ignore"):  # at w = 0 nothing lies between: log 0, and the share above is 1
        share = -np.expm1((k - 1) * np.log1p(-below))
    log_terms = np.log(np.maximum(share, 1e-300)) + log_density
    peak = log_terms.max(axis=1, keepdims=True)
    log_survival = peak[:, 0] + np.log(np.exp(log_terms - peak).sum(axis=1) * (z[1] - z[0]))
    return StudentizedMaximum(GRID_STEP, np.minimum(log_survival, 0.0))


def tukey_p_value(statistic: Array, k: int, df: Array) -> Array:
    """Return the p-value, adjusted over all pairs of `k` means, of t statistics with `df` degrees of freedom."""
    return studentized_range(k).sf(np.abs(statistic) * np.sqrt(2), df)


def tukey_critical(k: int, df: Array, level: float) -> Array:
    """Return the multiple of a difference's standard error in a simultaneous interval over all pairs."""
    return np.asarray(studentized_range(k).isf(1 - level, df) / np.sqrt(2))
