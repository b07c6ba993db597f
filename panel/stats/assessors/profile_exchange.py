"""Did two rows of one repeat change places: how far does it contradict the same person's other repeats?

Scores are laid out as [person, repeat, object, variable]. For two objects, let x be the difference between their
rows in one repeat and y the same difference in the mean of the person's other repeats. If nothing went wrong both
estimate the same vector, so that x'y is positive apart from noise; if the rows changed places, x points the other
way. Given y, x'y has standard deviation sqrt(2 y'Cy) where the objects do not differ at all, C being the covariance
of the noise over the variables, and a larger expectation where they do: its lower tail gives a chance that is
never too small.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr

from panel.stats.arrays import Array


@dataclass(frozen=True, eq=False, slots=True)
class ProfileExchange:
    """What is known of each pair of objects in each repeat of each person, arrays [person, repeat, pair].

    Parameters
    ----------
    first, second
        The objects of each pair.
    chance
        Chance of differences so opposed if nothing changed places; NaN where nothing tells the noise.
    gain
        Share of the pair's squared disagreement with the other repeats that the exchange removes.
    """

    first: NDArray[np.int64]
    second: NDArray[np.int64]
    chance: Array
    gain: Array


def profile_exchange(scores: Array) -> ProfileExchange:
    """Return the evidence that two objects changed places, for every person, repeat and pair.

    The standard deviation of the noise is that of a typical person (the median over the persons, for each
    variable), or this person's own over the objects outside the pair if that is larger; the correlations of the
    noise between the variables are those of the other persons. Degrees of freedom are those of the objects
    outside the pair, lowered for correlated variables (Box 1954, Ann Math Stat 25:290).

    Parameters
    ----------
    scores
        [person, repeat, object, variable], NaN where there is none; at least two repeats and objects.
    """
    scores = _without_level(scores)
    others = _other_repeats(scores)
    noise = _disagreement(scores, others)
    spread = _typical_spread(noise)
    steady = np.isfinite(spread) & (spread > 0)
    scores, others, noise = (part[..., steady] / spread[steady] for part in (scores, others, noise))
    correlation = _correlation(noise)
    first, second = np.triu_indices(scores.shape[2], 1)
    x, y = (_differences(part, first, second, np.isfinite(noise)) for part in (scores, others))
    own, freedom = _outside_the_pair(noise, first, second)
    variables = np.float64(correlation.shape[-1])
    freedom = freedom * _ratio(variables, (correlation**2).sum(axis=(1, 2)), 0.0)[:, None, None]
    variance = 2 * np.maximum(own, 1.0) * ((y @ correlation[:, None]) * y).sum(axis=-1)
    inner = (x * y).sum(axis=-1)
    chance = stdtr(freedom, _ratio(inner, np.sqrt(np.maximum(variance, 0.0)), np.nan))
    squares = np.where(np.isfinite(noise), noise, 0.0)
    squares = (squares**2).sum(axis=-1)
    repeats = _repeats(scores)[:, None, None]
    removed = -2 * inner * _ratio(repeats - 1, repeats, 0.0)
    return ProfileExchange(first, second, chance, _ratio(removed, squares[..., first] + squares[..., second], 0.0))


def _other_repeats(scores: Array) -> Array:
    """Return for each repeat the mean over the same person's other repeats."""
    there = np.isfinite(scores)
    known = np.where(there, scores, 0.0)
    return _ratio(known.sum(axis=1, keepdims=True) - known, there.sum(axis=1, keepdims=True) - there, np.nan)


def _without_level(values: Array) -> Array:
    """Return the values less what all objects of a repeat share, for each variable."""
    there = np.isfinite(values)
    level = _ratio(np.where(there, values, 0.0).sum(axis=2), there.sum(axis=2), 0.0)
    return values - level[:, :, None, :]


def _disagreement(scores: Array, others: Array) -> Array:
    """Return repeat less other repeats, scaled to the noise of one repeat.

    The difference between one repeat and the mean of n others has (n + 1) / n times the variance of one repeat.
    """
    repeats = _repeats(scores)[:, None, None, None]
    return _without_level(scores - others) * np.sqrt(_ratio(repeats - 1, repeats, 0.0))


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
    freedom = (cells - levels) * _ratio(levels - 1, levels, 0.0)
    below_mean = (1 - _ratio(np.float64(2 / 9), freedom, 2 / 9)) ** 3
    return np.sqrt(_median(_ratio(_ratio(squares, cells - levels, np.nan), below_mean, np.nan)))


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
    return _ratio(products, size[:, :, None] * size[:, None, :], 0.0)


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
    freedom = cells * _ratio(np.maximum(objects - 3, 0), np.maximum(objects - 2, 0), 0.0)
    return _ratio(outside, freedom, np.nan), freedom


def _median(columns: Array) -> Array:
    """Return the median of each column without its NaN; NaN for a column without values."""
    count = np.isfinite(columns).sum(axis=0)
    ordered, at, last = np.sort(columns, axis=0), np.arange(columns.shape[1]), np.maximum(count, 1)
    return np.where(count > 0, (ordered[(last - 1) // 2, at] + ordered[last // 2, at]) / 2, np.nan)


def _ratio(above: NDArray[np.generic] | np.generic, below: NDArray[np.generic] | np.generic, otherwise: float) -> Array:
    """Return above / below, and `otherwise` where nothing is below (zero, negative or NaN)."""
    numerator, denominator = np.broadcast_arrays(np.asarray(above, dtype=float), np.asarray(below, dtype=float))
    return np.divide(numerator, denominator, out=np.full(numerator.shape, otherwise), where=denominator > 0)
