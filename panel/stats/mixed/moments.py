"""What a REML criterion needs to know of the data, at given relative variances.

The model of one response is y = X b + sum_k Z_k u_k + e with u_k ~ N(0, gamma_k s2 I), e ~ N(0, s2 I), so that
V(gamma) = I + sum_k gamma_k Z_k Z_k'. With W = [X, y] everything REML, Satterthwaite and Kenward-Roger need are
cross-products of W through V^-1 and traces. With Z = [Z_1 ... Z_K] and D the diagonal of the gammas, Woodbury's
identity gives Z'V^-1 = (I + Z'Z D)^-1 Z', V^-1 = I - Z D Z'V^-1 and log|V| = log|I + Z'Z D|: the rows are needed only
once, for Z'Z, Z'W and W'W. These fall apart into blocks that share no random effect, here usually the assessors, and
all responses are worked at once.

Several ways to the same moments: `_BlockDesign` for any random terms, `_InterceptDesign` for a single one, whose cost
does not grow with the number of groups beyond one pass over the rows (many consumers), `_BorderDesign` where one term
cuts across the others, `_NestedDesign` for two terms of which one lies within the other: no matrix to invert.
`panel.stats.mixed.reml` adds the balanced ones, whose rows lie in strata.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations_with_replacement, pairwise

import numpy as np
from numpy.typing import NDArray

from panel.stats.arrays import Array, Codes


@dataclass(frozen=True, eq=False, slots=True)
class Moments:
    """Cross-products and traces at given relative variances.

    Shapes, with q responses, K random terms, p fixed columns and G_k = Z_k Z_k': `log_det` = log|V| (q,), `cross` =
    W'V^-1 W (q, p+1, p+1), `cross_k` = W'V^-1 G_k V^-1 W (q, K, p+1, p+1), `cross_kl` = W'V^-1 G_k V^-1 G_l V^-1 W
    (q, K, K, p+1, p+1), `trace_k` = tr(V^-1 G_k) (q, K), `trace_kl` = tr(V^-1 G_k V^-1 G_l) (q, K, K).
    """

    log_det: Array
    cross: Array
    cross_k: Array
    cross_kl: Array
    trace_k: Array
    trace_kl: Array


@dataclass(frozen=True, eq=False, slots=True)
class _BlockDesign:
    """Cross-products by block; see `block_design`. m is the largest number of random effects in a block."""

    z_e: Array  # (q, blocks, m, m + p + 1), Z'E with E = [Z, W], zero where padded
    w_w: Array  # (q, p + 1, p + 1), W'W
    columns: tuple[slice, ...]  # which of the m columns belong to each random term
    n_scores: Array  # (q,)

    @property
    def n_fixed(self) -> int:
        """Number of fixed columns."""
        return int(self.w_w.shape[-1]) - 1

    def select(self, chosen: NDArray[np.bool_]) -> _BlockDesign:
        """Return the design of the `chosen` responses."""
        return _BlockDesign(self.z_e[chosen], self.w_w[chosen], self.columns, self.n_scores[chosen])

    def without(self, blocks: Codes, w_w: Array, n_scores: Array) -> _BlockDesign:
        """Return the design without each of `blocks` in turn, (len(blocks) q) responses, with the sums that are left.

        `w_w` and `n_scores`, of all these responses, are the sums of all blocks but the one left out.
        """
        return _BlockDesign(_repeated_without(self.z_e, blocks, 1), w_w, self.columns, n_scores)

    def moments(self, gamma: Array) -> Moments:
        """Return the moments at relative variances `gamma` (q, K)."""
        q, blocks, m, _ = self.z_e.shape
        of_term = np.eye(len(self.columns)).repeat([own.stop - own.start for own in self.columns], axis=0)
        weight = gamma @ of_term.T
        z_v_e, log_det = self._through(weight[:, None])
        z_v_z, z_v_w = z_v_e[..., :m], z_v_e[..., m:]
        width = z_v_w.shape[-1]
        each = (z_v_w[..., None, :] * of_term[:, :, None]).reshape(q, blocks, m, -1)  # the rows of one term, K times
        return Moments(
            log_det=log_det.sum(axis=1),
            cross=self.w_w - _summed(self.z_e[..., m:], weight[:, None, :, None] * z_v_w),
            cross_k=_summed(each, z_v_w).reshape(q, -1, width, width),
            cross_kl=_summed(each, z_v_z @ each).reshape(q, gamma.shape[1], width, -1, width).swapaxes(2, 3),
            trace_k=np.diagonal(z_v_z, axis1=-2, axis2=-1).sum(axis=1) @ of_term,
            trace_kl=of_term.T @ (z_v_z**2).sum(axis=1) @ of_term,
        )

    def _through(self, weight: Array) -> tuple[Array, Array]:
        """Return Z'V^-1 E = (I + Z'Z D)^-1 Z'E and log|V| of the blocks, with the diagonal `weight` (q, 1, m) of D.

        The groups of one term share no score, so that Z'Z is diagonal in the largest: it is eliminated first.
        """
        own = max(self.columns, key=lambda columns: columns.stop - columns.start)
        rest = np.delete(np.arange(weight.shape[-1]), own)
        z_own, z_rest = self.z_e[:, :, own], self.z_e[:, :, rest]
        pivot = 1 + np.diagonal(z_own[..., own], axis1=-2, axis2=-1) * weight[..., own]
        between = z_own[..., rest] * weight[..., None, rest]
        across = z_rest[..., own] * (weight[..., own] / pivot)[..., None, :]
        left = np.eye(len(rest)) + z_rest[..., rest] * weight[..., None, rest] - across @ between
        found = np.empty_like(self.z_e)
        found[:, :, rest] = solved = np.linalg.inv(left) @ (z_rest - across @ z_own)
        found[:, :, own] = (z_own - between @ solved) / pivot[..., None]
        return found, np.log(pivot).sum(axis=-1) + np.linalg.slogdet(left)[1]


def _summed(left: Array, right: Array) -> Array:
    """Return the sum over blocks of left' right for arrays (q, blocks, rows, columns)."""
    q, blocks, rows, columns = left.shape
    flat_left = left.reshape(q, blocks * rows, columns)
    flat_right = right.reshape(q, blocks * rows, right.shape[-1])
    return np.asarray(np.swapaxes(flat_left, -1, -2) @ flat_right)


def _repeated_without(values: Array, left_out: Codes, axis: int) -> Array:
    """Repeat `values` for each of those left out, along the first axis, with zero at its place on `axis`."""
    repeated = np.repeat(values[None], len(left_out), axis=0)
    for one, place in zip(repeated, left_out, strict=True):
        np.moveaxis(one, axis, 0)[place] = 0
    return repeated.reshape(-1, *values.shape[1:])


def block_design(response: Array, fixed: Array, groups: list[Codes]) -> _BlockDesign:
    """Sum the cross-products of a design, sorted into independent blocks.

    Parameters
    ----------
    response
        (n, q) scores, NaN where missing.
    fixed
        (n, p) fixed columns.
    groups
        One (n,) array of group numbers for each random term.
    """
    block, place, columns, m = _layout(groups)
    n_blocks, q, p = int(block.max()) + 1, response.shape[1], fixed.shape[1]
    z_e = np.zeros((q, n_blocks, m, m + p + 1))
    w_w, n_scores = np.empty((q, p + 1, p + 1)), np.empty(q)
    for rows, chosen in missing_patterns(response):
        x, y = fixed[rows], response[rows][:, chosen]
        w_w[chosen] = each_response(x, y)
        n_scores[chosen] = len(x)
        own = [block[rows] * m + where[rows] for where in place]
        for left, right in combinations_with_replacement(range(len(own)), 2):
            counts = np.bincount(own[left] * m + own[right] % m, minlength=n_blocks * m * m)
            counts = counts.reshape(n_blocks, m, m)
            z_e[chosen, :, :, :m] += counts if left == right else counts + np.swapaxes(counts, -1, -2)
        sums = np.zeros((n_blocks * m, p + len(chosen)))
        for column in own:
            np.add.at(sums, column, np.hstack([x, y]))
        by_block = sums.reshape(n_blocks, m, -1)
        z_e[chosen, :, :, m:-1] = by_block[..., :p]
        z_e[chosen, :, :, -1] = np.moveaxis(by_block[..., p:], -1, 0)
    return _BlockDesign(z_e, w_w, columns, n_scores)


def missing_patterns(response: Array) -> list[tuple[NDArray[np.bool_], Codes]]:
    """Return, for each pattern of missing scores, the rows that are there and the responses that share it."""
    present = np.isfinite(response)
    if present.all():
        return [(np.ones(len(response), dtype=bool), np.arange(response.shape[1]))]
    packed = np.packbits(present, axis=0).T
    _, first, which = np.unique(packed, axis=0, return_index=True, return_inverse=True)
    return [(present[:, place], np.flatnonzero(which.reshape(-1) == k)) for k, place in enumerate(first)]


def each_response(x: Array, y: Array) -> Array:
    """Return the cross-products (q, p + 1, p + 1) of [X, y] for each column y of the responses."""
    p = x.shape[1]
    products = np.empty((y.shape[1], p + 1, p + 1))
    products[:, :p, :p] = x.T @ x
    products[:, :p, p] = products[:, p, :p] = y.T @ x
    products[:, p, p] = np.einsum("ij,ij->j", y, y)
    return products


def _layout(groups: list[Codes]) -> tuple[Codes, list[Codes], tuple[slice, ...], int]:
    """Return each row's block, its column within the block for each term, each term's columns, and their number."""
    block = connected(groups)
    places, columns, start = [], [], 0
    for group in groups:
        names, first, code = np.unique(group, return_index=True, return_inverse=True)
        owner = block[first]
        order = np.argsort(owner, kind="stable")
        sizes = np.bincount(owner)
        rank = np.empty(len(names), dtype=np.intp)
        rank[order] = np.arange(len(names)) - np.repeat(np.cumsum(sizes) - sizes, sizes)
        places.append(start + rank[code.reshape(-1)])
        columns.append(slice(start, start + int(sizes.max())))
        start += int(sizes.max())
    return block, places, tuple(columns), start


def connected(groups: list[Codes]) -> Codes:
    """Return a block number for each row: rows joined by any shared group are in one block."""
    block = np.unique(groups[0], return_inverse=True)[1].reshape(-1)
    changed = True
    while changed:
        before = block
        for group in groups:
            smallest = np.full(int(group.max()) + 1, len(block))
            np.minimum.at(smallest, group, block)
            block = smallest[group]
        changed = bool((block != before).any())
    return np.asarray(np.unique(block, return_inverse=True)[1].reshape(-1))


@dataclass(frozen=True, eq=False, slots=True)
class _InterceptDesign:
    """A single random intercept: V_i = I + gamma 1 1', so groups of one size n share everything.

    With s_i the column sums of W over group i, V_i^-1 = I - gamma / (1 + gamma n) 1 1'; sizes are padded with 1,
    their `times` with 0.
    """

    w_w: Array  # (q, p + 1, p + 1), W'W
    size: Array  # (q, sizes), the distinct group sizes
    times: Array  # (q, sizes), how many groups have that size
    sums: Array  # (q, sizes, p + 1, p + 1), sum of s s' over the groups of that size
    n_scores: Array  # (q,)

    @property
    def n_fixed(self) -> int:
        """Number of fixed columns."""
        return int(self.w_w.shape[-1]) - 1

    def select(self, chosen: NDArray[np.bool_]) -> _InterceptDesign:
        """Return the design of the `chosen` responses."""
        return _InterceptDesign(
            self.w_w[chosen], self.size[chosen], self.times[chosen], self.sums[chosen], self.n_scores[chosen]
        )

    def moments(self, gamma: Array) -> Moments:
        """Return the moments at relative variances `gamma` (q, 1)."""
        n, d = self.size, 1 + gamma * self.size
        return Moments(
            log_det=(self.times * np.log(d)).sum(axis=1),
            cross=self.w_w - np.einsum("qs,qsij->qij", gamma / d, self.sums),
            cross_k=np.einsum("qs,qsij->qij", d**-2, self.sums)[:, None],
            cross_kl=np.einsum("qs,qsij->qij", n * d**-3, self.sums)[:, None, None],
            trace_k=(self.times * n / d).sum(axis=1)[:, None],
            trace_kl=(self.times * (n / d) ** 2).sum(axis=1)[:, None, None],
        )


def intercept_design(response: Array, fixed: Array, group: Codes) -> _InterceptDesign:
    """Sum a single-intercept design in one pass per pattern of missing scores; arguments as `block_design`."""
    q, p = response.shape[1], fixed.shape[1]
    largest = int(np.bincount(group).max())
    w_w, n_scores = np.empty((q, p + 1, p + 1)), np.empty(q)
    times, sums = np.zeros((q, largest)), np.zeros((q, largest, p + 1, p + 1))
    for rows, chosen in missing_patterns(response):
        whole = rows.all() and len(chosen) == q  # no copy
        x, y = (fixed, response) if whole else (fixed[rows], response[rows][:, chosen])
        w_w[chosen] = each_response(x, y)
        n_scores[chosen] = len(x)
        of = group[rows]
        order = np.argsort(of, kind="stable")
        starts = np.flatnonzero(np.r_[True, np.diff(of[order]) != 0])
        sizes = np.diff(starts, append=len(of))
        for n in np.unique(sizes):
            own = order[starts[sizes == n][:, None] + np.arange(n)]
            times[chosen, n - 1] = len(own)
            sums[chosen, n - 1] = each_response(np.ones(n) @ x[own], np.ones(n) @ y[own])
    held = times.any(axis=0)
    size_of = np.broadcast_to(np.arange(1.0, largest + 1), times.shape)
    return _InterceptDesign(w_w, size_of[:, held], times[:, held], sums[:, held], n_scores)


# The moments where some random terms run across the blocks of the others, such as sessions across assessors.
#
# The terms within an anchor (assessor, assessor x prototype, ...) make blocks, V_0; the columns B of the terms across
# them are carried beside the fixed ones, and come in by Woodbury's identity: V^-1 = V_0^-1 - V_0^-1 B M B'V_0^-1 with
# M = (D^-1 + B'V_0^-1 B)^-1, D the diagonal of their relative variances. The cost is that of the blocks, and of a
# matrix as large as the number of groups of the terms across.


@dataclass(frozen=True, eq=False, slots=True)
class _BorderDesign:
    """A block design that carries the columns of the terms across between its fixed ones and the response."""

    blocks: _BlockDesign
    within: tuple[int, ...]  # places of the terms that make the blocks
    across: tuple[int, ...]  # places of the others
    columns: tuple[slice, ...]  # which of the columns of B belong to each term across
    n_fixed: int

    @property
    def n_scores(self) -> Array:
        """Number of scores, (q,)."""
        return self.blocks.n_scores

    def select(self, chosen: NDArray[np.bool_]) -> _BorderDesign:
        """Return the design of the `chosen` responses."""
        return _BorderDesign(self.blocks.select(chosen), self.within, self.across, self.columns, self.n_fixed)

    def moments(self, gamma: Array) -> Moments:
        """Return the moments at relative variances `gamma` (q, K)."""
        inner = self.blocks.moments(gamma[:, self.within])
        p, n_border = self.n_fixed, self.columns[-1].stop
        b = slice(p, p + n_border)
        root = np.sqrt(np.repeat(gamma[:, self.across], [c.stop - c.start for c in self.columns], axis=1))
        s = np.eye(n_border) + root[:, :, None] * inner.cross[:, b, b] * root[:, None, :]
        m = root[:, :, None] * np.linalg.inv(s) * root[:, None, :]
        # with E = [X, B, y]: V^-1 E = V_0^-1 E through
        through = np.broadcast_to(np.eye(inner.cross.shape[-1]), inner.cross.shape).copy()
        through[:, b] -= m @ inner.cross[:, b]
        cross = inner.cross @ through
        w = np.r_[0:p, cross.shape[-1] - 1]
        cross_k, cross_kl = _within(inner, b, m, through, w)
        found = Moments(
            log_det=inner.log_det + np.linalg.slogdet(s)[1],
            cross=cross,
            cross_k=cross_k,
            cross_kl=cross_kl,
            trace_k=inner.trace_k - _trace_of(m[:, None], inner.cross_k[:, :, b, b]),
            trace_kl=inner.trace_kl - _lost(m, inner, b),
        )
        columns = [slice(p + column.start, p + column.stop) for column in self.columns]
        return _with_across(found, columns, w, np.argsort([*self.within, *self.across]))


def _within(inner: Moments, b: slice, m: Array, through: Array, w: Codes) -> tuple[Array, Array]:
    """Return E'V^-1 G_k V^-1 E and W'V^-1 G_k V^-1 G_l V^-1 W for the terms that make the blocks."""
    left, to_w = np.swapaxes(through, -1, -2), through[:, :, w]
    cross_k = left[:, None] @ inner.cross_k @ through[:, None]
    half = inner.cross_k @ to_w[:, None]
    at_border = half[..., b, :]
    between = np.swapaxes(at_border, -1, -2)[:, :, None] @ (m[:, None] @ at_border)[:, None]
    double = np.swapaxes(to_w, -1, -2)[:, None, None] @ (inner.cross_kl @ to_w[:, None, None])
    return cross_k, double - between


def _lost(m: Array, inner: Moments, b: slice) -> Array:
    """Return by how much tr(V^-1 G_k V^-1 G_l) is less than the same within the blocks."""
    carried = m[:, None] @ inner.cross_k[:, :, b, b]
    return np.asarray(
        2 * _trace_of(m[:, None, None], inner.cross_kl[..., b, b])
        - np.einsum("qkij,qlji->qkl", carried, carried, optimize=True)
    )


def _trace_of(left: Array, right: Array) -> Array:
    """Return the trace of left @ right for a symmetric `left`."""
    return np.asarray((left * right).sum(axis=(-2, -1)))


def _with_across(m: Moments, columns: list[slice], w: Codes, order: Codes) -> Moments:
    """Return the moments over W with the terms across added, G_k = B_k B_k', and all of them put in `order`."""
    ends = [m.cross[:, :, at] @ m.cross[:, at] for at in columns]
    cross_k = np.concatenate([m.cross_k, np.stack(ends, axis=1)], axis=1)
    q, k = cross_k.shape[:2]
    n_within = k - len(columns)
    cross_kl, trace_kl = np.empty((q, k, k, len(w), len(w))), np.empty((q, k, k))
    cross_kl[:, :n_within, :n_within], trace_kl[:, :n_within, :n_within] = m.cross_kl, m.trace_kl
    for term, at in enumerate(columns, start=n_within):
        cross_kl[:, :, term] = cross_k[:, :, w, at] @ m.cross[:, None, at, w]
        cross_kl[:, term] = np.swapaxes(cross_kl[:, :, term], -1, -2)
        trace_kl[:, :, term] = trace_kl[:, term] = np.trace(cross_k[..., at, at], axis1=-2, axis2=-1)
    trace_k = [np.trace(m.cross[:, at, at], axis1=-2, axis2=-1) for at in columns]
    return Moments(
        log_det=m.log_det,
        cross=m.cross[:, w[:, None], w],
        cross_k=cross_k[:, order][:, :, w[:, None], w],
        cross_kl=cross_kl[:, order][:, :, order],
        trace_k=np.column_stack([m.trace_k, *trace_k])[:, order],
        trace_kl=trace_kl[:, order][:, :, order],
    )


def border_design(response: Array, fixed: Array, groups: list[Codes]) -> _BorderDesign | _BlockDesign:
    """Sum a design by the blocks that cost least, the terms across them as a border; arguments as `block_design`."""
    within = min(_anchored(groups), key=lambda inside: _cost(groups, inside))
    across = tuple(k for k in range(len(groups)) if k not in within)
    if not across:
        return block_design(response, fixed, groups)
    border = [np.eye(int(groups[k].max()) + 1)[groups[k]] for k in across]
    border = [columns[:, columns.any(axis=0)] for columns in border]
    ends = np.cumsum([0, *(columns.shape[1] for columns in border)])
    blocks = block_design(response, np.hstack([fixed, *border]), [groups[k] for k in within])
    columns = tuple(slice(int(start), int(stop)) for start, stop in pairwise(ends))
    return _BorderDesign(blocks, within, across, columns, fixed.shape[1])


def _anchored(groups: list[Codes]) -> list[tuple[int, ...]]:
    """Return choices of terms that make the blocks: all of them, or those within the groups of one term."""
    choices = [tuple(range(len(groups)))]
    for anchor in groups:
        n = int(anchor.max()) + 1
        lies_within = [len(np.unique(own * n + anchor)) == len(np.unique(own)) for own in groups]
        choices.append(tuple(k for k, lies in enumerate(lies_within) if lies))
    return choices


def _cost(groups: list[Codes], within: tuple[int, ...]) -> float:
    """Return about how many multiplications one evaluation takes."""
    block = connected([groups[k] for k in within])
    n_blocks = int(block.max()) + 1
    n_border = sum(len(np.unique(group)) for k, group in enumerate(groups) if k not in within)
    in_block = 0
    for k in within:
        _, first = np.unique(groups[k], return_index=True)
        in_block += int(np.bincount(block[first]).max())
    return float(n_blocks * in_block * (in_block + n_border) ** 2 + n_border**3)


@dataclass(frozen=True, eq=False, slots=True)
class _NestedDesign:
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

    def select(self, chosen: NDArray[np.bool_]) -> _NestedDesign:
        """Return the design of the `chosen` responses."""
        parts = (self.cells[chosen], self.sums[chosen], self.squares[chosen], self.n_scores[chosen])
        return _NestedDesign(self.w_w[chosen], self.size, *parts)

    def without(self, groups: Codes, w_w: Array, n_scores: Array, squares: Array) -> _NestedDesign:
        """Return the design without each of `groups` in turn, (len(groups) q) responses, with the sums that are left.

        `w_w`, `n_scores` and `squares`, of all these responses, are the sums of all groups but the one left out.
        """
        cells, sums = (_repeated_without(each, groups, 2) for each in (self.cells, self.sums))
        return _NestedDesign(w_w, self.size, cells, sums, squares, n_scores)

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
class _CellSums:
    """Column sums of W over the cells of a nested design, group by group."""

    size: Array  # (R,), the sizes of cells
    counts: Codes  # (q, cells), the scores of each cell
    by_size: Array  # (q, R, cells, p + 1), zero but for the cell's own size
    first: Codes  # (groups,), the first cell of each group

    def squares(self, cells: slice = slice(None)) -> Array:
        """Return the products of the column sums of each cell, summed over these cells, (q, R, p + 1, p + 1)."""
        chosen = self.by_size[:, :, cells]
        return np.asarray(np.swapaxes(chosen, -1, -2) @ chosen)

    def design(self, w_w: Array, n_scores: Array) -> _NestedDesign:
        """Return the design of all groups."""
        of_size = (self.counts[:, None] == self.size[:, None]).astype(float)
        sums = np.add.reduceat(self.by_size, self.first, axis=2)
        cells = np.add.reduceat(of_size, self.first, axis=2)
        return _NestedDesign(w_w, self.size, cells, sums, self.squares(), n_scores)


def is_nested(groups: list[Codes]) -> bool:
    """Return whether there are two terms, the second within the first."""
    if len(groups) != 2:
        return False
    group, cell = groups
    return len(np.unique(cell * (int(group.max()) + 1) + group)) == len(np.unique(cell))


def nested_design(response: Array, fixed: Array, groups: list[Codes]) -> _NestedDesign:
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


def cell_sums(columns: Array, response: Array, groups: list[Codes]) -> _CellSums:
    """Sum the `columns` of each response over the cells, the second of `groups`; see `each_columns`."""
    group, cell = groups
    order = np.lexsort((cell, group))
    starts = np.flatnonzero(np.r_[True, np.diff(cell[order]) != 0])
    counts = np.add.reduceat(np.isfinite(response[order]), starts, axis=0, dtype=np.intp).T
    size = np.unique(counts[counts > 0]).astype(float)
    sums = np.add.reduceat(columns[:, order], starts, axis=1)
    by_size = np.where((counts[:, None] == size[:, None])[..., None], sums[:, None], 0.0)
    return _CellSums(size, counts, by_size, np.flatnonzero(np.r_[True, np.diff(group[order][starts]) != 0]))
