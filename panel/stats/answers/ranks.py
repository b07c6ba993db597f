"""Do k samples differ when each of n blocks (people) has put them in order? Friedman's test on complete blocks.

Letters as in Conover (1999), Practical Nonparametric Statistics, 3rd ed., section 5.8: R(X_ij) ranks within
block i, R_j rank sums, A_1 sum of squared ranks, C_1 = n k (k + 1)^2 / 4.
"""

from __future__ import annotations

from itertools import combinations, permutations
from math import factorial, prod
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc, fdtrc, ndtr, stdtrit

from panel.errors import ModelError
from panel.stats.arrays import Array, Whole
from panel.stats.comparing.multiplicity import tukey_p_value

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

    By name: `rank_sums` (k,); `statistic` chi-square corrected for ties, `df` = k - 1; `p_value`, from the permutations
    of the ranks themselves if `exact`, else from chi-square; `chi_square_p` always from chi-square; `f_statistic`,
    `df_error` and `f_p_value`, the F form of Iman & Davenport (1980); `kendall_w`, agreement from 0 to 1.

    The p-value is exact, given the ties, where that costs at most `work` sums of rank rows
    (`panel.stats.answers.ranks`). Friedman (1937), J. Am. Stat. Assoc. 32:675; ties and F form: Conover
    (1999); Iman & Davenport (1980), Commun. Stat. A9:571.

    Raises
    ------
    ModelError
        As `_complete_ranks`.
    """
    ranks = _complete_ranks(scores)
    n, k = ranks.shape
    rank_sums = ranks.sum(axis=0)
    spread = float(((rank_sums - n * (k + 1) / 2) ** 2).sum())
    within = float((ranks**2).sum()) - n * k * (k + 1) ** 2 / 4  # A_1 - C_1
    statistic = (k - 1) * spread / within
    chi_square_p = float(chdtrc(k - 1, statistic))
    left = n * (k - 1) - statistic
    f_statistic = (n - 1) * statistic / left if left > 0 else np.inf
    df_error = (n - 1) * (k - 1)
    exact = exact_rank_sum_p(ranks, work=work)
    return {
        "rank_sums": rank_sums,
        "statistic": statistic,
        "df": k - 1,
        "p_value": chi_square_p if exact is None else exact,
        "exact": exact is not None,
        "chi_square_p": chi_square_p,
        "f_statistic": float(f_statistic),
        "df_error": df_error,
        "f_p_value": float(fdtrc(k - 1, df_error, f_statistic)),
        "kendall_w": statistic / (n * (k - 1)),
    }


# Do k samples differ when each block ranks only some of them? Durbin's and Skillings & Mack's tests.


_SMALLEST_EIGENVALUE = 1e-9  # relative: below, a direction is not compared at all


def is_balanced_incomplete(present: NDArray[np.bool_]) -> bool:
    """Return whether all blocks (rows) hold equally many samples and all pairs of samples meet equally often."""
    together = present.T.astype(int) @ present.astype(int)
    pairs = together[~np.eye(len(together), dtype=bool)]
    sizes = present.sum(axis=1)
    return bool(len(sizes) and np.ptp(sizes) == 0 and np.ptp(pairs) == 0 and np.ptp(np.diagonal(together)) == 0)


def durbin_test(scores: ArrayLike, level: float = 0.95) -> dict[str, Any]:
    """Test whether samples differ: `scores` (b, t) with NaN where a block does not hold the sample.

    By name: `rank_sums` (k,); `statistic` T1 with `df`, `chi_square_p`; `f_statistic` T2 with `df`, `df_error`,
    `p_value`, the better of the two approximations; `least_difference` of two rank sums at 5 %, to be used only after a
    significant test.

    T1 = (t - 1) (sum R_j^2 - r C) / (A - C), with A the sum of squared ranks and C = b k (k + 1)^2 / 4; Durbin (1951),
    Br. J. Psychol. (Stat. Sect.) 4:85; ties and T2: Conover (1999), section 5.9. By simulation T2 keeps its level from
    about a dozen blocks; with 4 to 8 it rejects 6 to 9 times in 100 instead of 5, T1 less than 4 times.

    Raises
    ------
    ModelError
        If the design is not balanced, its blocks hold fewer than two samples, or every block ties all of them.
    """
    ranks = ranks_within_blocks(scores)
    present = np.isfinite(ranks)
    if not is_balanced_incomplete(present) or present[0].sum() < 2:
        raise ModelError(
            "Durbin's test needs every assessor to score equally many prototypes and every pair of prototypes to be "
            "scored by equally many assessors. Use the test for blocks with gaps (Skillings and Mack)."
        )
    b, t = ranks.shape
    k, r = int(present[0].sum()), int(present[:, 0].sum())
    rank_sums = np.nansum(ranks, axis=0)
    a, c = float(np.nansum(ranks**2)), b * k * (k + 1) ** 2 / 4
    if a <= c:
        raise ModelError("Every assessor puts all prototypes level, so there is no order to compare.")
    statistic = float((t - 1) * ((rank_sums**2).sum() - r * c) / (a - c))
    df_error = b * k - b - t + 1
    left = b * (k - 1) - statistic
    f_statistic = statistic / (t - 1) / (left / df_error) if left > 0 and df_error > 0 else np.inf
    error = max(a - c, 0.0) * 2 * r / max(df_error, 1) * max(1 - statistic / (b * (k - 1)), 0.0)
    return {
        "rank_sums": rank_sums,
        "statistic": statistic,
        "df": t - 1,
        "chi_square_p": float(chdtrc(t - 1, statistic)),
        "f_statistic": float(f_statistic),
        "df_error": df_error,
        "p_value": float(fdtrc(t - 1, df_error, f_statistic)) if df_error > 0 else float(chdtrc(t - 1, statistic)),
        "least_difference": float(stdtrit(max(df_error, 1), (1 + level) / 2) * np.sqrt(error)),
    }


def skillings_mack_test(scores: ArrayLike) -> dict[str, Any]:
    """Test whether samples differ: `scores` (n, k) with NaN for gaps; blocks with fewer than two scores say nothing.

    By name: `effects` (k,), standardised rank effects adjusted for who was ranked beside whom, summing to zero;
    `covariance` (k, k) of them if samples do not differ; `statistic`, `df`, `p_value` by chi-square.

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
    effects = inverse @ adjusted
    statistic = float(adjusted @ effects)
    return {
        "effects": effects,
        "covariance": inverse,
        "statistic": statistic,
        "df": df,
        "p_value": float(chdtrc(df, statistic)),
    }


def _inverse_and_rank(covariance: Array) -> tuple[Array, int]:
    """Return the pseudo-inverse of a covariance matrix and its rank."""
    values, vectors = np.linalg.eigh(covariance)
    kept = values > _SMALLEST_EIGENVALUE * max(values.max(initial=0.0), 1.0)
    inverse = (vectors[:, kept] / values[kept]) @ vectors[:, kept].T
    return np.asarray(inverse, dtype=float), int(kept.sum())


# Which rank sums lie apart, and how far apart must two of them lie?
#
# For complete blocks. Under no difference two rank sums of one table differ with variance n k (k + 1) / 6, less where
# there are ties: 2 sum_i sum_j (r_ij - (k + 1) / 2)^2 / (k - 1), which is the same without ties.


INFINITE = 1e9  # degrees of freedom: the variance of ranks is known


def rank_sum_differences(scores: ArrayLike) -> dict[str, Any]:
    """Return all differences of rank sums with normal-theory p-values; `scores` (n, k), rows are blocks.

    All pairs by name: the column numbers `first` minus `second` (the later minus the earlier), `difference`, the one
    `std_error`, `p_value` for that pair alone, and `p_adjusted` over all pairs (range of k rank sums, Nemenyi 1963).

    Raises
    ------
    ModelError
        As `_complete_ranks`.
    """
    ranks = _complete_ranks(scores)
    k = ranks.shape[1]
    rank_sums, std_error = ranks.sum(axis=0), _std_error(ranks)
    second, first = np.array(list(combinations(range(k), 2))).T
    difference = rank_sums[first] - rank_sums[second]
    z = difference / std_error
    return {
        "first": first,
        "second": second,
        "difference": difference,
        "std_error": std_error,
        "p_value": np.asarray(2 * ndtr(-np.abs(z))),
        "p_adjusted": tukey_p_value(z, k, np.full(len(z), INFINITE)),
    }


def _std_error(ranks: Array) -> float:
    """Return the standard error of a difference of two rank sums, given the ties."""
    k = ranks.shape[1]
    return float(np.sqrt(2 * ((ranks - (k + 1) / 2) ** 2).sum() / (k - 1)))
