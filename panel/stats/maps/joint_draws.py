"""Draws of many means at once, as uncertain together as a mixed model and the people behind it say.

The mean of sample p on response a is off by two things: the level of the people who happened to be asked, shared by all
samples of a response, and what they see in one sample but not in another. Both are correlated over the responses,
because the same people judged them. Each response keeps exactly the covariance its own model gives its means; the
correlations over the responses come from the people. Variances that are only estimated give heavier tails: each part is
scaled by sqrt(df / chi-square), as in Student's t.
"""

from __future__ import annotations

import numpy as np

from panel.stats.arrays import Array

_FEWEST_ROWS = 4  # rows from which a correlation over responses is estimated at all
_NOTHING = 1e-12  # a variance this small beside the largest is none
_LEAST_DF = 1.0


def shrunk_correlation(rows: Array) -> Array:
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
    covariance = ledoit_wolf(scaled)
    covariance[np.diag_indices(q)] = np.where(spread > 0, np.diag(covariance), 1.0)
    own = np.sqrt(np.diag(covariance))
    return np.asarray(covariance / own[:, None] / own[None, :])


def ledoit_wolf(centred: Array) -> Array:
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
    return shrunk_correlation(level), shrunk_correlation(views.reshape(-1, cells.shape[2]))


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
