"""Restricted maximum likelihood for many responses that share one design.

The profiled REML deviance and its first two derivatives in the relative variances are closed forms
(of `panel.stats.mixed.moments`); Newton steps are taken in the relative standard deviations theta, in which
the criterion is even, so that a variance of exactly zero is reached smoothly (Bates, Maechler, Bolker &
Walker 2015, J. Stat. Softw. 67(1), for the parametrisation).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from panel.errors import ModelError
from panel.stats.arrays import Array, Codes, different
from panel.stats.mixed.moments import (
    Moments,
    border_design,
    connected,
    each_response,
    intercept_design,
    is_nested,
    nested_design,
)

_MAX_STEPS = 60
_DECREMENT = 1e-9  # promised fall of the deviance from which one last step squares the error away
_ZERO_THETA = 1e-4  # a relative SD below this is zero: it would be 1e-8 of the residual variance
_ZERO_GRADIENT = 1e-6  # slope in the relative variance below which zero is the place to be
_SMALLEST_CURVATURE = 1e-10
_LARGEST_THETA = 1e4  # from here on the residual variance is too small to be told from rounding
_SECOND_LOOK_THETA = 0.5  # where a component found at zero starts for the second look
_SAME_OPTIMUM = 0.05  # relative SDs all nearer than this to those of a known optimum lead to it
_SAME_DEVIANCE = 1e-7  # deviances that differ by less are one optimum
_SMALLEST_START, _LARGEST_START = 0.2, 10.0  # relative SDs between which the first start lies
_RESTART_THETA = 0.1  # where to start again a component that must not stay at zero
_HALVINGS = 12
_CONSTANT_ROUNDING = 1e-14  # of a constant put together from the fixed columns
_DEVIANCE_ROUNDING = 1e-12  # relative error with which a deviance is known
_LEAST_INFORMATION = 1e-6  # smallest eigenvalue of the scaled information; rounding leaves 1e-9, sparse panels 1e-2
_ONE_INTERCEPT_FROM = 60  # groups; from here on one pass over the rows beats one small matrix per group


@dataclass(frozen=True, eq=False, slots=True)
class MixedFit:
    """A fitted mixed model for each of q responses.

    `variances` (q, K + 1) random terms in their order, then the residual; `coefficients` (q, p);
    `covariance` (q, p, p) of the coefficients; `parameter_covariance` (q, K + 1, K + 1), asymptotic covariance of
    (gamma_1..K, residual variance), zero for a component at zero; `covariance_slope` (q, K + 1, p, p),
    derivative of `covariance` in the same parameters; `deviance` (q,) = -2 REML log-likelihood;
    `at_zero` (q, K); `converged` (q,); `n_scores` (q,); `moments` at the optimum. `told_apart` (q,): whether the scores
    tell the variances apart; where they do not, `parameter_covariance` is NaN, and so are all degrees of freedom.
    """

    variances: Array
    coefficients: Array
    covariance: Array
    parameter_covariance: Array
    covariance_slope: Array
    deviance: Array
    at_zero: np.ndarray
    converged: np.ndarray
    n_scores: Array
    moments: Moments
    told_apart: np.ndarray


def fit_mixed_model(response: Array, fixed: Array, groups: list[Codes], start: Array | None = None) -> MixedFit:
    """Fit y = X b + sum of random intercepts + e by REML, for each column of `response`.

    Parameters
    ----------
    response
        (n, q) scores, NaN where missing.
    fixed
        (n, p) fixed columns, of full rank for every response.
    groups
        One (n,) array of group numbers for each random term.
    start
        (q, K) relative variances to start from; if they are the optimum no step is taken. Default: 1.

    Raises
    ------
    ModelError
        If a response leaves no degree of freedom, or the fixed columns are not of full rank for it.
    """
    centred, level = about_means(response, fixed)
    design = _design(centred, fixed, groups)
    if (design.n_scores <= design.n_fixed).any():
        raise ModelError(
            "There are no more scores than means to estimate, so nothing is left to judge them by. Add replicates "
            "or assessors, or leave out the attribute."
        )
    theta = np.ones((response.shape[1], len(groups)))
    if start is not None:
        theta = np.minimum(np.sqrt(start), _LARGEST_THETA)
    now = _reml_criterion(design, theta**2)
    if not np.isfinite(now.deviance).all():
        raise ModelError(
            "The effects of the model cannot be told apart with these scores (a prototype or a session has none, "
            "or each session holds one prototype only). Leave out what was not scored, or score more."
        )
    if start is None:
        theta = _from_moments(design, theta, now)
        theta, converged = _minimise(design, theta)
        theta, converged = _second_look(design, theta, converged)
    else:
        theta, converged = _minimise(design, theta, now)
    return at_level(_fit_at(design, theta**2, converged), level)


def about_means(response: Array, fixed: Array) -> tuple[Array, Array]:
    """Return the responses less their means, and the coefficients (q, p) of these; see `at_level`.

    Squares of scores far from zero would lose digits. Where no constant can be put together from the fixed columns
    they stay as they are.
    """
    constant = _constant(fixed)
    if constant is None:
        return response, np.zeros((response.shape[1], fixed.shape[1]))
    level = response.mean(axis=0)
    level = level if np.isfinite(level).all() else np.nanmean(response, axis=0)
    return response - level, level[:, None] * constant


def at_level(fit: MixedFit, level: Array) -> MixedFit:
    """Return the fit of responses that were centred with the coefficients of their `level` (q, p) given back."""
    return replace(fit, coefficients=fit.coefficients + level)


def _constant(fixed: Array) -> Array | None:
    """Return the coefficients (p,) with which the fixed columns add up to 1 in every row; None if there are none."""
    ones = np.ones(len(fixed))
    for a, b in (
        (fixed.T @ fixed, fixed.T @ ones),
        (fixed, ones),
    ):  # the first is quicker, the second keeps more digits
        found = np.round(np.linalg.lstsq(a, b, rcond=None)[0], 12)
        if np.abs(fixed @ found - 1).max(initial=0.0) < _CONSTANT_ROUNDING:
            return np.asarray(found)
    return None


def fit_those_possible(design: Design, start: Array) -> tuple[NDArray[np.bool_], MixedFit | None]:
    """Fit the responses of `design` that can be fitted, from `start` (q, K).

    Returns which they are and their fit, None if there is none.
    """
    able = design.n_scores > design.n_fixed
    if not able.any():
        return able, None
    theta = np.minimum(np.sqrt(start), _LARGEST_THETA)
    now = _reml_criterion(design.select(able), theta[able] ** 2)
    if not np.isfinite(now.deviance).all():
        able[able] = np.isfinite(now.deviance)
        return (able, None) if not able.any() else _fitted(able, design.select(able), theta[able], None)
    return _fitted(able, design.select(able), theta[able], now)


def _fitted(
    able: NDArray[np.bool_], design: Design, theta: Array, now: _Criterion | None
) -> tuple[NDArray[np.bool_], MixedFit]:
    theta, converged = _minimise(design, theta, now)
    return able, _fit_at(design, theta**2, converged)


def _design(response: Array, fixed: Array, groups: list[Codes]) -> Design:
    if len(groups) == 1 and different(groups[0]) >= _ONE_INTERCEPT_FROM:
        return intercept_design(response, fixed, groups[0])
    balanced = _strata_design(response, fixed, groups)
    if balanced is not None:
        return balanced
    return (nested_design if is_nested(groups) else border_design)(response, fixed, groups)


def _from_moments(design: Design, theta: Array, now: _Criterion) -> Array:
    """Return relative standard deviations at which the quadratic forms of `now` equal their expectations.

    One step of minimum norm quadratic estimation (Rao 1971, J. Multivar. Anal. 1:445-456); in balanced data these are
    the estimates of the analysis of variance. Only a start, so that what comes out near or below zero is set above.
    """
    f = design.n_scores - design.n_fixed
    q, k = theta.shape
    expected, observed = np.empty((q, k + 1, k + 1)), np.empty((q, k + 1))
    expected[:, :k, :k], expected[:, k, k] = now.trace_pp, f
    expected[:, :k, k] = expected[:, k, :k] = now.gradient + f[:, None] * now.residual_k / now.residual[:, None]
    observed[:, :k], observed[:, k] = now.residual_k, now.residual
    scale = np.sqrt(np.maximum(np.diagonal(expected, axis1=1, axis2=2), _SMALLEST_CURVATURE))
    found = np.linalg.pinv(expected / (scale[:, :, None] * scale[:, None, :]), hermitian=True)
    excess = np.einsum("qij,qj->qi", found, observed / scale) / scale
    residual = np.maximum(excess[:, k:], _SMALLEST_START**2 * now.residual[:, None] / f[:, None])
    return np.sqrt(np.clip(theta**2 + excess[:, :k] / residual, _SMALLEST_START**2, _LARGEST_START**2))


def _second_look(design: Design, theta: Array, converged: np.ndarray) -> tuple[Array, np.ndarray]:
    """Start again from above where a variance came out at zero: in small panels zero can be a lesser optimum."""
    doubtful = (theta == 0).any(axis=1) | ~converged
    if not doubtful.any():
        return theta, converged
    part = design.select(doubtful)
    first = theta[doubtful]
    raised = np.where(first < _SECOND_LOOK_THETA, _SECOND_LOOK_THETA, first)
    again, settled = _minimise(part, raised, known=np.where(converged[doubtful, None], first, np.inf))
    lower = (again != first).any(axis=1)  # most come back
    if lower.any():
        there, here = (_reml_criterion(part.select(lower), own[lower] ** 2).deviance for own in (again, first))
        lower[lower] = there < here - _SAME_DEVIANCE
    better = settled & (lower | ~converged[doubtful])
    theta, converged = theta.copy(), converged.copy()
    theta[doubtful] = np.where(better[:, None], again, first)
    converged[doubtful] |= better
    return theta, converged


def _minimise(
    design: Design, theta: Array, now: _Criterion | None = None, known: Array | None = None
) -> tuple[Array, np.ndarray]:
    """Newton in theta with absolute eigenvalues and halving; responses leave the work as they settle.

    Where they come back to the optimum `known` they stop there.
    """
    theta, active = theta.copy(), np.ones(len(theta), dtype=bool)
    known = np.full_like(theta, np.inf) if known is None else known
    now = _reml_criterion(design, theta**2) if now is None else now
    for _ in range(_MAX_STEPS):
        step, decrement = _newton_step(theta[active], now)
        back = np.asarray((np.abs(theta[active] - known[active]) < _SAME_OPTIMUM).all(axis=1))
        step = np.where(back[:, None], known[active] - theta[active], step)
        settled = back | (decrement < _DECREMENT)
        near = np.where(settled[:, None], theta[active] + step, theta[active])
        wrong = settled[:, None] & (np.abs(near) < _ZERO_THETA) & ~back[:, None] & (now.gradient < -_ZERO_GRADIENT)
        near = np.where(wrong, _RESTART_THETA, np.where(np.abs(near) < _ZERO_THETA, 0.0, np.abs(near)))
        theta[active] = np.where(settled[:, None], near, theta[active])
        going = ~settled
        restart = wrong.any(axis=1)
        if not (going | restart).any():
            return theta, np.ones(len(theta), dtype=bool)
        left = design.select(going | restart)
        active[active] = going | restart
        go = going[going | restart]
        theta[active], now = _halved_step(
            left,
            theta[active],
            np.where(go[:, None], step[going | restart], 0.0),
            np.where(go, now.deviance[going | restart], np.inf),
            decrement[going | restart],
        )
        design = left
    return theta, ~active


def _newton_step(theta: Array, now: _Criterion) -> tuple[Array, Array]:
    """Return the step and the decrement it promises; no component is led past zero and out the other side.

    A component that leaves zero, where the criterion is concave in theta, takes its step in the relative variance.
    """
    slope = 2 * theta * now.gradient
    curve = 4 * theta[:, :, None] * theta[:, None, :] * now.hessian
    index = np.arange(theta.shape[1])
    curve[:, index, index] += 2 * now.gradient
    values, vectors = np.linalg.eigh(curve)
    values = np.maximum(np.abs(values), _SMALLEST_CURVATURE)
    along = np.einsum("qki,qk->qi", vectors, slope)
    step = -np.einsum("qki,qi->qk", vectors, along / values)
    decrement = (along**2 / values).sum(axis=1)
    bend = now.hessian[:, index, index]
    leaving = (curve[:, index, index] < 0) & (bend > 0) & (decrement[:, None] >= _DECREMENT)  # theta could only double
    out = np.divide(-now.gradient, bend, out=np.zeros_like(theta), where=leaving)
    step = np.where(leaving, np.sqrt(theta**2 + out) - theta, step)
    return _bounded(theta, step, slope), decrement


def _bounded(theta: Array, step: Array, slope: Array) -> Array:
    """Shorten the components that reach too far or past zero; all alike where that alone would lead uphill."""
    lowest, highest = -0.75 * theta, np.maximum(theta, 1.0)
    to_zero = np.abs(theta + step) < theta / 4
    each = np.where(to_zero, step, np.clip(step, lowest, highest))
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(to_zero | (step == 0), 1.0, np.where(step < 0, lowest, highest) / step)
    together = step * np.minimum(share, 1.0).min(axis=1, keepdims=True)
    downhill = (slope * each).sum(axis=1) < 0.5 * (slope * together).sum(axis=1)
    return np.where(downhill[:, None], each, together)


def _halved_step(
    design: Design, theta: Array, step: Array, before: Array, decrement: Array
) -> tuple[Array, _Criterion]:
    """Take the step, halving it for the responses whose deviance does not fall enough (Armijo's rule)."""
    scale = np.ones(len(theta))
    rounding = _DEVIANCE_ROUNDING * np.maximum(1.0, np.abs(np.where(np.isfinite(before), before, 1.0)))
    for _ in range(_HALVINGS):
        proposed = np.minimum(np.abs(theta + scale[:, None] * step), _LARGEST_THETA)
        there = _reml_criterion(design, proposed**2)
        rises = there.deviance > before - 1e-4 * scale * np.minimum(decrement, 1.0) + rounding
        if not rises.any():
            break
        scale = np.where(rises, scale / 2, scale)
    return proposed, there


def _fit_at(design: Design, gamma: Array, converged: np.ndarray) -> MixedFit:
    """Collect what inference needs at the optimum."""
    c = _reml_criterion(design, gamma)
    f = design.n_scores - design.n_fixed
    s2 = c.residual / f
    at_zero = gamma == 0
    q, k = gamma.shape
    information = np.zeros((q, k + 1, k + 1))
    information[:, :k, :k] = -c.trace_pp + 2 * c.residual_kl / s2[:, None, None]
    information[:, :k, k] = information[:, k, :k] = c.residual_k / s2[:, None] ** 2
    information[:, k, k] = f / s2**2
    fixed_at_zero = np.concatenate([at_zero, np.zeros((q, 1), dtype=bool)], axis=1)
    either = fixed_at_zero[:, :, None] | fixed_at_zero[:, None, :]
    inverse, told_apart = inverse_information(np.where(either, np.eye(k + 1), information))
    told_apart &= ~_absorbed(c)
    inverse[~told_apart] = np.nan
    parameter_covariance = np.where(either & told_apart[:, None, None], 0.0, 2 * inverse)
    slope = s2[:, None, None, None] * (c.inverse_xx[:, None] @ c.cross_xx_k @ c.inverse_xx[:, None])
    return MixedFit(
        variances=np.concatenate([gamma * s2[:, None], s2[:, None]], axis=1),
        coefficients=c.coefficients,
        covariance=s2[:, None, None] * c.inverse_xx,
        parameter_covariance=parameter_covariance,
        covariance_slope=np.concatenate([slope, c.inverse_xx[:, None]], axis=1),
        deviance=c.deviance,
        at_zero=at_zero,
        converged=converged,
        n_scores=design.n_scores,
        moments=c.moments,
        told_apart=told_apart,
    )


def _absorbed(c: _Criterion) -> np.ndarray:
    """Return for which responses the fixed columns say all that the groups of some random term say."""
    left, whole = (np.diagonal(traces, axis1=1, axis2=2) for traces in (c.trace_pp, c.moments.trace_kl))
    return np.asarray((left < _LEAST_INFORMATION * whole).any(axis=1))


def inverse_information(information: Array) -> tuple[Array, np.ndarray]:
    """Return the inverses of (q, k, k), NaN where there is none, and where there is one.

    A matrix that is not positive definite beyond rounding has a direction in which the variances may change and the
    scores say nothing about it.
    """
    scale = np.sqrt(np.abs(np.diagonal(information, axis1=1, axis2=2)))
    sizes = np.maximum(scale[:, :, None] * scale[:, None, :], np.finfo(float).tiny)
    scaled = information / sizes
    known = np.isfinite(scaled).all(axis=(1, 2))
    lowest = np.linalg.eigvalsh(np.where(known[:, None, None], scaled, 0.0))[:, 0]
    there = lowest > _LEAST_INFORMATION
    inverse = np.linalg.inv(np.where(there[:, None, None], scaled, np.eye(scale.shape[1]))) / sizes
    return np.where(there[:, None, None], inverse, np.nan), there


# The profiled REML deviance of a mixed model, with its gradient and Hessian in the relative variances.
#
# With P = V^-1 - V^-1 X (X'V^-1 X)^-1 X'V^-1 and r2 = y'P y, the deviance is log|V| + log|X'V^-1 X| + (n - p) log r2
# up to a constant; its derivatives need only traces of P G_k and P G_k P G_l and the forms y'P G_k P y, y'P G_k P G_l
# P y (Searle, Casella & McCulloch 1992, Variance Components, ch. 6), all of which are in the moments.


_SMALLEST_RESIDUAL = 1e-70  # sum of squares; keeps its inverse square a number when scores repeat exactly


class Design(Protocol):
    """What REML asks of a design."""

    @property
    def n_fixed(self) -> int:
        """Number of fixed columns."""

    @property
    def n_scores(self) -> Array:
        """Number of scores, (q,)."""

    def select(self, chosen: NDArray[np.bool_]) -> Design:
        """Return the design of the `chosen` responses."""

    def moments(self, gamma: Array) -> Moments:
        """Return the moments at relative variances `gamma` (q, K)."""


@dataclass(frozen=True, eq=False, slots=True)
class _Criterion:
    """Profiled deviance, its derivatives in gamma, and what they were made of."""

    deviance: Array
    gradient: Array
    hessian: Array
    inverse_xx: Array
    coefficients: Array
    residual: Array  # r2, the generalised residual sum of squares
    residual_k: Array  # y'P G_k P y
    residual_kl: Array  # y'P G_k P G_l P y
    trace_pp: Array  # tr(P G_k P G_l)
    cross_xx_k: Array  # X'V^-1 G_k V^-1 X
    moments: Moments


def _reml_criterion(design: Design, gamma: Array) -> _Criterion:
    """Return the criterion at relative variances `gamma` (q, K); infinite where the fixed effects fall together."""
    m = design.moments(gamma)
    p = design.n_fixed
    xx, xy = m.cross[:, :p, :p], m.cross[:, :p, p]
    sign, log_det_xx = np.linalg.slogdet(xx)
    apart = sign > 0
    xx = np.where(apart[:, None, None], xx, np.eye(p))
    log_det_xx = np.where(apart, log_det_xx, np.inf)
    inverse_xx = np.asarray(np.linalg.inv(xx), dtype=float)
    coefficients = np.einsum("qij,qj->qi", inverse_xx, xy)
    residual, residual_k, residual_kl = _residual_forms(m, coefficients, inverse_xx)
    trace_p, trace_pp = _traces(m, inverse_xx)
    f = design.n_scores - p
    ratio = residual_k / residual[:, None]
    return _Criterion(
        deviance=np.asarray(m.log_det + log_det_xx + f * (1 + np.log(2 * np.pi * residual / f))),
        gradient=trace_p - f[:, None] * ratio,
        hessian=-trace_pp
        + f[:, None, None] * (2 * residual_kl / residual[:, None, None] - ratio[:, :, None] * ratio[:, None, :]),
        inverse_xx=inverse_xx,
        coefficients=coefficients,
        residual=residual,
        residual_k=residual_k,
        residual_kl=residual_kl,
        trace_pp=trace_pp,
        cross_xx_k=m.cross_k[:, :, :p, :p],
        moments=m,
    )


def _residual_forms(m: Moments, coefficients: Array, inverse_xx: Array) -> tuple[Array, Array, Array]:
    """Return y'P y, y'P G_k P y and y'P G_k P G_l P y."""
    p = coefficients.shape[1]
    v = np.concatenate([-coefficients, np.ones((len(coefficients), 1))], axis=1)
    residual = np.maximum(np.einsum("qi,qij,qj->q", v, m.cross, v), _SMALLEST_RESIDUAL)
    residual_k = np.einsum("qi,qkij,qj->qk", v, m.cross_k, v)
    slope = np.einsum("qkij,qj->qki", m.cross_k[:, :, :p, :], v)
    through = np.einsum("qki,qij,qlj->qkl", slope, inverse_xx, slope)
    return residual, residual_k, np.einsum("qi,qklij,qj->qkl", v, m.cross_kl, v) - through


def _traces(m: Moments, inverse_xx: Array) -> tuple[Array, Array]:
    """Return tr(P G_k) and tr(P G_k P G_l)."""
    p = inverse_xx.shape[1]
    projected = inverse_xx[:, None] @ m.cross_k[:, :, :p, :p]
    trace_p = m.trace_k - np.trace(projected, axis1=-2, axis2=-1)
    both_in = np.einsum("qij,qklji->qkl", inverse_xx, m.cross_kl[..., :p, :p])
    return trace_p, m.trace_kl - 2 * both_in + np.einsum("qkij,qlji->qkl", projected, projected)


@dataclass(frozen=True, eq=False, slots=True)
class _StrataDesign:
    """Cross-products by stratum; see `_strata_design`.

    Terms that split the rows into groups of one size, any two of them in even proportions, leave the rows in strata in
    which V is a number: V = sum of level_s Q_s with Q_s the projections on the strata (Tjur 1984, Int. Stat. Rev.
    52:33-65; Nelder 1965, Proc. R. Soc. A 283:147-162). A crossed panel of five terms then costs as little as one mean
    square per stratum. What is fixed may be anything.
    """

    squares: Array  # (q, strata, p + 1, p + 1), W'Q_s W
    df: Array  # (strata,), the rank of Q_s
    loads: Array  # (K, strata), how often the variance of a term counts in a stratum
    n_scores: Array  # (q,)

    @property
    def n_fixed(self) -> int:
        """Number of fixed columns."""
        return int(self.squares.shape[-1]) - 1

    def select(self, chosen: NDArray[np.bool_]) -> _StrataDesign:
        """Return the design of the `chosen` responses."""
        return _StrataDesign(self.squares[chosen], self.df, self.loads, self.n_scores[chosen])

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


def _strata_design(response: Array, fixed: Array, groups: list[Codes]) -> _StrataDesign | None:
    """Sum a design by strata, or return None where the terms are not balanced; arguments as `block_design`."""
    parts = _strata_parts(response, fixed, groups)
    if parts is None:
        return None
    projected, df, loads = parts
    squares = np.stack([each_response(*np.hsplit(part, [fixed.shape[1]])) for part in projected], axis=1)
    return _StrataDesign(squares, df, loads, np.full(response.shape[1], float(len(response))))


def strata_without_groups(response: Array, fixed: Array, groups: list[Codes]) -> _StrataDesign | None:
    """Return the design without each group of the first term in turn, (groups q) responses, group by group.

    None where the terms are not balanced, or not all within the first.
    """
    group = np.unique(groups[0], return_inverse=True)[1].reshape(-1)
    nested = all(_is_finer(np.unique(other, return_inverse=True)[1].reshape(-1), group) for other in groups)
    parts = _strata_parts(response, fixed, groups) if nested else None
    if parts is None:
        return None
    projected, df, loads = parts
    size, p, q = _size(group), fixed.shape[1], response.shape[1]
    rows = np.argsort(group, kind="stable").reshape(size, -1)
    own = np.empty((size, q, len(projected), p + 1, p + 1))
    for stratum, part in enumerate(projected):
        for place, held in enumerate(rows):
            own[place, :, stratum] = each_response(*np.hsplit(part[held], [p]))
    squares = (own.sum(axis=0) - own).reshape(size * q, *own.shape[2:])
    n_scores = np.full(size * q, float(len(response) - rows.shape[1]))
    return _StrataDesign(squares, df * (size - 1) / size, loads, n_scores)


def _strata_parts(response: Array, fixed: Array, groups: list[Codes]) -> tuple[list[Array], Array, Array] | None:
    """Return [X, Y] projected on each stratum, the ranks of the strata, and the loads of the terms."""
    n = len(response)
    groups = [np.unique(group, return_inverse=True)[1].reshape(-1) for group in groups]
    factors = _strata(groups) if np.isfinite(response).all() else None
    if factors is None:
        return None
    rest = np.hstack([fixed, response])
    parts: list[Array] = []
    df: list[int] = []
    for place, factor in enumerate(factors):
        order = np.argsort(factor, kind="stable")
        parts.append(np.asarray(rest[order].reshape(_size(factor), -1, rest.shape[1]).mean(axis=1))[factor])
        rest = rest - parts[-1]
        coarser = [df[earlier] for earlier in range(place) if _is_finer(factor, factors[earlier])]
        df.append(_size(factor) - sum(coarser))
    loads = np.zeros((len(groups), len(factors) + 1))
    for term, group in enumerate(groups):
        held = [_is_finer(group, factor) for factor in factors]
        loads[term, :-1] = np.where(held, n / _size(group), 0.0)
    return [*parts, rest], np.array([*df, n - sum(df)], dtype=float), loads


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
