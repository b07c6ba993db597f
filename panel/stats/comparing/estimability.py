"""Can a contrast be told from a factor that was not held even, and how much of its information is left?

The contrast is estimated by least squares with the factor added as fixed (Bose 1950; John 1980, Incomplete Block
Designs, ch. 1): with counts N (groups x levels), R and K their margins, the information on the groups is
C = R - N K^-1 N'. A contrast has an estimate if and only if it lies in the row space of C.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from panel.stats.arrays import Array, Codes

NO_DIRECTION = 1e-9  # eigenvalue, relative to the largest, and squared share of a contrast, that is only rounding


def joined(counts: ArrayLike) -> Codes:
    """Return for each group (row of counts) the number of the set of groups that common levels join it to.

    Numbers in the order of the groups. A group without any count is a set of its own.
    """
    met = np.asarray(counts) > 0
    reached = met.astype(float) @ met.T + np.eye(len(met)) > 0
    while True:
        further = reached.astype(float) @ reached > 0  # twice as many steps
        if (further == reached).all():
            return _in_order(reached.argmax(axis=1))
        reached = further


def information_left(counts: ArrayLike, contrasts: ArrayLike, columns: ArrayLike | None = None) -> Array:
    """Return for each contrast the share of its information that is left with the factor as fixed, (m,).

    Parameters
    ----------
    counts
        (n, f) scores of each group at each level of the factor.
    contrasts
        (m, b) contrasts of the columns.
    columns
        (n, b) model of the groups; by default each group has a mean of its own.

    1 where the factor takes nothing, 0 where the contrast cannot be told from it, NaN where it has no estimate even
    without the factor.
    """
    N, c = np.asarray(counts, dtype=float), np.asarray(contrasts, dtype=float)
    L = np.eye(len(N)) if columns is None else np.asarray(columns, dtype=float)
    totals = N.sum(axis=0)
    N, totals = N[:, totals > 0], totals[totals > 0]
    without = L.T @ (N.sum(axis=1)[:, None] * L)
    within = without - (L.T @ N / totals) @ (N.T @ L)
    alone, beside = _variances(without, c), _variances(within, c)
    with np.errstate(divide="ignore", invalid="ignore"):
        left = np.where(np.isinf(alone), np.nan, np.where(np.isinf(beside), 0.0, alone / beside))
    return np.asarray(np.clip(left, 0.0, 1.0))


def _variances(information: Array, contrasts: Array) -> Array:
    """Return c' C^- c of each contrast c, infinite where it has no estimate."""
    values, vectors = np.linalg.eigh(information)
    told = values > NO_DIRECTION * max(float(values[-1]), np.finfo(float).tiny)
    along = contrasts @ vectors
    outside = (along[:, ~told] ** 2).sum(axis=1) > NO_DIRECTION * (contrasts**2).sum(axis=1)
    return np.where(outside, np.inf, (along[:, told] ** 2 / values[told]).sum(axis=1))


def both_sets(first: ArrayLike, second: ArrayLike) -> Codes:
    """Return the sets of groups that lie together in both of two divisions, numbered in the order of the groups."""
    first, second = np.asarray(first), np.asarray(second)
    return _in_order(first * (int(second.max(initial=0)) + 1) + second)


def _in_order(label: np.ndarray) -> Codes:
    """Return the labels as numbers from 0 in the order in which they first come."""
    _, start, code = np.unique(label, return_index=True, return_inverse=True)
    return np.asarray(np.argsort(np.argsort(start))[code.reshape(-1)], dtype=np.intp)
