"""Does an assessor repeat as well as the others do?

An assessor's own residual variance over that of the others is F distributed if both are one variance: in data with
equal cells this is Cochran's test of the largest variance and the k statistic of ASTM E691 in another dress,
k^2 = a F / (F + a - 1) for a assessors.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import fdtrc

from panel.stats.arrays import Array
from panel.stats.assessors.own_tables import OwnTables
from panel.stats.assessors.shares import mean_share

ALLOWED = 1.3
"""Honest people differ in scatter by about a third (common practice, no source); only more than that is looked for."""


@dataclass(frozen=True, eq=False, slots=True)
class Repeats:
    """Ratios of standard deviations, the person's over the others'; (q, a), `overall` ones (a,); NaN without repeats.

    Parameters
    ----------
    ratio
        For each attribute.
    k
        The person's standard deviation over that of the whole panel, the person included (ASTM E691).
    p_value
        Upper tail of each attribute, beyond the person's ratio on the other attributes if that is above 1.
    overall, overall_p
        The ratio over all attributes by the mean share (`panel.stats.assessors.shares`), and the upper tail beyond
        ALLOWED.
    independent
        How many independent attributes the q amount to: scores of one sample go together.
    """

    ratio: Array
    k: Array
    p_value: Array
    overall: Array
    overall_p: Array
    independent: float


def repeats(own: OwnTables) -> Repeats:
    """Return how each assessor repeats against the others."""
    within, df = np.where(own.df_error > 0, own.within, 0.0), own.df_error
    others_df = df.sum(axis=1, keepdims=True) - df
    others = _over(within.sum(axis=1, keepdims=True) - within, others_df)
    f = _over(own.mean_square, others)
    known = np.isfinite(f)
    weight = np.where(known, df, 0.0)
    weighed = np.where(known, df * np.where(known, f, 0.0), 0.0)
    elsewhere = _over(weighed.sum(axis=0) - weighed, weight.sum(axis=0) - weight)
    usual = np.where(np.isfinite(elsewhere), np.maximum(elsewhere, 1.0), 1.0)
    panel = _over(within.sum(axis=1, keepdims=True), df.sum(axis=1, keepdims=True))
    independent = independent_attributes(own)
    whole = mean_share(within, df, independent / len(f), ALLOWED)
    return Repeats(
        ratio=np.sqrt(f),
        k=np.sqrt(_over(own.mean_square, panel)),
        p_value=_upper(f / usual, df, others_df),
        overall=whole.ratio,
        overall_p=whole.upper,
        independent=independent,
    )


def independent_attributes(own: OwnTables) -> float:
    """Return q^2 over the sum of the squared correlations of the residuals, from 1 to q.

    A mean of q variances of equal size scatters as if over so many independent ones. Squared correlations are freed
    of what chance adds, 1 / df.
    """
    df = np.maximum(own.df_error.sum(axis=1), 2.0)
    chance = 1 / np.minimum(df[:, None], df[None, :])
    square = np.clip((residual_correlations(own) ** 2 - chance) / (1 - chance), 0.0, 1.0)
    np.fill_diagonal(square, 1.0)
    return float(len(square) ** 2 / square.sum())


def residual_correlations(own: OwnTables) -> Array:
    """Return the correlations (q, q) of the residuals of one sample, zero where an attribute leaves none."""
    filled = np.where(np.isfinite(own.residual), own.residual, 0.0)
    cross = filled.T @ filled
    size = np.sqrt(np.outer(np.diagonal(cross), np.diagonal(cross)))
    return np.divide(cross, size, out=np.zeros_like(cross), where=size > 0)


def _upper(f: Array, df: Array, df_error: Array) -> Array:
    known = np.isfinite(f) & (df > 0) & (df_error > 0)
    filled = (np.where(known, part, 1.0) for part in (df, df_error, f))
    return np.where(known, fdtrc(*filled), np.nan)


def _over(above: Array, below: Array) -> Array:
    """Return above / below, NaN where nothing is below."""
    above, below = np.broadcast_arrays(above, below)
    return np.divide(above, below, out=np.full(above.shape, np.nan), where=below > 0)
