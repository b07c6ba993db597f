"""How many of n answers must point one way? Exact binomial counts, intervals, and the chance of reaching them.

Every count is the smallest or largest whole number whose exact tail probability keeps to the level; arguments may be
arrays, shapes broadcast.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betainc, betaincinv, ndtri

from panel.errors import ModelError
from panel.stats.arrays import Array, Whole

_SLACK = 1e-12  # relative: a tail that equals the level but for rounding keeps to it (such as 1/8 for 3 of 3)


def upper_tail(x: ArrayLike, n: ArrayLike, p: ArrayLike) -> Array:
    """Return P(X >= x) of a binomial count with n answers and probability p."""
    x, n, p = (np.asarray(value, dtype=float) for value in (x, n, p))
    inside = np.clip(x, 1, n)
    tail = betainc(inside, n - inside + 1, p)  # P(X >= x) = I_p(x, n - x + 1)
    return np.asarray(np.where(x <= 0, 1.0, np.where(x > n, 0.0, tail)))


def lower_tail(x: ArrayLike, n: ArrayLike, p: ArrayLike) -> Array:
    """Return P(X <= x) of a binomial count with n answers and probability p."""
    x, n, p = (np.asarray(value, dtype=float) for value in (x, n, p))
    inside = np.clip(x, 0, n - 1)
    tail = betainc(n - inside, inside + 1, 1 - p)  # P(X <= x) = I_(1-p)(n - x, x + 1)
    return np.asarray(np.where(x < 0, 0.0, np.where(x >= n, 1.0, tail)))


def minimum_count(n: ArrayLike, p: ArrayLike, alpha: ArrayLike = 0.05) -> Whole:
    """Return the fewest answers that show a probability above `p`: the smallest x with P(X >= x | p) <= alpha.

    n + 1 says that even all of n would not be enough. With the guessing probability as `p` this is the number of
    correct answers of ISO 4120 (triangle, 1/3), ISO 10399 (duo-trio, 1/2) and ISO 5495 (paired, 1/2; with half of
    alpha for the two-sided question).
    """
    n, p, alpha = _checked(n, p, alpha)
    return _smallest(n, lambda x: upper_tail(x, n, p) <= alpha * (1 + _SLACK))


def maximum_count(n: ArrayLike, p: ArrayLike, beta: ArrayLike = 0.05) -> Whole:
    """Return the most answers that show a probability below `p`: the largest x with P(X <= x | p) <= beta; -1 if none.

    With `p` the chance of a correct answer when a share of people above the one that matters can tell the samples
    apart (`chance_correct`), this is the largest number of correct answers that shows similarity.
    """
    n, p, beta = _checked(n, p, beta)
    return _smallest(n, lambda x: lower_tail(x, n, p) > beta * (1 + _SLACK)) - 1


def chance_correct(share: ArrayLike, guess: ArrayLike) -> Array:
    """Return the chance of a correct answer if a `share` of people can tell the samples apart and the rest guess."""
    share, guess = np.asarray(share, dtype=float), np.asarray(guess, dtype=float)
    return np.asarray(guess + (1 - guess) * share)


def power_above(n: ArrayLike, p: ArrayLike, true: ArrayLike, alpha: ArrayLike = 0.05) -> Array:
    """Return the chance to reach `minimum_count` when the true probability is `true`."""
    return upper_tail(minimum_count(n, p, alpha), n, true)


def power_below(n: ArrayLike, p: ArrayLike, true: ArrayLike, beta: ArrayLike = 0.05) -> Array:
    """Return the chance not to exceed `maximum_count` when the true probability is `true`."""
    return lower_tail(maximum_count(n, p, beta), n, true)


def power_different(n: ArrayLike, p: ArrayLike, true: ArrayLike, alpha: float = 0.05) -> Array:
    """Return the chance that one of the two one-sided tests, each at alpha / 2, finds a probability other than `p`."""
    return power_above(n, p, true, alpha / 2) + power_below(n, p, true, alpha / 2)


def parity_region(n: ArrayLike, low: ArrayLike, high: ArrayLike, alpha: float = 0.05) -> tuple[Whole, Whole]:
    """Return the fewest and the most answers that show a probability above `low` and below `high`.

    Two exact one-sided tests, each at alpha. Where the fewest exceeds the most, no count of n answers shows it.
    """
    return minimum_count(n, low, alpha), maximum_count(n, high, alpha)


def power_parity(n: ArrayLike, low: ArrayLike, high: ArrayLike, true: ArrayLike, alpha: float = 0.05) -> Array:
    """Return the chance to fall into the `parity_region` when the true probability is `true`."""
    fewest, most = parity_region(n, low, high, alpha)
    inside = lower_tail(most, n, true) - lower_tail(fewest - 1, n, true)
    return np.asarray(np.where(fewest <= most, inside, 0.0))


def wilson_interval(x: ArrayLike, n: ArrayLike, level: float = 0.95) -> tuple[Array, Array]:
    """Return the interval of a share by Wilson's score method. Wilson (1927), J. Am. Stat. Assoc. 22:209.

    `x` need not be whole, so that the width to expect can be worked out before anybody is asked.
    """
    x, n = np.asarray(x, dtype=float), np.asarray(n, dtype=float)
    z = float(ndtri((1 + level) / 2))
    share = x / n
    middle = (share + z**2 / (2 * n)) / (1 + z**2 / n)
    half = z * np.sqrt(share * (1 - share) / n + z**2 / (4 * n**2)) / (1 + z**2 / n)
    return np.asarray(np.maximum(middle - half, 0.0)), np.asarray(np.minimum(middle + half, 1.0))


def _checked(n: ArrayLike, p: ArrayLike, alpha: ArrayLike) -> tuple[Array, Array, Array]:
    """Return the arguments in one shape."""
    n, p, alpha = (np.asarray(value, dtype=float) for value in np.broadcast_arrays(n, p, alpha))
    if (n < 1).any() or (n != np.round(n)).any():
        raise ModelError("The number of answers must be a whole number from 1. Ask at least one person.")
    if not ((p > 0) & (p < 1) & (alpha > 0) & (alpha < 1)).all():
        raise ModelError("A probability and a level must lie between 0 and 1, such as 0.5 and 0.05.")
    return n, p, alpha


def _smallest(n: Array, enough: Callable[[Array], NDArray[np.bool_]]) -> Whole:
    """Return the smallest whole number from 0 to n + 1 for which `enough` is true; it stays true above it."""
    low, high = np.zeros(n.shape), n + 1
    while (low < high).any():
        middle = np.floor((low + high) / 2)
        reached = enough(middle)
        high = np.where(reached & (low < high), middle, high)
        low = np.where(~reached & (low < high), middle + 1, low)
    return np.asarray(high, dtype=np.int64)


# How many answers are enough? The chance of success climbs in teeth as people are added, so there are two answers.
#
# With whole counts the chance can fall when one more person is asked. What is given is the number from which on none
# falls below the wanted chance again, not the first that reaches it.


_START = 64
_MOST_ASKED = 65_536
_CLEARANCE = 0.6  # no number below the target may lie in the upper two fifths of what was searched


def enough_answers(chance: Callable[[NDArray[np.int64]], Array], wanted: float = 0.8) -> int:
    """Return the number of answers from which on the chance of success never falls below `wanted`.

    Parameters
    ----------
    chance
        Chance of success for an array of numbers of answers. It must rise towards 1, teeth apart.
    wanted
        Such as 0.8.

    Raises
    ------
    ModelError
        If `wanted` lies outside 0 to 1, or 65,536 answers do not do.
    """
    if not 0 < wanted < 1:
        raise ModelError("The wanted chance of success must lie between 0 and 1. Choose a value such as 0.8.")
    most = _START
    while most <= _MOST_ASKED:
        numbers = np.arange(1, most + 1)
        chances = np.asarray(chance(numbers), dtype=float)
        missed = np.flatnonzero(chances < wanted)
        always = int(numbers[missed[-1]]) + 1 if len(missed) else 1
        if always <= _CLEARANCE * most:
            return always
        most *= 2
    raise ModelError(
        f"Even {_MOST_ASKED:,} answers would not show this with a chance of {wanted:g}: the true value lies too close "
        "to the limit. Ask for a larger difference, or a wider margin."
    )


# Between which shares does the true one lie, exactly? Clopper and Pearson's interval of a binomial share.


def exact_interval(x: ArrayLike, n: ArrayLike, level: float = 0.95) -> tuple[Array, Array]:
    """Return the interval of a share: x of n, shapes broadcast.

    It holds every share that neither one-sided exact test at (1 - level) / 2 speaks against, so it covers the true one
    at least as often as `level` says. Clopper and Pearson (1934), Biometrika 26:404.
    """
    x, n = (np.asarray(value, dtype=float) for value in np.broadcast_arrays(x, n))
    tail = (1 - level) / 2
    low = np.where(x > 0, betaincinv(np.maximum(x, 1), n - x + 1, tail), 0.0)
    high = np.where(x < n, betaincinv(x + 1, np.maximum(n - x, 1), 1 - tail), 1.0)
    return np.asarray(low), np.asarray(high)


def share_reached(x: ArrayLike, n: ArrayLike, chance: float) -> Array:
    """Return the true share with which x or more of n answers come up with this chance; NaN where x exceeds n."""
    x, n = (np.asarray(value, dtype=float) for value in np.broadcast_arrays(x, n))
    inside = np.clip(x, 1, n)
    share = betaincinv(inside, n - inside + 1, chance)  # P(X >= x) = I_p(x, n - x + 1)
    return np.asarray(np.where(x > n, np.nan, np.where(x <= 0, 0.0, share)))


# Between which values does a percentile of the population lie, whatever the shape of its distribution?


def percentile_interval(values: ArrayLike, share: float, level: float = 0.95) -> tuple[float, float, float]:
    """Return the value below which a `share` of the population lies, and both ends of a distribution-free interval.

    An end the sample is too small for is infinite.

    The r-th smallest of n values lies above the percentile with the binomial probability of fewer than r values below
    it, so the ends are order statistics and each tail keeps to (1 - level) / 2 exactly or below. David & Nagaraja
    (2003), Order Statistics, 3rd ed., section 7.1; Conover (1999), Practical Nonparametric Statistics, section 3.2.

    Raises
    ------
    ModelError
        If there are no values or `share` does not lie between 0 and 1.
    """
    ordered = np.sort(np.asarray(values, dtype=float))
    n = len(ordered)
    if not n or not 0 < share < 1:
        raise ModelError("A percentile needs at least one value and a share between 0 and 1, such as 0.9.")
    tail = (1 - level) / 2 * (1 + _SLACK)
    ranks = np.arange(1, n + 1)
    low_ranks = ranks[lower_tail(ranks - 1, n, share) <= tail]
    high_ranks = ranks[upper_tail(ranks, n, share) <= tail]
    return (
        float(np.quantile(ordered, share)),
        float(ordered[low_ranks[-1] - 1]) if len(low_ranks) else -np.inf,
        float(ordered[high_ranks[0] - 1]) if len(high_ranks) else np.inf,
    )
