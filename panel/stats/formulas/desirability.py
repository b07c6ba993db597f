"""How near do several responses come to what is wanted of each, as one number from 0 to 1?

Derringer & Suich (1980), J. Qual. Technol. 12:214-219: each response gets a desirability from 0 (not acceptable) to 1
(as wanted); the whole is their geometric mean. Weights after Derringer (1994), Quality Progress 27(6):51-58.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from panel.stats.arrays import Array


def window_wanted(y: ArrayLike, low: ArrayLike, start: ArrayLike, end: ArrayLike, high: ArrayLike) -> Array:
    """Return d of responses wanted from `start` to `end`: 1 there, falling to 0 at `low` below and at `high` above.

    Infinite ends wish for nothing on that side. The one-sided and two-sided functions of the paper, with its
    powers s and t at 1, are special cases.

    Raises
    ------
    ValueError
        If the ends are out of order, or an end falls off within no distance.
    """
    y, low, start, end, high = (np.asarray(value, dtype=float) for value in (y, low, start, end, high))
    below, above = np.isfinite(start), np.isfinite(end)
    if np.any(start > end) or np.any(below & ~(low < start)) or np.any(above & ~(end < high)):
        raise ValueError("the ends of a window must rise: low, start, end, high")
    up = _climb(y, np.where(below, low, -1.0), np.where(below, start, 0.0), below)
    down = _climb(-y, np.where(above, -high, -1.0), np.where(above, -end, 0.0), above)
    d = np.clip(up, 0.0, 1.0) * np.clip(down, 0.0, 1.0)
    return np.asarray(np.where(np.isnan(y), np.nan, d))


def _climb(y: Array, foot: Array, top: Array, there: NDArray[np.bool_]) -> Array:
    """Return how far y has climbed from `foot` (0) to `top` (1), 1 where there is nothing to climb."""
    return np.asarray(np.where(there, (y - foot) / (top - foot), 1.0))


def overall_desirability(d: ArrayLike, weights: ArrayLike | None = None) -> Array:
    """Return D, the weighted geometric mean of `d` over the last axis; 0 as soon as one d of positive weight is 0.

    Parameters
    ----------
    d
        (..., m) desirabilities; NaN makes D NaN unless its weight is 0.
    weights
        (..., m) not negative, with a positive sum; only their ratios count. Without them all weigh the same.

    Raises
    ------
    ValueError
        If a weight is negative or not finite, or none is positive.
    """
    d = np.asarray(d, dtype=float)
    w = np.ones(d.shape[-1]) if weights is None else np.asarray(weights, dtype=float)
    total = w.sum(axis=-1, keepdims=True)
    if not np.isfinite(w).all() or (w < 0).any() or not (total > 0).all():
        raise ValueError("weights must not be negative, and one must be positive")
    with np.errstate(divide="ignore"):
        logs = np.where(w > 0, np.log(d), 0.0)
    return np.asarray(np.exp((np.where(w > 0, w, 1.0) * logs / total).sum(axis=-1)))
