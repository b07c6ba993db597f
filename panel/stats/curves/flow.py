"""A flow curve: which model describes it, and with which parameters?"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit

from panel.errors import ModelError
from panel.stats.arrays import Array
from panel.stats.curves.least_squares import CurveFit, fit_curve

_Weighting = Literal["equal", "relative"]
_FEWEST_RATES = 5
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
        return _STRESS[self.model](np.asarray(rate, dtype=float), self.parameters)


def _fit_flow(
    rate: ArrayLike, stress: ArrayLike, model: FlowModel, weighting: _Weighting = "relative", level: float = 0.95
) -> FlowFit:
    """Fit one model to shear stress by shear rate, non-linear least squares on the stresses.

    `weighting` "equal" takes every point as known to so many units, "relative" to so many per cent (weights
    1 / stress^2). Where the yield stress cannot show in the measured range, its interval is widened to what holds
    without any model: from zero to the stress at the lowest rate.
    """
    r, sigma = _points(rate, stress)
    weights = np.ones_like(sigma) if weighting == "equal" else sigma**-2.0
    fit = _fitted(model, r, sigma, weights)
    low, high = _positive_interval(fit, level)
    useful, seen = float("nan"), False
    if model != "power_law":
        useful = _highest_useful_rate(model, fit.parameters)
        low[0], high[0] = _yield_stress_interval(model, r, sigma, weights, fit.parameters, fit.residual_sum, level)
        if r.min() > useful:
            low[0], high[0] = 0.0, max(high[0], float(fit.fitted[np.argmin(r)]))
        seen = bool(r.min() <= useful and low[0] > 0)
    return FlowFit(
        model=model,
        names=_PARAMETERS[model],
        parameters=fit.parameters,
        std_errors=fit.std_errors,
        ci_low=low,
        ci_high=high,
        covariance=fit.covariance,
        residual_sum=fit.residual_sum,
        df=fit.df,
        n=r.size,
        aicc=_aicc(fit.residual_sum, float(weights @ sigma**2), r.size, len(_PARAMETERS[model])),
        lowest_rate=float(r.min()),
        highest_rate=float(r.max()),
        highest_useful_rate=useful,
        yield_stress_seen=seen,
    )


def fit_flow_models(
    rate: ArrayLike, stress: ArrayLike, weighting: _Weighting = "relative", level: float = 0.95
) -> tuple[FlowFit, ...]:
    """Return the fits of all three models, the one with the smallest AICc first."""
    fits = [_fit_flow(rate, stress, model, weighting, level) for model in FLOW_MODELS]
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
    if np.unique(r).size < _FEWEST_RATES:
        raise ModelError(
            f"A flow curve needs at least {_FEWEST_RATES} different shear rates; there are {np.unique(r).size}."
        )
    return r, sigma


def _fitted(model: FlowModel, r: Array, sigma: Array, weights: Array) -> CurveFit:
    """Return the fit, its parameters as in `_PARAMETERS`."""
    if model == "power_law":
        return fit_curve(_power_law, r, sigma, _log_log_line(r, sigma), weights=weights)
    if model == "casson":
        return _casson_fit(r, sigma, weights)
    _, start = _best_index(r, sigma, weights)
    if start[0] > 0:
        bounds = ([0.0, 0.0, 0.0], [np.inf] * 3)
        return fit_curve(_herschel_bulkley, r, sigma, start.tolist(), bounds=bounds, weights=weights)
    return _with_zero_first(fit_curve(_power_law, r, sigma, start[1:].tolist(), weights=weights))


def _casson_fit(r: Array, sigma: Array, weights: Array) -> CurveFit:
    """Fit the square roots of the parameters, in which the curve is smooth also where the yield stress is zero."""
    start = _casson_start(r, sigma)
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


# The flow curves fitted here, shear stress from shear rate, and where a fit of each of them starts.
#
# Power law (Ostwald and de Waele), sigma = K r^n; Casson (1959), sqrt(sigma) = sqrt(sigma0) + sqrt(eta r); Herschel
# and Bulkley (1926), sigma = sigma0 + K r^n. A power law and a Herschel-Bulkley curve are straight in everything but
# n: for a given n the rest follows by linear least squares, so that n alone is searched for and no start can be a bad
# one.


FlowModel = Literal["power_law", "casson", "herschel_bulkley"]
FLOW_MODELS: tuple[FlowModel, ...] = get_args(FlowModel)
_PARAMETERS: dict[FlowModel, tuple[str, ...]] = {
    "power_law": ("consistency", "flow_index"),
    "casson": ("yield_stress", "plastic_viscosity"),
    "herschel_bulkley": ("yield_stress", "consistency", "flow_index"),
}
_LOWEST_INDEX, _HIGHEST_INDEX = 0.02, 3.0
_GRID = np.geomspace(_LOWEST_INDEX, _HIGHEST_INDEX, 120)


def _power_law(rate: Array, parameters: Array) -> Array:
    """Return K r^n for parameters (K, n)."""
    return np.asarray(parameters[0] * rate ** parameters[1])


def _casson(rate: Array, parameters: Array) -> Array:
    """Return (sqrt(sigma0) + sqrt(eta r))^2 for parameters (sigma0, eta)."""
    return np.asarray((np.sqrt(parameters[0]) + np.sqrt(parameters[1] * rate)) ** 2)


def _herschel_bulkley(rate: Array, parameters: Array) -> Array:
    """Return sigma0 + K r^n for parameters (sigma0, K, n)."""
    return np.asarray(parameters[0] + parameters[1] * rate ** parameters[2])


_STRESS: dict[FlowModel, Callable[[Array, Array], Array]] = {
    "power_law": _power_law,
    "casson": _casson,
    "herschel_bulkley": _herschel_bulkley,
}


def _log_log_line(rate: Array, stress: Array) -> tuple[float, float]:
    """Return (K, n) of the straight line through the logarithms.

    This is another estimator than least squares on the stresses: it weighs relative errors, and the two differ
    wherever points do not lie exactly on the curve.
    """
    x, y = np.log(rate), np.log(stress)
    n = float(((x - x.mean()) @ y) / ((x - x.mean()) @ (x - x.mean())))
    return float(np.exp(y.mean() - n * x.mean())), n


def _casson_start(rate: Array, stress: Array) -> tuple[float, float]:
    """Return (sqrt(sigma0), sqrt(eta)) of the straight line through the square roots, neither below zero."""
    x, y = np.sqrt(rate), np.sqrt(stress)
    slope = float(((x - x.mean()) @ y) / ((x - x.mean()) @ (x - x.mean())))
    intercept = float(y.mean() - slope * x.mean())
    if intercept < 0:
        return 0.0, float((x @ y) / (x @ x))
    return (intercept, slope) if slope > 0 else (float(y.mean()), 0.0)


def _best_index(rate: Array, stress: Array, weights: Array, yield_stress: float | None = None) -> tuple[float, Array]:
    """Return the smallest weighted sum of squares of a Herschel-Bulkley curve and its (sigma0, K, n).

    With `yield_stress` given, sigma0 is held there; otherwise it is free but not below zero.
    """
    from scipy.optimize import minimize_scalar

    scale = float(np.exp(np.log(rate).mean()))  # rates around 1, so that powers of them stay tame

    scaled, shares = rate / scale, weights / weights.sum()

    def straight(n: float | Array) -> tuple[Array, Array, Array]:
        return _straight_part(scaled, stress, weights, shares, n, yield_stress)

    values = straight(_GRID[:, None])[0]
    place = int(np.argmin(values))
    ends = np.log(_GRID[[max(place - 1, 0), min(place + 1, _GRID.size - 1)]])
    found = minimize_scalar(
        lambda log_n: float(straight(math.exp(log_n))[0]),
        bounds=(ends[0], ends[1]),
        method="bounded",
        options={"xatol": 1e-10},
    )
    n = float(np.exp(found.x)) if found.fun <= values[place] else float(_GRID[place])
    residual_sum, sigma0, K = map(float, straight(n))
    return residual_sum, np.array([sigma0, K / scale**n, n])


def _straight_part(
    rate: Array, stress: Array, weights: Array, w: Array, n: float | Array, yield_stress: float | None
) -> tuple[Array, Array, Array]:
    """Return residual sum, sigma0 and K, neither of them below zero, for one n or for each of a column of them.

    `w` are the weights as shares of their sum.
    """
    power = rate**n
    squares = (power * power) @ w
    through_origin = (power * stress) @ w / squares
    if yield_stress is None:
        mean_power, mean_stress = power @ w, float(w @ stress)
        centred = power - mean_power[..., None]
        K = (centred * stress) @ w / (centred**2 @ w)
        sigma0 = mean_stress - K * mean_power
        sigma0, K = np.where(K < 0, mean_stress, sigma0), np.maximum(K, 0.0)
        sigma0, K = np.maximum(sigma0, 0.0), np.where(sigma0 < 0, through_origin, K)
    else:
        sigma0 = np.asarray(yield_stress)
        K = np.maximum(through_origin - yield_stress * (power @ w) / squares, 0.0)
    residual = stress - sigma0[..., None] - K[..., None] * power
    return (residual * residual) @ weights, sigma0, K


# How thick is a sample at a given shear rate, by the curve fitted to it, and is that rate inside what was
# measured?


# An instrument sets a rate to about this; a rate that much beyond the last point still counts as measured.
_SET_RATE = 1e-3


def apparent_viscosity(fit: FlowFit, rate: ArrayLike, level: float = 0.95) -> dict[str, Array]:
    """Return `rate estimate ci_low ci_high extrapolated`: fitted stress over rate, also beyond the measured rates.

    The t intervals are on the logarithm; `extrapolated` says where nothing was measured.
    """
    r = np.atleast_1d(np.asarray(rate, dtype=float))
    sigma = fit.stress(r)
    slopes = _slopes(fit, r) / sigma
    outside = (r < fit.lowest_rate * (1 - _SET_RATE)) | (r > fit.highest_rate * (1 + _SET_RATE))
    with np.errstate(over="ignore"):
        std_error = np.sqrt(np.einsum("ik,kl,il->i", slopes.T, fit.covariance, slopes.T))
        factor = np.exp(stdtrit(fit.df, 0.5 + level / 2) * std_error)
    ends = {"ci_low": sigma / r / factor, "ci_high": sigma / r * factor}
    return {"rate": r, "estimate": sigma / r} | ends | {"extrapolated": np.asarray(outside)}


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


# What a flow curve can say about the stress at which flow begins, and when it cannot say anything.


# At a rate where the flowing part is three times the yield stress, the yield stress is a quarter of what is measured.
# Above that rate it hides behind the choice of a model. For n = 1 and for Casson's model this is 3 sigma0 / K.
_TIMES = 3.0
_EXACT = 1e-8  # of the end of an interval, relative


def _highest_useful_rate(model: FlowModel, parameters: Array) -> float:
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


def _yield_stress_interval(
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
        return _best_index(rate, stress, weights, sigma0)[0]
    return _smallest_casson(np.sqrt(rate), stress, weights, np.sqrt(sigma0))


def _smallest_casson(x: Array, stress: Array, weights: Array, known: float) -> float:
    """Return the smallest sum of weights x (stress - (known + b x)^2)^2 over b not below zero.

    It is of fourth degree in b: the smallest lies where its slope, of third degree, is zero, or at b = 0.
    """
    by_power = [float(weights @ x**power) for power in (2, 3, 4)]
    of_stress = [float(weights @ (stress * x**power)) for power in (1, 2)]
    w_x = float(weights @ x)
    slope = [
        by_power[2],
        3 * known * by_power[1],
        3 * known**2 * by_power[0] - of_stress[1],
        known * (known**2 * w_x - of_stress[0]),
    ]
    flat = np.roots(slope)
    tried = np.append(np.maximum(flat.real, 0.0), 0.0)  # a complex pair is no minimum and does no harm
    return float(((stress - (known + tried[:, None] * x) ** 2) ** 2 @ weights).min())
