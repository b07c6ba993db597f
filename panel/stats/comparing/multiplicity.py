"""P-values and intervals adjusted for having asked several questions at once: Holm, Tukey, Dunnett, bands of draws.

If X is a maximum with known variance and survival function S, then with the variance estimated on nu degrees of
freedom P(X / s > q) = E[S(q s)], s^2 ~ chi2(nu) / nu. S is tabulated once on a grid of x, interpolated in
log S, and the expectation is a trapezoid sum in log s, which converges geometrically for this integrand.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache, lru_cache
from string import ascii_lowercase

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammaln, log_ndtr, ndtr

from panel.errors import ModelError
from panel.stats.arrays import Array

ALPHA, LEVEL = 0.05, 0.95
"""Level of every test of a study, and of every interval beside it."""


def holm(p: ArrayLike) -> NDArray[np.float64]:
    """Return Holm's step-down adjusted p-values, in the shape of `p`.

    They bound the chance of even one false alarm in the family, whatever the dependence. NaN is a question that
    was not asked: it stays NaN and is not counted. ValueError if a p-value lies outside 0 to 1.
    Source: Holm (1979), Scandinavian Journal of Statistics 6, 65-70.
    """
    values, asked, order = _sorted_family(p)
    m = order.size
    stepped = values[asked][order] * np.arange(m, 0, -1)
    return _back_in_place(values, asked, order, np.maximum.accumulate(stepped))


def serial_gatekeeping(p: ArrayLike, family: ArrayLike) -> NDArray[np.float64]:
    """Return p-values (m,) adjusted for families that are tested one after another, in the order of their numbers.

    Holm within each family; a family is tested only where every p-value of those before is below the level, so that
    none is smaller than the largest adjusted one before it. With one p-value to a family this is the fixed sequence;
    with one family it is Holm. It bounds the chance of even one false alarm over all families. NaN is not counted.
    Source: Dmitrienko and Tamhane (2007), Pharmaceutical Statistics 6, 171-180; Maurer, Hothorn and Lehmacher (1995),
    in Biometrie in der chemisch-pharmazeutischen Industrie 6, 3-18.
    """
    values, number = np.asarray(p, dtype=float), np.asarray(family)
    adjusted, before = np.full(values.shape, np.nan), 0.0
    for each in np.unique(number):
        own = number == each
        adjusted[own] = np.maximum(holm(values[own]), before)
        before = max(before, np.nanmax(adjusted[own], initial=0.0))
    return adjusted


def benjamini_hochberg(p: ArrayLike) -> NDArray[np.float64]:
    """Return Benjamini and Hochberg's step-up adjusted p-values, in the shape of `p`.

    They bound the expected share of false alarms among the findings, for independent or positively dependent
    tests. NaN is a question that was not asked: it stays NaN and is not counted. ValueError if a p-value lies
    outside 0 to 1. Source: Benjamini and Hochberg (1995), Journal of the Royal Statistical Society B 57, 289-300.
    """
    values, asked, order = _sorted_family(p)
    m = order.size
    stepped = values[asked][order] * m / np.arange(1, m + 1)
    return _back_in_place(values, asked, order, np.minimum.accumulate(stepped[::-1])[::-1])


_DECIMALS_OF_A_LEVEL = 12


def below(p_value: ArrayLike, alpha: float = ALPHA) -> NDArray[np.bool_]:
    """Return which p-values lie below `alpha`, strictly: every verdict asks this; no number (NaN) never does.

    One that equals the level is not below it: its interval ends at the limit it is held against, and the careful side
    is taken, by claims as by tables. Only counts keep to the level as the standards' do (`minimum_count`, at most
    alpha): at 1/2, 1/3 and 1/9 no count has a p-value of 0.05. 1 - 0.95 is stored as 0.05 and a little; without
    rounding, p = 0.05 would lie below it.
    """
    return np.asarray(np.asarray(p_value, dtype=float) < round(alpha, _DECIMALS_OF_A_LEVEL))


def _sorted_family(p: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.bool_], NDArray[np.intp]]:
    """Return p as an array, which entries were asked, and the order of those from small to large."""
    values = np.asarray(p, dtype=float)
    asked = ~np.isnan(values)
    if np.any((values[asked] < 0) | (values[asked] > 1)):
        raise ValueError("p-values must lie between 0 and 1")
    return values, asked, np.argsort(values[asked], kind="stable")


def _back_in_place(
    values: NDArray[np.float64], asked: NDArray[np.bool_], order: NDArray[np.intp], stepped: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the stepped values at the places their p-values came from, none above 1."""
    family = np.empty(order.size)
    family[order] = np.minimum(stepped, 1.0)
    adjusted = np.full(values.shape, np.nan)
    adjusted[asked] = family
    return adjusted


# Which interval decides: it leaves out zero exactly where the adjusted p-value is below the limit.


def deciding_alpha(p: ArrayLike, alpha: float, adjust: Callable[[Array], Array] = holm) -> NDArray[np.float64]:
    """Return what each p-value (m,) is held against: it is below that exactly where `adjust` tells it at `alpha`.

    Holm: the smallest of m is held against alpha / m, the next against alpha / (m - 1), and all from the first that is
    not below its limit on against the limit of that one (Holm 1979). `benjamini_hochberg`: with R of m told, all
    against max(R, 1) alpha / m, so that of the intervals picked for leaving out zero an expected share of at most
    alpha misses (Benjamini and Yekutieli 2005, J. Am. Stat. Assoc. 100, 71-81). NaN is no question.
    """
    values, asked, order = _sorted_family(p)
    found, m = np.full(values.shape, np.nan), order.size
    if adjust is benjamini_hochberg:
        found[asked] = max(int(below(adjust(values), alpha).sum()), 1) * alpha / max(m, 1)
        return found
    step = alpha / np.arange(m, 0, -1)
    kept = values[asked][order] >= step
    if kept.any():
        step = np.minimum(step, step[int(kept.argmax())])
    return _back_in_place(values, asked, order, step)


_NODES = 128  # of the trapezoid sum; more change nothing above 1e-9 for up to 8 means and 2 degrees of freedom
_MANY_DF, _NODES_OF_MANY_DF = 20.0, 64  # from here on fewer do: more change nothing above 1e-11 for up to 50 means
_NORMAL_DF = 1e10  # from here on the studentized maximum is the maximum itself
_ITERATIONS = 60
_SERIES_FROM = 4.0  # degrees of freedom from which the series holds
_SERIES_NODES = 32  # give ten digits from there on
_NEIGHBOURS = (-2, -1, 0, 1, 2, 3)
_INTERPOLATION = np.linalg.inv(np.vander(_NEIGHBOURS, increasing=True).astype(float))


@dataclass(frozen=True, eq=False, slots=True)
class _StudentizedMaximum:
    """Distribution of a studentized maximum, from log S tabulated at `x` = 0, h, 2h, ...

    `polynomials` (6, intervals): log S between two neighbours of the table; see `_studentized_maximum`.
    """

    step: float
    log_survival: Array
    polynomials: Array

    def sf(self, q: Array, df: Array) -> Array:
        """Return P(X / s > q) with `df` degrees of freedom; arrays of one shape."""
        q, df = np.broadcast_arrays(np.asarray(q, dtype=float), np.asarray(df, dtype=float))
        distinct, place = np.unique(np.minimum(df, _NORMAL_DF), return_inverse=True)
        few = distinct.min(initial=np.inf) >= _MANY_DF
        log_s, log_weight = _chi_nodes(distinct, _NODES_OF_MANY_DF if few else _NODES)
        place = place.reshape(df.shape)
        return self._expected(q, np.exp(log_s)[place], log_weight[place])

    def _expected(self, q: Array, s: Array, log_weight: Array) -> Array:
        """Return the sum of S(q s) over the nodes `s` with their weights."""
        inside = self._log_survival_at(q[..., None] * s)
        return np.asarray(np.clip(np.exp(inside + log_weight).sum(axis=-1), 0.0, 1.0))

    def isf(self, p: float, df: Array, series: Array | None = None) -> Array:
        """Return the q with P(X / s > q) = p, for each of `df`.

        The quantile is smooth in 1 / df: many different ones are taken from `series`, made anew where it is not given.
        """
        df = np.asarray(df, dtype=float)
        distinct, place = np.unique(np.minimum(df, _NORMAL_DF), return_inverse=True)
        smooth = distinct >= _SERIES_FROM
        if series is None and smooth.sum() <= _SERIES_NODES:
            smooth[:] = False
        found = np.empty_like(distinct)
        if not smooth.all():
            found[~smooth] = self._solved(p, distinct[~smooth])
        if smooth.any():
            series = self.quantile_series(p) if series is None else series
            found[smooth] = np.polynomial.chebyshev.chebval(2 * _SERIES_FROM / distinct[smooth] - 1, series)
        return np.asarray(found[place].reshape(df.shape))

    def quantile_series(self, p: float) -> Array:
        """Return the coefficients of a Chebyshev series in 1 / df of the q with P(X / s > q) = p."""
        unit = np.polynomial.chebyshev.chebpts1(_SERIES_NODES)
        solved = self._solved(p, np.minimum(2 * _SERIES_FROM / (1 + unit), _NORMAL_DF))
        return np.asarray(np.polynomial.chebyshev.chebfit(unit, solved, _SERIES_NODES - 1), dtype=float)

    def _solved(self, p: float, df: Array) -> Array:
        """Solve sf(q, df) = p by secants of log p, halving where one leads out of the interval that holds q."""
        log_s, log_weight = _chi_nodes(np.minimum(df, _NORMAL_DF))
        s = np.exp(log_s)
        place = np.interp(-np.log(p), -self.log_survival, np.arange(len(self.log_survival)))
        low = np.full_like(df, 0.9 * self.step * place)  # with known variance; estimating it only raises the quantile
        high = low * (1.2 + 4 / df)
        while (rising := self._expected(high, s, log_weight) > p).any():
            low, high = np.where(rising, high, low), np.where(rising, 2 * high, high)
        before, here = low, high
        value_before, value = (np.log(self._expected(end, s, log_weight) / p) for end in (low, high))
        for _ in range(_ITERATIONS):
            if (np.abs(value) < 1e-11).all():
                break
            slope = value - value_before
            secant = here - value * np.divide(here - before, slope, out=np.zeros_like(here), where=slope != 0)
            before, value_before = here, value
            here = np.where((low <= secant) & (secant <= high), secant, (low + high) / 2)
            value = np.log(np.maximum(self._expected(here, s, log_weight), 1e-300) / p)
            low, high = np.where(value > 0, here, low), np.where(value > 0, high, here)
        return np.asarray(here)

    def _log_survival_at(self, x: Array) -> Array:
        """Interpolate log S (Horner); minus infinity beyond the table."""
        place = np.minimum(x / self.step, len(self.log_survival))  # a fraction of a degree of freedom reaches far
        left = np.clip(place.astype(np.intp), 2, len(self.log_survival) - 4)
        t = place - left
        total = self.polynomials[-1].take(left)
        for coefficients in self.polynomials[-2::-1]:
            total *= t
            total += coefficients.take(left)
        return np.where(place <= len(self.log_survival) - 1, np.minimum(total, 0.0), -np.inf)


def _studentized_maximum(step: float, log_survival: Array) -> _StudentizedMaximum:
    """Return the distribution from log S at 0, `step`, 2 `step`, ...; between them the quintic through six neighbours.

    The polynomial of each interval is in the distance from its left end, in steps; the outermost two neighbours on
    either side have none of their own.
    """
    polynomials = np.zeros((len(_NEIGHBOURS), len(log_survival)))
    neighbours = np.lib.stride_tricks.sliding_window_view(log_survival, len(_NEIGHBOURS))
    polynomials[:, 2 : 2 + len(neighbours)] = _INTERPOLATION @ neighbours.T
    return _StudentizedMaximum(step, log_survival, polynomials)


def _chi_nodes(df: Array, nodes: int = _NODES) -> tuple[Array, Array]:
    """Return log s and log weights, (..., nodes), of the trapezoid sum over the density of s."""
    width = 9 / np.sqrt(2 * df)
    lowest = -np.maximum(width, 40 / df)  # the density falls as s^df to the left
    highest = np.maximum(np.minimum(width, 3.0), 0.5 * np.log1p(90 / df))  # and as exp(-df s^2 / 2) to the right
    unit = np.linspace(0, 1, nodes)
    log_s = lowest[..., None] + (highest - lowest)[..., None] * unit
    half = df[..., None] / 2
    log_density = np.log(2.0) + _log_scale(half) + 2 * half * (log_s - np.expm1(2 * log_s) / 2)
    return log_s, log_density + np.log((highest - lowest) / (nodes - 1))[..., None]


def _log_scale(half: Array) -> Array:
    """Return h log h - h - log Gamma(h), by Stirling's series where the difference would lose its digits."""
    series = np.log(half / (2 * np.pi)) / 2 - 1 / (12 * half) + 1 / (360 * half**3)
    return np.asarray(np.where(half > 100, series, half * np.log(half) - half - gammaln(half)))


# The studentized range (Tukey): how far apart the largest and smallest of k means fall by chance.


_RANGE_STEP = 0.025
_LARGEST_RANGE = 30.0  # P(range > 30) is below 1e-90 for up to 1000 means


@cache
def _studentized_range(k: int) -> _StudentizedMaximum:
    """Return the distribution of the studentized range of `k` means.

    P(range <= w) = k int phi(z) [Phi(z) - Phi(z - w)]^(k-1) dz (Hartley 1942, Biometrika 32:334), its complement
    taken before the difference of powers so that small tails keep their digits.
    """
    if k < 2:
        raise ModelError("A range needs at least two prototypes. Add a prototype that was scored.")
    w = np.arange(0, _LARGEST_RANGE + _RANGE_STEP / 2, _RANGE_STEP)
    z = np.arange(-9.0, _LARGEST_RANGE + 9.0, 0.25)  # 0.125 changes nothing above 1e-14
    log_density = -(z**2) / 2 - np.log(2 * np.pi) / 2 + np.log(k) + (k - 1) * log_ndtr(z)
    below = np.exp(np.minimum(log_ndtr(z[None, :] - w[:, None]) - log_ndtr(z)[None, :], 0.0))
    with np.errstate(divide="ignore"):  # at w = 0 nothing lies between: log 0, and the share above is 1
        share = -np.expm1((k - 1) * np.log1p(-below))
    log_terms = np.log(np.maximum(share, 1e-300)) + log_density
    peak = log_terms.max(axis=1, keepdims=True)
    log_survival = peak[:, 0] + np.log(np.exp(log_terms - peak).sum(axis=1) * (z[1] - z[0]))
    return _studentized_maximum(_RANGE_STEP, np.minimum(log_survival, 0.0))


def tukey_p_value(statistic: Array, k: int, df: Array) -> Array:
    """Return the p-value, adjusted over all pairs of `k` means, of t statistics with `df` degrees of freedom."""
    return _studentized_range(k).sf(np.abs(statistic) * np.sqrt(2), df)


def tukey_critical(k: int, df: Array, level: float) -> Array:
    """Return the multiple of a difference's standard error in a simultaneous interval over all pairs."""
    return np.asarray(_studentized_range(k).isf(1 - level, df, _quantile_series(k, level)) / np.sqrt(2))


@cache
def _quantile_series(k: int, level: float) -> Array:
    return _studentized_range(k).quantile_series(1 - level)


# Several means against one (Dunnett): the largest absolute t of correlated differences from a benchmark.


_GRID_STEP = 0.05
_LARGEST = 12.0  # a t of 12 with known variance has p below 1e-32
_FACTOR_STEPS = 200
_LOADING_DIGITS = 12  # beyond them only rounding differs


def many_to_one(covariance: Array) -> tuple[_StudentizedMaximum, float]:
    """Return the distribution of the largest absolute t of differences with `covariance` (k, k), up to a scale.

    Differences from one mean share that mean, so that corr(i, j) = l_i l_j (Dunnett 1955, J. Am. Stat. Assoc.
    50:1096); for unbalanced data, where this holds nearly, the nearest such l is used and its misfit is given.
    """
    sd = np.sqrt(np.diagonal(covariance))
    loading, misfit = _one_factor(covariance / np.outer(sd, sd))
    return _largest_of(tuple(np.round(loading, _LOADING_DIGITS).tolist())), misfit


@lru_cache(maxsize=64)  # balanced attributes all have the same
def _largest_of(loadings: tuple[float, ...]) -> _StudentizedMaximum:
    """Return the distribution of the largest absolute t with corr(i, j) = l_i l_j."""
    loading, count = np.unique(loadings, return_counts=True)
    x = np.arange(0, _LARGEST + _GRID_STEP / 2, _GRID_STEP)
    z = np.arange(0.0, 8.01, 0.25)  # the chances of z and -z are the same
    weight = np.where(z > 0, 2.0, 1.0) * np.exp(-(z**2) / 2) * 0.25 / np.sqrt(2 * np.pi)
    rest = np.sqrt(1 - loading**2)
    shift = (loading / rest)[:, None, None] * z
    reach = (x / rest[:, None])[:, :, None]
    outside = ndtr(shift - reach) + ndtr(-shift - reach)  # P(|T_i| > x) given the shared mean
    log_inside = np.tensordot(count, np.log1p(-np.minimum(outside, 1 - 1e-16)), axes=1)
    survival = (-np.expm1(log_inside) * weight).sum(axis=1)
    return _studentized_maximum(_GRID_STEP, np.log(np.clip(survival, 1e-300, 1.0)))


def _one_factor(correlation: Array) -> tuple[Array, float]:
    """Return loadings l with l_i l_j nearest to the off-diagonal correlations, and the largest misfit."""
    k = len(correlation)
    if k == 1:
        return np.zeros(1), 0.0
    if k == 2:
        shared = np.clip(correlation[0, 1], 0.0, 0.9999)
        return np.full(2, np.sqrt(shared)), float(abs(correlation[0, 1] - shared))
    reduced = correlation.copy()
    for _ in range(_FACTOR_STEPS):
        values, vectors = np.linalg.eigh(reduced)
        loading = np.abs(vectors[:, -1]) * np.sqrt(max(values[-1], 0.0))
        loading = np.minimum(loading, 0.99995)
        if np.abs(np.diagonal(reduced) - loading**2).max() < 1e-12:
            break
        np.fill_diagonal(reduced, loading**2)
    off = ~np.eye(k, dtype=bool)
    return loading, float(np.abs(np.outer(loading, loading) - correlation)[off].max())


# Intervals from draws of many quantities that hold for all of them at once, whatever the shape of each.
#
# Besag, Green, Higdon & Mengersen (1995), Stat. Sci. 10:3-41, section 6.3: the same order statistics from both ends
# of every quantity, chosen so that the wanted share of whole draws lies inside everywhere.


def simultaneous_bands(drawn: Array, level: float) -> tuple[Array, Array]:
    """Return lower and upper ends (m,) of intervals that hold at once for a share `level` of the draws (n, m).

    Quantities with a missing draw get NaN and count for nothing.
    """
    n, m = drawn.shape
    known = np.flatnonzero(np.isfinite(drawn).all(axis=0))
    low, high = np.full(m, np.nan), np.full(m, np.nan)
    if not len(known) or not n:
        return low, high
    order = np.argsort(drawn[:, known], axis=0, kind="stable")
    place = np.empty_like(order)
    np.put_along_axis(place, order, np.arange(n)[:, None], axis=0)
    outermost = np.maximum(place, n - 1 - place).max(axis=1)
    reach = int(np.sort(outermost)[min(math.ceil(level * n), n) - 1])
    ranked = np.sort(drawn[:, known], axis=0)
    low[known], high[known] = ranked[n - 1 - reach], ranked[reach]
    return low, high


# Letters for means: two means that share a letter have not been told apart.


def letters_for(means: NDArray[np.float64], apart: NDArray[np.bool_]) -> list[str]:
    """Return the letters of each mean, `a` for the group that holds the largest.

    Two means share a letter exactly when they are not `apart` (k, k, symmetric): the groups are the largest without
    two that are (those of Piepho 2004, J. Comput. Graph. Stat. 13:456).
    """
    order = np.argsort(-means, kind="stable")
    rows = np.packbits(~apart[order][:, order], axis=1, bitorder="little")
    neighbours = [int.from_bytes(row.tobytes(), "little") & ~(1 << place) for place, row in enumerate(rows)]
    groups = _side_by_side(neighbours) or sorted(_members(group) for group in _largest_groups(neighbours))
    letters = [""] * len(means)
    for number, group in enumerate(groups):
        for place in group:
            letters[order[place]] += _letter(number)
    return letters


def _side_by_side(neighbours: list[int]) -> list[range]:
    """Return the groups where those alike stand side by side, as they do with equal standard errors; else none."""
    after = [others >> place + 1 for place, others in enumerate(neighbours)]
    ends = [place + 1 + others.bit_length() for place, others in enumerate(after)]
    if any(others & others + 1 for others in after) or ends != sorted(ends):
        return []
    return [range(place, end) for place, end in enumerate(ends) if not place or end > ends[place - 1]]


def _largest_groups(neighbours: list[int]) -> Iterator[int]:
    """Yield the groups, as bits, whose members are all neighbours and that no other mean can join.

    Bron & Kerbosch (1973), Commun. ACM 16:575, with the pivot of Tomita, Tanaka & Takahashi (2006), Theor. Comput.
    Sci. 363:28.
    """
    waiting = [(0, (1 << len(neighbours)) - 1, 0)]  # a group, who may join it, who may no more
    while waiting:
        group, may, tried = waiting.pop()
        if not may | tried:
            yield group
            continue
        pivot = max(_members(may | tried), key=lambda one: (may & neighbours[one]).bit_count())
        for one in _members(may & ~neighbours[pivot]):
            waiting.append((group | 1 << one, may & neighbours[one], tried & neighbours[one]))
            may, tried = may & ~(1 << one), tried | 1 << one


def _members(group: int) -> list[int]:
    return [place for place in range(group.bit_length()) if group >> place & 1]


def _letter(number: int) -> str:
    """Return a, b, ... z, then a1, b1, ..."""
    turn, place = divmod(number, len(ascii_lowercase))
    return ascii_lowercase[place] + (str(turn) if turn else "")
