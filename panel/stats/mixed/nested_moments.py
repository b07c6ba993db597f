"""The moments where one random term lies within another, such as assessor x prototype: no matrix to invert."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from panel.stats.arrays import Array, Codes
from panel.stats.mixed.moments import Moments, repeated_without


@dataclass(frozen=True, eq=False, slots=True)
class NestedDesign:
    """Groups (assessors) that hold cells (assessor x prototype): V_a = I + gamma_1 1 1' + gamma_2 F F'.

    With n the scores of a cell and d = 1 / (1 + gamma_2 n), the cells alone give V_0^-1 = I - gamma_2 F d F', and the
    group adds one rank to it: V^-1 = V_0^-1 - b V_0^-1 1 1' V_0^-1 with s = 1'V_0^-1 1 and
    b = gamma_1 / (1 + gamma_1 s). So cells of one size are summed together. R is the number of sizes.
    """

    w_w: Array  # (q, p + 1, p + 1), W'W
    size: Array  # (R,), the sizes of cells
    cells: Array  # (q, R, groups), how many cells a group has of that size
    sums: Array  # (q, R, groups, p + 1), column sums of W over these
    squares: Array  # (q, R, p + 1, p + 1), sum of the products of the column sums of each cell of that size
    n_scores: Array  # (q,)

    @property
    def n_fixed(self) -> int:
        """Number of fixed columns."""
        return int(self.w_w.shape[-1]) - 1

    def select(self, chosen: NDArray[np.bool_]) -> NestedDesign:
        """Return the design of the `chosen` responses."""
        parts = (self.cells[chosen], self.sums[chosen], self.squares[chosen], self.n_scores[chosen])
        return NestedDesign(self.w_w[chosen], self.size, *parts)

    def without(self, groups: Codes, w_w: Array, n_scores: Array, squares: Array) -> NestedDesign:
        """Return the design without each of `groups` in turn, (len(groups) q) responses, with the sums that are left.

        `w_w`, `n_scores` and `squares`, of all these responses, are the sums of all groups but the one left out.
        """
        cells, sums = (repeated_without(each, groups, 2) for each in (self.cells, self.sums))
        return NestedDesign(w_w, self.size, cells, sums, squares, n_scores)

    def moments(self, gamma: Array) -> Moments:
        """Return the moments at relative variances `gamma` (q, 2)."""
        n = self.size
        d = 1 / (1 + gamma[:, 1:] * n)
        weight = np.stack([d, n * d**2, n**2 * d**3], axis=1)
        q, r, groups, width = self.sums.shape
        t, u, w = np.moveaxis((weight @ self.sums.reshape(q, r, -1)).reshape(q, 3, groups, width), 1, 0)
        s, v, z = np.moveaxis((weight * n) @ self.cells, 1, 0)
        e = 1 / (1 + gamma[:, :1] * s)
        b = gamma[:, :1] * e
        y = u - (b * v)[..., None] * t
        through = _weighted(e**2, t, y)
        back = _weighted(b, u, t) - _weighted(b**2 * v / 2, t, t)
        twice = _weighted(b, w, t) - _weighted(b**2 * z / 2, t, t)
        cell = [self._over_sizes(part) for part in (gamma[:, 1:] * d, d**2, n * d**3)]
        within = cell[2] - twice - np.swapaxes(twice, 1, 2) - _weighted(b, y, y)
        times = self.cells.sum(axis=2)
        trace = np.stack([(s * e).sum(axis=1), (times * n * d).sum(axis=1) - (b * v).sum(axis=1)], axis=1)
        of_cells = (times * (n * d) ** 2).sum(axis=1) - (2 * b * z - (b * v) ** 2).sum(axis=1)
        return Moments(
            log_det=-(times * np.log(d)).sum(axis=1) - np.log(e).sum(axis=1),
            cross=self.w_w - cell[0] - _weighted(b, t, t),
            cross_k=np.stack([_weighted(e**2, t, t), cell[1] - back - np.swapaxes(back, 1, 2)], axis=1),
            cross_kl=_two_by_two(_weighted(s * e**3, t, t), through, np.swapaxes(through, 1, 2), within),
            trace_k=trace,
            trace_kl=_two_by_two(((s * e) ** 2).sum(axis=1), *[(e**2 * v).sum(axis=1)] * 2, of_cells),
        )

    def _over_sizes(self, weight: Array) -> Array:
        """Return the products of the cells with a `weight` (q, R) for each size."""
        return np.asarray((weight[:, :, None, None] * self.squares).sum(axis=1))


def _weighted(weight: Array, left: Array, right: Array) -> Array:
    """Return the sum over groups of weight left right' for arrays (q, groups, columns)."""
    return np.asarray(np.swapaxes(left * weight[..., None], 1, 2) @ right)


def _two_by_two(*parts: Array) -> Array:
    """Return four arrays (q, ...) as one (q, 2, 2, ...), row by row."""
    whole = np.stack(parts, axis=1)
    return whole.reshape(len(whole), 2, 2, *whole.shape[2:])


@dataclass(frozen=True, eq=False, slots=True)
class CellSums:
    """Column sums of W over the cells of a nested design, group by group."""

    size: Array  # (R,), the sizes of cells
    counts: Codes  # (q, cells), the scores of each cell
    by_size: Array  # (q, R, cells, p + 1), zero but for the cell's own size
    first: Codes  # (groups,), the first cell of each group

    def squares(self, cells: slice = slice(None)) -> Array:
        """Return the products of the column sums of each cell, summed over these cells, (q, R, p + 1, p + 1)."""
        chosen = self.by_size[:, :, cells]
        return np.asarray(np.swapaxes(chosen, -1, -2) @ chosen)

    def design(self, w_w: Array, n_scores: Array) -> NestedDesign:
        """Return the design of all groups."""
        of_size = (self.counts[:, None] == self.size[:, None]).astype(float)
        sums = np.add.reduceat(self.by_size, self.first, axis=2)
        cells = np.add.reduceat(of_size, self.first, axis=2)
        return NestedDesign(w_w, self.size, cells, sums, self.squares(), n_scores)


def is_nested(groups: list[Codes]) -> bool:
    """Return whether there are two terms, the second within the first."""
    if len(groups) != 2:
        return False
    group, cell = groups
    return len(np.unique(cell * (int(group.max()) + 1) + group)) == len(np.unique(cell))


def nested_design(response: Array, fixed: Array, groups: list[Codes]) -> NestedDesign:
    """Sum a design of two terms, the second within the first; arguments as `block_design`."""
    columns = each_columns(response, fixed)
    w_w = np.swapaxes(columns, -1, -2) @ columns
    return cell_sums(columns, response, groups).design(w_w, np.isfinite(response).sum(axis=0).astype(float))


def each_columns(response: Array, fixed: Array) -> Array:
    """Return W = [X, y] of each response (q, n, p + 1), zero where its score is missing."""
    there = np.isfinite(response)
    columns = np.empty((response.shape[1], len(response), fixed.shape[1] + 1))
    columns[..., :-1] = there.T[..., None] * fixed
    columns[..., -1] = np.where(there, response, 0.0).T
    return columns


def cell_sums(columns: Array, response: Array, groups: list[Codes]) -> CellSums:
    """Sum the `columns` of each response over the cells, the second of `groups`; see `each_columns`."""
    group, cell = groups
    order = np.lexsort((cell, group))
    starts = np.flatnonzero(np.r_[True, np.diff(cell[order]) != 0])
    counts = np.add.reduceat(np.isfinite(response[order]), starts, axis=0, dtype=np.intp).T
    size = np.unique(counts[counts > 0]).astype(float)
    sums = np.add.reduceat(columns[:, order], starts, axis=1)
    by_size = np.where((counts[:, None] == size[:, None])[..., None], sums[:, None], 0.0)
    return CellSums(size, counts, by_size, np.flatnonzero(np.r_[True, np.diff(group[order][starts]) != 0]))
