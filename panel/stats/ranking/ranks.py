"""Do k samples differ when each of n blocks (people) has put them in order? Friedman's test on complete blocks.

Letters as in Conover (1999), Practical Nonparametric Statistics, 3rd ed., section 5.8: R(X_ij) ranks within
block i, R_j rank sums, A_1 sum of squared ranks, C_1 = n k (k + 1)^2 / 4.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtrc, fdtrc

from panel.errors import ModelError
from panel.stats.arrays import Array
from panel.stats.ranking.rank_permutations import EXACT_WORK, exact_rank_sum_p

FEWEST_BLOCKS = 2


@dataclass(frozen=True, eq=False, slots=True)
class FriedmanTest:
    """Friedman's test of n complete blocks of k samples.

    `rank_sums` (k,); `statistic` chi-square corrected for ties, `df` = k - 1; `p_value`, from the permutations of the
    ranks themselves if `exact`, else from chi-square; `chi_square_p` always from chi-square; `f_statistic`,
    `df_error` and `f_p_value`, the F form of Iman & Davenport (1980); `kendall_w`, agreement from 0 to 1.
    """

    rank_sums: Array
    statistic: float
    df: int
    p_value: float
    exact: bool
    chi_square_p: float
    f_statistic: float
    df_error: int
    f_p_value: float
    kendall_w: float


def ranks_within_blocks(scores: ArrayLike) -> Array:
    """Return the rank of each score within its row, 1 the lowest, ties sharing their mean rank; NaN stays NaN."""
    x = np.asarray(scores, dtype=float)
    below = (x[:, None, :] < x[:, :, None]).sum(axis=2)
    alike = (x[:, None, :] == x[:, :, None]).sum(axis=2)
    return np.where(np.isnan(x), np.nan, below + (alike + 1) / 2)


def complete_ranks(scores: ArrayLike) -> Array:
    """Return the ranks of complete blocks.

    Raises
    ------
    ModelError
        If there are fewer than two blocks or samples, a score is missing, or every block ties all samples.
    """
    ranks = ranks_within_blocks(scores)
    if ranks.shape[0] < FEWEST_BLOCKS or ranks.shape[1] < 2:
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


def friedman_test(scores: ArrayLike, *, work: int = EXACT_WORK) -> FriedmanTest:
    """Test whether the samples differ: `scores` (n, k), rows are blocks.

    The p-value is exact, given the ties, where that costs at most `work` sums of rank rows
    (`panel.stats.ranking.rank_permutations`). Friedman (1937), J. Am. Stat. Assoc. 32:675; ties and F form: Conover
    (1999); Iman & Davenport (1980), Commun. Stat. A9:571.

    Raises
    ------
    ModelError
        As `complete_ranks`.
    """
    ranks = complete_ranks(scores)
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
    return FriedmanTest(
        rank_sums=rank_sums,
        statistic=statistic,
        df=k - 1,
        p_value=chi_square_p if exact is None else exact,
        exact=exact is not None,
        chi_square_p=chi_square_p,
        f_statistic=float(f_statistic),
        df_error=df_error,
        f_p_value=float(fdtrc(k - 1, df_error, f_statistic)),
        kendall_w=statistic / (n * (k - 1)),
    )
