"""One assessor's share of a sum of squares, over several attributes at once.

If all a assessors scatter alike, an assessor's share of the sum of squares on one attribute is beta distributed with
(d / 2, D / 2), d own and D others' degrees of freedom: Cochran's test of the largest variance. The mean share over
attributes has the same mean and, the more independent attributes there are, a smaller variance; the beta distribution
with that mean and variance stands for it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import betainc, betaincc

from panel.stats.arrays import Array


@dataclass(frozen=True, eq=False, slots=True)
class MeanShare:
    """Arrays (a,): `ratio` of the person's standard deviation to the others', and both tails of the share."""

    ratio: Array
    lower: Array
    upper: Array


def mean_share(squares: Array, df: Array, independent: float, allowed: float = 1.0) -> MeanShare:
    """Return how an assessor's share, on average over the attributes, compares with an equal one.

    Parameters
    ----------
    squares, df
        (q, a) sums of squares and their degrees of freedom; a cell without any counts for nothing.
    independent
        Share of the attributes, 0 to 1, that are as good as independent.
    allowed
        Ratio of standard deviations up to which more is nothing out of the ordinary, for the upper tail.
    """
    held = np.isfinite(squares) & (df > 0)
    own, d = np.where(held, squares, 0.0), np.where(held, df, 0.0)
    total, whole = own.sum(axis=1, keepdims=True), d.sum(axis=1, keepdims=True)
    held &= (total > 0) & (whole > d)
    count = held.sum(axis=0)
    share = _mean(_over(own, total), held)
    beyond = _mean(_over(own, own + allowed**2 * (total - own)), held)
    expected = _mean(_over(d, whole), held)
    size = np.maximum(independent * count, 1.0) * (_mean(np.broadcast_to(whole / 2, d.shape), held) + 1) - 1
    known = (count > 0) & (expected > 0)
    alpha, beta = (np.where(known, part * size, 1.0) for part in (expected, 1 - expected))
    with np.errstate(divide="ignore", invalid="ignore"):
        odds = share / (1 - share) * (1 - expected) / expected
    return MeanShare(
        ratio=np.where(known, np.sqrt(odds), np.nan),
        lower=np.where(known, betainc(alpha, beta, np.where(known, share, 0.5)), np.nan),
        upper=np.where(known, betaincc(alpha, beta, np.where(known, beyond, 0.5)), np.nan),
    )


def _mean(values: Array, held: np.ndarray) -> Array:
    return _over(np.where(held, values, 0.0).sum(axis=0), held.sum(axis=0))


def _over(above: Array, below: Array) -> Array:
    """Return above / below, NaN where nothing is below."""
    above, below = np.broadcast_arrays(above, below)
    return np.divide(above, below, out=np.full(above.shape, np.nan), where=below > 0)
