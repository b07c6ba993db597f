"""What a set of blends can tell apart."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from panel.stats.arrays import Array, Whole, ratio

ALIAS_THRESHOLD = 0.9
# Columns whose correlation misses 1 by less than this are the same column: float arithmetic loses about 1e-15.
EXACT_ALIAS_THRESHOLD = 1.0 - 1e-9
# A spread below this share of the largest value is rounding of the arithmetic, not variation.
_NO_SPREAD = 1e-12


def independent_moves(blends: ArrayLike, rounding: float = 0.0) -> int:
    """Count the directions in which the rows of `blends` (prototypes x emollients) differ: the rank of what follows."""
    singular_values, tolerance = sizes_of_moves(blends, rounding)
    return int(np.count_nonzero(singular_values > tolerance))


def sizes_of_moves(blends: ArrayLike, rounding: float = 0.0) -> tuple[Array, float]:
    """Return the singular values of the column-centred `blends`, and above which of them one counts as a direction.

    If each entry is off by up to `rounding`, no singular value moves by more than
    ``rounding * sqrt(rows * columns)`` (Weyl's inequality with the Frobenius norm; centring is a projection and
    cannot enlarge it), so that is the tolerance, and never less than the precision of floats.
    """
    X = np.asarray(blends, dtype=float)
    singular_values = np.linalg.svd(X - X.mean(axis=0), compute_uv=False)
    floor = np.finfo(float).eps * max(X.shape) * np.linalg.norm(X)
    return singular_values, float(max(rounding * np.sqrt(X.size), float(floor)))


def alias_groups(columns: ArrayLike, threshold: float = ALIAS_THRESHOLD) -> tuple[Whole, Whole]:
    """Return which columns (rows are prototypes) move together: of each the number of its group, and its sign.

    Two columns are tied if the absolute correlation exceeds the threshold; tied columns form connected groups, numbered
    from 0; -1 where a column moves with no other, or is `without_spread`. The sign is +1 where the column rises with
    the first column of its group, following the correlations from there, -1 where it falls, 0 outside groups.
    `EXACT_ALIAS_THRESHOLD` finds columns that are the same up to shift and scale.
    """
    X = np.asarray(columns, dtype=float)
    centred, apart = X - X.mean(axis=0), without_spread(X)
    unit = np.where(apart, 0.0, centred) / np.where(apart, 1.0, np.linalg.norm(centred, axis=0))
    r = np.asarray(unit.T @ unit)
    tied = np.abs(r) > threshold
    group = np.full(X.shape[1], -1)
    sign = np.zeros(X.shape[1], dtype=np.int64)
    n_groups = 0
    for first in range(X.shape[1]):
        if group[first] >= 0 or np.count_nonzero(tied[first]) < 2:
            continue
        group[first], sign[first] = n_groups, 1
        reached = [first]
        for column in reached:
            for other in np.flatnonzero(tied[column] & (group < 0)):
                group[other], sign[other] = n_groups, int(sign[column] * np.sign(r[column, other]))
                reached.append(int(other))
        n_groups += 1
    return group, sign


def without_spread(X: Array) -> NDArray[np.bool_]:
    """Return which columns cannot be correlated: constant ones, and those of which some values are missing."""
    length = np.linalg.norm(X - X.mean(axis=0), axis=0)
    return np.asarray(~(length > _NO_SPREAD * np.abs(X).max(axis=0, initial=0.0) * np.sqrt(X.shape[0])))


# Averages over blends of ingredients of which some values may be unknown.


def weighted_mean(weights: Array, values: Array) -> Array:
    """Return sum(w x) / sum(w) per blend over the known values; NaN where none is known.

    `weights` is blends x ingredients (mass, any unit), `values` one number per ingredient, NaN if unknown.
    """
    known = ~np.isnan(values)
    return ratio(weights[:, known] @ values[known], weights[:, known].sum(axis=1))


def weighted_spread(weights: Array, values: Array) -> Array:
    """Return the weighted standard deviation per blend over the known values, sqrt(sum(w (x - mean)^2) / sum(w))."""
    known = ~np.isnan(values)
    deviation = values[known] - weighted_mean(weights, values)[:, None]
    return np.sqrt(ratio((weights[:, known] * deviation**2).sum(axis=1), weights[:, known].sum(axis=1)))


def harmonic_mean(weights: Array, values: Array) -> Array:
    """Return sum(w) / sum(w / x) per blend over the known values: of molar masses, the number average."""
    return 1.0 / weighted_mean(weights, 1.0 / values)


def smallest_present(weights: Array, values: Array) -> Array:
    """Return per blend the smallest known value of an ingredient with a share above zero; NaN where there is none."""
    present = (weights > 0) & ~np.isnan(values)
    smallest = np.where(present, values, np.inf).min(axis=1, initial=np.inf)
    return np.where(np.isinf(smallest), np.nan, smallest)


# Does a blend lie among the blends that were made? Distance to the convex hull of points, by linear programming.


def hull_place(points: ArrayLike, target: ArrayLike) -> tuple[float, Array, Array]:
    """Return how far `target` lies from the convex hull of `points` (rows), the nearest point of it, and its weights.

    The distance is the largest difference in any coordinate, zero inside; the weights of the points, none negative, add
    up to 1.

    The linear programme: the smallest d >= 0 with |sum_i w_i points_i - target| <= d in every coordinate, w >= 0,
    sum w = 1. A corner of the hull is a row of `points`.
    """
    from scipy.optimize import linprog

    P, x = np.asarray(points, float), np.asarray(target, float)
    n, k = P.shape
    # Shifted and scaled, so that the solver's tolerance (1e-7) is small whatever the unit.
    size = float(np.abs(P - P[0]).max(initial=0.0)) or 1.0
    mixed, wanted = ((P - P[0]) / size).T, (x - P[0]) / size
    slack = -np.ones((k, 1))
    found = linprog(
        c=np.r_[np.zeros(n), 1.0],
        A_ub=np.vstack([np.hstack([mixed, slack]), np.hstack([-mixed, slack])]),
        b_ub=np.r_[wanted, -wanted],
        A_eq=np.r_[np.ones(n), 0.0][None],
        b_eq=[1.0],
        bounds=(0, None),
        method="highs",
    )
    if found.x is None:  # cannot be: d may be as large as it likes
        raise ValueError(f"the linear programme was not solved: {found.message}")
    weights = np.clip(found.x[:n], 0, None)
    weights /= weights.sum()
    nearest = weights @ P
    return float(np.abs(nearest - x).max(initial=0.0)), nearest, weights
