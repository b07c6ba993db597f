"""Do k samples differ when each of n blocks (people) has put them in order? Friedman's test on complete blocks.

Letters as in Conover (1999), Practical Nonparametric Statistics, 3rd ed., section 5.8: R(X_ij) ranks within
block i, R_j rank sums, A_1 sum of squared ranks, C_1 = n k (k + 1)^2 / 4.
"""

from __future__ import annotations

from itertools import permutations
from math import factorial, prod
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtrc

from panel.errors import ModelError
from panel.stats.arrays import Array, Whole

# How often chance alone spreads rank sums as far apart as these: exact, given the ties.
#
# If the samples do not differ, every order of a block's ranks is as likely as every other, independently in each
# block. The rank sums are then a sum of independent random rows, whose distribution is built block by block. Samples
# are exchangeable, so that only sorted rank sums have to be kept.


_EXACT_WORK = 2_000_000  # sums of a rank row with a vector of rank sums, about a second
_BATCH = 200_000  # rows sorted at a time, to bound the memory
_LARGEST_KEY = 2**62


def exact_rank_sum_p(ranks: Array, *, work: int = _EXACT_WORK) -> float | None:
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


# Do k samples differ when each of n blocks (people) has put them in order? Friedman's test on complete blocks.


def ranks_within_blocks(scores: ArrayLike) -> Array:
    """Return the rank of each score within its row, 1 the lowest, ties sharing their mean rank; NaN stays NaN."""
    x = np.asarray(scores, dtype=float)
    below = (x[:, None, :] < x[:, :, None]).sum(axis=2)
    alike = (x[:, None, :] == x[:, :, None]).sum(axis=2)
    return np.where(np.isnan(x), np.nan, below + (alike + 1) / 2)


def _complete_ranks(scores: ArrayLike) -> Array:
    """Return the ranks of complete blocks."""
    ranks = ranks_within_blocks(scores)
    if ranks.shape[0] < 2 or ranks.shape[1] < 2:
        raise ModelError(
            "Comparing ranks needs at least two assessors and two prototypes. Add assessors or prototypes."
        )
    if np.isnan(ranks).any():
        raise ModelError(
            "This rank test needs every prototype scored by every assessor. Leave out the assessors with gaps, or use "
            "a test for incomplete blocks."
        )
    if (np.ptp(ranks, axis=1) == 0).all():
        raise ModelError("Every assessor puts all prototypes level, so there is no order to compare.")
    return ranks


def friedman_test(scores: ArrayLike, *, work: int = _EXACT_WORK) -> dict[str, Any]:
    """Test whether the samples differ: `scores` (n, k), rows are blocks.

    By name: `statistic` chi-square corrected for ties, `df` = k - 1; `p_value`, from the permutations of the ranks
    themselves if `exact`, else from chi-square; `kendall_w`, agreement from 0 to 1.

    The p-value is exact, given the ties, where that costs at most `work` sums of rank rows
    (`panel.stats.answers.ranks`). Friedman (1937), J. Am. Stat. Assoc. 32:675; ties: Conover (1999).

    Raises
    ------
    ModelError
        As `_complete_ranks`.
    """
    ranks = _complete_ranks(scores)
    n, k = ranks.shape
    spread = float(((ranks.sum(axis=0) - n * (k + 1) / 2) ** 2).sum())
    within = float((ranks**2).sum()) - n * k * (k + 1) ** 2 / 4  # A_1 - C_1
    statistic = (k - 1) * spread / within
    exact = exact_rank_sum_p(ranks, work=work)
    return {
        "statistic": statistic,
        "df": k - 1,
        "p_value": float(chdtrc(k - 1, statistic)) if exact is None else exact,
        "exact": exact is not None,
        "kendall_w": statistic / (n * (k - 1)),
    }


# Do k samples differ when each block ranks only some of them? Skillings and Mack's test.


_SMALLEST_EIGENVALUE = 1e-9  # relative: below, a direction is not compared at all


def skillings_mack_test(scores: ArrayLike) -> dict[str, Any]:
    """Test whether samples differ: `scores` (n, k) with NaN for gaps; blocks with fewer than two scores say nothing.

    By name: `statistic`, `df`, `p_value` by chi-square.

    Ranks r of a block of s samples enter as sqrt(12 / (s + 1)) (r - (s + 1) / 2); their covariance is that of their
    permutations, ties included. Without gaps this is Friedman's test, in a balanced design without ties Durbin's.
    Skillings & Mack (1981), Technometrics 23:171. The gaps must not depend on the scores; with few blocks (below
    about 10) or many gaps chi-square is only a rough guide.

    Raises
    ------
    ModelError
        If samples fall into groups that no block compares, or no block puts them in any order.
    """
    ranks = ranks_within_blocks(scores)
    present = np.isfinite(ranks)
    held = present.sum(axis=1)
    used = held >= 2
    ranks, present, s = ranks[used], present[used], held[used][:, None]
    centred = np.where(present, np.sqrt(12 / (s + 1)) * (ranks - (s + 1) / 2), 0.0)
    adjusted = centred.sum(axis=0)
    spread = (centred**2).sum(axis=1, keepdims=True) / (s - 1)
    together = -(present * spread / s).T @ present
    covariance = together + np.diag((present * spread).sum(axis=0))
    inverse, df = _inverse_and_rank(covariance)
    if df < ranks.shape[1] - 1:
        raise ModelError(
            "Some prototypes are never ranked beside the others, or always level with them, so the ranks cannot be "
            "compared. Let some assessors score prototypes of both kinds."
        )
    statistic = float(adjusted @ inverse @ adjusted)
    return {"statistic": statistic, "df": df, "p_value": float(chdtrc(df, statistic))}


def _inverse_and_rank(covariance: Array) -> tuple[Array, int]:
    """Return the pseudo-inverse of a covariance matrix and its rank."""
    values, vectors = np.linalg.eigh(covariance)
    kept = values > _SMALLEST_EIGENVALUE * max(values.max(initial=0.0), 1.0)
    inverse = (vectors[:, kept] / values[kept]) @ vectors[:, kept].T
    return np.asarray(inverse, dtype=float), int(kept.sum())
