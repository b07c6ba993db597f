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
from panel.stats.answers.binomial import lower_tail
from panel.stats.arrays import Array
from panel.stats.ranking.ranks import exact_rank_sum_p

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


# Do two yes-or-no answers of the same people differ? McNemar's test, exact: only those who changed count.


Counts = NDArray[np.int64]


@dataclass(frozen=True, eq=False, slots=True)
class PairCounts:
    """Counts for the pairs of columns, each (t, number of pairs); `first` and `second` are the columns of each pair.

    `n` people with both answers; of these `only_first` said yes to the first column alone, `only_second` to the
    second alone, `both` to both.
    """

    first: NDArray[np.intp]
    second: NDArray[np.intp]
    n: Counts
    only_first: Counts
    only_second: Counts
    both: Counts


def pair_counts(answers: ArrayLike) -> PairCounts:
    """Count for every two columns of `answers` (t, n, k), 1 yes, 0 no, NaN none, who said yes to which."""
    x = np.asarray(answers, dtype=float)
    there = ~np.isnan(x)
    yes, no = (there & (x == 1)).astype(np.float64), (there & (x == 0)).astype(np.float64)
    # sums of zeros and ones are exact in float64 and much faster than in whole numbers
    both, one, neither = (np.swapaxes(a, 1, 2) @ b for a, b in ((yes, yes), (yes, no), (no, no)))
    first, second = np.triu_indices(x.shape[2], 1)
    counted = [m[:, first, second] for m in (both, one, np.swapaxes(one, 1, 2), neither)]
    in_both, only_first, only_second, none = (np.rint(part).astype(np.int64) for part in counted)
    return PairCounts(first, second, in_both + only_first + only_second + none, only_first, only_second, in_both)


def mcnemar_exact(only_first: ArrayLike, only_second: ArrayLike) -> Array:
    """Return the two-sided exact p-value: twice the smaller binomial tail, at most 1; 1 where nobody changed.

    McNemar (1947), Psychometrika 12:153. It never rejects more often than its level says.
    """
    b, c = np.broadcast_arrays(np.asarray(only_first, dtype=float), np.asarray(only_second, dtype=float))
    changed = b + c
    tail = lower_tail(np.minimum(b, c), np.maximum(changed, 1), 0.5)
    return np.asarray(np.where(changed > 0, np.minimum(2 * tail, 1.0), 1.0))


def mcnemar_statistic(only_first: ArrayLike, only_second: ArrayLike, *, correction: bool = False) -> Array:
    """Return the chi-square statistic with one degree of freedom; NaN where nobody changed.

    `correction` takes one off the difference, as Edwards (1948), Psychometrika 13:185.
    """
    b, c = np.broadcast_arrays(np.asarray(only_first, dtype=float), np.asarray(only_second, dtype=float))
    apart = np.maximum(np.abs(b - c) - (1.0 if correction else 0.0), 0.0)
    return np.asarray(np.divide(apart**2, b + c, out=np.full(b.shape, np.nan), where=b + c > 0))


# Do the same people spread differently over categories in two conditions? Stuart and Maxwell's test.


SINGULAR = 1e-9  # relative size of an eigenvalue that is zero but for rounding


@dataclass(frozen=True, eq=False, slots=True)
class MarginTests:
    """Tests of m square tables, each (m,): `n` people, `statistic` chi-square with `df`, `p_value`.

    Where nobody changed category `df` is 0, `statistic` NaN and the p-value 1; without anybody the p-value is NaN.
    """

    n: NDArray[np.int64]
    statistic: Array
    df: NDArray[np.int64]
    p_value: Array


def stuart_maxwell(tables: ArrayLike) -> MarginTests:
    """Test whether rows and columns of `tables` (m, c, c) have the same totals; one count is one person.

    Stuart (1955), Biometrika 42:412; Maxwell (1970), Br. J. Psychiatry 116:651. A category nobody moves into or out
    of costs its degree of freedom. With two categories it is McNemar's statistic.
    """
    counts = np.asarray(tables, dtype=float)
    apart = counts.sum(axis=2) - counts.sum(axis=1)
    moved = counts + np.swapaxes(counts, 1, 2)
    c = counts.shape[1]
    moved[:, np.arange(c), np.arange(c)] = 0
    covariance = np.eye(c) * moved.sum(axis=2)[:, None, :] - moved
    values, vectors = np.linalg.eigh(covariance)
    kept = values > SINGULAR * np.maximum(values.max(axis=1, initial=0.0), 1.0)[:, None]
    along = (vectors * apart[:, :, None]).sum(axis=1) ** 2
    statistic = np.divide(along, values, out=np.zeros_like(along), where=kept).sum(axis=1)
    df = kept.sum(axis=1)
    n = np.rint(counts.sum(axis=(1, 2))).astype(np.int64)
    p_value = np.where(df > 0, chdtrc(np.maximum(df, 1), statistic), 1.0)
    return MarginTests(n, np.where(df > 0, statistic, np.nan), df, np.where(n > 0, p_value, np.nan))


def paired_tables(categories: ArrayLike, n_categories: int) -> tuple[NDArray[np.intp], NDArray[np.intp], Array]:
    """Return for every two columns (first, second) of `categories` (n, k) the table of counts (pairs, c, c).

    Categories are numbered from 0; NaN is no answer, and who lacks one of the two answers is not counted.
    """
    x = np.asarray(categories, dtype=float)
    chosen = (x[:, :, None] == np.arange(n_categories)).astype(np.float64)
    counts = np.einsum("njc,nkd->jkcd", chosen, chosen, optimize=True)
    first, second = np.triu_indices(x.shape[1], 1)
    return first, second, counts[first, second]
