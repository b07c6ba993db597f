"""What a flow curve can say about the stress at which flow begins, and when it cannot say anything."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.special import stdtrit

from panel.stats.curves.flow_models import FlowModel, best_index
from panel.stats.curves.least_squares import Array

# At a rate where the flowing part is three times the yield stress, the yield stress is a quarter of what is measured.
# Above that rate it hides behind the choice of a model. For n = 1 and for Casson's model this is 3 sigma0 / K.
_TIMES = 3.0
_EXACT = 1e-8  # of the end of an interval, relative


def highest_useful_rate(model: FlowModel, parameters: Array) -> float:
    """Return the rate below which the yield stress shows, (3 sigma0 / K)^(1/n); zero where there is none.

    `parameters` as in `flow_models`. A rule of thumb; from memory, no source.
    """
    sigma0, K = float(parameters[0]), float(parameters[1])
    n = float(parameters[2]) if model == "herschel_bulkley" else 1.0
    if sigma0 <= 0:
        return 0.0
    if K <= 0:
        return np.inf
    with np.errstate(over="ignore"):
        return float(np.float64(_TIMES * sigma0 / K) ** (1 / n))


def yield_stress_interval(
    model: FlowModel, rate: Array, stress: Array, weights: Array, parameters: Array, residual_sum: float, level: float
) -> tuple[float, float]:
    """Return the yield stresses that the points do not contradict: the profile interval, not below zero.

    All values for which the smallest sum of squares stays below its minimum x (1 + t^2 / df). Unlike estimate plus or
    minus a standard error it becomes wide and lopsided by itself where the points say little.

    References
    ----------
    Bates and Watts (1988) Nonlinear Regression Analysis and Its Applications, section 6.1.
    """
    from scipy.optimize import brentq

    df = rate.size - (3 if model == "herschel_bulkley" else 2)
    limit = residual_sum * (1 + float(stdtrit(df, 0.5 + level / 2)) ** 2 / df)
    # Below this, a sum of squares is rounding: points that lie on a curve exactly.
    limit = max(limit, float(weights @ stress**2) * 1e-16)

    def beyond(sigma0: float) -> float:
        return _smallest_sum(model, rate, stress, weights, sigma0) - limit

    best = float(parameters[0])
    low = 0.0 if best <= 0 or beyond(0.0) <= 0 else float(brentq(beyond, 0.0, best, xtol=_EXACT * best))
    step = max(best, float(stress.min())) * 1e-3
    while beyond(best + step) <= 0:
        step *= 2
    return low, float(brentq(beyond, best, best + step, xtol=_EXACT * (best + step)))


def _smallest_sum(model: FlowModel, rate: Array, stress: Array, weights: Array, sigma0: float) -> float:
    """Return the smallest weighted sum of squares with the yield stress held at `sigma0`."""
    if model == "herschel_bulkley":
        return best_index(rate, stress, weights, sigma0)[0]
    return _smallest(_casson_sum(rate, stress, weights, sigma0), float(np.sqrt((stress / rate).max())))


def _casson_sum(rate: Array, stress: Array, weights: Array, sigma0: float) -> Callable[[float], float]:
    def criterion(root: float) -> float:
        return float(weights @ (stress - (np.sqrt(sigma0) + root * np.sqrt(rate)) ** 2) ** 2)

    return criterion


def _smallest(criterion: Callable[[float], float], highest: float) -> float:
    from scipy.optimize import minimize_scalar

    found = minimize_scalar(criterion, bounds=(0.0, highest), method="bounded", options={"xatol": 1e-12 * highest})
    return float(min(found.fun, criterion(0.0)))
