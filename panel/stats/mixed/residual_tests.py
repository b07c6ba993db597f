"""Three looks at residuals: is the spread the same in all groups, does it follow the level, do they look normal?

Each statistic is computed for many sets of residuals at once, arrays (n, m), so that the observed one can be placed
among residuals simulated from the fitted model. Tables of these statistics do not hold for residuals of a model,
which are tied to each other (two repetitions leave residuals of one size).
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri

from panel.stats.arrays import Array, Codes
from panel.stats.mixed.mixed_residuals import ResidualMaker

SAME = 1e-9  # relative: a simulated statistic this near the observed one counts as reached


def spread_by_group(values: Array, group: Codes) -> Array:
    """Return Brown and Forsythe's F for each column of `values` (n, m): one-way F of distances from group medians.

    Brown & Forsythe (1974), J. Am. Stat. Assoc. 69:364 (Levene's test about the median). Zero where nothing varies or
    no group has two values.
    """
    counts = np.bincount(group).astype(float)
    if len(counts) < 2 or len(counts) == len(values):
        return np.zeros(values.shape[1])
    distance = np.empty_like(values)
    means = np.empty((len(counts), values.shape[1]))
    for place in range(len(counts)):
        rows = group == place
        distance[rows] = np.abs(values[rows] - np.median(values[rows], axis=0))
        means[place] = distance[rows].mean(axis=0)
    between = (counts[:, None] * (means - distance.mean(axis=0)) ** 2).sum(axis=0) / (len(counts) - 1)
    within = ((distance - means[group]) ** 2).sum(axis=0) / (len(values) - len(counts))
    return np.divide(between, within, out=np.zeros_like(between), where=within > 0)


def spread_with_level(values: Array, level: Array) -> Array:
    """Return, column by column, the rank correlation (Spearman) of |values| with `level`, both (n, m)."""
    size, place = _ranks(np.abs(values)), _ranks(level)
    size, place = size - size.mean(axis=0), place - place.mean(axis=0)
    scale = np.sqrt((size**2).sum(axis=0) * (place**2).sum(axis=0))
    return np.divide((size * place).sum(axis=0), scale, out=np.zeros_like(scale), where=scale > 0)


def normal_plot_correlation(values: Array) -> Array:
    """Return the correlation of each column's normal probability plot, 1 where it is straight.

    Filliben (1975), Technometrics 17:111, with his medians of the order statistics.
    """
    n = len(values)
    medians = (np.arange(1, n + 1) - 0.3175) / (n + 0.365)
    medians[-1] = 0.5 ** (1 / n)
    medians[0] = 1 - medians[-1]
    expected = ndtri(medians)
    ordered = np.sort(values, axis=0)
    ordered = ordered - ordered.mean(axis=0)
    return np.asarray(expected @ ordered / np.sqrt((expected @ expected) * (ordered**2).sum(axis=0)))


def simulated_residuals(
    maker: ResidualMaker, groups: list[Codes], gamma: Array, draws: int, rng: np.random.Generator
) -> tuple[Array, Array]:
    """Return residuals and what the model fits beside its fixed part, each (n, draws), in residual SDs.

    Scores are drawn from the fitted model, variances held: normal random terms with relative variances `gamma`.
    """
    n = len(maker.through)
    y = rng.standard_normal((n, draws))
    for group, variance in zip(groups, gamma, strict=True):
        if variance > 0:
            y += np.sqrt(variance) * rng.standard_normal((int(group.max()) + 1, draws))[group]
    residual = maker.residual(y)
    return residual, y - residual


def share_reaching(simulated: Array, observed: float) -> float:
    """Return the p-value of `observed` among `simulated` (m,): how often chance reaches it, itself counted once."""
    reached = simulated >= observed - SAME * abs(observed)
    return float((reached.sum() + 1) / (len(simulated) + 1))


def _ranks(values: Array) -> Array:
    """Return the ranks within each column, ties sharing their mean rank."""
    n = len(values)
    order = np.argsort(values, axis=0, kind="stable")
    ordered = np.take_along_axis(values, order, axis=0)
    new = np.ones(values.shape, dtype=bool)
    new[1:] = ordered[1:] != ordered[:-1]
    first = np.maximum.accumulate(np.where(new, np.arange(n)[:, None], 0), axis=0)
    ends = np.ones(values.shape, dtype=bool)
    ends[:-1] = new[1:]
    last = np.minimum.accumulate(np.where(ends, np.arange(n)[:, None], n)[::-1], axis=0)[::-1]
    ranks = np.empty(values.shape)
    np.put_along_axis(ranks, order, (first + last) / 2 + 1, axis=0)
    return ranks
