"""Analysis of variance by mean squares, for many responses at once: one way, and the strata of balanced panel data.

The responses are centred before anything is squared, so that leading digits all scores share do no harm.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import fdtrc, stdtr, stdtrit

from panel.stats.arrays import Array, Codes, ratio

# A spread below this share of the largest value is rounding of the arithmetic, not variation.
_NO_SPREAD = 1e-12


@dataclass(frozen=True, eq=False, slots=True)
class VarianceTables:
    """Analyses of variance between groups for q responses; (q,), or of a persons each by itself (q, a).

    Parameters
    ----------
    between, within
        Sums of squares of the groups and of what is left.
    df, df_error
        Their degrees of freedom, by the groups and scores that are there.
    means, counts
        (q, groups) or (q, a, groups): means, NaN where a group has no score, and numbers of scores.
    residual
        (n, q) what is left of each score, NaN where it is missing.
    """

    between: Array
    within: Array
    df: Array
    df_error: Array
    means: Array
    counts: Array
    residual: Array

    @property
    def mean_square(self) -> Array:
        """Mean square of what is left, of a person the repeatability variance; NaN where nothing was repeated."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(np.where(self.df_error > 0, self.within / self.df_error, np.nan))

    @property
    def statistic(self) -> Array:
        """F of the groups; NaN where it is not defined, infinite where the scores repeat exactly."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(self.between / self.df / self.mean_square)

    @property
    def p_value(self) -> Array:
        """Upper tail probability of F; NaN where that is not defined."""
        return f_tail(self.statistic, self.df, self.df_error)


def one_way(response: Array, group: Codes, n_groups: int | None = None) -> VarianceTables:
    """Return the one-way tables of `response` (n, q), NaN where missing, over the groups numbered in `group` (n,).

    `n_groups` is how many groups to have a place for; by default up to the highest number.
    """
    present = np.isfinite(response)
    there = np.where(present, response, 0.0)
    n = present.sum(axis=0)
    centre = there.sum(axis=0) / np.maximum(n, 1)
    y = np.where(present, response - centre, 0.0)
    member = np.eye(n_groups if n_groups is not None else int(group.max(initial=-1)) + 1)[group]
    counts = present.T.astype(float) @ member
    sums = y.T @ member
    deviation = sums / np.maximum(counts, 1)
    rest = np.where(present, y - deviation.T[group], 0.0)
    grand = sums.sum(axis=1) / np.maximum(n, 1)
    groups = (counts > 0).sum(axis=1)
    return VarianceTables(
        between=(counts * (deviation - grand[:, None]) ** 2).sum(axis=1),
        within=(rest**2).sum(axis=0),
        df=(groups - 1).astype(float),
        df_error=(n - groups).astype(float),
        means=np.where(counts > 0, deviation + centre[:, None], np.nan),
        counts=counts,
        residual=np.where(present, rest, np.nan),
    )


def f_tail(statistic: Array, df: Array | int, df_error: Array | int) -> Array:
    """Return the upper tail probability of F; NaN where the statistic is NaN or has no degrees of freedom."""
    df, df_error = np.asarray(df, dtype=float), np.asarray(df_error, dtype=float)
    defined = (df > 0) & (df_error > 0)
    return np.where(defined, fdtrc(np.where(defined, df, 1.0), np.where(defined, df_error, 1.0), statistic), np.nan)


# How far apart are the means of two groups of different people whose spreads may differ? Welch's t.


@dataclass(frozen=True, eq=False, slots=True)
class MeanDifferences:
    """Differences of means with their t tests, arrays of one shape; NaN where they cannot be given.

    `n`: how many people each rests on.
    """

    n: Array
    estimate: Array
    std_error: Array
    df: Array
    statistic: Array
    p_value: Array
    ci_low: Array
    ci_high: Array


def t_differences(
    n: ArrayLike, estimate: ArrayLike, std_error: ArrayLike, df: ArrayLike, level: float = 0.95
) -> MeanDifferences:
    """Return two-sided t tests of estimates from `n` people; no test where the standard error is zero or unknown."""
    estimate, error, df = (np.asarray(part, dtype=float) for part in np.broadcast_arrays(estimate, std_error, df))
    known = np.isfinite(error) & (error > 0) & (df > 0)
    error, df = np.where(known, error, np.nan), np.where(known, df, np.nan)
    statistic = estimate / error
    half = np.where(known, stdtrit(np.where(known, df, 1.0), (1 + level) / 2), np.nan) * error
    p_value = np.where(known, 2 * stdtr(np.where(known, df, 1.0), -np.abs(statistic)), np.nan)
    n = np.broadcast_to(np.asarray(n), estimate.shape)
    return MeanDifferences(n, estimate, error, df, statistic, p_value, estimate - half, estimate + half)


def welch_differences(
    n_first: ArrayLike,
    mean_first: ArrayLike,
    variance_first: ArrayLike,
    n_second: ArrayLike,
    mean_second: ArrayLike,
    variance_second: ArrayLike,
    level: float = 0.95,
) -> MeanDifferences:
    """Return first minus second mean from sizes, means and variances (n - 1 below); shapes broadcast.

    Welch (1947), Biometrika 34:28. A group of fewer than two people has no variance: no test.
    """
    given = (n_first, mean_first, variance_first, n_second, mean_second, variance_second)
    n_1, mean_1, var_1, n_2, mean_2, var_2 = (np.asarray(part, dtype=float) for part in np.broadcast_arrays(*given))
    enough = (n_1 >= 2) & (n_2 >= 2)
    part_1 = np.divide(var_1, n_1, out=np.full(n_1.shape, np.nan), where=enough)
    part_2 = np.divide(var_2, n_2, out=np.full(n_2.shape, np.nan), where=enough)
    below = part_1**2 / np.maximum(n_1 - 1, 1) + part_2**2 / np.maximum(n_2 - 1, 1)
    df = ratio((part_1 + part_2) ** 2, below)
    return t_differences(n_1 + n_2, mean_1 - mean_2, np.sqrt(part_1 + part_2), df, level)


def mean_of_known(values: NDArray[np.float64], axis: int) -> NDArray[np.float64]:
    """Return the mean along `axis` over the values that are not NaN; NaN where there are none."""
    known = ~np.isnan(values)
    count = known.sum(axis=axis)
    total = np.where(known, values, 0.0).sum(axis=axis)
    return ratio(total, count)


def paired_contrasts(contrasts: ArrayLike, level: float = 0.95) -> MeanDifferences:
    """Test the mean of each column of `contrasts` (people x columns, or one column) against zero.

    The plain paired t test: each person gives one contrast, the people are the sample. NaN is a person who cannot
    give that contrast. Fewer than two people leave the error unknown (NaN); people who all agree exactly, too.
    Source: Student (1908), Biometrika 6, 1-25.
    """
    X = np.asarray(contrasts, dtype=float)
    n = np.count_nonzero(~np.isnan(X), axis=0)
    estimate = mean_of_known(X, axis=0)
    deviation = X - estimate
    squares = np.where(np.isnan(deviation), 0.0, deviation**2).sum(axis=0)
    size = np.where(np.isnan(X), 0.0, np.abs(X)).max(axis=0, initial=0.0)
    spread = (n > 1) & (np.sqrt(squares) > _NO_SPREAD * size)
    df = np.where(n > 1, n - 1.0, np.nan)
    with np.errstate(invalid="ignore", divide="ignore"):
        std_error = np.where(spread, np.sqrt(squares / df / n), np.nan)
    return replace(t_differences(n, estimate, std_error, df, level), df=df)


ASSESSOR, INTERACTION, SITTING, _ERROR = range(4)
BATCH = 4  # batch within prototype: in no balanced stratum, but a random term like the others
_SMALLEST_LEVEL = 1e-20  # of all squares; a mean square below is rounding, and its inverse stays a number


# The strata of balanced data are assessor, assessor x prototype, assessor x session, and error, in this order; one that
# the data do not have (one session, nothing repeated) has no degree of freedom. In balanced data REML equals the
# classical mixed analysis of variance; where a component would come out negative, its stratum is pooled with the one
# it would be compared to (Searle, Casella & McCulloch 1992, Variance Components, ch. 4; the pooling of nested strata
# is the isotonic regression of their mean squares).


def _balanced_strata(scores: Array) -> tuple[Array, Array]:
    """Return sums of squares (q, 4) and degrees of freedom (4,) of `scores` (assessors, prototypes, sessions, r, q)."""
    return _own_squares(scores).sum(axis=0), _df(*scores.shape[:4])


def _strata_without_each(scores: Array) -> tuple[Array, Array]:
    """Return the same without each assessor in turn, the sums of squares (assessors q, 4).

    Squares about the mean of the assessors lose a / (a - 1) of the part of the one left out, error its own part.
    """
    a, p, s, r, q = scores.shape
    own = _own_squares(scores)
    lost = own * np.array([a / (a - 1)] * 3 + [1.0])
    return (own.sum(axis=0) - lost).reshape(a * q, 4), _df(a - 1, p, s, r)


def _own_squares(scores: Array) -> Array:
    """Return each assessor's part in the sums of squares, (assessors, q, 4)."""
    _, p, s, r = scores.shape[:4]
    centred = scores - scores.mean(axis=(0, 1, 2, 3))
    assessor = centred.mean(axis=(1, 2, 3))
    by_prototype = centred.mean(axis=(2, 3)) - assessor[:, None]
    by_session = centred.mean(axis=(1, 3)) - assessor[:, None]
    interaction = by_prototype - by_prototype.mean(axis=0)
    sitting = by_session - by_session.mean(axis=0)
    fixed = by_prototype.mean(axis=0)[:, None] + by_session.mean(axis=0)[None, :]
    total = ((centred - fixed[None, :, :, None]) ** 2).sum(axis=(1, 2, 3))
    squares = [p * s * r * assessor**2, s * r * (interaction**2).sum(axis=1), p * r * (sitting**2).sum(axis=1)]
    return np.stack([*squares, total - sum(squares)], axis=-1)


def _df(a: int, p: int, s: int, r: int) -> Array:
    df = np.array([a - 1, (a - 1) * (p - 1), (a - 1) * (s - 1), a * p * s * r - p - s + 1], dtype=float)
    df[_ERROR] -= df[:_ERROR].sum()
    return df


def relative_variances(scores: Array, terms: tuple[int, ...], *, without_each: bool = False) -> Array:
    """Return the REML variances of `terms` over the residual variance, (q, number of terms), of balanced scores.

    `scores` are (assessors, prototypes, sessions, repetitions, q). `terms` are among ASSESSOR, INTERACTION, SITTING,
    the strata of terms left out being part of the error. With `without_each` those without each assessor in turn,
    (assessors q, number of terms). Exact but in one case, an assessor variance of zero beside two that are not, where
    it is a start for iteration.
    """
    sum_squares, df = _strata_without_each(scores) if without_each else _balanced_strata(scores)
    p, s, r = scores.shape[1:4]
    multiplier = {ASSESSOR: p * s * r, INTERACTION: s * r, SITTING: p * r}
    best = np.full(len(sum_squares), np.inf)
    chosen = np.zeros((len(best), len(terms)))
    for kept in product((True, False), repeat=len(terms)):
        active = {term for term, keep in zip(terms, kept, strict=True) if keep}
        level = _pooled_levels(sum_squares, df, active)
        error = level[:, _ERROR]
        excess = {ASSESSOR: level[:, ASSESSOR] - level[:, INTERACTION] - level[:, SITTING] + error}
        excess |= {term: level[:, term] - error for term in (INTERACTION, SITTING)}
        ratio = np.stack([excess[t] / multiplier[t] / error if t in active else 0 * error for t in terms], axis=1)
        criterion = (df * np.log(level) + sum_squares / level).sum(axis=1)
        better = (ratio >= 0).all(axis=1) & (criterion < best)
        best = np.where(better, criterion, best)
        chosen = np.where(better[:, None], ratio, chosen)
    return chosen


def _pooled_levels(sum_squares: Array, df: Array, active: set[int]) -> Array:
    """Return the expected mean squares (q, 4) when only the `active` components are above zero."""
    parent = {INTERACTION: _ERROR, SITTING: _ERROR}
    group = {stratum: stratum if stratum in active else parent[stratum] for stratum in (INTERACTION, SITTING)}
    group[_ERROR] = _ERROR
    above = [stratum for stratum in (INTERACTION, SITTING) if stratum in active]
    group[ASSESSOR] = ASSESSOR if ASSESSOR in active else (above[0] if above else _ERROR)
    together = np.equal.outer(*[[group[stratum] for stratum in range(4)]] * 2).astype(float)
    level = sum_squares @ together / np.maximum(df @ together, 1.0)
    return np.maximum(level, _SMALLEST_LEVEL * sum_squares.sum(axis=1, keepdims=True) + np.finfo(float).tiny)


def seen_alike(scores: Array, group: Codes | None = None) -> tuple[float, int, int, float]:
    """Return F, its degrees of freedom and p that prototypes differ alike in all sessions, or in all groups of people.

    `scores` (assessors, prototypes, sessions), one mean each, of one attribute. Without groups prototypes x sessions
    are held against assessors x prototypes x sessions, with the groups of the assessors groups x prototypes against
    assessors x prototypes within groups: exact where scores are normal and people alike in their scatter. NaN where
    there is one session or group, or nobody over.
    """
    own = scores if group is None else scores.mean(axis=2, keepdims=True)
    own = own - own.mean(axis=1, keepdims=True)
    own = own - own.mean(axis=2, keepdims=True) if group is None else own
    of = np.zeros(len(own), dtype=np.intp) if group is None else group
    each = np.eye(int(of.max(initial=0)) + 1)[of]
    means = np.tensordot(each / each.sum(axis=0), own, (0, 0))
    between = means if group is None else means - own.mean(axis=0)
    free = own.shape[1] - 1
    df = free * (own.shape[2] - 1 if group is None else len(means) - 1)
    df_error = (len(own) - len(means)) * (df if group is None else free)
    left = float(((own - means[of]) ** 2).sum())
    if df < 1 or df_error < 1 or left <= 0:
        return float("nan"), df, df_error, float("nan")
    statistic = float((each.sum(axis=0)[:, None, None] * between**2).sum()) / df / (left / df_error)
    return statistic, df, df_error, float(fdtrc(df, df_error, statistic))
