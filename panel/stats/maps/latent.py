"""Partial least squares, one response at a time, for many responses and many orders of few rows at once.

Only the products between rows enter (m x m for m rows), never the p x p products of the columns: with few prototypes
and many descriptors that is the small side, and all responses and all orders of the rows share it. The scores are
those of the orthogonal scores algorithm: t_a = (I - P) K r_a, r_{a+1} = r_a - t_a (t_a' r_a) / (t_a' t_a), with
K = XX', P the projection on the scores before and r_1 = y. Sources: Wold, Ruhe, Wold and Dunn (1984), SIAM J Sci Stat
Comput 5, 735-743; the products between rows: Rännar, Lindgren, Geladi and Wold (1994), J Chemometrics 8, 111-125.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import permutations
from math import factorial

import numpy as np
from numpy.typing import ArrayLike, NDArray

from panel.stats.arrays import Array

# A spread below this share of the largest value is rounding of the arithmetic, not variation.
_NO_SPREAD = 1e-12
# A score this small beside K and y is rounding: nothing of the response is left for another component.
_NO_SCORE = 1e-10
# So many responses at a time stay in the processor's cache; more only wait for memory.
_TOGETHER = 700
# Two orders of the rows give the same Q2 if it differs by no more than the arithmetic may.
_SAME_Q2 = 1e-9


@dataclass(frozen=True, eq=False, slots=True)
class LatentTest:
    """How well held-out rows are predicted, and how often other orders of the rows do as well; one entry per response.

    Parameters
    ----------
    q2
        (components, responses) Q2 with 1, 2 ... components.
    best, n_components
        The largest of them, and with how many components.
    p_value
        Share of the orders, the true one among them, whose largest Q2 is at least as large.
    floor
        Smallest p-value possible: the share of orders that cannot be told from the true one.
    chance
        The largest Q2 that one order in twenty exceeds.
    orders, arrangements
        How many orders were tried, and how many different ones there are.
    """

    q2: Array
    best: Array
    n_components: NDArray[np.int64]
    p_value: Array
    floor: Array
    chance: Array
    orders: int
    arrangements: int


def _predict_new(
    X: ArrayLike, Y: ArrayLike, X_new: ArrayLike, n_components: int, *, scale: bool = True, ddof: int = 1
) -> Array:
    """Return predictions (components, new rows, responses) with 1, 2 ... `n_components` components.

    `X` is rows x descriptors, `Y` rows x responses. Columns of `X` are centred and, with `scale`, divided by their
    standard deviation (`ddof`); what the new rows need for that comes from the rows of `X` alone.
    """
    rows, new = _standardised(np.asarray(X, float), np.asarray(X_new, float), scale, ddof)
    return _predictions(rows @ rows.T, new @ rows.T, np.asarray(Y, float), n_components)


def leave_one_out(X: ArrayLike, Y: ArrayLike, n_components: int, *, scale: bool = True, ddof: int = 1) -> Array:
    """Return the prediction of each row from all others, (components, rows, responses); standardised in each fold."""
    X, Y = np.asarray(X, float), np.asarray(Y, float)
    predicted = np.empty((n_components, *Y.shape))
    for row in range(len(X)):
        kept = np.arange(len(X)) != row
        predicted[:, row] = _predict_new(X[kept], Y[kept], X[[row]], n_components, scale=scale, ddof=ddof)[:, 0]
    return predicted


def q_squared(Y: ArrayLike, predicted: ArrayLike) -> Array:
    """Return Q2 = 1 - sum (y - predicted)^2 / sum (y - mean)^2 over the rows (the axis before the last).

    Predicting each row by the mean of the others gives 1 - (n / (n - 1))^2, below zero. NaN where nothing varies.
    """
    Y = np.asarray(Y, float)
    total = ((Y - Y.mean(axis=-2, keepdims=True)) ** 2).sum(axis=-2)
    varies = np.sqrt(total) > _NO_SPREAD * np.abs(Y).max(axis=-2, initial=0.0)
    left = ((Y - predicted) ** 2).sum(axis=-2)
    total, varies = np.broadcast_to(total, left.shape), np.broadcast_to(varies, left.shape)
    return 1 - np.divide(left, total, out=np.full(left.shape, np.nan), where=varies)


def permutation_test(X: ArrayLike, Y: ArrayLike, n_components: int, orders: NDArray[np.intp]) -> LatentTest:
    """Test the leave-one-out Q2 of each response by giving its rows other places.

    The number of components is chosen by the largest Q2 anew in each order, so that choosing it costs nothing.
    `orders` (orders x rows) comes from `row_orders`; its first row is the true order.
    """
    X, Y = np.asarray(X, float), np.asarray(Y, float)
    n, q = Y.shape
    placed = Y[orders].transpose(1, 0, 2).reshape(n, -1)
    every = q_squared(placed, leave_one_out(X, placed, n_components)).reshape(n_components, len(orders), q)
    largest = every.max(axis=0)
    best = largest[0]
    with np.errstate(invalid="ignore"):
        as_good, alike = largest >= best - _SAME_Q2, np.abs(largest - best) <= _SAME_Q2
    known = ~np.isnan(best)
    return LatentTest(
        q2=every[:, 0],
        best=best,
        n_components=np.where(known, np.nan_to_num(every[:, 0]).argmax(axis=0) + 1, 0),
        p_value=np.where(known, as_good.mean(axis=0), np.nan),
        floor=np.where(known, alike.mean(axis=0), np.nan),
        chance=np.quantile(largest, 0.95, axis=0),
        orders=len(orders),
        arrangements=arrangements(X),
    )


def row_orders(n: int, draws: int, rng: np.random.Generator) -> NDArray[np.intp]:
    """Return orders of `n` rows, the true one first: all n! if those are no more than `draws`, else `draws` drawn."""
    if factorial(n) <= draws:
        return np.array(list(permutations(range(n))), dtype=np.intp)
    drawn = rng.permuted(np.tile(np.arange(n), (draws, 1)), axis=1)
    return np.vstack([np.arange(n), drawn])


def arrangements(X: ArrayLike) -> int:
    """Return in how many different ways responses can be given to the rows of `X`, rows that are alike being one."""
    _, counts = np.unique(np.asarray(X, float).round(9), axis=0, return_counts=True)
    ways = factorial(int(counts.sum()))
    for count in counts:
        ways //= factorial(int(count))
    return ways


def _standardised(X: Array, X_new: Array, scale: bool, ddof: int) -> tuple[Array, Array]:
    """Centre and scale both by the columns of `X`; a column of `X` that does not vary becomes zero."""
    mean = X.mean(axis=0)
    centred = X - mean
    deviation = np.sqrt((centred**2).sum(axis=0) / max(len(X) - ddof, 1))
    flat = ~(deviation > _NO_SPREAD * np.abs(X).max(axis=0, initial=0.0))
    by = np.where(flat, 1.0, deviation) if scale else np.ones_like(deviation)
    return np.where(flat, 0.0, centred) / by, (X_new - mean) / by


def _predictions(K: Array, K_new: Array, Y: Array, n_components: int) -> Array:
    """Return predictions (components, new rows, responses) from the products between the rows."""
    steps = np.empty((n_components, len(K_new), Y.shape[1]))
    for first in range(0, Y.shape[1], _TOGETHER):
        block = slice(first, first + _TOGETHER)
        steps[..., block] = _predictions_of_block(K, K_new, Y[:, block], n_components)
    return steps


def _predictions_of_block(K: Array, K_new: Array, Y: Array, n_components: int) -> Array:
    mean = Y.mean(axis=0)
    left = Y - mean
    smallest = (_NO_SCORE * np.linalg.norm(K) * np.linalg.norm(left, axis=0)) ** 2
    scores: list[tuple[Array, Array, Array]] = []
    predicted = np.zeros((len(K_new), Y.shape[1])) + mean
    steps = np.empty((n_components, *predicted.shape))
    for component in range(n_components):
        t, t_new = K @ left, K_new @ left
        for before, before_new, size in scores:
            share = _ratio((before * t).sum(axis=0), size)
            t, t_new = t - share * before, t_new - share * before_new
        size = (t**2).sum(axis=0)
        size = np.where(size > smallest, size, 0.0)
        loading = _ratio((t * left).sum(axis=0), size)
        left = left - loading * t
        predicted = predicted + loading * t_new
        scores.append((t, t_new, size))
        steps[component] = predicted
    return steps


def _ratio(above: Array, below: Array) -> Array:
    return np.divide(above, below, out=np.zeros_like(above), where=below > 0)
