"""Does an assessor's level wander over the sessions in a way the others' does not?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import stdtr

from panel.stats.arrays import Array
from panel.stats.assessors.agreement import column_effects, others_effects


@dataclass(frozen=True, eq=False, slots=True)
class Drift:
    """Change per session, its standard error, degrees of freedom and two-sided p-value; arrays (q, a)."""

    slope: Array
    std_error: Array
    df: Array

    @property
    def p_value(self) -> Array:
        """Two-sided p-value that the person's level goes with the others'; NaN where it cannot be had."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(2 * stdtr(self.df, -np.abs(self.slope / self.std_error)))


def drift(sittings: Array, extra: tuple[Array, Array]) -> Drift:
    """Return each assessor's change per session beyond the others'.

    The yardstick is how much the others' sittings scatter about an additive table of assessors and sessions, so that
    ordinary good and bad days are no drift.

    Parameters
    ----------
    sittings
        (q, a, s) session effects in order of time, NaN where absent.
    extra
        (q, a) variance of a person's session effect by which the own scatter exceeds the panel's (zero if it does
        not), and its degrees of freedom.
    """
    a, s = sittings.shape[1:]
    apart = sittings - others_effects(sittings)
    there = np.isfinite(apart)
    attended = there.sum(axis=-1)
    time = np.where(there, np.arange(s, dtype=float), 0.0)
    time = np.where(there, time - _over(time.sum(axis=-1), attended)[..., None], 0.0)
    square = (time**2).sum(axis=-1)
    slope = _over((time * np.where(there, apart, 0.0)).sum(axis=-1), square)
    without = np.where(np.eye(a, dtype=bool)[:, :, None], np.nan, sittings[:, None])
    variance, df = _scatter(without)
    usual = variance * (1 + _over(np.ones_like(variance), np.isfinite(without).any(axis=-1).sum(axis=-1)))
    total = usual + extra[0]
    freedom = total**2 / (usual**2 / df + extra[0] ** 2 / np.maximum(extra[1], 1))
    return Drift(slope, np.sqrt(_over(total, square)), freedom)


def _scatter(tables: Array) -> tuple[Array, Array]:
    """Return the residual mean square of additive tables (..., a, s) and its degrees of freedom."""
    there = np.isfinite(tables)
    rest = tables - column_effects(tables)[..., None, :]
    level = _over(np.where(there, rest, 0.0).sum(axis=-1), there.sum(axis=-1))
    rest = np.where(there, rest - level[..., None], 0.0)
    people, columns = there.any(axis=-1).sum(axis=-1), there.any(axis=-2).sum(axis=-1)
    df = (there.sum(axis=(-1, -2)) - people - columns + 1).astype(float)
    df = np.where(df > 0, df, np.nan)
    return (rest**2).sum(axis=(-1, -2)) / df, df


def _over(above: Array, below: Array) -> Array:
    """Return above / below, NaN where nothing is below."""
    return np.divide(above, below, out=np.full(np.shape(above), np.nan), where=np.asarray(below) > 0)
