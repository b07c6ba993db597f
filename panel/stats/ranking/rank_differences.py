"""Which rank sums lie apart, and how far apart must two of them lie?

For complete blocks. Under no difference two rank sums of one table differ with variance n k (k + 1) / 6, less where
there are ties: 2 sum_i sum_j (r_ij - (k + 1) / 2)^2 / (k - 1), which is the same without ties.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr, ndtri, stdtrit

from panel.stats.arrays import Array, Codes
from panel.stats.comparing.range_distribution import tukey_critical, tukey_p_value
from panel.stats.ranking.ranks import complete_ranks

INFINITE = 1e9  # degrees of freedom: the variance of ranks is known


@dataclass(frozen=True, eq=False, slots=True)
class RankDifferences:
    """All pairs (later column minus earlier), each array (m,): `first` minus `second` are column numbers.

    `p_value` for that pair alone, `p_adjusted` over all pairs (range of k rank sums, Nemenyi 1963).
    """

    first: Codes
    second: Codes
    difference: Array
    std_error: float
    p_value: Array
    p_adjusted: Array


def rank_sum_differences(scores: ArrayLike) -> RankDifferences:
    """Return all differences of rank sums with normal-theory p-values; `scores` (n, k), rows are blocks.

    Raises
    ------
    ModelError
        As `panel.stats.ranking.ranks.complete_ranks`.
    """
    ranks = complete_ranks(scores)
    k = ranks.shape[1]
    rank_sums, std_error = ranks.sum(axis=0), _std_error(ranks)
    second, first = np.array(list(combinations(range(k), 2))).T
    difference = rank_sums[first] - rank_sums[second]
    z = difference / std_error
    return RankDifferences(
        first=first,
        second=second,
        difference=difference,
        std_error=std_error,
        p_value=np.asarray(2 * ndtr(-np.abs(z))),
        p_adjusted=tukey_p_value(z, k, np.full(len(z), INFINITE)),
    )


def least_difference(scores: ArrayLike, level: float = 0.95) -> float:
    """Return the smallest difference of two rank sums that stands out, for one pair chosen beforehand.

    z sqrt(n k (k + 1) / 6), the formula of ISO 8587 for complete blocks; less where there are ties.
    """
    return float(ndtri((1 + level) / 2)) * _std_error(complete_ranks(scores))


def least_difference_all_pairs(scores: ArrayLike, level: float = 0.95) -> float:
    """Return the smallest difference of two rank sums that stands out when all pairs are looked at."""
    ranks = complete_ranks(scores)
    return float(tukey_critical(ranks.shape[1], np.array(INFINITE), level)) * _std_error(ranks)


def least_difference_conover(scores: ArrayLike, level: float = 0.95) -> float:
    """Return Conover's least significant difference of rank sums, to be used only after a significant test.

    t sqrt(2 (n A_1 - sum R_j^2) / ((n - 1)(k - 1))), Conover (1999), section 5.8; its error is what remains after
    the differences themselves, so that it is smaller than the normal-theory one where samples differ.
    """
    ranks = complete_ranks(scores)
    n, k = ranks.shape
    df = (n - 1) * (k - 1)
    left = n * (ranks**2).sum() - (ranks.sum(axis=0) ** 2).sum()
    return float(stdtrit(df, (1 + level) / 2) * np.sqrt(2 * left / df))


def _std_error(ranks: Array) -> float:
    """Return the standard error of a difference of two rank sums, given the ties."""
    k = ranks.shape[1]
    return float(np.sqrt(2 * ((ranks - (k + 1) / 2) ** 2).sum() / (k - 1)))
