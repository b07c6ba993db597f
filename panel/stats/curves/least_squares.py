"""Curves fitted by least squares where the parameters do not enter as a plain sum."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

from panel.errors import ModelError
from panel.stats.arrays import Array

if TYPE_CHECKING:
    from scipy.optimize import OptimizeResult

_Model = Callable[[Array, Array], Array]

_MOST_STEPS = 2000
# Change of criterion, parameters and gradient at which the search stops: close to what doubles can tell.
_TOLERANCE = 1e-15
# Singular values of the scaled slopes below this say that the data do not determine some combination of parameters.
_DETERMINED = 1e-10


@dataclass(frozen=True, eq=False, slots=True)
class CurveFit:
    """A curve fitted to n points; k parameters.

    Parameters
    ----------
    parameters, std_errors
        Shape (k,). A standard error is NaN where the parameter sits at a bound, infinite where the data do not
        determine it.
    covariance
        Shape (k, k), linearised at the optimum; zero for a parameter at a bound.
    at_bound
        Shape (k,).
    residual_sum
        Weighted sum of squared residuals.
    df
        Points minus parameters.
    fitted
        The curve at the points; shape (n,).
    """

    parameters: Array
    std_errors: Array
    covariance: Array
    at_bound: NDArray[np.bool_]
    residual_sum: float
    df: int
    fitted: Array

    @property
    def residual_sd(self) -> float:
        """Standard deviation of what is left, in the unit of the weighted residuals."""
        return float(np.sqrt(self.residual_sum / self.df))

    def interval(self, level: float = 0.95) -> tuple[Array, Array]:
        """Return lower and upper ends of the linearised t intervals."""
        half = stdtrit(self.df, 0.5 + level / 2) * self.std_errors
        return self.parameters - half, self.parameters + half


def fit_curve(
    model: _Model,
    x: ArrayLike,
    y: ArrayLike,
    start: Sequence[float],
    *,
    bounds: tuple[Sequence[float], Sequence[float]] | None = None,
    weights: ArrayLike | None = None,
) -> CurveFit:
    """Return the parameters that make the sum of weights x (y - model(x, parameters))^2 smallest near `start`.

    Standard errors are the usual linearised ones, residual variance x (J'WJ)^-1.

    Raises
    ------
    ModelError
        If there are not more points than parameters, or no optimum is reached.

    References
    ----------
    Bates and Watts (1988) Nonlinear Regression Analysis and Its Applications, sections 2.2 and 2.3.
    """
    points, response = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    root = np.sqrt(np.ones_like(response) if weights is None else np.asarray(weights, dtype=float))
    k = len(start)
    if response.size <= k:
        raise ModelError(
            f"{response.size} points cannot say anything about a curve with {k} parameters. Measure at least {k + 1}."
        )

    def residuals(parameters: Array) -> Array:
        return np.asarray(root * (model(points, parameters) - response))

    low, high = (np.full(k, end) for end in (-np.inf, np.inf)) if bounds is None else map(np.asarray, bounds)
    found = _search(residuals, np.asarray(start, dtype=float), low, high)
    residual_sum = float(found.fun @ found.fun)
    at_bound = found.active_mask != 0
    parameters = np.select([found.active_mask < 0, found.active_mask > 0], [low, high], found.x)
    covariance, std_errors = _uncertainty(
        np.asarray(found.jac, dtype=float), at_bound, residual_sum / (response.size - k)
    )
    return CurveFit(
        parameters=parameters,
        std_errors=std_errors,
        covariance=covariance,
        at_bound=np.asarray(at_bound),
        residual_sum=residual_sum,
        df=response.size - k,
        fitted=np.asarray(model(points, parameters)),
    )


def _search(residuals: Callable[[Array], Array], start: Array, low: Array, high: Array) -> OptimizeResult:
    """Return where the search ended: `x`, residuals `fun`, slopes `jac`, `active_mask` -1 or +1 at a bound."""
    from scipy.optimize import least_squares

    found = least_squares(
        residuals,
        start,
        bounds=(low, high),
        jac="3-point",
        x_scale="jac",
        ftol=_TOLERANCE,
        xtol=_TOLERANCE,
        gtol=_TOLERANCE,
        max_nfev=_MOST_STEPS,
    )
    if found.status < 1 and not _still(np.asarray(found.jac, dtype=float), found.fun):
        raise ModelError("The fit of the curve did not settle. Look for points that do not belong to it.")
    return found


def _still(jacobian: Array, residuals: Array) -> bool:
    """Return whether the residuals stand at right angles to the slopes, which is what an optimum means."""
    lengths = np.linalg.norm(jacobian, axis=0) * np.linalg.norm(residuals)
    return bool(np.all(np.abs(jacobian.T @ residuals) <= 1e-7 * np.maximum(lengths, 1e-300)))


def _uncertainty(jacobian: Array, at_bound: NDArray[np.bool_], variance: float) -> tuple[Array, Array]:
    """Return covariance and standard errors of the parameters that are free to move."""
    k = at_bound.size
    covariance, std_errors = np.zeros((k, k)), np.full(k, np.nan)
    free = np.flatnonzero(~at_bound)
    if not free.size:
        return covariance, std_errors
    slopes = jacobian[:, free]
    lengths = np.linalg.norm(slopes, axis=0)
    scaled = slopes / np.where(lengths > 0, lengths, 1.0)
    _, d, Vt = np.linalg.svd(scaled, full_matrices=False)
    if not np.all(lengths > 0) or d[-1] <= _DETERMINED * d[0]:
        covariance[np.ix_(free, free)] = np.nan
        std_errors[free] = np.inf
        return covariance, std_errors
    half = Vt.T / d / lengths[:, None]
    covariance[np.ix_(free, free)] = variance * half @ half.T
    std_errors[free] = np.sqrt(np.diag(covariance)[free])
    return covariance, std_errors
