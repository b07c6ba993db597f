"""Does a blend lie among the blends that were made? Distance to the convex hull of points, by linear programming."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True, eq=False, slots=True)
class HullPlace:
    """Where a point lies to the hull of others.

    Parameters
    ----------
    distance
        Largest difference in any coordinate to the nearest point of the hull; zero inside.
    nearest
        That nearest point.
    weights
        What it is mixed from: one weight per point, none negative, adding up to 1.
    """

    distance: float
    nearest: NDArray[np.float64]
    weights: NDArray[np.float64]


def hull_place(points: ArrayLike, target: ArrayLike) -> HullPlace:
    """Return where `target` lies to the convex hull of `points` (rows).

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
    return HullPlace(float(np.abs(nearest - x).max(initial=0.0)), nearest, weights)
