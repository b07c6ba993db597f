"""A flow curve: which model describes it, and with which parameters?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit

from panel.errors import ModelError
from panel.stats.curves.flow_models import (
    FLOW_MODELS,
    PARAMETERS,
    STRESS,
    FlowModel,
    best_index,
    casson_start,
    herschel_bulkley,
    log_log_line,
    power_law,
)
from panel.stats.curves.least_squares import Array, CurveFit, fit_curve
from panel.stats.curves.yield_stress import highest_useful_rate, yield_stress_interval

Weighting = Literal["equal", "relative"]
FEWEST_RATES = 5
CLEARLY_WORSE = 4.0


@dataclass(frozen=True, eq=False, slots=True)
class FlowFit:
    """One model fitted to one flow curve; units are those of the curve (with 1/s and Pa: Pa, Pa s^n, Pa s).

    Parameters
    ----------
    model, names
        The model and what its parameters are called.
    parameters, std_errors, ci_low, ci_high
        Shape (k,). Intervals: profile for the yield stress, t on the logarithm for the others, which are positive.
    covariance
        Linearised, zero for a parameter at a bound.
    residual_sum, df, n
        Weighted sum of squared residuals, its degrees of freedom, points.
    aicc
        Akaike's criterion for small samples; infinite with too few points for this model.
    lowest_rate, highest_rate
        Ends of the measured range.
    highest_useful_rate
        Rate below which points are needed for the yield stress to show; NaN for a power law.
    yield_stress_seen
        Whether there are such points and the interval leaves zero out; False for a power law.
    """

    model: FlowModel
    names: tuple[str, ...]
    parameters: Array
    std_errors: Array
    ci_low: Array
    ci_high: Array
    covariance: Array
    residual_sum: float
    df: int
    n: int
    aicc: float
    lowest_rate: float
    highest_rate: float
    highest_useful_rate: float
    yield_stress_seen: bool

    def stress(self, rate: ArrayLike) -> Array:
        """Return the fitted shear stress at shear rates."""
        return STRESS[self.model](np.asarray(rate, dtype=float), self.parameters)


def fit_flow(
    rate: ArrayLike, stress: ArrayLike, model: FlowModel, weighting: Weighting = "relative", level: float = 0.95
) -> FlowFit:
    """Fit one model to shear stress by shear rate, non-linear least squares on the stresses.

    `weighting` "equal" takes every point as known to so many units, "relative" to so many per cent (weights
    1 / stress^2). Where the yield stress cannot show in the measured range, its interval is widened to what holds
    without any model: from zero to the stress at the lowest rate.

    Raises
    ------
    ModelError
        With fewer than five different rates, or rates or stresses that are not above zero.
    """
    r, sigma = _points(rate, stress)
    weights = np.ones_like(sigma) if weighting == "equal" else sigma**-2.0
    fit = _fitted(model, r, sigma, weights)
    low, high = _positive_interval(fit, level)
    useful, seen = float("nan"), False
    if model != "power_law":
        useful = highest_useful_rate(model, fit.parameters)
        low[0], high[0] = yield_stress_interval(model, r, sigma, weights, fit.parameters, fit.residual_sum, level)
        if r.min() > useful:
            low[0], high[0] = 0.0, max(high[0], float(fit.fitted[np.argmin(r)]))
        seen = bool(r.min() <= useful and low[0] > 0)
    return FlowFit(
        model=model,
        names=PARAMETERS[model],
        parameters=fit.parameters,
        std_errors=fit.std_errors,
        ci_low=low,
        ci_high=high,
        covariance=fit.covariance,
        residual_sum=fit.residual_sum,
        df=fit.df,
        n=r.size,
        aicc=_aicc(fit.residual_sum, float(weights @ sigma**2), r.size, len(PARAMETERS[model])),
        lowest_rate=float(r.min()),
        highest_rate=float(r.max()),
        highest_useful_rate=useful,
        yield_stress_seen=seen,
    )


def fit_flow_models(
    rate: ArrayLike, stress: ArrayLike, weighting: Weighting = "relative", level: float = 0.95
) -> tuple[FlowFit, ...]:
    """Return the fits of all three models, the one with the smallest AICc first."""
    fits = [fit_flow(rate, stress, model, weighting, level) for model in FLOW_MODELS]
    return tuple(sorted(fits, key=lambda fit: fit.aicc))


def akaike_weights(aicc: Sequence[float]) -> tuple[Array, Array]:
    """Return how far each AICc lies above the smallest, and the weights exp(-difference / 2) that sum to 1.

    References
    ----------
    Burnham and Anderson (2002) Model Selection and Multimodel Inference, 2nd ed., sections 2.4 and 2.9.
    """
    values = np.asarray(aicc, dtype=float)
    if not np.isfinite(values).any():
        return np.full(values.size, np.nan), np.full(values.size, np.nan)
    difference = values - values.min()
    weights = np.exp(-difference / 2)
    return difference, weights / weights.sum()


def needs_yield_stress(fits: Sequence[FlowFit], model: FlowModel) -> bool:
    """Return whether `model` shows its yield stress and describes the points clearly better than a power law, without.

    A model whose AICc lies more than 4 above has considerably less support (Burnham and Anderson 2002, section 2.6).
    """
    by_model = {fit.model: fit for fit in fits}
    chosen, without = by_model[model], by_model["power_law"]
    return chosen.yield_stress_seen and bool(without.aicc - chosen.aicc > CLEARLY_WORSE)


def _points(rate: ArrayLike, stress: ArrayLike) -> tuple[Array, Array]:
    r, sigma = np.asarray(rate, dtype=float), np.asarray(stress, dtype=float)
    if not (np.all(np.isfinite(r) & np.isfinite(sigma)) and np.all(r > 0) and np.all(sigma > 0)):
        raise ModelError("A flow curve needs shear rates and stresses above zero. Take out the points that are not.")
    if np.unique(r).size < FEWEST_RATES:
        raise ModelError(
            f"A flow curve needs at least {FEWEST_RATES} different shear rates; there are {np.unique(r).size}."
        )
    return r, sigma


def _fitted(model: FlowModel, r: Array, sigma: Array, weights: Array) -> CurveFit:
    """Return the fit, its parameters as in `PARAMETERS`."""
    if model == "power_law":
        return fit_curve(power_law, r, sigma, log_log_line(r, sigma), weights=weights)
    if model == "casson":
        return _casson(r, sigma, weights)
    _, start = best_index(r, sigma, weights)
    if start[0] > 0:
        bounds = ([0.0, 0.0, 0.0], [np.inf] * 3)
        return fit_curve(herschel_bulkley, r, sigma, start.tolist(), bounds=bounds, weights=weights)
    return _with_zero_first(fit_curve(power_law, r, sigma, start[1:].tolist(), weights=weights))


def _casson(r: Array, sigma: Array, weights: Array) -> CurveFit:
    """Fit the square roots of the parameters, in which the curve is smooth also where the yield stress is zero."""
    start = casson_start(r, sigma)
    bounds = ([0.0, 0.0], [np.inf, np.inf])

    def curve(rate: Array, roots: Array) -> Array:
        return np.asarray((roots[0] + roots[1] * np.sqrt(rate)) ** 2)

    fit = fit_curve(curve, r, sigma, start, bounds=bounds, weights=weights)
    roots = np.where(fit.at_bound, 0.0, fit.parameters)
    turn = 2 * roots
    return CurveFit(
        parameters=roots**2,
        std_errors=turn * fit.std_errors,
        covariance=fit.covariance * np.outer(turn, turn),
        at_bound=fit.at_bound,
        residual_sum=fit.residual_sum,
        df=fit.df,
        fitted=fit.fitted,
    )


def _with_zero_first(fit: CurveFit) -> CurveFit:
    """Return a power law as a Herschel-Bulkley curve whose yield stress sits at its bound, zero."""
    covariance = np.zeros((3, 3))
    # One degree of freedom less than the power law: the yield stress was free to be above zero.
    covariance[1:, 1:] = fit.covariance * fit.df / (fit.df - 1)
    return CurveFit(
        parameters=np.array([0.0, *fit.parameters]),
        std_errors=np.array([np.nan, *np.sqrt(np.diag(covariance)[1:])]),
        covariance=covariance,
        at_bound=np.array([True, False, False]),
        residual_sum=fit.residual_sum,
        df=fit.df - 1,
        fitted=fit.fitted,
    )


def _positive_interval(fit: CurveFit, level: float) -> tuple[Array, Array]:
    """Return t intervals on the logarithm of the parameters; NaN where one sits at a bound."""
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        factor = np.exp(stdtrit(fit.df, 0.5 + level / 2) * fit.std_errors / fit.parameters)
        return fit.parameters / factor, fit.parameters * factor


def _aicc(residual_sum: float, size: float, n: int, parameters: int) -> float:
    """Return AICc of a least-squares fit; the residual variance counts as a parameter.

    Source: Hurvich and Tsai (1989), Biometrika 76, 297-307. Sums below rounding count as rounding.
    """
    k = parameters + 1
    if n - k - 1 <= 0:
        return float("inf")
    return float(n * np.log(max(residual_sum, 1e-24 * size) / n) + 2 * k + 2 * k * (k + 1) / (n - k - 1))
