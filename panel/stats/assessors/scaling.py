"""The analysis of variance with a scaling factor for each assessor, beside the additive one.

Y_ijk = mu + a_i + v_j + b_i x_j + d_ij + e_ijk with x_j the centred prototype means and sum b_i = 0: assessor x
prototype is split into scaling (somebody uses more or less of the scale) and disagreement (somebody sees the
prototypes differently), and prototypes are tested against disagreement alone.

Brockhoff, Schlich & Skovgaard (2015), Food Qual. Prefer. 39:156-166.

Did two rows of one repeat change places? Scores are laid out as [person, repeat, object, variable]. For two objects,
let x be the difference between their rows in one repeat and y the same difference in the mean of the person's other
repeats. If nothing went wrong both estimate the same vector, so that x'y is positive apart from noise; if the rows
changed places, x points the other way. Given y, x'y has standard deviation sqrt(2 y'Cy) where the objects do not differ
at all, C being the covariance of the noise over the variables, and a larger expectation where they do: its lower tail
gives a chance that is never too small.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtri, ncfdtr, ndtr, stdtr, stdtrit

from panel.stats.arrays import Array, ratio
from panel.stats.assessors.departures import SCALE_SD
from panel.stats.comparing.group_means import f_tail


@dataclass(frozen=True, eq=False, slots=True)
class Scaling:
    """Sums of squares (q,), their degrees of freedom, and the factors (q, a), whose mean is 1.

    `interaction` = `scaling` + `disagreement`; `ms_error` and `df_error` (q,) are those of the repeated scores.
    """

    prototype: Array
    scaling: Array
    disagreement: Array
    df_prototype: int
    df_scaling: int
    df_disagreement: int
    ms_error: Array
    df_error: Array
    factors: Array

    @property
    def interaction(self) -> Array:
        """Sum of squares of assessor x prototype."""
        return self.scaling + self.disagreement

    @property
    def ms_disagreement(self) -> Array:
        """Mean square of disagreement, the yardstick for prototypes and for scaling."""
        return self.disagreement / self.df_disagreement

    @property
    def f_prototype(self) -> Array:
        """F that no prototype differs, against disagreement."""
        return _ratio(self.prototype / self.df_prototype, self.ms_disagreement)

    @property
    def f_scaling(self) -> Array:
        """F that all assessors use the scale alike, against disagreement."""
        return _ratio(self.scaling / self.df_scaling, self.ms_disagreement)

    @property
    def f_disagreement(self) -> Array:
        """F that nobody sees the prototypes differently, against repeated scores; NaN without any."""
        return _ratio(self.ms_disagreement, self.ms_error)

    @property
    def p_prototype(self) -> Array:
        """Upper tail probability of `f_prototype`."""
        return f_tail(self.f_prototype, self.df_prototype, self.df_disagreement)

    @property
    def p_scaling(self) -> Array:
        """Upper tail probability of `f_scaling`."""
        return f_tail(self.f_scaling, self.df_scaling, self.df_disagreement)

    @property
    def p_disagreement(self) -> Array:
        """Upper tail probability of `f_disagreement`."""
        return f_tail(self.f_disagreement, self.df_disagreement, self.df_error)


def scaling_model(means: Array, replicates: Array, ms_error: Array, df_error: Array) -> Scaling:
    """Return the scaling model of tables of cell means without holes.

    Parameters
    ----------
    means
        (q, a, p) means of each assessor and prototype, p at least 3, a at least 2.
    replicates
        (q,) scores per cell; where cells hold different numbers, their harmonic mean (analysis of unweighted means,
        Yates 1934, J. Am. Stat. Assoc. 29:51), which is then an approximation.
    ms_error, df_error
        (q,) mean square of repeated scores and its degrees of freedom; NaN and 0 where nothing was repeated.
    """
    _, a, p = means.shape
    centred = means - means.mean(axis=(1, 2), keepdims=True)
    x = centred.mean(axis=1)
    own = centred - centred.mean(axis=2, keepdims=True)
    square = (x**2).sum(axis=1)
    factors = _ratio(np.einsum("qap,qp->qa", own, x), square[:, None])
    interaction = replicates * ((own - x[:, None]) ** 2).sum(axis=(1, 2))
    scaling = np.where(square > 0, replicates * ((factors - 1) ** 2).sum(axis=1) * square, 0.0)
    return Scaling(
        prototype=a * replicates * square,
        scaling=scaling,
        disagreement=np.maximum(interaction - scaling, 0.0),
        df_prototype=p - 1,
        df_scaling=a - 1,
        df_disagreement=(a - 1) * (p - 2),
        ms_error=ms_error,
        df_error=df_error,
        factors=factors,
    )


def _ratio(above: Array, below: Array) -> Array:
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(above / below)


# With what chance would somebody who uses a scale backwards be told from honest people?
#
# The slope of such a person's means on the others' is expected at minus the others' reliability. It is noticed when
# it falls below what honest slopes allow, and the person's own table tells the prototypes apart as well; of the two
# chances the smaller one is taken, for both come from the same means. An approximation: about, not exactly.


@dataclass(frozen=True, eq=False, slots=True)
class ReversalRule:
    """Reversed is a slope whose adjusted p-value is below `alpha`, and that of the own table below `separates`.

    Slopes are looked at only where a reversed one lies at least `turn` standard errors below an honest one.
    """

    alpha: float
    separates: float
    turn: float = 0.0


def reversal_chance(
    rules: tuple[ReversalRule, ...],
    tests: tuple[float, ...],
    *,
    reliability: Array,
    others_square: Array,
    std_error: Array,
    df: Array,
    own: tuple[Array, Array, Array],
    prototypes: Array,
) -> Array:
    """Return the chance that a reversed scale is noticed by any one of the rules, (q, a); NaN where not judged.

    Parameters
    ----------
    tests
        How many slopes are counted together by each of the rules.
    reliability, others_square, std_error, df
        Of the others' means, and of the slope on them, as in `panel.stats.assessors.departures`.
    own
        The person's residual mean square, its degrees of freedom, and the scores behind each mean.
    prototypes
        Number of prototypes the person scored.
    """
    error = np.sqrt(std_error**2 + (reliability * SCALE_SD) ** 2)
    honest = np.sqrt(error**2 + (reliability * SCALE_SD) ** 2)
    mean_square, df_error, scores = own
    chances = []
    with np.errstate(divide="ignore", invalid="ignore"):
        strength = reliability * others_square * scores / mean_square
        for rule, counted in zip(rules, tests, strict=True):
            limit = np.minimum(reliability + honest * stdtrit(df, rule.alpha / max(counted, 1.0)), 0.0)
            looked_at = 2 * reliability / honest >= rule.turn
            low = np.where(looked_at, ndtr((limit + reliability) / error), 0.0)
            bar = fdtri(prototypes - 1, df_error, 1 - rule.separates)
            chances.append(np.minimum(low, 1 - ncfdtr(prototypes - 1, df_error, strength, bar)))
    usable = (reliability > 0) & np.isfinite(error) & (df_error > 0) & (prototypes > 2)
    return np.where(usable, np.max(chances, axis=0), np.nan)


def profile_exchange(scores: Array) -> dict[str, NDArray[Any]]:
    """Return the evidence that two objects changed places, for every person, repeat and pair.

    The standard deviation of the noise is that of a typical person (the median over the persons, for each
    variable), or this person's own over the objects outside the pair if that is larger; the correlations of the
    noise between the variables are those of the other persons. Degrees of freedom are those of the objects
    outside the pair, lowered for correlated variables (Box 1954, Ann Math Stat 25:290).

    Parameters
    ----------
    scores
        [person, repeat, object, variable], NaN where there is none; at least two repeats and objects.

    Returns
    -------
    first, second
        The objects of each pair.
    chance
        [person, repeat, pair] chance of differences so opposed if nothing changed places; NaN where nothing tells the
        noise.
    gain
        Share of the pair's squared disagreement with the other repeats that the exchange removes.
    """
    scores = _without_level(scores)
    there = np.isfinite(scores)
    known = np.where(there, scores, 0.0)
    others = ratio(known.sum(axis=1, keepdims=True) - known, there.sum(axis=1, keepdims=True) - there)
    noise = _disagreement(scores, others)
    spread = _typical_spread(noise)
    steady = np.isfinite(spread) & (spread > 0)
    scores, others, noise = (part[..., steady] / spread[steady] for part in (scores, others, noise))
    correlation = _correlation(noise)
    first, second = np.triu_indices(scores.shape[2], 1)
    x, y = (_differences(part, first, second, np.isfinite(noise)) for part in (scores, others))
    own, freedom = _outside_the_pair(noise, first, second)
    variables = np.float64(correlation.shape[-1])
    freedom = freedom * ratio(variables, (correlation**2).sum(axis=(1, 2)), 0.0)[:, None, None]
    variance = 2 * np.maximum(own, 1.0) * ((y @ correlation[:, None]) * y).sum(axis=-1)
    inner = (x * y).sum(axis=-1)
    chance = stdtr(freedom, ratio(inner, np.sqrt(np.maximum(variance, 0.0))))
    squares = np.where(np.isfinite(noise), noise, 0.0)
    squares = (squares**2).sum(axis=-1)
    repeats = _repeats(scores)[:, None, None]
    removed = -2 * inner * ratio(repeats - 1, repeats, 0.0)
    gain = ratio(removed, squares[..., first] + squares[..., second], 0.0)
    return {"first": first, "second": second, "chance": chance, "gain": gain}


def _without_level(values: Array) -> Array:
    """Return the values less what all objects of a repeat share, for each variable."""
    there = np.isfinite(values)
    level = ratio(np.where(there, values, 0.0).sum(axis=2), there.sum(axis=2), 0.0)
    return values - level[:, :, None, :]


def _disagreement(scores: Array, others: Array) -> Array:
    """Return repeat less other repeats, scaled to the noise of one repeat.

    The difference between one repeat and the mean of n others has (n + 1) / n times the variance of one repeat.
    """
    repeats = _repeats(scores)[:, None, None, None]
    return _without_level(scores - others) * np.sqrt(ratio(repeats - 1, repeats, 0.0))


def _repeats(scores: Array) -> NDArray[np.int64]:
    """Return the number of repeats of each person."""
    return np.isfinite(scores).any(axis=(2, 3)).sum(axis=1)


def _typical_spread(noise: Array) -> Array:
    """Return for each variable the standard deviation of one repeat of a typical person, NaN if nothing tells it.

    The median of a mean square with f degrees of freedom is (1 - 2 / (9 f))^3 of its expectation (Wilson &
    Hilferty 1931, Proc Natl Acad Sci 17:684).
    """
    there = np.isfinite(noise)
    squares = (np.where(there, noise, 0.0) ** 2).sum(axis=(1, 2))
    cells, levels = there.sum(axis=(1, 2)), there.any(axis=2).sum(axis=1)
    freedom = (cells - levels) * ratio(levels - 1, levels, 0.0)
    below_mean = (1 - ratio(np.float64(2 / 9), freedom, 2 / 9)) ** 3
    columns = ratio(ratio(squares, cells - levels), below_mean)  # their medians, without the NaN
    count = np.isfinite(columns).sum(axis=0)
    ordered, at, last = np.sort(columns, axis=0), np.arange(columns.shape[1]), np.maximum(count, 1)
    return np.sqrt(np.where(count > 0, (ordered[(last - 1) // 2, at] + ordered[last // 2, at]) / 2, np.nan))


def _correlation(noise: Array) -> Array:
    """Return the correlations of the noise between the variables [person, variable, variable].

    They come from all other persons, so that what went wrong with one person does not hide itself; from the
    person alone where there is no other.
    """
    persons, repeats, objects, variables = noise.shape
    rows = np.where(np.isfinite(noise), noise, 0.0).reshape(persons, repeats * objects, variables)
    products = np.swapaxes(rows, 1, 2) @ rows
    if persons > 1:
        products = products.sum(axis=0) - products
    size = np.sqrt(np.maximum(np.diagonal(products, axis1=1, axis2=2), 0.0))
    return ratio(products, size[:, :, None] * size[:, None, :], 0.0)


def _differences(values: Array, first: NDArray[np.int64], second: NDArray[np.int64], there: NDArray[np.bool_]) -> Array:
    """Return the differences of each pair [person, repeat, pair, variable], 0 where one of the two is missing."""
    both = there[:, :, first] & there[:, :, second]
    return np.where(both, values[:, :, first] - values[:, :, second], 0.0)


def _outside_the_pair(noise: Array, first: NDArray[np.int64], second: NDArray[np.int64]) -> tuple[Array, Array]:
    """Return the mean square of the noise of the objects outside each pair, and its degrees of freedom."""
    there = np.isfinite(noise)
    squares, number = (np.where(there, noise, 0.0) ** 2).sum(axis=-1), there.sum(axis=-1)
    objects = there.any(axis=-1).sum(axis=-1)[..., None]
    outside = squares.sum(axis=-1)[..., None] - squares[..., first] - squares[..., second]
    cells = number.sum(axis=-1)[..., None] - number[..., first] - number[..., second]
    # of the objects outside the pair one goes into the level that all objects share
    freedom = cells * ratio(np.maximum(objects - 3, 0), np.maximum(objects - 2, 0), 0.0)
    return ratio(outside, freedom), freedom
