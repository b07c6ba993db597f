"""What a REML criterion needs to know of the data, at given relative variances.

The model of one response is y = X b + sum_k Z_k u_k + e with u_k ~ N(0, gamma_k s2 I), e ~ N(0, s2 I), so that
V(gamma) = I + sum_k gamma_k Z_k Z_k'. With W = [X, y] everything REML, Satterthwaite and Kenward-Roger need are
cross-products of W through V^-1 and traces. With Z = [Z_1 ... Z_K], D the diagonal of the gammas and
S = I + D^1/2 Z'Z D^1/2, Woodbury's identity gives V^-1 = I - Z T Z' with T = D^1/2 S^-1 D^1/2, and log|V| = log|S|:
the rows are needed only once, for Z'Z, Z'W and W'W. These fall apart into blocks that share no random effect,
here usually the assessors, and all responses are worked at once.

Two ways to the same moments: `BlockDesign` for any random terms, `InterceptDesign` for a single one, whose cost
does not grow with the number of groups beyond one pass over the rows (many consumers).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations_with_replacement

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
        w_w[chosen] = each_response(w.T @ w, p)
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


def each_response(products: Array, p: int) -> Array:
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
        w_w[chosen] = each_response(w.T @ w, p)
        n_scores[chosen] = len(w)
        order = np.argsort(group[rows], kind="stable")
        starts = np.flatnonzero(np.r_[True, np.diff(group[rows][order]) != 0])
        totals = np.add.reduceat(w[order], starts, axis=0)
        size = np.diff(np.r_[starts, len(w)])
        for n in np.unique(size):
            part = totals[size == n]
            times[chosen, n - 1] = len(part)
            sums[chosen, n - 1] = each_response(part.T @ part, p)
    held = times.any(axis=0)
    size_of = np.broadcast_to(np.arange(1.0, largest + 1), times.shape)
    return InterceptDesign(w_w, size_of[:, held], times[:, held], sums[:, held], n_scores)
