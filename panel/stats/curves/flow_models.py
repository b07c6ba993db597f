"""The flow curves fitted here, shear stress from shear rate, and where a fit of each of them starts.

Power law (Ostwald and de Waele), sigma = K r^n; Casson (1959), sqrt(sigma) = sqrt(sigma0) + sqrt(eta r); Herschel and
Bulkley (1926), sigma = sigma0 + K r^n. A power law and a Herschel-Bulkley curve are straight in everything but n: for
a given n the rest follows by linear least squares, so that n alone is searched for and no start can be a bad one.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal, get_args

import numpy as np

from panel.stats.curves.least_squares import Array

FlowModel = Literal["power_law", "casson", "herschel_bulkley"]
FLOW_MODELS: tuple[FlowModel, ...] = get_args(FlowModel)
PARAMETERS: dict[FlowModel, tuple[str, ...]] = {
    "power_law": ("consistency", "flow_index"),
    "casson": ("yield_stress", "plastic_viscosity"),
    "herschel_bulkley": ("yield_stress", "consistency", "flow_index"),
}
LOWEST_INDEX, HIGHEST_INDEX = 0.02, 3.0
_GRID = np.geomspace(LOWEST_INDEX, HIGHEST_INDEX, 120)


def power_law(rate: Array, parameters: Array) -> Array:
    """Return K r^n for parameters (K, n)."""
    return np.asarray(parameters[0] * rate ** parameters[1])


def casson(rate: Array, parameters: Array) -> Array:
    """Return (sqrt(sigma0) + sqrt(eta r))^2 for parameters (sigma0, eta)."""
    return np.asarray((np.sqrt(parameters[0]) + np.sqrt(parameters[1] * rate)) ** 2)


def herschel_bulkley(rate: Array, parameters: Array) -> Array:
    """Return sigma0 + K r^n for parameters (sigma0, K, n)."""
    return np.asarray(parameters[0] + parameters[1] * rate ** parameters[2])


STRESS: dict[FlowModel, Callable[[Array, Array], Array]] = {
    "power_law": power_law,
    "casson": casson,
    "herschel_bulkley": herschel_bulkley,
}


def log_log_line(rate: Array, stress: Array) -> tuple[float, float]:
    """Return (K, n) of the straight line through the logarithms.

    This is another estimator than least squares on the stresses: it weighs relative errors, and the two differ
    wherever points do not lie exactly on the curve.
    """
    x, y = np.log(rate), np.log(stress)
    n = float(((x - x.mean()) @ y) / ((x - x.mean()) @ (x - x.mean())))
    return float(np.exp(y.mean() - n * x.mean())), n


def casson_start(rate: Array, stress: Array) -> tuple[float, float]:
    """Return (sqrt(sigma0), sqrt(eta)) of the straight line through the square roots, neither below zero."""
    x, y = np.sqrt(rate), np.sqrt(stress)
    slope = float(((x - x.mean()) @ y) / ((x - x.mean()) @ (x - x.mean())))
    intercept = float(y.mean() - slope * x.mean())
    if intercept < 0:
        return 0.0, float((x @ y) / (x @ x))
    return (intercept, slope) if slope > 0 else (float(y.mean()), 0.0)


def best_index(rate: Array, stress: Array, weights: Array, yield_stress: float | None = None) -> tuple[float, Array]:
    """Return the smallest weighted sum of squares of a Herschel-Bulkley curve and its (sigma0, K, n).

    With `yield_stress` given, sigma0 is held there; otherwise it is free but not below zero.
    """
    from scipy.optimize import minimize_scalar

    scale = float(np.exp(np.log(rate).mean()))  # rates around 1, so that powers of them stay tame

    def straight(n: Array) -> Array:
        return _straight_part(rate / scale, stress, weights, n, yield_stress)

    values = straight(_GRID)[0]
    place = int(np.argmin(values))
    ends = np.log(_GRID[[max(place - 1, 0), min(place + 1, _GRID.size - 1)]])
    found = minimize_scalar(
        lambda log_n: float(straight(np.exp([log_n]))[0, 0]),
        bounds=(ends[0], ends[1]),
        method="bounded",
        options={"xatol": 1e-10},
    )
    n = float(np.exp(found.x)) if found.fun <= values[place] else float(_GRID[place])
    residual_sum, sigma0, K = straight(np.array([n]))[:, 0].tolist()
    return residual_sum, np.array([sigma0, K / scale**n, n])


def _straight_part(rate: Array, stress: Array, weights: Array, n: Array, yield_stress: float | None) -> Array:
    """Return residual sum, sigma0 and K, neither of them below zero, for each n; shape (3, number of n)."""
    power = rate ** n[:, None]
    w = weights / weights.sum()
    through_origin = (power * stress) @ w / (power**2 @ w)
    if yield_stress is None:
        mean_power, mean_stress = power @ w, float(w @ stress)
        centred = power - mean_power[:, None]
        K = (centred * stress) @ w / (centred**2 @ w)
        sigma0 = mean_stress - K * mean_power
        sigma0, K = np.where(K < 0, mean_stress, sigma0), np.maximum(K, 0.0)
        sigma0, K = np.maximum(sigma0, 0.0), np.where(sigma0 < 0, through_origin, K)
    else:
        sigma0 = np.full(n.size, yield_stress)
        K = np.maximum(through_origin - yield_stress * (power @ w) / (power**2 @ w), 0.0)
    residual = stress - sigma0[:, None] - K[:, None] * power
    return np.stack([residual**2 @ weights, sigma0, K])
