"""Do ranks follow an order of the samples that was stated beforehand? Page's test.

Page (1963), J. Am. Stat. Assoc. 58:216: L = sum_j j R_j with the samples in the order in which they are expected
to rise. Ties share their mean rank; the chances are those of the tied ranks themselves.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

from panel.stats.arrays import Array
from panel.stats.ranking.ranks import complete_ranks

MOST_EXACT_SAMPLES = 10  # beyond, listing the orders of a block costs more than a second
MOST_EXACT_BLOCKS = 200  # beyond, the normal approximation is good to four decimals


@dataclass(frozen=True, eq=False, slots=True)
class TrendTest:
    """Page's test for a rise in the stated order.

    `statistic` L; `expected` and `variance` of L by chance, given the ties; `z`; `p_value`, one-sided, from the
    permutations of the ranks themselves if `exact`, else from the normal distribution (`normal_p`).
    """

    statistic: float
    expected: float
    variance: float
    z: float
    p_value: float
    exact: bool
    normal_p: float


def trend_test(scores: ArrayLike) -> TrendTest:
    """Test whether scores rise from the first column to the last: `scores` (n, k), rows are blocks.

    Raises
    ------
    ModelError
        As `panel.stats.ranking.ranks.complete_ranks`.
    """
    ranks = complete_ranks(scores)
    n, k = ranks.shape
    place = np.arange(1.0, k + 1)
    statistic = float(ranks.sum(axis=0) @ place)
    expected = n * k * (k + 1) ** 2 / 4
    within = ((ranks - (k + 1) / 2) ** 2).sum()
    variance = float(((place - place.mean()) ** 2).sum() * within / (k - 1))
    z = (statistic - expected) / np.sqrt(variance)
    exact = _exact_upper_share(ranks, statistic) if k <= MOST_EXACT_SAMPLES and n <= MOST_EXACT_BLOCKS else None
    normal_p = float(ndtr(-z))
    return TrendTest(
        statistic=statistic,
        expected=expected,
        variance=variance,
        z=float(z),
        p_value=normal_p if exact is None else exact,
        exact=exact is not None,
        normal_p=normal_p,
    )


def _exact_upper_share(ranks: Array, statistic: float) -> float:
    """Return P(L >= statistic): the block sums of all orders, convolved over the blocks."""
    shares = np.ones(1)
    for row in np.rint(2 * ranks).astype(int).tolist():
        shares = np.convolve(shares, _block_shares(tuple(sorted(row))))
    return min(float(shares[round(2 * statistic) :].sum()), 1.0)


@cache
def _block_shares(row: tuple[int, ...]) -> Array:
    """Return P(sum_j j row_pi(j) = 0, 1, 2, ...) when every order pi of the row is equally likely.

    Places are filled from the first to the last; what counts is only which values are still to be placed.
    """
    k = len(row)
    length = sum((j + 1) * value for j, value in enumerate(row)) + 1
    reached = {0: np.eye(1, length)[0]}  # used values, as bits, to shares
    for j in range(k):
        further: dict[int, Array] = {}
        for used, shares in reached.items():
            for bit, value in enumerate(row):
                if used >> bit & 1:
                    continue
                step = (j + 1) * value
                now = further.setdefault(used | 1 << bit, np.zeros(length))
                now[step:] += shares[: length - step] / (k - j)
        reached = further
    return reached[(1 << k) - 1]
