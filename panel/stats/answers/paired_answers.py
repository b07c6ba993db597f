"""Do k yes-or-no answers of the same people differ in how often they are yes? Cochran's Q, many questions at once.

Letters as in Conover (1999), Practical Nonparametric Statistics, 3rd ed., section 4.6: C_j column totals, R_i row
totals, N their sum. A person who says yes everywhere, or nowhere, says nothing about the columns and changes nothing.
"""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc

from panel.errors import ModelError
from panel.stats.answers.binomial import lower_tail
from panel.stats.answers.ranks import exact_rank_sum_p
from panel.stats.arrays import Array, Whole, ratio
from panel.stats.comparing.group_means import MeanDifferences, t_differences

_EXACT_ROWS = 30  # telling rows up to which the exact p-value is tried; above, chi-square is close
_EXACT_COLUMNS = 6  # columns up to which it is tried; more have too many orders to be cheap
_EXACT_WORK = 20_000  # sums of a row with a vector of totals, a few milliseconds


def cochran_tests(answers: ArrayLike, *, work: int = _EXACT_WORK) -> dict[str, Any]:
    """Test each question of `answers` (t, n, k): 1 yes, 0 no, NaN no answer; people with gaps are left out.

    Of each question: `n_consumers` with an answer in every column, `n_lost` with some but not all, `n_telling` whose
    answers are not all alike; `statistic` Q, NaN where there is nothing to compare, and its `df`; `p_value`, from the
    permutations within rows where `exact`, else from chi-square; `chi_square_p` always from it.

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
    statistic = ratio(above, below)
    chi_square_p = np.where(np.isnan(statistic), 1.0, chdtrc(k - 1, np.nan_to_num(statistic)))
    telling = (rows > 0) & (rows < k)
    p_value, exact = chi_square_p.copy(), np.zeros(len(x), dtype=bool)
    few = (telling.sum(axis=1) <= _EXACT_ROWS) & telling.any(axis=1) & (k <= _EXACT_COLUMNS)
    for place in np.flatnonzero(few):
        if (found := exact_rank_sum_p(yes[place, telling[place]], work=work)) is not None:
            p_value[place], exact[place] = found, True
    n = complete.sum(axis=1)
    nothing = n == 0
    return {
        "n_consumers": n,
        "n_lost": there.any(axis=2).sum(axis=1) - n,
        "n_telling": telling.sum(axis=1),
        "statistic": statistic,
        "df": k - 1,
        "p_value": np.where(nothing, np.nan, p_value),
        "exact": exact,
        "chi_square_p": np.where(nothing, np.nan, chi_square_p),
    }


# Do two yes-or-no answers of the same people differ? McNemar's test, exact: only those who changed count.


def pair_counts(answers: ArrayLike) -> dict[str, Whole]:
    """Count for every two columns of `answers` (t, n, k), 1 yes, 0 no, NaN none, who said yes to which.

    Columns by name: `first second` of each pair; `n` people with both answers, of whom `only_first` said yes to the
    first column alone, `only_second` to the second alone, `both` to both, each (t, number of pairs).
    """
    x = np.asarray(answers, dtype=float)
    there = ~np.isnan(x)
    yes, no = (there & (x == 1)).astype(np.float64), (there & (x == 0)).astype(np.float64)
    # sums of zeros and ones are exact in float64 and much faster than in whole numbers
    both, one, neither = (np.swapaxes(a, 1, 2) @ b for a, b in ((yes, yes), (yes, no), (no, no)))
    first, second = np.triu_indices(x.shape[2], 1)
    counted = [m[:, first, second] for m in (both, one, np.swapaxes(one, 1, 2), neither)]
    in_both, only_first, only_second, none = (np.rint(part).astype(np.int64) for part in counted)
    n = in_both + only_first + only_second + none
    changed = {"only_first": only_first, "only_second": only_second}
    return {"first": first, "second": second, "n": n} | changed | {"both": in_both}


def mcnemar_exact(only_first: ArrayLike, only_second: ArrayLike) -> Array:
    """Return the two-sided exact p-value: twice the smaller binomial tail, at most 1; 1 where nobody changed.

    McNemar (1947), Psychometrika 12:153. It never rejects more often than its level says.
    """
    b, c = np.broadcast_arrays(np.asarray(only_first, dtype=float), np.asarray(only_second, dtype=float))
    changed = b + c
    tail = lower_tail(np.minimum(b, c), np.maximum(changed, 1), 0.5)
    return np.asarray(np.where(changed > 0, np.minimum(2 * tail, 1.0), 1.0))


def lead_score(first: float, second: float, n: float, lead: float) -> float:
    """Return how many standard errors the lead (first - second) / n lies from `lead`, -1 < lead < 1.

    Each of n people chose the first, the second or neither. The standard error is that under `lead`, with the share of
    the second, q, by maximum likelihood given it: 2 n q^2 + b q - second lead (1 - lead) = 0.
    Tango (1998), Stat. Med. 17:891 (from memory; confirmed by maximising the likelihood).
    """
    if lead < 0:  # then the other one is ahead
        return -lead_score(second, first, n, -lead)
    b = 2 * (n - first) * lead - (first + second) * (1 - lead)
    q = (np.sqrt(b**2 + 8 * n * second * lead * (1 - lead)) - b) / (4 * n)
    return float((first - second - n * lead) / np.sqrt(n * (2 * q + lead - lead**2)))


# Do the same people spread differently over categories in two conditions? Stuart and Maxwell's test.


_SINGULAR = 1e-9  # relative size of an eigenvalue or a determinant that is zero but for rounding


def stuart_maxwell(tables: ArrayLike) -> dict[str, Array]:
    """Test whether rows and columns of `tables` (m, c, c) have the same totals; one count is one person.

    Stuart (1955), Biometrika 42:412; Maxwell (1970), Br. J. Psychiatry 116:651. A category nobody moves into or out
    of costs its degree of freedom. With two categories it is McNemar's statistic. Columns by name, each (m,): `n`
    people, `statistic` chi-square with `df`, `p_value`. Where nobody changed category `df` is 0, `statistic` NaN and
    the p-value 1; without anybody the p-value is NaN.
    """
    counts = np.asarray(tables, dtype=float)
    apart = counts.sum(axis=2) - counts.sum(axis=1)
    moved = counts + np.swapaxes(counts, 1, 2)
    c = counts.shape[1]
    moved[:, np.arange(c), np.arange(c)] = 0
    covariance = np.eye(c) * moved.sum(axis=2)[:, None, :] - moved
    values, vectors = np.linalg.eigh(covariance)
    kept = values > _SINGULAR * np.maximum(values.max(axis=1, initial=0.0), 1.0)[:, None]
    along = (vectors * apart[:, :, None]).sum(axis=1) ** 2
    statistic = np.divide(along, values, out=np.zeros_like(along), where=kept).sum(axis=1)
    df = kept.sum(axis=1)
    n = np.rint(counts.sum(axis=(1, 2))).astype(np.int64)
    p_value = np.where(df > 0, chdtrc(np.maximum(df, 1), statistic), 1.0)
    statistic, p_value = np.where(df > 0, statistic, np.nan), np.where(n > 0, p_value, np.nan)
    return {"n": n, "statistic": statistic, "df": df, "p_value": p_value}


def paired_tables(categories: ArrayLike, n_categories: int) -> tuple[NDArray[np.intp], NDArray[np.intp], Array]:
    """Return for every two columns (first, second) of `categories` (n, k) the table of counts (pairs, c, c).

    Categories are numbered from 0; NaN is no answer, and who lacks one of the two answers is not counted.
    """
    x = np.asarray(categories, dtype=float)
    chosen = (x[:, :, None] == np.arange(n_categories)).astype(np.float64)
    counts = np.einsum("njc,nkd->jkcd", chosen, chosen, optimize=True)
    first, second = np.triu_indices(x.shape[1], 1)
    return first, second, counts[first, second]


# How much does a response change with an answer when the same people give several of both?
#
# People are the units: each is left out in turn (jackknife), so that several answers of one person never count as
# several people. Tukey (1958), Ann. Math. Stat. 29:614; Efron and Stein (1981), Ann. Stat. 9:586.


def ticked_differences(response: ArrayLike, ticked: ArrayLike, level: float = 0.95) -> MeanDifferences:
    """Return the mean response where `ticked` (t, n, k) is 1 minus the mean where it is 0, question by question.

    `response` is (n, k), a row is a person; NaN in either leaves the cell out. The interval holds that the answers of
    a person belong together; the estimate also holds that people who tick differ in level from those who do not.
    """
    y, x, used = _cells(response, np.asarray(ticked, dtype=float)[:, None])
    x = x[:, 0]
    sums = [np.stack([(mark * y).sum(axis=2), mark.sum(axis=2)]) for mark in (used * x, used * (1 - x))]
    with np.errstate(invalid="ignore", divide="ignore"):
        (one, n_one), (none, n_none) = (part.sum(axis=2) for part in sums)
        estimate = one / n_one - none / n_none
        (one, n_one), (none, n_none) = (part.sum(axis=2, keepdims=True) - part for part in sums)
        without = np.where((n_one > 0) & (n_none > 0), one / n_one - none / n_none, np.nan)
    return _jackknife(estimate, without, np.asarray(used.any(axis=2)), level)


def within_people(response: ArrayLike, regressors: ArrayLike, level: float = 0.95) -> MeanDifferences:
    """Return the change of the response with each regressor within people: least squares with a level of each person.

    `response` (n, k), `regressors` (t, m, n, k): t questions of m regressors each, such as m indicators of the answers
    other than the first. Only people whose own answers differ contribute. Results are (t, m).
    """
    y, x, used = _cells(response, np.asarray(regressors, dtype=float))
    weight = used[:, None].astype(float)
    count = np.maximum(weight.sum(axis=3, keepdims=True), 1)
    x = (x - (weight * x).sum(axis=3, keepdims=True) / count) * weight
    y = y[:, None] - (weight * y[:, None]).sum(axis=3, keepdims=True) / count
    squares = np.einsum("tank,tbnk->tnab", x, x, optimize=True)
    products = np.einsum("tank,tnk->tna", x, (y * weight)[:, 0], optimize=True)
    telling = np.einsum("tnaa->tna", squares) > 0
    all_squares, all_products = squares.sum(axis=1), products.sum(axis=1)
    estimate = _solved(all_squares, all_products)
    without = _solved(all_squares[:, None] - squares, all_products[:, None] - products)
    people = np.broadcast_to(telling.any(axis=2, keepdims=True), without.shape)
    m = x.shape[1]
    parts = [_jackknife(estimate[:, a], without[:, :, a], people[:, :, a], level) for a in range(m)]
    names = [field.name for field in fields(MeanDifferences)]
    tests = MeanDifferences(*(np.stack([getattr(part, name) for part in parts], axis=1) for name in names))
    return replace(tests, n=telling.sum(axis=1))


def _cells(response: ArrayLike, regressors: Array) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Return response (t, n, k) and regressors (t, m, n, k) with zeros where a cell is left out, and which are used."""
    y = np.asarray(response, dtype=float)
    used = ~np.isnan(y) & ~np.isnan(regressors).any(axis=1)
    return np.where(used, y, 0.0), np.where(used[:, None], regressors, 0.0), used


def _solved(squares: Array, products: Array) -> Array:
    """Return the solutions, NaN where the regressors cannot be told apart, and for one that is always the same."""
    own = np.einsum("...aa->...a", squares)
    scale, some = np.sqrt(np.maximum(own, 1e-300)), own > 0
    scaled = squares / (scale[..., :, None] * scale[..., None, :]) + np.eye(squares.shape[-1]) * ~some[..., None]
    known = np.abs(np.linalg.det(scaled)) > _SINGULAR
    safe = np.where(known[..., None, None], scaled, np.eye(squares.shape[-1]))
    found = np.linalg.solve(safe, (products / scale)[..., None])[..., 0] / scale
    return np.where(known[..., None] & some, found, np.nan)


def _jackknife(estimate: Array, without: Array, people: NDArray[np.bool_], level: float) -> MeanDifferences:
    """Return tests from the estimates (t,) without each of the people (t, n) in turn.

    Where leaving out one person leaves nothing to compare, no standard error can be given.
    """
    n = people.sum(axis=1)
    some = np.maximum(n, 1)
    values = np.where(people, without, 0.0)
    middle = values.sum(axis=1) / some
    spread = np.where(people, values - middle[:, None], 0.0)
    error = np.sqrt((some - 1) / some * (spread**2).sum(axis=1))
    return t_differences(n, estimate, error, n - 1.0, level)
