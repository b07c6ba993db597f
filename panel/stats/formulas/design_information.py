"""What a plan can tell apart, and what one more run would add to it."""

from __future__ import annotations

from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
_NO_DIRECTION = 1e-9


def effect_columns(runs: ArrayLike, order: int = 2) -> tuple[list[tuple[int, ...]], Floats]:
    """Return the effects of two-level factors up to interactions of `order`, and their columns in -1 and +1."""
    signs = 2.0 * np.asarray(runs, float) - 1.0
    k = signs.shape[1]
    effects = [subset for size in range(1, order + 1) for subset in combinations(range(k), size)]
    return effects, np.column_stack([signs[:, list(effect)].prod(axis=1) for effect in effects])


def variance_inflation(columns: ArrayLike) -> Floats:
    """Return by how much other columns inflate the variance of each coefficient; infinite where they replace it.

    The diagonal of the inverse correlation matrix; 1 for columns that have nothing in common. NaN for a column that
    does not vary.
    """
    X = np.asarray(columns, float)
    centred = X - X.mean(axis=0)
    length = np.linalg.norm(centred, axis=0)
    size = np.abs(X).max(axis=0, initial=0.0) * np.sqrt(len(X))
    varies = length > _NO_DIRECTION * size
    inflation = np.full(X.shape[1], np.nan)
    unit = centred[:, varies] / length[varies]
    told = np.empty(unit.shape[1])
    for column in range(unit.shape[1]):
        others = np.delete(unit, column, axis=1)
        found = np.linalg.lstsq(others, unit[:, column], rcond=_NO_DIRECTION)[0] if others.size else np.zeros(0)
        left = unit[:, column] - others @ found
        share = float(left @ left)
        told[column] = 1 / share if share > _NO_DIRECTION else np.inf
    inflation[varies] = told
    return inflation


def information_gain(model: ArrayLike, candidates: ArrayLike) -> tuple[NDArray[np.int64], Floats]:
    """Return what each candidate row would add to the model matrix X: to its rank, and to log det X'X.

    Where X'X is singular its determinant is taken over the directions that X can tell (the product of the eigenvalues
    that are not zero), so that a row which adds a direction is told by the rank, and the logarithm only compares rows
    that add equally many. For a regular X the gain is log(1 + x' (X'X)^-1 x).
    """
    X, rows = np.asarray(model, float), np.atleast_2d(np.asarray(candidates, float))
    rank, log_det = _log_determinant(X)
    told = [_log_determinant(np.vstack([X, row])) for row in rows]
    return (
        np.array([new_rank - rank for new_rank, _ in told], dtype=np.int64),
        np.array([new_log_det - log_det for _, new_log_det in told], dtype=float),
    )


def _log_determinant(X: Floats) -> tuple[int, float]:
    singular = np.linalg.svd(X, compute_uv=False)
    kept = singular[singular > _NO_DIRECTION * max(float(singular[0]), 1e-300)]
    return int(kept.size), float(2 * np.log(kept).sum())
