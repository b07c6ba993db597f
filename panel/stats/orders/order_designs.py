"""In which order should each of n people try t samples? Williams squares, and what comes nearest for any n.

Two things are kept even: how often a sample stands at each place, and how often it comes straight after each other
sample. Samples and places count from 0; a row is the order of one person.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincc

from panel.errors import ModelError
from panel.stats.arrays import Codes

_Orders = NDArray[np.int64]

_LONGEST_SEARCHED = 13  # odd numbers of samples up to here have their steps searched (at most 20 ms)
_STARTS = 12  # random choices of the rows left over, each bettered until no exchange helps


def _williams_square(t: int) -> _Orders:
    """Return a Williams square: t rows for an even number of samples, 2t rows for an odd one.

    The first row is 1, 2, t, 3, t-1, ..., each further row adds 1 modulo t; for an odd t the mirror square follows.
    Each sample stands once (odd: twice) at each place and comes once (odd: twice) straight after each other one.
    Williams (1949), Austral. J. Sci. Res. A 2:149.
    """
    if t < 2:
        raise ModelError("An order needs at least two samples. Add a prototype to serve.")
    steps = np.arange(1, t)
    first = np.concatenate([[0], np.where(steps % 2, (steps + 1) // 2, -(steps // 2))])
    return _with_mirror(first, t)


def _balanced_square(t: int) -> _Orders:
    """Return rows with the properties of a Williams square whose part squares are as even as can be.

    For an odd t half of a Williams square serves some pairs twice and others never. Here the first row takes every
    step modulo t once but one, which it takes twice, so that also the half square is nearly even.
    """
    if t % 2 and 5 <= t <= _LONGEST_SEARCHED:
        return _with_mirror(np.array(_even_steps(t)), t)
    return _williams_square(t)


def serving_orders(n: int, t: int, sittings: int, rng: np.random.Generator) -> _Orders:
    """Return orders of t samples for n people in each of several sittings: (sittings, n, t).

    Within each sitting a sample stands at each place equally often, or once more at some: the largest and the smallest
    count differ by 1 at most. Under that condition an exchange search makes a sum of squares small: of how often each
    sample follows each other one, in the sitting and in all so far, and of how often it stood at each place in all so
    far. Last, rows go to people so that nobody meets a sample at the same place again if it can be helped. The same
    `rng` gives the same orders.

    Raises
    ------
    ModelError
        With fewer than two samples, or nobody to serve.
    """
    if n < 1 or sittings < 1:
        raise ModelError("Nobody is to be served. Give at least one assessor and one session.")
    square = rng.permutation(t)[_balanced_square(t)]
    chosen = np.empty((sittings, n, t), dtype=np.int64)
    for sitting in range(sittings):
        rows = _rows_of_sitting(square, n, chosen[:sitting].reshape(-1, t), rng)
        chosen[sitting] = _to_people(rows, chosen[:sitting], rng)
    return chosen


def _place_counts(orders: _Orders, t: int) -> _Orders:
    """Return how often each sample stands at each place: (t, places)."""
    rows = orders.reshape(-1, orders.shape[-1])
    counts = np.zeros((t, rows.shape[1]), dtype=np.int64)
    np.add.at(counts, (rows, np.arange(rows.shape[1])), 1)
    return counts


def _carry_over_counts(orders: _Orders, t: int) -> _Orders:
    """Return how often each sample (column) comes straight after each other one (row): (t, t)."""
    rows = orders.reshape(-1, orders.shape[-1])
    counts = np.zeros((t, t), dtype=np.int64)
    np.add.at(counts, (rows[:, :-1], rows[:, 1:]), 1)
    return counts


def _with_mirror(first: _Orders, t: int) -> _Orders:
    """Return the square that grows from a first row, and below it its mirror if t is odd."""
    square = (first + np.arange(t)[:, None]) % t
    return np.concatenate([square, square[:, ::-1]]) if t % 2 else square


@cache
def _even_steps(t: int) -> tuple[int, ...]:
    """Return a first row whose steps modulo t are all different but for one taken twice, its opposite left out.

    All different is impossible: for an odd t they would add up to zero and lead back to the start.
    """
    row, taken = [0], [0] * t

    def complete(twice: int) -> bool:
        if len(row) == t:
            return True
        for sample in range(1, t):
            step = (sample - row[-1]) % t
            if sample in row or taken[step] > 1 or step == t - twice:
                continue
            if taken[step] and (twice or taken[t - step]):
                continue
            row.append(sample)
            taken[step] += 1
            if complete(step if taken[step] == 2 else twice):
                return True
            row.pop()
            taken[step] -= 1
        return False

    complete(0)
    return tuple(row)


def _rows_of_sitting(square: _Orders, n: int, before: _Orders, rng: np.random.Generator) -> _Orders:
    """Return n rows of the square: whole squares, and of the rest the rows that leave the counts most even."""
    t = square.shape[1]
    whole, rest = divmod(n, len(square))
    kept = np.tile(square, (whole, 1))
    if not rest:
        return kept
    choices = []
    for part in range(0, len(square), t):
        # a part square holds each sample once at each place, so that any of its rows keep the places even
        first, second = square[part : part + t], np.delete(square, np.s_[part : part + t], axis=0)
        full = first[: t * (rest // t)]
        source = second if len(full) else first
        choices.append(_best_rows(np.concatenate([kept, full]), source, rest - len(full), before, rng))
    return min(choices, key=lambda choice: choice[0])[1]


def _best_rows(
    kept: _Orders, source: _Orders, number: int, before: _Orders, rng: np.random.Generator
) -> tuple[float, _Orders]:
    """Return the unevenness and the rows: those kept and `number` of the source, bettered by exchanges."""

    def cost(picked: list[int]) -> float:
        return _unevenness(np.concatenate([kept, source[picked]]), before)

    best, rows = np.inf, list(range(number))
    for _ in range(_STARTS if 0 < number < len(source) else 1):
        order = rng.permutation(len(source)).tolist()
        inside, outside = order[:number], order[number:]
        now = cost(inside)
        while True:
            tried = [
                (cost([*inside[:out], new, *inside[out + 1 :]]), out, place)
                for out in range(number)
                for place, new in enumerate(outside)
            ]
            lowest = min(tried, default=(np.inf, 0, 0))
            if lowest[0] >= now:
                break
            now, out, place = lowest
            inside[out], outside[place] = outside[place], inside[out]
        if now < best:
            best, rows = now, inside
    return best, np.concatenate([kept, source[rows]])


def _unevenness(rows: _Orders, before: _Orders) -> float:
    """Return the sum of squares of the counts that are to be even; the smaller, the more even."""
    t = rows.shape[1]
    after = _carry_over_counts(rows, t)
    so_far = after + _carry_over_counts(before, t)
    places = _place_counts(rows, t) + _place_counts(before, t)
    return float((after**2).sum() + (so_far**2).sum() + (places**2).sum())


def _to_people(rows: _Orders, before: _Orders, rng: np.random.Generator) -> _Orders:
    """Return the rows in an order of people in which nobody meets a sample at a place once more than need be."""
    from scipy.optimize import linear_sum_assignment  # slow to load, and seldom needed

    shuffled = rows[rng.permutation(len(rows))]
    if not len(before):
        return shuffled
    met = (before[:, :, None, :] == shuffled[None, None, :, :]).sum(axis=(0, 3))  # people x rows
    _, order = linear_sum_assignment(met)
    return shuffled[order]


def chance_by_lot(sitting: Codes, sample: Codes, place: Codes) -> float:
    """Return how likely orders drawn by lot in each sitting would tie samples to places as much as these do.

    The tie is the sum over the table of samples x places of (count - expected)^2 / how often the place was used: what
    places take from the means of the samples. Its mean by lot is exact, and its variance but for fourth moments; by
    these two it is held against a chi-squared distribution (Satterthwaite). 1 where nothing could have been drawn.
    """
    samples, places = (np.eye(int(code.max()) + 1)[code] for code in (sample, place))
    places = places / np.sqrt(places.sum(axis=0))
    order = np.argsort(sitting, kind="stable")
    tie, one, other = [], [], []
    for rows in np.split(order, np.flatnonzero(np.diff(sitting[order])) + 1):
        served, stood = (each[rows] - each[rows].mean(axis=0) for each in (samples, places))
        tie.append(served.T @ stood)
        one.append(served.T @ served / max(len(rows) - 1, 1))
        other.append(stood.T @ stood)
    mean = sum(float(np.trace(a) * np.trace(b)) for a, b in zip(one, other, strict=True))
    if mean <= 0:
        return 1.0
    a, b = (np.array(each).reshape(len(each), -1) for each in (one, other))
    squares = float(((a.T @ b) ** 2 if a.shape[1] * b.shape[1] < len(a) ** 2 else (a @ a.T) * (b @ b.T)).sum())
    return float(gammaincc(mean**2 / squares / 2, (np.sum(tie, axis=0) ** 2).sum() * mean / squares / 2))
