"""Between which values does a percentile of the population lie, whatever the shape of its distribution?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from panel.errors import ModelError
from panel.stats.answers.binomial_tests import lower_tail, upper_tail

SLACK = 1e-12  # relative: a tail that equals its level but for rounding keeps to it


@dataclass(frozen=True, slots=True)
class PercentileInterval:
    """A sample percentile and the order statistics around it; an end the sample is too small for is infinite."""

    estimate: float
    low: float
    high: float


def percentile_interval(values: ArrayLike, share: float, level: float = 0.95) -> PercentileInterval:
    """Return the value below which a `share` of the population lies, with a distribution-free interval.

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
    tail = (1 - level) / 2 * (1 + SLACK)
    ranks = np.arange(1, n + 1)
    low_ranks = ranks[lower_tail(ranks - 1, n, share) <= tail]
    high_ranks = ranks[upper_tail(ranks, n, share) <= tail]
    return PercentileInterval(
        float(np.quantile(ordered, share)),
        float(ordered[low_ranks[-1] - 1]) if len(low_ranks) else -np.inf,
        float(ordered[high_ranks[0] - 1]) if len(high_ranks) else np.inf,
    )
