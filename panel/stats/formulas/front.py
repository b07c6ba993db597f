"""Which rows does no other row beat on everything at once (the Pareto front)?"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray


def beats(values: ArrayLike) -> NDArray[np.bool_]:
    """Return (..., n, n): row i is nowhere smaller than row j and somewhere larger, in `values` (..., n, m).

    Raises
    ------
    ValueError
        If a value is NaN: a row that is not known cannot be compared.
    """
    values = np.asarray(values, dtype=float)
    if np.isnan(values).any():
        raise ValueError("rows with missing values cannot be compared")
    first, second = values[..., :, None, :], values[..., None, :, :]
    return np.asarray((first >= second).all(axis=-1) & (first > second).any(axis=-1))


def on_front(values: ArrayLike) -> NDArray[np.bool_]:
    """Return (..., n): True for the rows that no other row beats. Rows that are alike do not beat each other."""
    return np.asarray(~beats(values).any(axis=-2))
