"""What a fitted mixed model leaves over, score by score, and how much each score pulls at the coefficients.

With y = X b + Z u + e, V = I + sum_k gamma_k Z_k Z_k' (in units of the residual variance s2) and
P = V^-1 - V^-1 X (X'V^-1 X)^-1 X'V^-1: the predicted effects are u_k = gamma_k Z_k'V^-1 (y - X b) and the conditional
residuals y - X b - Z u = P y, with covariance s2 P (Henderson 1975, Biometrics 31:423; Haslett & Hayes 1998, J. R.
Stat. Soc. B 60:201). Leaving score i out, with the variances held, changes b by exactly
-(X'V^-1 X)^-1 X'V^-1 d_i (P y)_i / P_ii (Christensen, Pearson & Johnson 1992, Technometrics 34:38).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panel.stats.arrays import Array, Codes

SMALLEST_ROOM = 1e-10  # of P_ii: below, the score is fitted exactly, whatever it is


@dataclass(frozen=True, eq=False, slots=True)
class MixedResiduals:
    """Residuals of one response, n scores, p fixed columns.

    `marginal_fit` = X b (n,); `effects`, one array (levels,) for each random term; `fitted` = X b + Z u (n,);
    `residual` = y - fitted (n,); `standardised` = residual over its own standard deviation, NaN where a score is
    fitted exactly; `room` = P_ii (n,), 1 where the model does not bend to the score, 0 where it follows it;
    `pull` (n, p), how much the coefficients fall when the score is left out with the variances held.
    """

    marginal_fit: Array
    effects: tuple[Array, ...]
    fitted: Array
    residual: Array
    standardised: Array
    room: Array
    pull: Array


@dataclass(frozen=True, eq=False, slots=True)
class ResidualMaker:
    """The matrix P of one design and its variances, kept as blocks that share no random effect.

    `rows` of each block, `inverse` = V^-1 of each block, `through` = V^-1 X (n, p), `inverse_xx` = (X'V^-1 X)^-1.
    """

    rows: tuple[Codes, ...]
    inverse: tuple[Array, ...]
    through: Array
    inverse_xx: Array

    def whiten(self, y: Array) -> Array:
        """Return V^-1 y for y (n,) or (n, m)."""
        out = np.empty_like(y)
        for rows, inverse in zip(self.rows, self.inverse, strict=True):
            out[rows] = inverse @ y[rows]
        return out

    def residual(self, y: Array) -> Array:
        """Return P y for y (n,) or (n, m)."""
        return np.asarray(self.whiten(y) - self.through @ (self.inverse_xx @ (self.through.T @ y)))

    def room(self) -> Array:
        """Return the diagonal of P."""
        own = np.empty(len(self.through))
        for rows, inverse in zip(self.rows, self.inverse, strict=True):
            own[rows] = np.diagonal(inverse)
        return np.asarray(own - np.einsum("ni,ij,nj->n", self.through, self.inverse_xx, self.through))


def residual_maker(fixed: Array, groups: list[Codes], gamma: Array) -> ResidualMaker:
    """Return P for `fixed` (n, p), the `groups` (n,) of each random term and relative variances `gamma` (K,).

    Scores in different groups of the first term must share no group of another term, as terms within assessors do.
    """
    order = np.argsort(groups[0], kind="stable")
    starts = np.flatnonzero(np.diff(groups[0][order])) + 1
    rows = tuple(np.split(order, starts))
    inverse = []
    for own in rows:
        v = np.eye(len(own))
        for group, variance in zip(groups, gamma, strict=True):
            v += variance * (group[own][:, None] == group[own][None, :])
        inverse.append(np.asarray(np.linalg.inv(v), dtype=float))
    maker = ResidualMaker(rows, tuple(inverse), np.empty_like(fixed), np.empty((0, 0)))
    through = maker.whiten(np.asarray(fixed, dtype=float))
    return ResidualMaker(rows, tuple(inverse), through, np.asarray(np.linalg.inv(fixed.T @ through), dtype=float))


def mixed_residuals(
    maker: ResidualMaker, y: Array, fixed: Array, groups: list[Codes], variances: Array
) -> MixedResiduals:
    """Return the residuals of y (n,) at `variances` (K + 1,), random terms first, the residual variance last."""
    s2 = variances[-1]
    gamma = variances[:-1] / s2
    coefficients = maker.inverse_xx @ (maker.through.T @ y)
    marginal = fixed @ coefficients
    pulled = maker.whiten(y - marginal)
    effects = tuple(ratio * np.bincount(group, weights=pulled) for group, ratio in zip(groups, gamma, strict=True))
    fitted = marginal + sum(effect[group] for effect, group in zip(effects, groups, strict=True))
    residual, room = y - fitted, maker.room()
    free = room > SMALLEST_ROOM
    standardised = np.where(free, residual / np.sqrt(s2 * np.where(free, room, 1.0)), np.nan)
    pull = (maker.through @ maker.inverse_xx) * np.where(free, residual / np.where(free, room, 1.0), np.nan)[:, None]
    return MixedResiduals(marginal, effects, fitted, residual, standardised, room, pull)
