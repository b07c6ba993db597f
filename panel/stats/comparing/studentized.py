"""The largest of several studentized quantities: tail probabilities and quantiles, many at a time.

If X is a maximum with known variance and survival function S, then with the variance estimated on nu degrees of
freedom P(X / s > q) = E[S(q s)], s^2 ~ chi2(nu) / nu. S is tabulated once on a grid of x, interpolated in
log S, and the expectation is a trapezoid sum in log s, which converges geometrically for this integrand.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln

from panel.stats.arrays import Array

NODES = 128  # of the trapezoid sum; doubling them changes nothing above 1e-12 for 2 or more degrees of freedom
NORMAL_DF = 1e10  # from here on the studentized maximum is the maximum itself
ITERATIONS = 60
_NEIGHBOURS = (-2, -1, 0, 1, 2, 3)
_SCALES = tuple(1 / np.prod([k - other for other in _NEIGHBOURS if other != k]) for k in _NEIGHBOURS)
CHEBYSHEV_NODES = 12
CHEBYSHEV_FROM = 4.0  # degrees of freedom from which 12 nodes give eight digits


@dataclass(frozen=True, eq=False, slots=True)
class StudentizedMaximum:
    """Distribution of a studentized maximum, from log S tabulated at `x` = 0, h, 2h, ..."""

    step: float
    log_survival: Array

    def sf(self, q: Array, df: Array) -> Array:
        """Return P(X / s > q) with `df` degrees of freedom; arrays of one shape."""
        q, df = np.broadcast_arrays(np.asarray(q, dtype=float), np.asarray(df, dtype=float))
        log_s, log_weight = _chi_nodes(np.minimum(df, NORMAL_DF))
        return self._expected(q, np.exp(log_s), log_weight)

    def _expected(self, q: Array, s: Array, log_weight: Array) -> Array:
        """Return the sum of S(q s) over the nodes `s` with their weights."""
        inside = self._log_survival_at(q[..., None] * s)
        return np.asarray(np.clip(np.exp(inside + log_weight).sum(axis=-1), 0.0, 1.0))

    def isf(self, p: float, df: Array) -> Array:
        """Return the q with P(X / s > q) = p, for each of `df`.

        The quantile is smooth in 1 / df: many different ones are interpolated from a few Chebyshev nodes.
        """
        df = np.asarray(df, dtype=float)
        distinct, place = np.unique(np.minimum(df, NORMAL_DF), return_inverse=True)
        if len(distinct) <= CHEBYSHEV_NODES or distinct[0] < CHEBYSHEV_FROM:
            return self._solved(p, distinct)[place].reshape(df.shape)
        inverse = 1 / distinct
        middle, half = (inverse[0] + inverse[-1]) / 2, (inverse[0] - inverse[-1]) / 2
        unit = np.polynomial.chebyshev.chebpts1(CHEBYSHEV_NODES)
        at_nodes = self._solved(p, 1 / (middle + half * unit))
        series = np.polynomial.chebyshev.chebfit(unit, at_nodes, CHEBYSHEV_NODES - 1)
        values = np.polynomial.chebyshev.chebval((inverse - middle) / half, series)
        return np.asarray(values)[place].reshape(df.shape)

    def _solved(self, p: float, df: Array) -> Array:
        """Solve sf(q, df) = p by false position on log p, the end that stays put losing weight (Illinois)."""
        log_s, log_weight = _chi_nodes(np.minimum(df, NORMAL_DF))
        s = np.exp(log_s)
        place = np.interp(-np.log(p), -self.log_survival, np.arange(len(self.log_survival)))
        low = np.full_like(df, 0.9 * self.step * place)  # with known variance; estimating it only raises the quantile
        high = low * (1.2 + 4 / df)
        while (rising := self._expected(high, s, log_weight) > p).any():
            low, high = np.where(rising, high, low), np.where(rising, 2 * high, high)
        f_low, f_high = (np.log(self._expected(end, s, log_weight) / p) for end in (low, high))
        for _ in range(ITERATIONS):
            middle = np.where(f_low > f_high, low + (high - low) * f_low / (f_low - f_high), (low + high) / 2)
            value = np.log(np.maximum(self._expected(middle, s, log_weight), 1e-300) / p)
            above = value > 0
            f_low, f_high = np.where(above, value, f_low / 2), np.where(above, f_high / 2, value)
            low, high = np.where(above, middle, low), np.where(above, high, middle)
            if (np.abs(value) < 1e-11).all():
                break
        return np.asarray(middle)

    def _log_survival_at(self, x: Array) -> Array:
        """Interpolate log S by the quintic through six neighbours (Lagrange); minus infinity beyond the table."""
        place: Array = np.minimum(
            x / self.step, len(self.log_survival)
        )  # a fraction of a degree of freedom reaches far
        left = np.clip(place.astype(np.intp), 2, len(self.log_survival) - 4)
        t = place - left
        total = np.zeros_like(t)
        for k, scale in zip(_NEIGHBOURS, _SCALES, strict=True):
            weight = self.log_survival[left + k] * scale
            for other in _NEIGHBOURS:
                if other != k:
                    weight = weight * (t - other)
            total += weight
        return np.where(place <= len(self.log_survival) - 1, np.minimum(total, 0.0), -np.inf)


def _chi_nodes(df: Array) -> tuple[Array, Array]:
    """Return log s and log weights, (..., NODES), of the trapezoid sum over the density of s."""
    width = 9 / np.sqrt(2 * df)
    lowest = -np.maximum(width, 40 / df)  # the density falls as s^df to the left
    highest = np.maximum(np.minimum(width, 3.0), 0.5 * np.log1p(90 / df))  # and as exp(-df s^2 / 2) to the right
    unit = np.linspace(0, 1, NODES)
    log_s = lowest[..., None] + (highest - lowest)[..., None] * unit
    half = df[..., None] / 2
    log_density = np.log(2.0) + _log_scale(half) + 2 * half * (log_s - np.expm1(2 * log_s) / 2)
    return log_s, log_density + np.log((highest - lowest) / (NODES - 1))[..., None]


def _log_scale(half: Array) -> Array:
    """Return h log h - h - log Gamma(h), by Stirling's series where the difference would lose its digits."""
    series = np.log(half / (2 * np.pi)) / 2 - 1 / (12 * half) + 1 / (360 * half**3)
    return np.asarray(np.where(half > 100, series, half * np.log(half) - half - gammaln(half)))
