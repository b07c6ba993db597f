"""Draws of many means at once, as uncertain together as a mixed model and the people behind it say.

The mean of sample p on response a is off by two things: the level of the people who happened to be asked, shared by all
samples of a response, and what they see in one sample but not in another. Both are correlated over the responses,
because the same people judged them. Each response keeps exactly the covariance its own model gives its means; the
correlations over the responses come from the people. Variances that are only estimated give heavier tails: each part is
scaled by sqrt(df / chi-square), as in Student's t.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtri

from panel.stats.arrays import Array
from panel.stats.maps.components import Matrix

_FEWEST_ROWS = 4  # rows from which a correlation over responses is estimated at all
_NOTHING = 1e-12  # a variance this small beside the largest is none
_LEAST_DF = 1.0


def _shrunk_correlation(rows: Array) -> Array:
    """Return the correlation of the columns of `rows` (n, q), drawn towards none as Ledoit & Wolf (2004) advise.

    Rows with gaps are left out; with fewer than four the columns count as unrelated.
    """
    rows = rows[np.isfinite(rows).all(axis=1)]
    q = rows.shape[1]
    if len(rows) < _FEWEST_ROWS or q < 2:
        return np.eye(q)
    centred = rows - rows.mean(axis=0)
    spread = centred.std(axis=0)
    scaled = centred / np.where(spread > 0, spread, 1.0)
    covariance = _ledoit_wolf(scaled)
    covariance[np.diag_indices(q)] = np.where(spread > 0, np.diag(covariance), 1.0)
    own = np.sqrt(np.diag(covariance))
    return np.asarray(covariance / own[:, None] / own[None, :])


def _ledoit_wolf(centred: Array) -> Array:
    """Return the covariance of the columns of `centred` (n, q), drawn towards equal variances and no correlation.

    How far is estimated from the data. Source: Ledoit & Wolf (2004), Journal of Multivariate Analysis 88, 365-411,
    lemma 3.2 to 3.4: m the mean variance, d2 how far the covariance is from m times the unit matrix, b2 how far chance
    alone puts it.
    """
    n, q = centred.shape
    covariance = centred.T @ centred / n
    m = np.trace(covariance) / q
    d2 = (covariance**2).sum() / q - m**2
    squares = centred**2
    b2 = min(((squares.T @ squares).sum() / n - (covariance**2).sum()) / (n * q), d2)
    pull = b2 / d2 if b2 > 0 else 0.0
    return np.asarray((1 - pull) * covariance + pull * m * np.eye(q))


def person_correlations(cells: Array) -> tuple[Array, Array]:
    """Return the correlations over responses of people's levels and of what they see in single samples.

    `cells` (people, samples, responses): each person's mean, NaN where there is none.
    """
    people = cells[np.isfinite(cells).all(axis=(1, 2))]
    if len(people) < 2:
        return np.eye(cells.shape[2]), np.eye(cells.shape[2])
    level = people.mean(axis=1)
    views = people - level[:, None, :] - people.mean(axis=0, keepdims=True) + level.mean(axis=0)
    return _shrunk_correlation(level), _shrunk_correlation(views.reshape(-1, cells.shape[2]))


def joint_draws(
    mean: Array,
    covariance: Array,
    df_level: Array,
    df_views: Array,
    correlations: tuple[Array, Array],
    draws: int,
    rng: np.random.Generator,
) -> Array:
    """Return draws (draws, q, k) of the true means.

    Parameters
    ----------
    mean, covariance
        (q, k) estimated means and (q, k, k) their covariance; NaN for samples that a response does not have.
    df_level, df_views
        (q,) degrees of freedom behind the mean over samples, and behind differences of samples.
    correlations
        (q, q) of levels and of views, see `person_correlations`.
    """
    q, k = mean.shape
    level = rng.standard_normal((draws, q)) @ _root(correlations[0])
    views = np.einsum("ij,njk->nik", _root(correlations[1]), rng.standard_normal((draws, q, k)))
    level *= np.sqrt(_chi_square_scale(df_level, draws, rng))
    views *= np.sqrt(_chi_square_scale(df_views, draws, rng))[:, :, None]
    drawn = np.full((draws, q, k), np.nan)
    for a in range(q):
        there = np.flatnonzero(np.isfinite(mean[a]))
        loading, rest = _parts(covariance[a][np.ix_(there, there)])
        drawn[:, a, there] = mean[a, there] + level[:, a, None] * loading + views[:, a][:, there] @ rest
    return drawn


def _chi_square_scale(df: Array, draws: int, rng: np.random.Generator) -> Array:
    if np.isinf(df).all():
        return np.ones((draws, len(df)))
    df = np.maximum(df, _LEAST_DF)
    return np.asarray(df / rng.chisquare(df, (draws, len(df))))


def _parts(covariance: Array) -> tuple[Array, Array]:
    """Split a covariance into what the samples share with their mean (a loading) and the root of the rest."""
    with_mean = covariance.mean(axis=1)
    of_mean = with_mean.mean()
    loading = with_mean / np.sqrt(of_mean) if of_mean > 0 else np.zeros(len(covariance))
    return loading, _root(covariance - np.outer(loading, loading))


def _root(matrix: Array) -> Array:
    """Return the symmetric root of a covariance."""
    values, vectors = np.linalg.eigh(matrix)
    values = np.where(values > _NOTHING * max(values[-1], 0.0), values, 0.0)
    return np.asarray((vectors * np.sqrt(values)) @ vectors.T)


# Draws of the means of samples that people rated, by drawing whole people anew; people may have gaps.
#
# Each draw takes as many people as there are, with replacement (Efron 1979, Ann. Stat. 7:1-26), and fits people
# and
# samples as additive effects, so that who rated what does not shift a mean. The deviations are widened by sqrt(n /
# (n -
# 1)) and by sqrt(df / chi-square), df = n - 1: a bootstrap of few people is too narrow by just that.


DRAWS = 4000  # of a study's means; a chance of one half then errs by less than one point
FEWEST_PEOPLE = 5


def _sample_means(ratings: Array, times: Array | None = None) -> Array:
    """Return least-squares means of the samples, all on the level of the mean person.

    Parameters
    ----------
    ratings
        (people, k), NaN where there is none; everybody with two ratings or more.
    times
        (draws, people) how often each person counts; without it everybody once, and the answer is (k,).
    """
    there = np.isfinite(ratings)
    k = ratings.shape[1]
    own = np.nanmean(ratings, axis=1)
    part = there / there.sum(axis=1, keepdims=True)
    matrices = np.eye(k) * there[:, :, None] - part[:, :, None] * there[:, None, :]
    sums = np.where(there, ratings - own[:, None], 0.0)
    w = np.ones((1, len(ratings))) if times is None else times
    normal = (w @ matrices.reshape(len(ratings), -1)).reshape(-1, k, k)
    effects = np.einsum("nij,nj->ni", np.linalg.pinv(normal, hermitian=True), w @ sums)
    level = (w @ own - np.einsum("ni,ni->n", w @ part, effects)) / w.sum(axis=1)
    means = effects + level[:, None]
    return np.asarray(means[0] if times is None else means)


def people_draws(ratings: Array, draws: int, rng: np.random.Generator) -> tuple[Array, Array]:
    """Return the means (k,) and draws of them (draws, k); people with a single rating compare nothing and are left out.

    Raises
    ------
    ValueError
        If fewer than five people compare anything, or a sample has no rating.
    """
    used = ratings[np.isfinite(ratings).sum(axis=1) >= 2]
    n = len(used)
    if n < FEWEST_PEOPLE or not np.isfinite(used).any(axis=0).all():
        raise ValueError("too few people, or a sample nobody rated beside another")
    means = _sample_means(used)
    times = rng.multinomial(n, np.full(n, 1 / n), draws).astype(float)
    wider = np.sqrt(n / (n - 1) * (n - 1) / rng.chisquare(n - 1, draws))
    return means, means + wider[:, None] * (_sample_means(used, times) - means)


# How far the places on a map would move if other assessors of the same kind had been asked.


# A draw whose weakest link between prototypes is below this part of the strongest has none: its means
# cannot be compared. Eigenvalues of such a draw are zero up to rounding, about 1e-15.
_NOT_LINKED = 1e-9


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


def _region_radius(assessors: NDArray[np.float64] | float, level: float = 0.95) -> NDArray[np.float64]:
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


def ellipses(
    covariances: NDArray[np.float64], assessors: NDArray[np.float64] | float, level: float = 0.95
) -> tuple[Array, Array]:
    """Return the region of each mean from the covariance matrices (n, 2, 2) of the means' errors.

    Half axes (n, 2), the longer first, and the angle (n,) of the longer to the first axis in degrees, anticlockwise.
    """
    values, vectors = np.linalg.eigh(covariances)
    radius = np.broadcast_to(_region_radius(assessors, level), values.shape[:1])
    half_axes = np.sqrt(np.maximum(values[:, ::-1], 0.0)) * radius[:, None]
    longer = vectors[:, :, -1]
    angles = np.degrees(np.arctan2(longer[:, 1], longer[:, 0]))
    angles = np.where(angles > 90, angles - 180, np.where(angles <= -90, angles + 180, angles))
    return half_axes, angles


def cloud_covariances(cloud: NDArray[np.float64], assessors: int) -> NDArray[np.float64]:
    """Return the covariance of each prototype's error from its cloud (B, P, 2) of resampled places; (P, 2, 2).

    Drawing n people from n makes means vary by (n - 1) / n of what they should; that is put right here
    (Davison and Hinkley 1997, Bootstrap Methods and their Application, section 2.3).
    """
    offsets = cloud - cloud.mean(axis=0)
    spread = np.einsum("bpi,bpj->pij", offsets, offsets) / (len(cloud) - 1)
    return np.asarray(spread * assessors / (assessors - 1))


_OUTLINE = 72  # points


def ellipse_outline(centre: tuple[float, float], half_axes: tuple[float, float], angle: float) -> NDArray[np.float64]:
    """Return points around an ellipse, closed; shape (points + 1, 2)."""
    around = np.linspace(0, 2 * np.pi, _OUTLINE + 1)
    turn = np.radians(angle)
    along, across = half_axes[0] * np.cos(around), half_axes[1] * np.sin(around)
    x = centre[0] + along * np.cos(turn) - across * np.sin(turn)
    y = centre[1] + along * np.sin(turn) + across * np.cos(turn)
    return np.column_stack([x, y])
