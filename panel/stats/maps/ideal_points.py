"""Towards where on a plane does a response rise, and does it peak there? Vector and circular ideal-point models.

Carroll (1972), Individual differences and multidimensional scaling, in Shepard et al. (eds), Multidimensional Scaling.
The vector model is y = a + b1 x1 + b2 x2; the circular one adds c (x1^2 + x2^2), which peaks at -b / (2 c) if c < 0.
All is linear in the response, so that many responses on the same points cost one product.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull, QhullError
from scipy.special import fdtrc, stdtr

from panel.stats.arrays import Array


@dataclass(frozen=True, eq=False, slots=True)
class PlaneFit:
    """m responses on n points; arrays (m,) or (m, 2).

    `slope` of the vector model, `r2` and `p_value` of its F test with 2 and n - 3 degrees of freedom; `curvature` c of
    the circular model, `peak` -b / (2 c), `circular_r2`, and `curvature_p_value` of t with n - 4.
    """

    intercept: Array
    slope: Array
    r2: Array
    p_value: Array
    curvature: Array
    peak: Array
    circular_r2: Array
    curvature_p_value: Array


def fit_plane(points: Array, response: Array) -> PlaneFit:
    """Fit both models to the columns of `response` (n, m) on `points` (n, 2); n is at least 5."""
    n = len(points)
    vector = np.column_stack([np.ones(n), points])
    circular = np.column_stack([vector, (points**2).sum(axis=1)])
    total = ((response - response.mean(axis=0)) ** 2).sum(axis=0)
    first, left = _solved(vector, response)
    second, less = _solved(circular, response)
    total = np.where(total > 0, total, np.nan)
    with np.errstate(divide="ignore", invalid="ignore"):
        f = (total - left) / 2 / (left / (n - 3))
        t = np.sqrt(np.maximum(left - less, 0.0) / (less / (n - 4)))
        peak = -second[1:3] / (2 * second[3])
    return PlaneFit(
        intercept=first[0],
        slope=first[1:].T,
        r2=1 - left / total,
        p_value=np.asarray(fdtrc(2, n - 3, f)),
        curvature=second[3],
        peak=peak.T,
        circular_r2=1 - less / total,
        curvature_p_value=np.asarray(2 * stdtr(n - 4, -t)),
    )


def _solved(columns: Array, response: Array) -> tuple[Array, Array]:
    """Return coefficients and residual sums of squares."""
    coefficients = np.linalg.lstsq(columns, response, rcond=None)[0].astype(np.float64)
    return coefficients, ((response - columns @ coefficients) ** 2).sum(axis=0)


_ON_EDGE = 1e-12  # of the largest coordinate: so near a side of the hull a place is on it, but for rounding


def direction_interval(slopes: Array, centre: Array, level: float) -> tuple[float, float]:
    """Return the angles, in degrees from that of `centre` (2,), that hold the middle part of the drawn slopes.

    Angles run anticlockwise; the first of the two offsets is negative unless the draws lie to one side.
    """
    turn = np.arctan2(slopes[:, 1], slopes[:, 0]) - np.arctan2(centre[1], centre[0])
    offset = np.degrees((turn + np.pi) % (2 * np.pi) - np.pi)
    low, high = np.quantile(offset, [(1 - level) / 2, (1 + level) / 2])
    return float(low), float(high)


def inside_hull(points: Array, places: Array) -> NDArray[np.bool_]:
    """Return which `places` (m, 2) lie in the convex hull of the points (n, 2); none if these are on a line."""
    try:
        sides = ConvexHull(points).equations  # outward normals and offsets, one row per side
    except QhullError:
        return np.zeros(len(places), dtype=bool)
    reach = np.abs(points).max()
    return np.asarray((places @ sides[:, :2].T + sides[:, 2] <= _ON_EDGE * reach).all(axis=1))
