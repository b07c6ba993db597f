"""How far one assessor departs from what the others lead one to expect, and how rarely chance alone does so.

Somebody who feels what the others feel gives means m_j = level + s * t_j + own differences + scatter, t_j being the
true differences and s the person's use of the scale. The others' means x_j stand for t_j only as far as they are
reliable: the slope of m on x is then expected at s * reliability, and less the more weakly the prototypes differ.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import fdtr, fdtrc, stdtr

from panel.stats.arrays import Array
from panel.stats.assessors.agreement import Agreement, Disagreement

SCALE_SD = 0.2
"""Standard deviation of honest use of the scale, between people and again between attributes of one person: two and a
half of it span the 0.5 to 1.5 that panel leaders commonly accept (common practice, no source)."""

LEAST_SCALE = 0.5
"""Nobody is expected to use less of the scale than this, or who feels nothing would be right to feel nothing."""


@dataclass(frozen=True, eq=False, slots=True)
class Departures:
    """Every array (q, a) unless said otherwise, NaN where not judged.

    Parameters
    ----------
    std_error, df
        Of the slope on the others' means, from what is seen differently in the panel and the own scatter.
    expected
        Slope expected of somebody who feels what the others feel.
    lower
        Chance of a slope this low or lower in such a person.
    turn
        How far the slope of the same person with the scale reversed lies below the expected one, in standard errors.
    flatter
        Chance of own means that differ so little.
    stranger
        Chance of so much scatter of the own means about the line on the others'.
    scale, scale_error
        (a,) use of the scale over all judged attributes, 1 being the panel's, and its standard error.
    """

    std_error: Array
    df: Array
    expected: Array
    lower: Array
    turn: Array
    flatter: Array
    stranger: Array
    scale: Array
    scale_error: Array


def departures(
    found: Agreement,
    reliability: Array,
    judged: np.ndarray,
    panel: Disagreement,
    others: Disagreement,
    extra: tuple[Array, Array],
    together: Array,
) -> Departures:
    """Return the departures of each assessor.

    Parameters
    ----------
    found
        Agreement of each assessor with the others.
    reliability
        (q, a) of the others' means, 0 to 1.
    judged
        (q, a) whether the others tell the prototypes apart, so that agreement can be judged at all.
    panel, others
        Disagreement with everybody in it, (q,), and with each assessor left out, (q, a).
    extra
        (q, a) variance of a person's means by which the own scatter exceeds the panel's (zero if it does not), and
        its degrees of freedom.
    together
        (q, q) correlations of what is left of the scores of one sample, for the error of a scale over attributes.
    """
    base, base_df = panel.mean_square[:, None], panel.df[:, None]
    variance = base + extra[0]
    df = variance**2 / (base**2 / base_df + extra[0] ** 2 / np.maximum(extra[1], 1))
    n_others = np.isfinite(found.slope).sum(axis=1, keepdims=True) - 1
    differ = np.where(found.others_square > 0, found.others_square, np.nan)
    by_chance = variance * (1 + 1 / np.maximum(n_others, 1)) / differ
    square = by_chance + (reliability * SCALE_SD) ** 2
    usable = judged & np.isfinite(found.slope) & np.isfinite(square) & (df > 0)
    weight = np.where(usable, reliability**2 / square, 0.0)
    towards = np.where(usable, reliability * found.slope / square, 0.0)
    elsewhere, doubt = _scale_elsewhere(weight, towards)
    expected = reliability * elsewhere
    error = np.sqrt(square + (reliability * doubt) ** 2)
    df_own = np.maximum(found.prototypes - 1, 1)  # who scored one prototype is not usable
    true_square = np.minimum(elsewhere, 1.0) ** 2 * reliability * found.others_square / df_own
    flat = found.spread / (variance + true_square)
    with np.errstate(divide="ignore", invalid="ignore"):
        return Departures(
            std_error=np.sqrt(by_chance),
            df=np.broadcast_to(df, by_chance.shape),
            expected=np.where(usable, expected, np.nan),
            lower=np.where(usable, stdtr(df, (found.slope - expected) / error), np.nan),
            turn=np.where(usable, 2 * expected / error, np.nan),
            flatter=np.where(usable, fdtr(df_own, df, flat), np.nan),
            stranger=_stranger(found, others, extra, n_others),
            scale=np.where(weight.any(axis=0), towards.sum(axis=0) / weight.sum(axis=0), np.nan),
            scale_error=_scale_error(found.others, weight, reliability, by_chance, together),
        )


def _scale_error(others: Array, weight: Array, reliability: Array, by_chance: Array, together: Array) -> Array:
    """Return the standard error (a,) of a scale over all judged attributes.

    The errors of two slopes go together as far as the scores of one sample do, and as the two attributes order the
    prototypes alike. Never less than if they did not: correlations are themselves uncertain.
    """
    direction = np.where(np.isfinite(others), others, 0.0)
    length = np.sqrt((direction**2).sum(axis=-1, keepdims=True))
    direction = np.divide(direction, length, out=np.zeros_like(direction), where=length > 0)
    alike = np.einsum("kap,lap->kla", direction, direction) * together[:, :, None]
    alike[np.arange(len(together)), np.arange(len(together))] = 0.0
    with np.errstate(divide="ignore", invalid="ignore"):
        pull = np.where(weight > 0, weight / reliability * np.sqrt(by_chance), 0.0)
        variance = weight.sum(axis=0) + np.einsum("ka,kla,la->a", pull, alike, pull)
        return np.asarray(np.sqrt(np.maximum(variance, weight.sum(axis=0))) / weight.sum(axis=0))


def _scale_elsewhere(weight: Array, towards: Array) -> tuple[Array, Array]:
    """Return a person's use of the scale judged by the other attributes, and its standard deviation, both (q, a).

    Starting from 1 with SCALE_SD, so that few or weak attributes leave it near 1.
    """
    known = weight.sum(axis=0) - weight + SCALE_SD**-2
    found = (towards.sum(axis=0) - towards + SCALE_SD**-2) / known
    return np.maximum(found, LEAST_SCALE), known**-0.5


def _stranger(found: Agreement, others: Disagreement, extra: tuple[Array, Array], n_others: Array) -> Array:
    """Return the upper tail of the person's scatter about the line, given the others' and the own repeatability.

    The others' mean is itself uncertain, which adds slope^2 / n to the scatter about a line on it.
    """
    usual = (others.mean_square + extra[0]) * (1 + np.minimum(found.slope**2, 1.0) / np.maximum(n_others, 1))
    defined = np.isfinite(found.scatter) & np.isfinite(usual) & (found.prototypes > 2)
    df, df_error = np.where(defined, found.prototypes - 2, 1.0), np.where(defined, others.df, 1.0)
    return np.where(defined, fdtrc(df, df_error, np.where(defined, found.scatter / usual, 1.0)), np.nan)
