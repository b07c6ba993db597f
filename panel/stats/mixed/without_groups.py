"""The same mixed model without each group of its first term in turn: without each assessor.

Where all other terms lie within the first, everything the fit needs is a sum over its groups, so that leaving one out
is a subtraction: the rows are summed once, and many groups left out are fitted together. Else each is fitted anew.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from panel.errors import ModelError
from panel.stats.arrays import Array, Codes
from panel.stats.mixed.moments import block_design, strata_without_groups
from panel.stats.mixed.nested_moments import cell_sums, each_columns, is_nested
from panel.stats.mixed.reml import Design, MixedFit, about_means, at_level, fit_mixed_model, fit_those_possible

_AT_ONCE = 1_000_000  # numbers in the largest array of the designs that are fitted together


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
    for left_out, design in _designs(centred, fixed, groups):
        able, fit = fit_those_possible(design, start[left_out].reshape(-1, len(groups)))
        if fit is not None:
            which = np.tile(responses, len(left_out))[able]
            yield np.repeat(left_out, len(responses))[able], which, at_level(fit, level[which])


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


def _designs(response: Array, fixed: Array, groups: list[Codes]) -> Iterator[tuple[Codes, Design]]:
    """Yield groups to leave out, and the design without each of them in turn."""
    number = int(groups[0].max()) + 1
    balanced = strata_without_groups(response, fixed, groups)
    if balanced is not None:
        width = balanced.squares[0].size * response.shape[1]
        for left_out in _chunks(number, width):
            chosen = np.zeros((number, response.shape[1]), dtype=bool)
            chosen[left_out] = True
            yield left_out, balanced.select(chosen.ravel())
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
            yield out, nested.without(out, *(_flat(each[out]) for each in (w_w, n_scores, squares)))
        return
    blocks = block_design(response, fixed, groups)
    for out in _chunks(number, blocks.z_z.size + blocks.z_w.size):
        yield out, blocks.without(out, *(_flat(each[out]) for each in (w_w, n_scores)))


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
