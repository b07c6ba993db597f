"""Do k yes-or-no answers of the same people differ in how often they are yes? Cochran's Q, many questions at once.

Letters as in Conover (1999), Practical Nonparametric Statistics, 3rd ed., section 4.6: C_j column totals, R_i row
totals, N their sum. A person who says yes everywhere, or nowhere, says nothing about the columns and changes nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc

from panel.errors import ModelError
from panel.stats.arrays import Array
from panel.stats.ranking.rank_permutations import exact_rank_sum_p

EXACT_ROWS = 30  # telling rows up to which the exact p-value is tried; above, chi-square is close
EXACT_COLUMNS = 6  # columns up to which it is tried; more have too many orders to be cheap
EXACT_WORK = 20_000  # sums of a row with a vector of totals, a few milliseconds


@dataclass(frozen=True, eq=False, slots=True)
class CochranTests:
    """Cochran's Q of t questions.

    `n` (t,) people with an answer in every column, `n_lost` (t,) those with some but not all, `n_telling` (t,)
    people of `n` whose answers are not all alike; `statistic` Q, NaN where there is nothing to compare; `df` = k - 1;
    `p_value`, from the permutations within rows where `exact`, else from chi-square; `chi_square_p` always from it.
    """

    n: NDArray[np.int64]
    n_lost: NDArray[np.int64]
    n_telling: NDArray[np.int64]
    statistic: Array
    df: int
    p_value: Array
    exact: NDArray[np.bool_]
    chi_square_p: Array


def cochran_tests(answers: ArrayLike, *, work: int = EXACT_WORK) -> CochranTests:
    """Test each question of `answers` (t, n, k): 1 yes, 0 no, NaN no answer; people with gaps are left out.

    Cochran (1950), Biometrika 37:256. With two columns Q is McNemar's statistic without correction. Where nobody's
    answers differ Q is NaN and the p-value 1.

    Raises
    ------
    ModelError
        If there are fewer than two columns.
    """
    x = np.asarray(answers, dtype=float)
    k = x.shape[2]
    if k < 2:
        raise ModelError("Comparing how often a term is ticked needs at least two prototypes.")
    there = ~np.isnan(x)
    complete = there.all(axis=2)
    yes = np.where(complete[:, :, None], x, 0.0)
    rows = yes.sum(axis=2)
    columns = yes.sum(axis=1)
    total = rows.sum(axis=1)
    below = k * total - (rows**2).sum(axis=1)
    above = (k - 1) * (k * (columns**2).sum(axis=1) - total**2)
    statistic = np.divide(above, below, out=np.full(len(x), np.nan), where=below > 0)
    chi_square_p = np.where(np.isnan(statistic), 1.0, chdtrc(k - 1, np.nan_to_num(statistic)))
    telling = (rows > 0) & (rows < k)
    p_value, exact = chi_square_p.copy(), np.zeros(len(x), dtype=bool)
    few = (telling.sum(axis=1) <= EXACT_ROWS) & telling.any(axis=1) & (k <= EXACT_COLUMNS)
    for place in np.flatnonzero(few):
        if (found := exact_rank_sum_p(yes[place, telling[place]], work=work)) is not None:
            p_value[place], exact[place] = found, True
    n = complete.sum(axis=1)
    nothing = n == 0
    return CochranTests(
        n=n,
        n_lost=there.any(axis=2).sum(axis=1) - n,
        n_telling=telling.sum(axis=1),
        statistic=statistic,
        df=k - 1,
        p_value=np.where(nothing, np.nan, p_value),
        exact=exact,
        chi_square_p=np.where(nothing, np.nan, chi_square_p),
    )
