"""How many of n answers must point one way? Exact binomial counts, intervals, and the chance of reaching them.

Every count is the smallest or largest whole number whose exact tail probability keeps to the level; arguments may be
arrays, shapes broadcast.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betainc, ndtri

from panel.errors import ModelError

Counts = NDArray[np.int64]
Floats = NDArray[np.float64]

SLACK = 1e-12  # relative: a tail that equals the level but for rounding keeps to it (such as 1/8 for 3 of 3)


def upper_tail(x: ArrayLike, n: ArrayLike, p: ArrayLike) -> Floats:
    """Return P(X >= x) of a binomial count with n answers and probability p."""
    x, n, p = (np.asarray(value, dtype=float) for value in (x, n, p))
    inside = np.clip(x, 1, n)
    tail = betainc(inside, n - inside + 1, p)  # P(X >= x) = I_p(x, n - x + 1)
    return np.asarray(np.where(x <= 0, 1.0, np.where(x > n, 0.0, tail)))


def lower_tail(x: ArrayLike, n: ArrayLike, p: ArrayLike) -> Floats:
    """Return P(X <= x) of a binomial count with n answers and probability p."""
    x, n, p = (np.asarray(value, dtype=float) for value in (x, n, p))
    inside = np.clip(x, 0, n - 1)
    tail = betainc(n - inside, inside + 1, 1 - p)  # P(X <= x) = I_(1-p)(n - x, x + 1)
    return np.asarray(np.where(x < 0, 0.0, np.where(x >= n, 1.0, tail)))


def minimum_count(n: ArrayLike, p: ArrayLike, alpha: ArrayLike = 0.05) -> Counts:
    """Return the fewest answers that show a probability above `p`: the smallest x with P(X >= x | p) <= alpha.

    n + 1 says that even all of n would not be enough. With the guessing probability as `p` this is the number of
    correct answers of ISO 4120 (triangle, 1/3), ISO 10399 (duo-trio, 1/2) and ISO 5495 (paired, 1/2; with half of
    alpha for the two-sided question).
    """
    n, p, alpha = _checked(n, p, alpha)
    return _smallest(n, lambda x: upper_tail(x, n, p) <= alpha * (1 + SLACK))


def maximum_count(n: ArrayLike, p: ArrayLike, beta: ArrayLike = 0.05) -> Counts:
    """Return the most answers that show a probability below `p`: the largest x with P(X <= x | p) <= beta; -1 if none.

    With `p` the chance of a correct answer when a share of people above the one that matters can tell the samples
    apart (`chance_correct`), this is the largest number of correct answers that shows similarity.
    """
    n, p, beta = _checked(n, p, beta)
    return _smallest(n, lambda x: lower_tail(x, n, p) > beta * (1 + SLACK)) - 1


def chance_correct(share: ArrayLike, guess: ArrayLike) -> Floats:
    """Return the chance of a correct answer if a `share` of people can tell the samples apart and the rest guess."""
    share, guess = np.asarray(share, dtype=float), np.asarray(guess, dtype=float)
    return np.asarray(guess + (1 - guess) * share)


def power_above(n: ArrayLike, p: ArrayLike, true: ArrayLike, alpha: ArrayLike = 0.05) -> Floats:
    """Return the chance to reach `minimum_count` when the true probability is `true`."""
    return upper_tail(minimum_count(n, p, alpha), n, true)


def power_below(n: ArrayLike, p: ArrayLike, true: ArrayLike, beta: ArrayLike = 0.05) -> Floats:
    """Return the chance not to exceed `maximum_count` when the true probability is `true`."""
    return lower_tail(maximum_count(n, p, beta), n, true)


def power_different(n: ArrayLike, p: ArrayLike, true: ArrayLike, alpha: float = 0.05) -> Floats:
    """Return the chance that one of the two one-sided tests, each at alpha / 2, finds a probability other than `p`."""
    return power_above(n, p, true, alpha / 2) + power_below(n, p, true, alpha / 2)


def parity_region(n: ArrayLike, low: ArrayLike, high: ArrayLike, alpha: float = 0.05) -> tuple[Counts, Counts]:
    """Return the fewest and the most answers that show a probability above `low` and below `high`.

    Two exact one-sided tests, each at alpha. Where the fewest exceeds the most, no count of n answers shows it.
    """
    return minimum_count(n, low, alpha), maximum_count(n, high, alpha)


def power_parity(n: ArrayLike, low: ArrayLike, high: ArrayLike, true: ArrayLike, alpha: float = 0.05) -> Floats:
    """Return the chance to fall into the `parity_region` when the true probability is `true`."""
    fewest, most = parity_region(n, low, high, alpha)
    inside = lower_tail(most, n, true) - lower_tail(fewest - 1, n, true)
    return np.asarray(np.where(fewest <= most, inside, 0.0))


def wilson_interval(x: ArrayLike, n: ArrayLike, level: float = 0.95) -> tuple[Floats, Floats]:
    """Return the interval of a share by Wilson's score method. Wilson (1927), J. Am. Stat. Assoc. 22:209.

    `x` need not be whole, so that the width to expect can be worked out before anybody is asked.
    """
    x, n = np.asarray(x, dtype=float), np.asarray(n, dtype=float)
    z = float(ndtri((1 + level) / 2))
    share = x / n
    middle = (share + z**2 / (2 * n)) / (1 + z**2 / n)
    half = z * np.sqrt(share * (1 - share) / n + z**2 / (4 * n**2)) / (1 + z**2 / n)
    return np.asarray(np.maximum(middle - half, 0.0)), np.asarray(np.minimum(middle + half, 1.0))


def _checked(n: ArrayLike, p: ArrayLike, alpha: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Return the arguments in one shape.

    Raises
    ------
    ModelError
        If there are no answers, or a probability or level does not lie between 0 and 1.
    """
    n, p, alpha = (np.asarray(value, dtype=float) for value in np.broadcast_arrays(n, p, alpha))
    if (n < 1).any() or (n != np.round(n)).any():
        raise ModelError("The number of answers must be a whole number from 1. Ask at least one person.")
    if not ((p > 0) & (p < 1) & (alpha > 0) & (alpha < 1)).all():
        raise ModelError("A probability and a level must lie between 0 and 1, such as 0.5 and 0.05.")
    return n, p, alpha


def _smallest(n: Floats, enough: Callable[[Floats], NDArray[np.bool_]]) -> Counts:
    """Return the smallest whole number from 0 to n + 1 for which `enough` is true; it stays true above it."""
    low, high = np.zeros(n.shape), n + 1
    while (low < high).any():
        middle = np.floor((low + high) / 2)
        reached = enough(middle)
        high = np.where(reached & (low < high), middle, high)
        low = np.where(~reached & (low < high), middle + 1, low)
    return np.asarray(high, dtype=np.int64)
