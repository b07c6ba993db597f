"""What chance does a planned test have: noncentral F and t, and two one-sided tests, exact for normal scores."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import fdtri, gammaincinv, gammaln, ncfdtr, ndtr, stdtrit

Floats = NDArray[np.float64]

NODES = 120  # of the quadrature over the estimated standard deviation; good to nine digits
REACH = 1e-12  # probability left out at either end of it


def f_power(df: ArrayLike, df_error: ArrayLike, noncentrality: ArrayLike, alpha: float = 0.05) -> Floats:
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
) -> Floats:
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
) -> Floats:
    """Return the chance that two one-sided tests show a difference to lie within -margin and margin.

    The chance, given the estimated standard deviation, is a normal probability; it is averaged over the chi
    distribution of that estimate (Phillips 1990, J. Pharmacokinet. Biopharm. 18:137).
    """
    margin, std_error, df, true = (
        np.asarray(value, dtype=float)[..., None] for value in np.broadcast_arrays(margin, std_error, df, true)
    )
    nodes, weights = _quadrature()
    half = df / 2
    low, high = (np.sqrt(gammaincinv(half, tail) / half) for tail in (REACH, 1 - REACH))
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
def _quadrature() -> tuple[Floats, Floats]:
    return np.polynomial.legendre.leggauss(NODES)
