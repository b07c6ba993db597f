"""How often chance alone spreads rank sums as far apart as these: exact, given the ties.

If the samples do not differ, every order of a block's ranks is as likely as every other, independently in each
block. The rank sums are then a sum of independent random rows, whose distribution is built block by block. Samples
are exchangeable, so that only sorted rank sums have to be kept.
"""

from __future__ import annotations

from itertools import permutations
from math import factorial, prod

import numpy as np
from numpy.typing import NDArray

from panel.stats.arrays import Array

EXACT_WORK = 2_000_000  # sums of a rank row with a vector of rank sums, about a second
_BATCH = 200_000  # rows sorted at a time, to bound the memory
_LARGEST_KEY = 2**62

Whole = NDArray[np.int64]


def exact_rank_sum_p(ranks: Array, *, work: int = EXACT_WORK) -> float | None:
    """Return P(sum of squared rank sums >= the observed one), or None where it would cost more than `work`.

    Parameters
    ----------
    ranks
        (n, k) ranks within complete blocks, ties sharing their mean rank.
    work
        Largest number of rank rows to add to vectors of rank sums.
    """
    twice = np.rint(2 * ranks).astype(np.int64)  # mean ranks of ties are halves
    n, k = twice.shape
    observed = int((twice.sum(axis=0) ** 2).sum())
    base = int(twice.sum(axis=0).max() + twice.max() * n) + 1
    rows = sorted((tuple(sorted(row)) for row in twice.tolist()), key=_orders)
    if base**k > _LARGEST_KEY or sum(map(_orders, rows[1:])) > work:  # at least that many, soon seen
        return None
    sums, weights = np.array([rows[0]], dtype=np.int64), np.ones(1)
    for row in rows[1:-1]:
        work -= len(sums) * _orders(row)
        if work < 0:
            return None
        sums, weights = _with_row(sums, weights, _all_orders(row), base)
    if len(sums) * _orders(rows[-1]) > work:
        return None
    return _upper_share(sums, weights, _all_orders(rows[-1]), observed)


def _orders(row: tuple[int, ...]) -> int:
    """Return in how many different orders the values of a row can stand."""
    return factorial(len(row)) // prod(factorial(row.count(value)) for value in set(row))


def _all_orders(row: tuple[int, ...]) -> Whole:
    return np.array(sorted(set(permutations(row))), dtype=np.int64)


def _with_row(sums: Whole, weights: Array, orders: Whole, base: int) -> tuple[Whole, Array]:
    """Add a block in all its orders: the sorted rank sums that can come out, and how likely each is."""
    power = base ** np.arange(sums.shape[1])
    keys, shares = np.zeros(0, dtype=np.int64), np.zeros(0)
    batch = max(1, _BATCH // len(orders))
    for start in range(0, len(sums), batch):
        added = np.sort(sums[start : start + batch, None, :] + orders, axis=2).reshape(-1, sums.shape[1])
        share = np.repeat(weights[start : start + batch] / len(orders), len(orders))
        keys, place = np.unique(np.concatenate([keys, added @ power]), return_inverse=True)
        together = np.concatenate([shares, share])
        shares = np.bincount(place.reshape(-1), weights=together, minlength=len(keys)).astype(float)
    return keys[:, None] // power % base, shares


def _upper_share(sums: Whole, weights: Array, orders: Whole, observed: int) -> float:
    """Return the probability that the squared rank sums add up to at least `observed` once the last block is in."""
    own = (sums**2).sum(axis=1)
    last = (orders[0] ** 2).sum()
    share = 0.0
    batch = max(1, _BATCH // len(orders))
    for start in range(0, len(sums), batch):
        part = slice(start, start + batch)
        reached = own[part, None] + last + 2 * (sums[part] @ orders.T) >= observed
        share += float(weights[part] @ reached.mean(axis=1))
    return min(share, 1.0)
