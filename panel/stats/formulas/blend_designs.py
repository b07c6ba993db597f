"""Which points to make: two-level plans of swaps, and plans of blends whose parts always add up to the same."""

from __future__ import annotations

from itertools import combinations, combinations_with_replacement, product

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
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


def simplex_lattice(q: int, degree: int) -> Floats:
    """Return the lattice {q, degree}: every share a multiple of 1/degree; Scheffé (1958)."""
    chosen = combinations_with_replacement(range(q), degree)
    points = [np.bincount(parts, minlength=q) / degree for parts in chosen]
    return np.array(points, dtype=float)


def simplex_centroid(q: int) -> Floats:
    """Return the pure blends and the equal blends of every two, three ... q components; Scheffé (1963)."""
    points = np.zeros((2**q - 1, q))
    subsets = [subset for size in range(1, q + 1) for subset in combinations(range(q), size)]
    for row, subset in enumerate(subsets):
        points[row, list(subset)] = 1 / len(subset)
    return points


def extreme_vertices(low: ArrayLike, high: ArrayLike, total: float = 1.0) -> Floats:
    """Return the corners of the region low <= x <= high, sum x = total.

    Every corner has all components but one at a limit; so all such points are tried and those kept whose last
    component fits. Source: McLean and Anderson (1966), Technometrics 8, 447-454. No rows if no blend fits.
    """
    L, U = np.asarray(low, float), np.asarray(high, float)
    q, slack = L.size, _SAME * max(1.0, abs(total))
    found: list[Floats] = []
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


def rounded_to_total(points: ArrayLike, total: float, step: float = 0.01) -> Floats:
    """Round each row to whole steps so that it keeps its sum `total`: the largest remainders are rounded up."""
    steps = np.asarray(points, float) / step
    whole = np.floor(steps + _SAME)
    missing = np.rint(total / step - whole.sum(axis=1)).astype(int)
    for row, count in enumerate(missing):
        whole[row, np.argsort(whole[row] - steps[row], kind="stable")[:count]] += 1
    return np.asarray((whole * step).round(6))
