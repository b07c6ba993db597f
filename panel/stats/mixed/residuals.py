"""What a fitted mixed model leaves over, score by score, and the same model without each group of its first term.

With y = X b + Z u + e, V = I + sum_k gamma_k Z_k Z_k' (in units of the residual variance s2) and
P = V^-1 - V^-1 X (X'V^-1 X)^-1 X'V^-1: the predicted effects are u_k = gamma_k Z_k'V^-1 (y - X b) and the conditional
residuals y - X b - Z u = P y, with covariance s2 P (Henderson 1975, Biometrics 31:423; Haslett & Hayes 1998, J. R.
Stat. Soc. B 60:201). Leaving score i out, with the variances held, changes b by exactly
-(X'V^-1 X)^-1 X'V^-1 d_i (P y)_i / P_ii (Christensen, Pearson & Johnson 1992, Technometrics 34:38).

Without each assessor: where all other terms lie within the first, everything the fit needs is a sum over its groups, so
that leaving one out is a subtraction: the rows are summed once, and many groups left out are fitted together.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from panel.errors import ModelError
from panel.stats.arrays import Array, Codes, ratio
from panel.stats.mixed.moments import block_design, cell_sums, each_columns, is_nested
from panel.stats.mixed.reml import (
    Design,
    MixedFit,
    about_means,
    at_level,
    fit_mixed_model,
    fit_those_possible,
    strata_without_groups,
)

_SMALLEST_ROOM = 1e-10  # of P_ii: below, the score is fitted exactly, whatever it is


@dataclass(frozen=True, eq=False, slots=True)
class MixedResiduals:
    """Residuals of one response, n scores, p fixed columns.

    `marginal_fit` = X b (n,); `effects`, one array (levels,) for each random term; `fitted` = X b + Z u (n,);
    `residual` = y - fitted (n,); `standardised` = residual over its own standard deviation, NaN where a score is
    fitted exactly; `room` = P_ii (n,), 1 where the model does not bend to the score, 0 where it follows it;
    `pull` (n, p), how much the coefficients fall when the score is left out with the variances held.
    """

    marginal_fit: Array
    effects: tuple[Array, ...]
    fitted: Array
    residual: Array
    standardised: Array
    room: Array
    pull: Array


@dataclass(frozen=True, eq=False, slots=True)
class ResidualMaker:
    """The matrix P of one design and its variances, kept as blocks that share no random effect.

    `rows` of each block, `inverse` = V^-1 of each block, `through` = V^-1 X (n, p), `inverse_xx` = (X'V^-1 X)^-1.
    """

    rows: tuple[Codes, ...]
    inverse: tuple[Array, ...]
    through: Array
    inverse_xx: Array

    def whiten(self, y: Array) -> Array:
        """Return V^-1 y for y (n,) or (n, m)."""
        out = np.empty_like(y)
        for rows, inverse in zip(self.rows, self.inverse, strict=True):
            out[rows] = inverse @ y[rows]
        return out

    def residual(self, y: Array) -> Array:
        """Return P y for y (n,) or (n, m)."""
        return np.asarray(self.whiten(y) - self.through @ (self.inverse_xx @ (self.through.T @ y)))

    def room(self) -> Array:
        """Return the diagonal of P."""
        own = np.empty(len(self.through))
        for rows, inverse in zip(self.rows, self.inverse, strict=True):
            own[rows] = np.diagonal(inverse)
        return np.asarray(own - np.einsum("ni,ij,nj->n", self.through, self.inverse_xx, self.through))


def residual_maker(fixed: Array, groups: list[Codes], gamma: Array) -> ResidualMaker:
    """Return P for `fixed` (n, p), the `groups` (n,) of each random term and relative variances `gamma` (K,).

    Scores in different groups of the first term must share no group of another term, as terms within assessors do.
    """
    order = np.argsort(groups[0], kind="stable")
    starts = np.flatnonzero(np.diff(groups[0][order])) + 1
    rows = tuple(np.split(order, starts))
    inverse = []
    for own in rows:
        v = np.eye(len(own))
        for group, variance in zip(groups, gamma, strict=True):
            v += variance * (group[own][:, None] == group[own][None, :])
        inverse.append(np.asarray(np.linalg.inv(v), dtype=float))
    maker = ResidualMaker(rows, tuple(inverse), np.empty_like(fixed), np.empty((0, 0)))
    through = maker.whiten(np.asarray(fixed, dtype=float))
    return ResidualMaker(rows, tuple(inverse), through, np.asarray(np.linalg.inv(fixed.T @ through), dtype=float))


def mixed_residuals(
    maker: ResidualMaker, y: Array, fixed: Array, groups: list[Codes], variances: Array
) -> MixedResiduals:
    """Return the residuals of y (n,) at `variances` (K + 1,), random terms first, the residual variance last."""
    s2 = variances[-1]
    gamma = variances[:-1] / s2
    coefficients = maker.inverse_xx @ (maker.through.T @ y)
    marginal = fixed @ coefficients
    pulled = maker.whiten(y - marginal)
    effects = tuple(ratio * np.bincount(group, weights=pulled) for group, ratio in zip(groups, gamma, strict=True))
    fitted = marginal + sum(effect[group] for effect, group in zip(effects, groups, strict=True))
    residual, room = y - fitted, maker.room()
    free = room > _SMALLEST_ROOM
    standardised = np.where(free, residual / np.sqrt(s2 * np.where(free, room, 1.0)), np.nan)
    pull = (maker.through @ maker.inverse_xx) * np.where(free, residual / np.where(free, room, 1.0), np.nan)[:, None]
    return MixedResiduals(marginal, effects, fitted, residual, standardised, room, pull)


# Three looks at residuals: is the spread the same in all groups, does it follow the level, do they look normal?
#
# Each statistic is computed for many sets of residuals at once, arrays (n, m), so that the observed one can be placed
# among residuals simulated from the fitted model. Tables of these statistics do not hold for residuals of a model,
# which are tied to each other (two repetitions leave residuals of one size).


_SAME = 1e-9  # relative: a simulated statistic this near the observed one counts as reached, values this near as tied


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
    return ratio(between, within, 0.0)


def spread_with_level(values: Array, level: Array) -> Array:
    """Return, column by column, the rank correlation (Spearman) of |values| with `level`, both (n, m)."""
    size, place = _ranks(np.abs(values)), _ranks(level)
    size, place = size - size.mean(axis=0), place - place.mean(axis=0)
    scale = np.sqrt((size**2).sum(axis=0) * (place**2).sum(axis=0))
    return ratio((size * place).sum(axis=0), scale, 0.0)


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
    reached = simulated >= observed - _SAME * abs(observed)
    return float((reached.sum() + 1) / (len(simulated) + 1))


def _ranks(values: Array) -> Array:
    """Return the ranks within each column, ties sharing their mean rank; what only rounding tells apart is tied."""
    n = len(values)
    order = np.argsort(values, axis=0, kind="stable")
    ordered = np.take_along_axis(values, order, axis=0)
    new = np.ones(values.shape, dtype=bool)
    new[1:] = np.diff(ordered, axis=0) > _SAME * np.abs(ordered).max(axis=0)
    first = np.maximum.accumulate(np.where(new, np.arange(n)[:, None], 0), axis=0)
    ends = np.ones(values.shape, dtype=bool)
    ends[:-1] = new[1:]
    last = np.minimum.accumulate(np.where(ends, np.arange(n)[:, None], n)[::-1], axis=0)[::-1]
    ranks = np.empty(values.shape)
    np.put_along_axis(ranks, order, (first + last) / 2 + 1, axis=0)
    return ranks


# What each score does to a test when it is left out, with the relative variances held: exact, without fitting
# anew.
#
# With A = (X'V^-1 X)^-1, g_i = A X'V^-1 d_i and P as in `panel.stats.mixed.residuals`, leaving score i out turns the
# coefficients into b - g_i (P y)_i / P_ii, A into A + g_i g_i' / P_ii, and the generalised residual sum of squares
# y'P y into y'P y - (P y)_i^2 / P_ii (the same algebra as for least squares, Cook & Weisberg 1982, Residuals and
# Influence in Regression).


def f_without_each(maker: ResidualMaker, y: Array, contrasts: Array) -> Array:
    """Return F of the hypothesis `contrasts` b = 0, (r, p), without each score of y (n,).

    NaN where the score is the only one behind a coefficient, so that nothing is left to estimate it by.
    """
    n, p = maker.through.shape
    a, r = maker.inverse_xx, len(contrasts)
    own = maker.residual(y)
    room = maker.room()
    free = room > _SMALLEST_ROOM
    p_ii = np.where(free, room, 1.0)
    step = maker.through @ a @ contrasts.T  # C g_i, in rows
    left = contrasts @ (a @ (maker.through.T @ y)) - step * (own / p_ii)[:, None]
    s2 = (y @ own - own**2 / p_ii) / (n - 1 - p)
    m = np.linalg.inv(contrasts @ a @ contrasts.T)
    plain = np.einsum("ni,ij,nj->n", left, m, left)
    across = np.einsum("ni,ij,nj->n", left, m, step)
    along = np.einsum("ni,ij,nj->n", step, m, step)
    return np.where(free, (plain - across**2 / (p_ii + along)) / (r * s2), np.nan)


# Is anything left to judge by?


_NOTHING_VARIES = 1e-9  # residual variance, relative to the squared range of the scores, that is not judged by
_NOT_TOLD_APART = (
    "with so few scores the scatter of the assessors cannot be told from that of the scores; let more of them score "
    "more prototypes, or twice"
)
_ONLY_ROUNDING = 1e-13  # of the largest score: what is left by rounding alone


def nothing_left(fit: MixedFit, response: Array, fixed: Array, groups: Sequence[Codes]) -> list[str]:
    """Return for each response why nothing is left to judge a difference by; empty where something is."""
    spread = np.nanmax(response, axis=0) - np.nanmin(response, axis=0)
    why = np.where(fit.told_apart, "", _NOT_TOLD_APART).tolist()
    for column in np.flatnonzero(fit.variances[:, -1] <= _NOTHING_VARIES * spread**2):
        known = np.isfinite(response[:, column])
        how = "" if _repeats(response[known, column], fixed[known], [of[known] for of in groups]) else "nearly "
        why[column] = f"the scores repeat {how}exactly, so nothing is left to judge a difference by"
    return why


def _repeats(scores: Array, fixed: Array, groups: Sequence[Codes]) -> bool:
    """Return whether the effects of the model account for every score, but for the rounding of the scores."""
    effects = [np.eye(len(names))[of] for names, of in (np.unique(each, return_inverse=True) for each in groups)]
    columns = np.hstack([fixed, *effects])
    left = scores - columns @ np.linalg.lstsq(columns, scores, rcond=None)[0]
    return bool(np.abs(left).max() <= _ONLY_ROUNDING * np.abs(scores).max())


_AT_ONCE = 250_000  # numbers in the largest array of the designs that are fitted together


def fits_without_groups(
    response: Array, fixed: Array, groups: list[Codes], start: Array
) -> Iterator[tuple[Codes, Codes, MixedFit]]:
    """Yield fits of y = X b + sum of random intercepts + e by REML without each group of the first term.

    Arguments as `fit_mixed_model`, the groups of the first term numbered from 0; `start` (groups, q, K). Each fit is of
    many left out and many responses: yields which group is out, which response it is, and the fit. What cannot be
    fitted without a group is not among them.
    """
    if not all(is_nested([groups[0], other]) for other in groups[1:]):
        yield from _one_by_one(response, fixed, groups, start)
        return
    responses = np.arange(response.shape[1])
    centred, level = about_means(response, fixed)
    for left_out, design, known in _designs(centred, fixed, groups):
        able, fit = fit_those_possible(design.select(known), start[left_out].reshape(-1, len(groups))[known])
        if fit is not None:
            which = np.tile(responses, len(left_out))[known][able]
            yield np.repeat(left_out, len(responses))[known][able], which, at_level(fit, level[which])


def _one_by_one(
    response: Array, fixed: Array, groups: list[Codes], start: Array
) -> Iterator[tuple[Codes, Codes, MixedFit]]:
    """Fit the rows that are left, as batches run through several assessors."""
    q = response.shape[1]
    for place in range(int(groups[0].max()) + 1):
        kept = groups[0] != place
        try:
            fit = fit_mixed_model(response[kept], fixed[kept], [group[kept] for group in groups], start[place])
        except ModelError:
            continue
        yield np.full(q, place), np.arange(q), fit


def _designs(response: Array, fixed: Array, groups: list[Codes]) -> Iterator[tuple[Codes, Design, NDArray[np.bool_]]]:
    """Yield groups to leave out, the design without each of them in turn, and whether what is left tells all of b."""
    number = int(groups[0].max()) + 1
    balanced = strata_without_groups(response, fixed, groups)
    if balanced is not None:
        width = balanced.squares[0].size * response.shape[1]
        for left_out in _chunks(number, width):
            chosen = np.zeros((number, response.shape[1]), dtype=bool)
            chosen[left_out] = True
            strata = balanced.select(chosen.ravel())
            yield left_out, strata, _of_full_rank(strata.squares.sum(axis=1)[:, :-1, :-1])
        return
    columns = each_columns(response, fixed)
    rows = [np.flatnonzero(groups[0] == place) for place in range(number)]
    w_w = _without(np.stack([np.swapaxes(columns[:, own], 1, 2) @ columns[:, own] for own in rows]))
    n_scores = _without(np.stack([np.isfinite(response[own]).sum(axis=0) for own in rows]).astype(float))
    if is_nested(groups):
        cells = cell_sums(columns, response, groups)
        nested = cells.design(w_w[0], n_scores[0])
        ends = np.r_[cells.first, cells.counts.shape[1]]
        squares = _without(np.stack([cells.squares(slice(*ends[place : place + 2])) for place in range(number)]))
        for out in _chunks(number, nested.sums.size):
            cells_left = nested.without(out, *(_flat(each[out]) for each in (w_w, n_scores, squares)))
            yield out, cells_left, _of_full_rank(_flat(w_w[out])[:, :-1, :-1])
        return
    blocks = block_design(response, fixed, groups)
    for out in _chunks(number, blocks.z_e.size):
        blocks_left = blocks.without(out, *(_flat(each[out]) for each in (w_w, n_scores)))
        yield out, blocks_left, _of_full_rank(_flat(w_w[out])[:, :-1, :-1])


_FULL_RANK = 1e-9  # least eigenvalue over the greatest: those of a column that others make up are about 1e-16


def _of_full_rank(x_x: Array) -> NDArray[np.bool_]:
    """Return for each X'X whether no column is made up of others: no prototype that only who is out was served."""
    values = np.linalg.eigvalsh(x_x)
    return np.asarray(values[:, 0] > _FULL_RANK * values[:, -1])


def _without(own: Array) -> Array:
    """Return what is left of the sum over groups (the first axis) without each of them."""
    return np.asarray(own.sum(axis=0) - own)


def _flat(each: Array) -> Array:
    """Return (left out, q, ...) as (left out x q, ...)."""
    return each.reshape(-1, *each.shape[2:])


def _chunks(number: int, width: int) -> Iterator[Codes]:
    """Yield the numbers up to `number`, so many together that so many times `width` is not too much."""
    step = max(1, _AT_ONCE // width)
    for first in range(0, number, step):
        yield np.arange(first, min(first + step, number))
