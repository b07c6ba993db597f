"""Draws of the means of samples that people rated, by drawing whole people anew; people may have gaps.

Each draw takes as many people as there are, with replacement (Efron 1979, Ann. Stat. 7:1-26), and fits people and
samples as additive effects, so that who rated what does not shift a mean. The deviations are widened by sqrt(n / (n -
1)) and by sqrt(df / chi-square), df = n - 1: a bootstrap of few people is too narrow by just that.
"""

from __future__ import annotations

import numpy as np

from panel.stats.arrays import Array

FEWEST_PEOPLE = 5


def sample_means(ratings: Array, times: Array | None = None) -> Array:
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
    means = sample_means(used)
    times = rng.multinomial(n, np.full(n, 1 / n), draws).astype(float)
    wider = np.sqrt(n / (n - 1) * (n - 1) / rng.chisquare(n - 1, draws))
    return means, means + wider[:, None] * (sample_means(used, times) - means)
