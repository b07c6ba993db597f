"""The profiled REML deviance of a mixed model, with its gradient and Hessian in the relative variances.

With P = V^-1 - V^-1 X (X'V^-1 X)^-1 X'V^-1 and r2 = y'P y, the deviance is log|V| + log|X'V^-1 X| + (n - p) log r2
up to a constant; its derivatives need only traces of P G_k and P G_k P G_l and the forms y'P G_k P y, y'P G_k P G_l P y
(Searle, Casella & McCulloch 1992, Variance Components, ch. 6), all of which are in the moments.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from panel.stats.arrays import Array
from panel.stats.mixed.moments import Moments

SMALLEST_RESIDUAL = 1e-70  # sum of squares; keeps its inverse square a number when scores repeat exactly


class Design(Protocol):
    """What REML asks of a design; `panel.stats.mixed.moments` has two."""

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
class Criterion:
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


def reml_criterion(design: Design, gamma: Array) -> Criterion:
    """Return the criterion at relative variances `gamma` (q, K); infinite where the fixed effects fall together."""
    m = design.moments(gamma)
    p = design.n_fixed
    xx, xy = m.cross[:, :p, :p], m.cross[:, :p, p]
    apart = np.linalg.slogdet(xx)[0] > 0
    xx = np.where(apart[:, None, None], xx, np.eye(p))
    log_det_xx = np.where(apart, np.linalg.slogdet(xx)[1], np.inf)
    inverse_xx = np.asarray(np.linalg.inv(xx), dtype=float)
    coefficients = np.einsum("qij,qj->qi", inverse_xx, xy)
    residual, residual_k, residual_kl = _residual_forms(m, coefficients, inverse_xx)
    trace_p, trace_pp = _traces(m, inverse_xx)
    f = design.n_scores - p
    ratio = residual_k / residual[:, None]
    return Criterion(
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
    residual = np.maximum(np.einsum("qi,qij,qj->q", v, m.cross, v), SMALLEST_RESIDUAL)
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
