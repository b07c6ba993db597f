"""Do two yes-or-no answers of the same people differ? McNemar's test, exact: only those who changed count."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from panel.stats.answers.binomial_tests import lower_tail
from panel.stats.arrays import Array

Counts = NDArray[np.int64]


@dataclass(frozen=True, eq=False, slots=True)
class PairCounts:
    """Counts for the pairs of columns, each (t, number of pairs); `first` and `second` are the columns of each pair.

    `n` people with both answers; of these `only_first` said yes to the first column alone, `only_second` to the
    second alone, `both` to both.
    """

    first: NDArray[np.intp]
    second: NDArray[np.intp]
    n: Counts
    only_first: Counts
    only_second: Counts
    both: Counts


def pair_counts(answers: ArrayLike) -> PairCounts:
    """Count for every two columns of `answers` (t, n, k), 1 yes, 0 no, NaN none, who said yes to which."""
    x = np.asarray(answers, dtype=float)
    there = ~np.isnan(x)
    yes, no = (there & (x == 1)).astype(np.float64), (there & (x == 0)).astype(np.float64)
    # sums of zeros and ones are exact in float64 and much faster than in whole numbers
    both, one, neither = (np.swapaxes(a, 1, 2) @ b for a, b in ((yes, yes), (yes, no), (no, no)))
    first, second = np.triu_indices(x.shape[2], 1)
    counted = [m[:, first, second] for m in (both, one, np.swapaxes(one, 1, 2), neither)]
    in_both, only_first, only_second, none = (np.rint(part).astype(np.int64) for part in counted)
    return PairCounts(first, second, in_both + only_first + only_second + none, only_first, only_second, in_both)


def mcnemar_exact(only_first: ArrayLike, only_second: ArrayLike) -> Array:
    """Return the two-sided exact p-value: twice the smaller binomial tail, at most 1; 1 where nobody changed.

    McNemar (1947), Psychometrika 12:153. It never rejects more often than its level says.
    """
    b, c = np.broadcast_arrays(np.asarray(only_first, dtype=float), np.asarray(only_second, dtype=float))
    changed = b + c
    tail = lower_tail(np.minimum(b, c), np.maximum(changed, 1), 0.5)
    return np.asarray(np.where(changed > 0, np.minimum(2 * tail, 1.0), 1.0))


def mcnemar_statistic(only_first: ArrayLike, only_second: ArrayLike, *, correction: bool = False) -> Array:
    """Return the chi-square statistic with one degree of freedom; NaN where nobody changed.

    `correction` takes one off the difference, as Edwards (1948), Psychometrika 13:185.
    """
    b, c = np.broadcast_arrays(np.asarray(only_first, dtype=float), np.asarray(only_second, dtype=float))
    apart = np.maximum(np.abs(b - c) - (1.0 if correction else 0.0), 0.0)
    return np.asarray(np.divide(apart**2, b + c, out=np.full(b.shape, np.nan), where=b + c > 0))
