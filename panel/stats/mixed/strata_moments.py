"""The moments where every random term is balanced against every other: a few sums of squares hold everything.

Terms that split the rows into groups of one size, any two of them in even proportions, leave the rows in strata in
which V is a number: V = sum of level_s Q_s with Q_s the projections on the strata (Tjur 1984, Int. Stat. Rev. 52:33-65;
Nelder 1965, Proc. R. Soc. A 283:147-162). A crossed panel of five terms then costs as little as one mean square per
stratum. What is fixed may be anything.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from panel.stats.arrays import Array, Codes
from panel.stats.mixed.moments import Moments, connected, each_response


@dataclass(frozen=True, eq=False, slots=True)
class StrataDesign:
    """Cross-products by stratum; see `strata_design`."""

    squares: Array  # (q, strata, p + 1, p + 1), W'Q_s W
    df: Array  # (strata,), the rank of Q_s
    loads: Array  # (K, strata), how often the variance of a term counts in a stratum
    n_scores: Array  # (q,)

    @property
    def n_fixed(self) -> int:
        """Number of fixed columns."""
        return int(self.squares.shape[-1]) - 1

    def select(self, chosen: NDArray[np.bool_]) -> StrataDesign:
        """Return the design of the `chosen` responses."""
        return StrataDesign(self.squares[chosen], self.df, self.loads, self.n_scores[chosen])

    def moments(self, gamma: Array) -> Moments:
        """Return the moments at relative variances `gamma` (q, K)."""
        level = 1 + gamma @ self.loads
        single = self.loads / level[:, None]
        double = single[:, :, None] * single[:, None, :]
        return Moments(
            log_det=np.log(level) @ self.df,
            cross=self._weighted(1 / level),
            cross_k=self._weighted(single / level[:, None]),
            cross_kl=self._weighted(double / level[:, None, None]),
            trace_k=single @ self.df,
            trace_kl=double @ self.df,
        )

    def _weighted(self, weights: Array) -> Array:
        """Return the cross-products summed over the strata with `weights` (q, ..., strata)."""
        q, strata, width, _ = self.squares.shape
        flat = weights.reshape(q, -1, strata) @ self.squares.reshape(q, strata, -1)
        return np.asarray(flat.reshape(*weights.shape[:-1], width, width))


def strata_design(response: Array, fixed: Array, groups: list[Codes]) -> StrataDesign | None:
    """Sum a design by strata, or return None where the terms are not balanced; arguments as `block_design`."""
    n, p = fixed.shape
    groups = [np.unique(group, return_inverse=True)[1].reshape(-1) for group in groups]
    factors = _strata(groups) if np.isfinite(response).all() else None
    if factors is None:
        return None
    rest = np.hstack([fixed, response])
    squares: list[Array] = []
    df: list[int] = []
    for place, factor in enumerate(factors):
        part = _group_means(factor, rest)[factor]
        rest = rest - part
        squares.append(each_response(part.T @ part, p))
        coarser = [df[earlier] for earlier in range(place) if _is_finer(factor, factors[earlier])]
        df.append(_size(factor) - sum(coarser))
    squares.append(each_response(rest.T @ rest, p))
    loads = np.zeros((len(groups), len(factors) + 1))
    for term, group in enumerate(groups):
        held = [_is_finer(group, factor) for factor in factors]
        loads[term, :-1] = np.where(held, n / _size(group), 0.0)
    numbers = np.full(response.shape[1], float(n))
    return StrataDesign(np.stack(squares, axis=1), np.array([*df, n - sum(df)], dtype=float), loads, numbers)


def _strata(groups: list[Codes]) -> list[Codes] | None:
    """Return the terms and all that two of them share, coarse before fine; None if they are not balanced."""
    factors: list[Codes] = []
    waiting = list(groups)
    while waiting:
        new = waiting.pop()
        if np.ptp(np.bincount(new)):
            return None
        meetings = [_meetings(new, old) for old in factors]
        if any(_size(new) == _size(old) == len(met) for old, met in zip(factors, meetings, strict=True)):
            continue  # known already
        for old, met in zip(factors, meetings, strict=True):
            if len(met) == max(_size(new), _size(old)):
                continue  # one lies within the other: what they share is known
            shared = connected([new, old])
            # within what they share every group of the one meets every group of the other, and equally often
            if np.ptp(met) or len(met) * _size(shared) != _size(new) * _size(old):
                return None
            waiting.append(shared)
        factors.append(new)
    return sorted(factors, key=_size)


def _meetings(first: Codes, second: Codes) -> Codes:
    """Return how many rows two groups have in common, for all that have any."""
    counts = np.bincount(first * _size(second) + second)
    return counts[counts > 0]


def _is_finer(group: Codes, other: Codes) -> bool:
    """Return whether each group lies within one group of `other`."""
    return len(_meetings(group, other)) == _size(group)


def _size(group: Codes) -> int:
    return int(group.max()) + 1


def _group_means(group: Codes, values: Array) -> Array:
    """Return the means of groups of one size."""
    order = np.argsort(group, kind="stable")
    return np.asarray(values[order].reshape(_size(group), -1, values.shape[1]).mean(axis=1))
