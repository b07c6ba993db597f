"""The moments where some random terms run across the blocks of the others, such as sessions across assessors.

The terms within an anchor (assessor, assessor x prototype, ...) make blocks, V_0; the columns B of the terms across
them are carried beside the fixed ones, and come in by Woodbury's identity: V^-1 = V_0^-1 - V_0^-1 B M B'V_0^-1 with
M = (D^-1 + B'V_0^-1 B)^-1, D the diagonal of their relative variances. The cost is that of the blocks, and of a matrix
as large as the number of groups of the terms across.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from panel.stats.arrays import Array, Codes
from panel.stats.mixed.moments import BlockDesign, Moments, block_design, connected


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
