"""Which points to make: two-level plans of swaps, and plans of blends whose parts always add up to the same."""

from __future__ import annotations

from itertools import combinations, combinations_with_replacement, product

import numpy as np
from numpy.typing import ArrayLike, NDArray

from panel.stats.arrays import Array

Runs = NDArray[np.int64]
_SAME = 1e-9


def full_factorial(k: int) -> Runs:
    """Return all 2^k runs (0 without, 1 with), the base first, the first factor changing fastest."""
    return (np.arange(2**k)[:, None] >> np.arange(k)) & 1


def half_fraction(k: int) -> Runs:
    """Return the 2^(k-1) runs that hold the base and an even number of swaps.

    In -1 and +1 the last factor is the product of the others, times (-1)^k so that the base is in it: for 4 factors
    I = ABCD, resolution IV, so AB = CD, AC = BD, AD = BC. Source: Box, Hunter and Hunter, Statistics for Experimenters.
    """
    first = full_factorial(k - 1)
    return np.column_stack([first, first.sum(axis=1) % 2])


def one_at_a_time(k: int) -> Runs:
    """Return the base and one run for each factor alone."""
    return np.vstack([np.zeros((1, k), dtype=np.int64), np.eye(k, dtype=np.int64)])


def simplex_lattice(q: int, degree: int) -> Array:
    """Return the lattice {q, degree}: every share a multiple of 1/degree; Scheffé (1958)."""
    chosen = combinations_with_replacement(range(q), degree)
    points = [np.bincount(parts, minlength=q) / degree for parts in chosen]
    return np.array(points, dtype=float)


def simplex_centroid(q: int) -> Array:
    """Return the pure blends and the equal blends of every two, three ... q components; Scheffé (1963)."""
    points = np.zeros((2**q - 1, q))
    subsets = [subset for size in range(1, q + 1) for subset in combinations(range(q), size)]
    for row, subset in enumerate(subsets):
        points[row, list(subset)] = 1 / len(subset)
    return points


def extreme_vertices(low: ArrayLike, high: ArrayLike, total: float = 1.0) -> Array:
    """Return the corners of the region low <= x <= high, sum x = total.

    Every corner has all components but one at a limit; so all such points are tried and those kept whose last
    component fits. Source: McLean and Anderson (1966), Technometrics 8, 447-454. No rows if no blend fits.
    """
    L, U = np.asarray(low, float), np.asarray(high, float)
    q, slack = L.size, _SAME * max(1.0, abs(total))
    found: list[Array] = []
    for free in range(q):
        others = [component for component in range(q) if component != free]
        for ends in product((0, 1), repeat=q - 1):
            x = np.zeros(q)
            x[others] = np.where(np.array(ends, dtype=bool), U[others], L[others])
            x[free] = total - x.sum()
            fits = L[free] - slack <= x[free] <= U[free] + slack
            if fits and not any(np.abs(x - other).max() <= slack for other in found):
                found.append(x)
    return np.array(found).reshape(-1, q)


def rounded_to_total(points: ArrayLike, total: float, step: float = 0.01) -> Array:
    """Round each row to whole steps so that it keeps its sum `total`: the largest remainders are rounded up."""
    steps = np.asarray(points, float) / step
    whole = np.floor(steps + _SAME)
    missing = np.rint(total / step - whole.sum(axis=1)).astype(int)
    for row, count in enumerate(missing):
        whole[row, np.argsort(whole[row] - steps[row], kind="stable")[:count]] += 1
    return np.asarray((whole * step).round(6))


# What a plan can tell apart, and what one more run would add to it.


_NO_DIRECTION = 1e-9


def effect_columns(runs: ArrayLike, order: int = 2) -> tuple[list[tuple[int, ...]], Array]:
    """Return the effects of two-level factors up to interactions of `order`, and their columns in -1 and +1."""
    signs = 2.0 * np.asarray(runs, float) - 1.0
    k = signs.shape[1]
    effects = [subset for size in range(1, order + 1) for subset in combinations(range(k), size)]
    return effects, np.column_stack([signs[:, list(effect)].prod(axis=1) for effect in effects])


def variance_inflation(columns: ArrayLike) -> Array:
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


def information_gain(model: ArrayLike, candidates: ArrayLike) -> tuple[NDArray[np.int64], Array]:
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


def _log_determinant(X: Array) -> tuple[int, float]:
    singular = np.linalg.svd(X, compute_uv=False)
    kept = singular[singular > _NO_DIRECTION * max(float(singular[0]), 1e-300)]
    return int(kept.size), float(2 * np.log(kept).sum())
