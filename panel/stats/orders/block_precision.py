"""How precise are differences between samples that meet in incomplete blocks?"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

_NO_DIRECTION = 1e-9


def efficiency(t: int, k: int) -> float:
    """Return E = t(k - 1) / (k(t - 1)), which no design of t samples in blocks of k exceeds."""
    return t * (k - 1) / (k * (t - 1))


def pair_variances(incidence: ArrayLike) -> Floats:
    """Return the variance of each difference within blocks, (t, t), in units of one score's variance.

    From C = R - N' K^-1 N (Yates; John and Williams 1995, Cyclic and Computer Generated Designs), `incidence` N being
    (blocks, samples). A difference that the blocks cannot tell is infinite.
    """
    N = np.asarray(incidence, dtype=float)
    N = N[N.sum(axis=1) > 0]
    C = np.diag(N.sum(axis=0)) - N.T @ (N / N.sum(axis=1, keepdims=True))
    values, vectors = np.linalg.eigh(C)
    told = values > _NO_DIRECTION * max(float(values[-1]), 1.0)
    inverse = (vectors[:, told] / values[told]) @ vectors[:, told].T
    own = np.diagonal(inverse)
    variance = own[:, None] + own[None, :] - 2 * inverse
    # a difference is told only if it has no part in the directions that the blocks leave open
    open_part = vectors[:, ~told] @ vectors[:, ~told].T
    outside = np.diagonal(open_part)[:, None] + np.diagonal(open_part)[None, :] - 2 * open_part
    variance = np.where(outside > _NO_DIRECTION, np.inf, np.maximum(variance, 0.0))
    np.fill_diagonal(variance, 0.0)
    return np.asarray(variance)


def mean_pair_variance(incidence: ArrayLike) -> float:
    """Return the mean of the variances of all differences within blocks; infinite if one of them cannot be told."""
    variance = pair_variances(incidence)
    return float(variance[~np.eye(len(variance), dtype=bool)].mean())
