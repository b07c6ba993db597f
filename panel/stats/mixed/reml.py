"""Restricted maximum likelihood for many responses that share one design.

The profiled REML deviance and its first two derivatives in the relative variances are closed forms
(`panel.stats.mixed.reml_criterion`); Newton steps are taken in the relative standard deviations theta, in which
the criterion is even, so that a variance of exactly zero is reached smoothly (Bates, Maechler, Bolker &
Walker 2015, J. Stat. Softw. 67(1), for the parametrisation).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panel.errors import ModelError
from panel.stats.arrays import Array, Codes
from panel.stats.mixed.border_moments import border_design
from panel.stats.mixed.moments import Moments, intercept_design
from panel.stats.mixed.reml_criterion import Criterion, Design, reml_criterion
from panel.stats.mixed.strata_moments import strata_design

MAX_STEPS = 60
DECREMENT = 1e-9  # promised fall of the deviance from which one last step squares the error away
ZERO_THETA = 1e-4  # a relative SD below this is zero: it would be 1e-8 of the residual variance
ZERO_GRADIENT = 1e-6  # slope in the relative variance below which zero is the place to be
SMALLEST_CURVATURE = 1e-10
LARGEST_THETA = 1e4  # from here on the residual variance is too small to be told from rounding
SECOND_LOOK_THETA = 0.5  # where a component found at zero starts for the second look
SAME_OPTIMUM = 0.05  # relative SDs all nearer than this to those of a known optimum lead to it
SAME_DEVIANCE = 1e-7  # deviances that differ by less are one optimum
SMALLEST_START, LARGEST_START = 0.2, 10.0  # relative SDs between which the first start lies
RESTART_THETA = 0.1  # where to start again a component that must not stay at zero
HALVINGS = 12
DEVIANCE_ROUNDING = 1e-12  # relative error with which a deviance is known
LEAST_INFORMATION = 1e-6  # smallest eigenvalue of the scaled information; rounding leaves 1e-9, sparse panels 1e-2
ONE_INTERCEPT_FROM = 60  # groups; from here on one pass over the rows beats one small matrix per group


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
    design = _design(response, fixed, groups)
    if (design.n_scores <= design.n_fixed).any():
        raise ModelError(
            "There are no more scores than means to estimate, so nothing is left to judge them by. Add replicates "
            "or assessors, or leave out the attribute."
        )
    theta = np.ones((response.shape[1], len(groups)))
    if start is not None:
        theta = np.minimum(np.sqrt(start), LARGEST_THETA)
    now = reml_criterion(design, theta**2)
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
    return _fit_at(design, theta**2, converged)


def _design(response: Array, fixed: Array, groups: list[Codes]) -> Design:
    if len(groups) == 1 and len(np.unique(groups[0])) >= ONE_INTERCEPT_FROM:
        return intercept_design(response, fixed, groups[0])
    return strata_design(response, fixed, groups) or border_design(response, fixed, groups)


def _from_moments(design: Design, theta: Array, now: Criterion) -> Array:
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
    scale = np.sqrt(np.maximum(np.diagonal(expected, axis1=1, axis2=2), SMALLEST_CURVATURE))
    found = np.linalg.pinv(expected / (scale[:, :, None] * scale[:, None, :]), hermitian=True)
    excess = np.einsum("qij,qj->qi", found, observed / scale) / scale
    residual = np.maximum(excess[:, k:], SMALLEST_START**2 * now.residual[:, None] / f[:, None])
    return np.sqrt(np.clip(theta**2 + excess[:, :k] / residual, SMALLEST_START**2, LARGEST_START**2))


def _second_look(design: Design, theta: Array, converged: np.ndarray) -> tuple[Array, np.ndarray]:
    """Start again from above where a variance came out at zero: in small panels zero can be a lesser optimum."""
    doubtful = (theta == 0).any(axis=1) | ~converged
    if not doubtful.any():
        return theta, converged
    part = design.select(doubtful)
    first = theta[doubtful]
    raised = np.where(first < SECOND_LOOK_THETA, SECOND_LOOK_THETA, first)
    again, settled = _minimise(part, raised, known=np.where(converged[doubtful, None], first, np.inf))
    lower = reml_criterion(part, again**2).deviance < reml_criterion(part, first**2).deviance - SAME_DEVIANCE
    better = settled & (lower | ~converged[doubtful])
    theta, converged = theta.copy(), converged.copy()
    theta[doubtful] = np.where(better[:, None], again, first)
    converged[doubtful] |= better
    return theta, converged


def _minimise(
    design: Design, theta: Array, now: Criterion | None = None, known: Array | None = None
) -> tuple[Array, np.ndarray]:
    """Newton in theta with absolute eigenvalues and halving; responses leave the work as they settle.

    Where they come back to the optimum `known` they stop there.
    """
    theta, active = theta.copy(), np.ones(len(theta), dtype=bool)
    known = np.full_like(theta, np.inf) if known is None else known
    now = reml_criterion(design, theta**2) if now is None else now
    for _ in range(MAX_STEPS):
        step, decrement = _newton_step(theta[active], now)
        back = np.asarray((np.abs(theta[active] - known[active]) < SAME_OPTIMUM).all(axis=1))
        step = np.where(back[:, None], known[active] - theta[active], step)
        settled = back | (decrement < DECREMENT)
        near = np.where(settled[:, None], theta[active] + step, theta[active])
        wrong = settled[:, None] & (np.abs(near) < ZERO_THETA) & ~back[:, None] & (now.gradient < -ZERO_GRADIENT)
        near = np.where(wrong, RESTART_THETA, np.where(np.abs(near) < ZERO_THETA, 0.0, np.abs(near)))
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


def _newton_step(theta: Array, now: Criterion) -> tuple[Array, Array]:
    """Return the step and the decrement it promises; no component is led past zero and out the other side."""
    slope = 2 * theta * now.gradient
    curve = 4 * theta[:, :, None] * theta[:, None, :] * now.hessian
    index = np.arange(theta.shape[1])
    curve[:, index, index] += 2 * now.gradient
    values, vectors = np.linalg.eigh(curve)
    values = np.maximum(np.abs(values), SMALLEST_CURVATURE)
    along = np.einsum("qki,qk->qi", vectors, slope)
    step = -np.einsum("qki,qi->qk", vectors, along / values)
    decrement = (along**2 / values).sum(axis=1)
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


def _halved_step(design: Design, theta: Array, step: Array, before: Array, decrement: Array) -> tuple[Array, Criterion]:
    """Take the step, halving it for the responses whose deviance does not fall enough (Armijo's rule)."""
    scale = np.ones(len(theta))
    rounding = DEVIANCE_ROUNDING * np.maximum(1.0, np.abs(np.where(np.isfinite(before), before, 1.0)))
    for _ in range(HALVINGS):
        proposed = np.minimum(np.abs(theta + scale[:, None] * step), LARGEST_THETA)
        there = reml_criterion(design, proposed**2)
        rises = there.deviance > before - 1e-4 * scale * np.minimum(decrement, 1.0) + rounding
        if not rises.any():
            break
        scale = np.where(rises, scale / 2, scale)
    return proposed, there


def _fit_at(design: Design, gamma: Array, converged: np.ndarray) -> MixedFit:
    """Collect what inference needs at the optimum."""
    c = reml_criterion(design, gamma)
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


def _absorbed(c: Criterion) -> np.ndarray:
    """Return for which responses the fixed columns say all that the groups of some random term say."""
    left, whole = (np.diagonal(traces, axis1=1, axis2=2) for traces in (c.trace_pp, c.moments.trace_kl))
    return np.asarray((left < LEAST_INFORMATION * whole).any(axis=1))


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
    there = lowest > LEAST_INFORMATION
    inverse = np.linalg.inv(np.where(there[:, None, None], scaled, np.eye(scale.shape[1]))) / sizes
    return np.where(there[:, None, None], inverse, np.nan), there
