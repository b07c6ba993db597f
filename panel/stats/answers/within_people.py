"""How much does a response change with an answer when the same people give several of both?

People are the units: each is left out in turn (jackknife), so that several answers of one person never count as
several people. Tukey (1958), Ann. Math. Stat. 29:614; Efron and Stein (1981), Ann. Stat. 9:586.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from panel.stats.arrays import Array
from panel.stats.comparing.group_means import MeanDifferences, t_differences


@dataclass(frozen=True, eq=False, slots=True)
class PeopleDifferences:
    """`tests` of the differences, and how many people, `n_people`, of `tests`' shape, they rest on."""

    tests: MeanDifferences
    n_people: NDArray[np.int64]


def ticked_differences(response: ArrayLike, ticked: ArrayLike, level: float = 0.95) -> PeopleDifferences:
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


def within_people(response: ArrayLike, regressors: ArrayLike, level: float = 0.95) -> PeopleDifferences:
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
    fields = ("estimate", "std_error", "df", "statistic", "p_value", "ci_low", "ci_high")
    tests = MeanDifferences(*(np.stack([getattr(part.tests, name) for part in parts], axis=1) for name in fields))
    return PeopleDifferences(tests, telling.sum(axis=1))


def _cells(response: ArrayLike, regressors: Array) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Return response (t, n, k) and regressors (t, m, n, k) with zeros where a cell is left out, and which are used."""
    y = np.asarray(response, dtype=float)
    used = ~np.isnan(y) & ~np.isnan(regressors).any(axis=1)
    return np.where(used, y, 0.0), np.where(used[:, None], regressors, 0.0), used


SINGULAR = 1e-9  # relative: a determinant this small is zero but for rounding


def _solved(squares: Array, products: Array) -> Array:
    """Return the solutions, NaN where the regressors cannot be told apart."""
    scale = np.sqrt(np.maximum(np.einsum("...aa->...a", squares), 1e-300))
    scaled = squares / (scale[..., :, None] * scale[..., None, :])
    known = np.abs(np.linalg.det(scaled)) > SINGULAR
    safe = np.where(known[..., None, None], scaled, np.eye(squares.shape[-1]))
    found = np.linalg.solve(safe, (products / scale)[..., None])[..., 0] / scale
    return np.where(known[..., None], found, np.nan)


def _jackknife(estimate: Array, without: Array, people: NDArray[np.bool_], level: float) -> PeopleDifferences:
    """Return tests from the estimates (t,) without each of the people (t, n) in turn.

    Where leaving out one person leaves nothing to compare, no standard error can be given.
    """
    n = people.sum(axis=1)
    some = np.maximum(n, 1)
    values = np.where(people, without, 0.0)
    middle = values.sum(axis=1) / some
    spread = np.where(people, values - middle[:, None], 0.0)
    error = np.sqrt((some - 1) / some * (spread**2).sum(axis=1))
    return PeopleDifferences(t_differences(estimate, error, n - 1.0, level), n)
