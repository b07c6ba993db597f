"""How thick is a sample at a given shear rate, by the curve fitted to it, and is that rate inside what was measured?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

from panel.stats.curves.flow import FlowFit
from panel.stats.curves.least_squares import Array

# An instrument sets a rate to about this; a rate that much beyond the last point still counts as measured.
_SET_RATE = 1e-3


@dataclass(frozen=True, eq=False, slots=True)
class ApparentViscosity:
    """Fitted stress over rate at some rates, with t intervals on the logarithm; `extrapolated` where not measured."""

    rate: Array
    viscosity: Array
    ci_low: Array
    ci_high: Array
    extrapolated: NDArray[np.bool_]


def apparent_viscosity(fit: FlowFit, rate: ArrayLike, level: float = 0.95) -> ApparentViscosity:
    """Return the fitted viscosity at shear rates, also beyond the measured ones, which is then said."""
    r = np.atleast_1d(np.asarray(rate, dtype=float))
    sigma = fit.stress(r)
    slopes = _slopes(fit, r) / sigma
    outside = (r < fit.lowest_rate * (1 - _SET_RATE)) | (r > fit.highest_rate * (1 + _SET_RATE))
    with np.errstate(over="ignore"):
        std_error = np.sqrt(np.einsum("ik,kl,il->i", slopes.T, fit.covariance, slopes.T))
        factor = np.exp(stdtrit(fit.df, 0.5 + level / 2) * std_error)
    return ApparentViscosity(r, sigma / r, sigma / r / factor, sigma / r * factor, np.asarray(outside))


def _slopes(fit: FlowFit, r: Array) -> Array:
    """Return the change of stress with each parameter; shape (k, rates)."""
    if fit.model == "casson":
        # A parameter at zero is at its bound: it takes no part in the covariance, and its slope does not count.
        root = np.sqrt(fit.stress(r))
        halves = [np.ones_like(r), np.sqrt(r)]
        return np.stack(
            [root * x / np.sqrt(b) if b > 0 else 0 * r for x, b in zip(halves, fit.parameters, strict=True)]
        )
    K, n = fit.parameters[-2:]
    slopes = [r**n, K * r**n * np.log(r)]
    return np.stack(slopes if fit.model == "power_law" else [np.ones_like(r), *slopes])
