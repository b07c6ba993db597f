"""How far the places on a map would move if other assessors of the same kind had been asked."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtri

from panel.stats.maps.components import Matrix

# A draw whose weakest link between prototypes is below this part of the strongest has none: its means
# cannot be compared. Eigenvalues of such a draw are zero up to rounding, about 1e-15.
_NOT_LINKED = 1e-9


@dataclass(frozen=True, eq=False, slots=True)
class Ellipses:
    """One ellipse per row, n in all.

    Parameters
    ----------
    half_axes
        Lengths, the longer one first; shape (n, 2).
    angles
        Angle of the longer one to the first component in degrees, anticlockwise, in (-90, 90]; shape (n,).
    """

    half_axes: NDArray[np.float64]
    angles: NDArray[np.float64]


def resampled_means(scores: NDArray[np.float64], rng: np.random.Generator, draws: int) -> NDArray[np.float64]:
    """Return prototype means of panels drawn with replacement from the assessors; shape (draws, P, K).

    `scores` holds one value per assessor, prototype and attribute, shape (A, P, K), NaN where there is none.
    Without gaps a draw's means are plain means. With gaps they come from least squares with prototype and
    assessor effects, so that a missing generous assessor does not lower a prototype; they are then known up
    to a constant per attribute, which a map does not use. Draws whose prototypes are not linked
    through common assessors are left out, so fewer than `draws` may come back.
    """
    A, P, K = scores.shape
    counts = rng.multinomial(A, np.full(A, 1 / A), size=draws).astype(float)
    present = np.isfinite(scores)
    if present.all():
        return np.asarray((counts @ scores.reshape(A, P * K)).reshape(draws, P, K) / A)
    means = np.empty((draws, P, K))
    linked = np.ones(draws, dtype=bool)
    patterns, which = np.unique(present.reshape(A * P, K), axis=1, return_inverse=True)
    for number in range(patterns.shape[1]):
        same = which == number
        mask = patterns[:, number].reshape(A, P)
        means[:, :, same], usable = _means_with_gaps(counts, scores[:, :, same], mask)
        linked &= usable
    return means[linked]


def _means_with_gaps(
    counts: NDArray[np.float64], scores: NDArray[np.float64], mask: NDArray[np.bool_]
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Least-squares prototype effects of each draw for attributes that share their gaps, and which draws link.

    The assessors are eliminated first: the normal equations left for the prototypes are sums over assessors,
    so one matrix product gives them for all draws (Searle 1971, Linear Models, section 7.1).
    """
    A, P, K = scores.shape
    scored = mask.sum(axis=1)
    part = mask / np.maximum(scored, 1)[:, None]
    left = np.einsum("ap,pq->apq", mask.astype(float), np.eye(P)) - np.einsum("ap,aq->apq", mask, part)
    filled = np.where(mask[:, :, None], scores, 0.0)
    right = filled - part[:, :, None] * filled.sum(axis=1, keepdims=True)
    right = np.where(mask[:, :, None], right, 0.0)
    normal = (counts @ left.reshape(A, P * P)).reshape(-1, P, P)
    totals = (counts @ right.reshape(A, P * K)).reshape(-1, P, K)
    values, vectors = np.linalg.eigh(normal)
    linked = values[:, 1] > _NOT_LINKED * np.maximum(values[:, -1], 1e-300)
    inverse = np.divide(1.0, values, out=np.zeros_like(values), where=values > _NOT_LINKED)
    inverse[:, 0] = 0.0
    turned = np.swapaxes(vectors, 1, 2) @ totals
    return vectors @ (inverse[:, :, None] * turned), linked


def two_component_scores(means: NDArray[np.float64], matrix: Matrix) -> NDArray[np.float64]:
    """Return the first two component scores of every table in a stack (B, P, K); shape (B, P, 2), sign free."""
    X = means - means.mean(axis=1, keepdims=True)
    if matrix == "correlation":
        spread = X.std(axis=1, ddof=1, keepdims=True)
        X = X / np.where(spread > 0, spread, 1.0)
    if X.shape[1] <= X.shape[2]:
        values, vectors = np.linalg.eigh(X @ np.swapaxes(X, 1, 2))
        lengths = np.sqrt(np.maximum(values[:, -1:-3:-1], 0.0))
        return np.asarray(vectors[:, :, -1:-3:-1] * lengths[:, None, :])
    axes = np.linalg.eigh(np.swapaxes(X, 1, 2) @ X)[1][:, :, -1:-3:-1]
    return np.asarray(X @ axes)


def turned_onto(target: NDArray[np.float64], configurations: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return each configuration (B, P, 2) turned, and mirrored where that fits better, onto `target` (P, 2).

    Nothing is stretched or moved: centred configurations are expected. In the plane the best turn has a
    closed form: the angle whose tangent is (m12 - m21) / (m11 + m22), M = Z'T.

    References
    ----------
    Gower and Dijksterhuis (2004) Procrustes Problems, section 4.1; Schoenemann (1966) Psychometrika 31:1-10.
    """
    M = np.swapaxes(configurations, 1, 2) @ target
    turn = M[:, 0, 0] + M[:, 1, 1], M[:, 0, 1] - M[:, 1, 0]
    mirror = M[:, 0, 0] - M[:, 1, 1], M[:, 0, 1] + M[:, 1, 0]
    mirrored = np.hypot(*mirror) > np.hypot(*turn)
    angle = np.where(mirrored, np.arctan2(mirror[1], mirror[0]), np.arctan2(turn[1], turn[0]))
    cos, sin, side = np.cos(angle), np.sin(angle), np.where(mirrored, -1.0, 1.0)
    Q = np.stack([np.stack([cos, sin], axis=-1), np.stack([-side * sin, side * cos], axis=-1)], axis=1)
    return np.asarray(configurations @ Q)


def region_radius(assessors: NDArray[np.float64] | float, level: float = 0.95) -> NDArray[np.float64]:
    """Return the radius, in standard errors, of the region of a mean of two coordinates over `assessors` people.

    Hotelling's T2 with assessors - 1 degrees of freedom: sqrt(2 (n - 1) / (n - 2) F(level; 2, n - 2)). The
    large-sample radius sqrt(chi2(level; 2)) is too short for a small panel: by 29 % with 8 assessors.
    NaN below 3 assessors.

    References
    ----------
    Johnson and Wichern (2007) Applied Multivariate Statistical Analysis, 6th ed., section 5.4.
    """
    n = np.asarray(assessors, dtype=float)
    free = np.where(n > 2, n - 2, np.nan)
    return np.asarray(np.sqrt(2 * (n - 1) / free * fdtri(2, free, level)))


def ellipses(covariances: NDArray[np.float64], assessors: NDArray[np.float64] | float, level: float = 0.95) -> Ellipses:
    """Return the region of each mean from the covariance matrices (n, 2, 2) of the means' errors."""
    values, vectors = np.linalg.eigh(covariances)
    radius = np.broadcast_to(region_radius(assessors, level), values.shape[:1])
    half_axes = np.sqrt(np.maximum(values[:, ::-1], 0.0)) * radius[:, None]
    longer = vectors[:, :, -1]
    angles = np.degrees(np.arctan2(longer[:, 1], longer[:, 0]))
    angles = np.where(angles > 90, angles - 180, np.where(angles <= -90, angles + 180, angles))
    return Ellipses(half_axes=half_axes, angles=angles)


def cloud_covariances(cloud: NDArray[np.float64], assessors: int) -> NDArray[np.float64]:
    """Return the covariance of each prototype's error from its cloud (B, P, 2) of resampled places; (P, 2, 2).

    Drawing n people from n makes means vary by (n - 1) / n of what they should; that is put right here
    (Davison and Hinkley 1997, Bootstrap Methods and their Application, section 2.3).
    """
    offsets = cloud - cloud.mean(axis=0)
    spread = np.einsum("bpi,bpj->pij", offsets, offsets) / (len(cloud) - 1)
    return np.asarray(spread * assessors / (assessors - 1))


def ellipse_outline(
    centre: tuple[float, float], half_axes: tuple[float, float], angle: float, points: int = 72
) -> NDArray[np.float64]:
    """Return points around an ellipse, closed; shape (points + 1, 2)."""
    around = np.linspace(0, 2 * np.pi, points + 1)
    turn = np.radians(angle)
    along, across = half_axes[0] * np.cos(around), half_axes[1] * np.sin(around)
    x = centre[0] + along * np.cos(turn) - across * np.sin(turn)
    y = centre[1] + along * np.sin(turn) + across * np.cos(turn)
    return np.column_stack([x, y])
