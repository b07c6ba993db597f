"""The kinds of array that all computations take and give, and the one division that says what x / 0 is."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
Codes = NDArray[np.intp]
Whole = NDArray[np.int64]


def ratio(above: ArrayLike, below: ArrayLike, otherwise: float = np.nan) -> Array:
    """Return above / below, shapes broadcast, and `otherwise` where nothing is below (zero, negative or NaN)."""
    above, below = np.asarray(above, dtype=float), np.asarray(below, dtype=float)
    shape = np.broadcast_shapes(above.shape, below.shape)
    return np.divide(above, below, out=np.full(shape, otherwise), where=below > 0)


def different(codes: Codes) -> int:
    """Return how many different ones there are among numbers from 0, which are not much higher than many."""
    return int(np.count_nonzero(np.bincount(codes)))
