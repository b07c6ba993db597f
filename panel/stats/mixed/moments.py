"""What a REML criterion needs to know of the data, at given relative variances.

The model of one response is y = X b + sum_k Z_k u_k + e with u_k ~ N(0, gamma_k s2 I), e ~ N(0, s2 I), so that
V(gamma) = I + sum_k gamma_k Z_k Z_k'. With W = [X, y] everything REML, Satterthwaite and Kenward-Roger need are
cross-products of W through V^-1 and traces. With Z = [Z_1 ... Z_K], D the diagonal of the gammas and
S = I + D^1/2 Z'Z D^1/2, Woodbury's identity gives V^-1 = I - Z T Z' with T = D^1/2 S^-1 D^1/2, and log|V| = log|S|:
the rows are needed only once, for Z'Z, Z'W and W'W. These fall apart into blocks that share no random effect,
here usually the assessors, and all responses are worked at once.

Several ways to the same moments: `BlockDesign` for any random terms, `InterceptDesign` for a single one, whose cost
does not grow with the number of groups beyond one pass over the rows (many consumers); two terms of which one lies
within the other stand in `panel.stats.mixed.nested_moments`.
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
class BlockDesign:
    """Cross-products by block; see `block_design`. m is the largest number of random effects in a block."""

    z_z: Array  # (q, blocks, m, m), Z'Z, zero where padded
    z_w: Array  # (q, blocks, m, p + 1), Z'W
    w_w: Array  # (q, p + 1, p + 1), W'W
    columns: tuple[slice, ...]  # which of the m columns belong to each random term
    n_scores: Array  # (q,)

    @property
    def n_fixed(self) -> int:
        """Number of fixed columns."""
        return int(self.w_w.shape[-1]) - 1

    def select(self, chosen: NDArray[np.bool_]) -> BlockDesign:
        """Return the design of the `chosen` responses."""
        return BlockDesign(self.z_z[chosen], self.z_w[chosen], self.w_w[chosen], self.columns, self.n_scores[chosen])

    def without(self, blocks: Codes, w_w: Array, n_scores: Array) -> BlockDesign:
        """Return the design without each of `blocks` in turn, (len(blocks) q) responses, with the sums that are left.

        `w_w` and `n_scores`, of all these responses, are the sums of all blocks but the one left out.
        """
        z_z, z_w = (repeated_without(each, blocks, 1) for each in (self.z_z, self.z_w))
        return BlockDesign(z_z, z_w, w_w, self.columns, n_scores)

    def moments(self, gamma: Array) -> Moments:
        """Return the moments at relative variances `gamma` (q, K)."""
        q, _, m, _ = self.z_z.shape
        root = np.zeros((q, 1, m))
        for k, columns in enumerate(self.columns):
            root[:, 0, columns] = np.sqrt(gamma[:, k, None])
        s = np.eye(m) + root[..., :, None] * self.z_z * root[..., None, :]
        log_det = np.linalg.slogdet(s)[1].sum(axis=1)
        t = root[..., :, None] * np.linalg.inv(s) * root[..., None, :]
        through = np.eye(m) - self.z_z @ t
        z_v_z = through @ self.z_z
        z_v_w = through @ self.z_w
        cross = self.w_w - _summed(self.z_w, t @ self.z_w)
        terms = range(len(self.columns))
        own = [z_v_w[:, :, columns] for columns in self.columns]
        between = [[z_v_z[:, :, left, right] for right in self.columns] for left in self.columns]
        pairs = list(combinations_with_replacement(terms, 2))
        products = {(i, j): _summed(own[i], between[i][j] @ own[j]) for i, j in pairs}
        products |= {(j, i): np.swapaxes(products[i, j], -1, -2) for i, j in pairs}
        traces = {pair: (between[pair[0]][pair[1]] ** 2).sum(axis=(1, 2, 3)) for pair in pairs}
        return Moments(
            log_det=log_det,
            cross=cross,
            cross_k=np.stack([_summed(part, part) for part in own], axis=1),
            cross_kl=np.stack([np.stack([products[i, j] for j in terms], axis=1) for i in terms], axis=1),
            trace_k=np.stack([np.trace(between[i][i], axis1=-2, axis2=-1).sum(axis=1) for i in terms], axis=1),
            trace_kl=np.stack([np.stack([traces[min(i, j), max(i, j)] for j in terms], axis=1) for i in terms], axis=1),
        )


def _summed(left: Array, right: Array) -> Array:
    """Return the sum over blocks of left' right for arrays (q, blocks, rows, columns)."""
    q, blocks, rows, columns = left.shape
    flat_left = left.reshape(q, blocks * rows, columns)
    flat_right = right.reshape(q, blocks * rows, right.shape[-1])
    return np.asarray(np.swapaxes(flat_left, -1, -2) @ flat_right)


def repeated_without(values: Array, left_out: Codes, axis: int) -> Array:
    """Repeat `values` for each of those left out, along the first axis, with zero at its place on `axis`."""
    repeated = np.repeat(values[None], len(left_out), axis=0)
    for one, place in zip(repeated, left_out, strict=True):
        np.moveaxis(one, axis, 0)[place] = 0
    return repeated.reshape(-1, *values.shape[1:])


def block_design(response: Array, fixed: Array, groups: list[Codes]) -> BlockDesign:
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
    z_z, z_w = np.zeros((q, n_blocks, m, m)), np.zeros((q, n_blocks, m, p + 1))
    w_w, n_scores = np.empty((q, p + 1, p + 1)), np.empty(q)
    for rows, chosen in missing_patterns(response):
        w = np.hstack([fixed[rows], response[rows][:, chosen]])
        w_w[chosen] = _each_response(w.T @ w, p)
        n_scores[chosen] = rows.sum()
        own = [block[rows] * m + where[rows] for where in place]
        for left, right in combinations_with_replacement(range(len(own)), 2):
            counts = np.bincount(own[left] * m + own[right] % m, minlength=n_blocks * m * m)
            counts = counts.reshape(n_blocks, m, m)
            z_z[chosen] += counts if left == right else counts + np.swapaxes(counts, -1, -2)
        sums = np.zeros((n_blocks * m, w.shape[1]))
        for column in own:
            np.add.at(sums, column, w)
        by_block = sums.reshape(n_blocks, m, -1)
        z_w[chosen, :, :, :p] = by_block[..., :p]
        z_w[chosen, :, :, p] = np.moveaxis(by_block[..., p:], -1, 0)
    return BlockDesign(z_z, z_w, w_w, columns, n_scores)


def missing_patterns(response: Array) -> list[tuple[NDArray[np.bool_], Codes]]:
    """Return, for each pattern of missing scores, the rows that are there and the responses that share it."""
    present = np.isfinite(response)
    if present.all():
        return [(np.ones(len(response), dtype=bool), np.arange(response.shape[1]))]
    packed = np.packbits(present, axis=0).T
    _, first, which = np.unique(packed, axis=0, return_index=True, return_inverse=True)
    return [(present[:, place], np.flatnonzero(which.reshape(-1) == k)) for k, place in enumerate(first)]


def _each_response(products: Array, p: int) -> Array:
    """Cut the (p + q, p + q) cross-products of [X, Y] into the (p + 1, p + 1) ones of each response."""
    q = products.shape[0] - p
    cut = np.empty((q, p + 1, p + 1))
    cut[:, :p, :p] = products[:p, :p]
    cut[:, :p, p] = cut[:, p, :p] = products[:p, p:].T
    cut[:, p, p] = np.diagonal(products)[p:]
    return cut


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
class InterceptDesign:
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

    def select(self, chosen: NDArray[np.bool_]) -> InterceptDesign:
        """Return the design of the `chosen` responses."""
        return InterceptDesign(
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


def intercept_design(response: Array, fixed: Array, group: Codes) -> InterceptDesign:
    """Sum a single-intercept design in one pass per pattern of missing scores; arguments as `block_design`."""
    q, p = response.shape[1], fixed.shape[1]
    largest = int(np.bincount(group).max())
    w_w, n_scores = np.empty((q, p + 1, p + 1)), np.empty(q)
    times, sums = np.zeros((q, largest)), np.zeros((q, largest, p + 1, p + 1))
    for rows, chosen in missing_patterns(response):
        w = np.hstack([fixed[rows], response[rows][:, chosen]])
        w_w[chosen] = _each_response(w.T @ w, p)
        n_scores[chosen] = len(w)
        order = np.argsort(group[rows], kind="stable")
        starts = np.flatnonzero(np.r_[True, np.diff(group[rows][order]) != 0])
        totals = np.add.reduceat(w[order], starts, axis=0)
        size = np.diff(np.r_[starts, len(w)])
        for n in np.unique(size):
            part = totals[size == n]
            times[chosen, n - 1] = len(part)
            sums[chosen, n - 1] = _each_response(part.T @ part, p)
    held = times.any(axis=0)
    size_of = np.broadcast_to(np.arange(1.0, largest + 1), times.shape)
    return InterceptDesign(w_w, size_of[:, held], times[:, held], sums[:, held], n_scores)


# The moments where some random terms run across the blocks of the others, such as sessions across assessors.
#
# The terms within an anchor (assessor, assessor x prototype, ...) make blocks, V_0; the columns B of the terms across
# them are carried beside the fixed ones, and come in by Woodbury's identity: V^-1 = V_0^-1 - V_0^-1 B M B'V_0^-1 with
# M = (D^-1 + B'V_0^-1 B)^-1, D the diagonal of their relative variances. The cost is that of the blocks, and of a
# matrix as large as the number of groups of the terms across.


@dataclass(frozen=True, eq=False, slots=True)
class BorderDesign:
    """A block design that carries the columns of the terms across between its fixed ones and the response."""

    blocks: BlockDesign
    within: tuple[int, ...]  # places of the terms that make the blocks
    across: tuple[int, ...]  # places of the others
    columns: tuple[slice, ...]  # which of the columns of B belong to each term across
    n_fixed: int

    @property
    def n_scores(self) -> Array:
        """Number of scores, (q,)."""
        return self.blocks.n_scores

    def select(self, chosen: NDArray[np.bool_]) -> BorderDesign:
        """Return the design of the `chosen` responses."""
        return BorderDesign(self.blocks.select(chosen), self.within, self.across, self.columns, self.n_fixed)

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


def border_design(response: Array, fixed: Array, groups: list[Codes]) -> BorderDesign | BlockDesign:
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
    return BorderDesign(blocks, within, across, columns, fixed.shape[1])


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


# The moments where every random term is balanced against every other: a few sums of squares hold everything.
#
# Terms that split the rows into groups of one size, any two of them in even proportions, leave the rows in strata in
# which V is a number: V = sum of level_s Q_s with Q_s the projections on the strata (Tjur 1984, Int. Stat. Rev.
# 52:33-65; Nelder 1965, Proc. R. Soc. A 283:147-162). A crossed panel of five terms then costs as little as one mean
# square per stratum. What is fixed may be anything.


@dataclass(frozen=True, eq=False, slots=True)
class StrataDesign:
    """Cross-products by stratum; see `strata_design`."""

    squares: Array  # (q, strata, p + 1, p + 1), W'Q_s W
    df: Array  # (strata,), the rank of Q_s
    loads: Array  # (K, strata), how often the variance of a term counts in a stratum
    n_scores: Array  # (q,)

    @property
    def n_fixed(self) -> int:
        """Number of fixed columns."""
        return int(self.squares.shape[-1]) - 1

    def select(self, chosen: NDArray[np.bool_]) -> StrataDesign:
        """Return the design of the `chosen` responses."""
        return StrataDesign(self.squares[chosen], self.df, self.loads, self.n_scores[chosen])

    def moments(self, gamma: Array) -> Moments:
        """Return the moments at relative variances `gamma` (q, K)."""
        level = 1 + gamma @ self.loads
        single = self.loads / level[:, None]
        double = single[:, :, None] * single[:, None, :]
        return Moments(
            log_det=np.log(level) @ self.df,
            cross=self._weighted(1 / level),
            cross_k=self._weighted(single / level[:, None]),
            cross_kl=self._weighted(double / level[:, None, None]),
            trace_k=single @ self.df,
            trace_kl=double @ self.df,
        )

    def _weighted(self, weights: Array) -> Array:
        """Return the cross-products summed over the strata with `weights` (q, ..., strata)."""
        q, strata, width, _ = self.squares.shape
        flat = weights.reshape(q, -1, strata) @ self.squares.reshape(q, strata, -1)
        return np.asarray(flat.reshape(*weights.shape[:-1], width, width))


def strata_design(response: Array, fixed: Array, groups: list[Codes]) -> StrataDesign | None:
    """Sum a design by strata, or return None where the terms are not balanced; arguments as `block_design`."""
    parts = _strata_parts(response, fixed, groups)
    if parts is None:
        return None
    projected, df, loads = parts
    squares = np.stack([_each_response(part.T @ part, fixed.shape[1]) for part in projected], axis=1)
    return StrataDesign(squares, df, loads, np.full(response.shape[1], float(len(response))))


def strata_without_groups(response: Array, fixed: Array, groups: list[Codes]) -> StrataDesign | None:
    """Return the design without each group of the first term in turn, (groups q) responses, group by group.

    None where the terms are not balanced, or not all within the first.
    """
    group = np.unique(groups[0], return_inverse=True)[1].reshape(-1)
    nested = all(_is_finer(np.unique(other, return_inverse=True)[1].reshape(-1), group) for other in groups)
    parts = _strata_parts(response, fixed, groups) if nested else None
    if parts is None:
        return None
    projected, df, loads = parts
    size, p, q = _size(group), fixed.shape[1], response.shape[1]
    rows = np.argsort(group, kind="stable").reshape(size, -1)
    own = np.empty((size, q, len(projected), p + 1, p + 1))
    for stratum, part in enumerate(projected):
        for place, held in enumerate(rows):
            own[place, :, stratum] = _each_response(part[held].T @ part[held], p)
    squares = (own.sum(axis=0) - own).reshape(size * q, *own.shape[2:])
    n_scores = np.full(size * q, float(len(response) - rows.shape[1]))
    return StrataDesign(squares, df * (size - 1) / size, loads, n_scores)


def _strata_parts(response: Array, fixed: Array, groups: list[Codes]) -> tuple[list[Array], Array, Array] | None:
    """Return [X, Y] projected on each stratum, the ranks of the strata, and the loads of the terms."""
    n = len(response)
    groups = [np.unique(group, return_inverse=True)[1].reshape(-1) for group in groups]
    factors = _strata(groups) if np.isfinite(response).all() else None
    if factors is None:
        return None
    rest = np.hstack([fixed, response])
    parts: list[Array] = []
    df: list[int] = []
    for place, factor in enumerate(factors):
        parts.append(_group_means(factor, rest)[factor])
        rest = rest - parts[-1]
        coarser = [df[earlier] for earlier in range(place) if _is_finer(factor, factors[earlier])]
        df.append(_size(factor) - sum(coarser))
    loads = np.zeros((len(groups), len(factors) + 1))
    for term, group in enumerate(groups):
        held = [_is_finer(group, factor) for factor in factors]
        loads[term, :-1] = np.where(held, n / _size(group), 0.0)
    return [*parts, rest], np.array([*df, n - sum(df)], dtype=float), loads


def _strata(groups: list[Codes]) -> list[Codes] | None:
    """Return the terms and all that two of them share, coarse before fine; None if they are not balanced."""
    factors: list[Codes] = []
    waiting = list(groups)
    while waiting:
        new = waiting.pop()
        if np.ptp(np.bincount(new)):
            return None
        meetings = [_meetings(new, old) for old in factors]
        if any(_size(new) == _size(old) == len(met) for old, met in zip(factors, meetings, strict=True)):
            continue  # known already
        for old, met in zip(factors, meetings, strict=True):
            if len(met) == max(_size(new), _size(old)):
                continue  # one lies within the other: what they share is known
            shared = connected([new, old])
            # within what they share every group of the one meets every group of the other, and equally often
            if np.ptp(met) or len(met) * _size(shared) != _size(new) * _size(old):
                return None
            waiting.append(shared)
        factors.append(new)
    return sorted(factors, key=_size)


def _meetings(first: Codes, second: Codes) -> Codes:
    """Return how many rows two groups have in common, for all that have any."""
    counts = np.bincount(first * _size(second) + second)
    return counts[counts > 0]


def _is_finer(group: Codes, other: Codes) -> bool:
    """Return whether each group lies within one group of `other`."""
    return len(_meetings(group, other)) == _size(group)


def _size(group: Codes) -> int:
    return int(group.max()) + 1


def _group_means(group: Codes, values: Array) -> Array:
    """Return the means of groups of one size."""
    order = np.argsort(group, kind="stable")
    return np.asarray(values[order].reshape(_size(group), -1, values.shape[1]).mean(axis=1))
