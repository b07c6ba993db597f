"""Between which shares does the true one lie, exactly? Clopper and Pearson's interval of a binomial share."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaincinv

Floats = NDArray[np.float64]


def exact_interval(x: ArrayLike, n: ArrayLike, level: float = 0.95) -> tuple[Floats, Floats]:
    """Return the interval of a share: x of n, shapes broadcast.

    It holds every share that neither one-sided exact test at (1 - level) / 2 speaks against, so it covers the true one
    at least as often as `level` says. Clopper and Pearson (1934), Biometrika 26:404.
    """
    x, n = (np.asarray(value, dtype=float) for value in np.broadcast_arrays(x, n))
    tail = (1 - level) / 2
    low = np.where(x > 0, betaincinv(np.maximum(x, 1), n - x + 1, tail), 0.0)
    high = np.where(x < n, betaincinv(x + 1, np.maximum(n - x, 1), 1 - tail), 1.0)
    return np.asarray(low), np.asarray(high)


def share_reached(x: ArrayLike, n: ArrayLike, chance: float) -> Floats:
    """Return the true share with which x or more of n answers come up with this chance; NaN where x exceeds n."""
    x, n = (np.asarray(value, dtype=float) for value in np.broadcast_arrays(x, n))
    inside = np.clip(x, 1, n)
    share = betaincinv(inside, n - inside + 1, chance)  # P(X >= x) = I_p(x, n - x + 1)
    return np.asarray(np.where(x > n, np.nan, np.where(x <= 0, 0.0, share)))
