"""Which sensation is dominant when, in what share of the evaluations, and how large must a share be to beat chance?

Pineau et al. (2009), Food Qual. Prefer. 20:450 (from memory): with k sensations to choose from, chance is 1 / k.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from panel.errors import ModelError
from panel.stats.answers.binomial_tests import minimum_count
from panel.stats.arrays import Array

Codes = NDArray[np.intp]

NORMAL_FROM = 5.0  # n P0 (1 - P0) above which the normal formula is near enough (the same source)


def standardised(times: ArrayLike, sensations: ArrayLike, end: float, grid: ArrayLike) -> Codes:
    """Return which sensation is dominant at each point of the grid, from 0 (first choice) to 1 (end).

    Parameters
    ----------
    times, sensations
        Moments at which another sensation became dominant, in order, and its number; of two at one moment the later
        counts.
    end
        The moment at which nothing was felt any more.

    Raises
    ------
    ModelError
        If nothing was chosen, the times go back, or the end is not after the first choice.
    """
    t, chosen = np.asarray(times, dtype=float), np.asarray(sensations, dtype=np.intp)
    if not len(t) or (np.diff(t) < 0).any():
        raise ModelError("no sensation was chosen, or the times are out of order.")
    if not end > t[0] or t[-1] > end:
        raise ModelError("it does not end after the first and the last choice.")
    at = (t - t[0]) / (end - t[0])
    return np.asarray(chosen[np.searchsorted(at, np.asarray(grid, dtype=float), side="right") - 1])


def significance_line(n: ArrayLike, k: int, level: float = 0.95) -> tuple[Array, NDArray[np.bool_]]:
    """Return the share that n evaluations must reach to lie above chance, and whether it is exact.

    P0 + z sqrt(P0 (1 - P0) / n) where n P0 (1 - P0) exceeds 5, else the exact binomial count over n (above 1 where
    even all of n would not do).
    """
    n = np.asarray(n, dtype=float)
    chance = 1 / k
    normal = chance + ndtri(level) * np.sqrt(chance * (1 - chance) / n)
    exact = n * chance * (1 - chance) <= NORMAL_FROM
    return np.where(exact, minimum_count(n, chance, 1 - level) / n, normal), exact
