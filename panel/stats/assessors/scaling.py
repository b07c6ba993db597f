"""The analysis of variance with a scaling factor for each assessor, beside the additive one.

Y_ijk = mu + a_i + v_j + b_i x_j + d_ij + e_ijk with x_j the centred prototype means and sum b_i = 0: assessor x
prototype is split into scaling (somebody uses more or less of the scale) and disagreement (somebody sees the
prototypes differently), and prototypes are tested against disagreement alone.

Brockhoff, Schlich & Skovgaard (2015), Food Qual. Prefer. 39:156-166.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import fdtri, ncfdtr, ndtr, stdtrit

from panel.stats.arrays import Array
from panel.stats.assessors.departures import SCALE_SD
from panel.stats.comparing.group_means import f_tail

FEWEST_PROTOTYPES = 3
"""With two prototypes a line through two points leaves no disagreement to test against."""


@dataclass(frozen=True, eq=False, slots=True)
class Scaling:
    """Sums of squares (q,), their degrees of freedom, and the factors (q, a), whose mean is 1.

    `interaction` = `scaling` + `disagreement`; `ms_error` and `df_error` (q,) are those of the repeated scores.
    """

    prototype: Array
    scaling: Array
    disagreement: Array
    df_prototype: int
    df_scaling: int
    df_disagreement: int
    ms_error: Array
    df_error: Array
    factors: Array

    @property
    def interaction(self) -> Array:
        """Sum of squares of assessor x prototype."""
        return self.scaling + self.disagreement

    @property
    def ms_disagreement(self) -> Array:
        """Mean square of disagreement, the yardstick for prototypes and for scaling."""
        return self.disagreement / self.df_disagreement

    @property
    def f_prototype(self) -> Array:
        """F that no prototype differs, against disagreement."""
        return _ratio(self.prototype / self.df_prototype, self.ms_disagreement)

    @property
    def f_scaling(self) -> Array:
        """F that all assessors use the scale alike, against disagreement."""
        return _ratio(self.scaling / self.df_scaling, self.ms_disagreement)

    @property
    def f_disagreement(self) -> Array:
        """F that nobody sees the prototypes differently, against repeated scores; NaN without any."""
        return _ratio(self.ms_disagreement, self.ms_error)

    @property
    def p_prototype(self) -> Array:
        """Upper tail probability of `f_prototype`."""
        return f_tail(self.f_prototype, _full(self.f_prototype, self.df_prototype), self._df_disagreement)

    @property
    def p_scaling(self) -> Array:
        """Upper tail probability of `f_scaling`."""
        return f_tail(self.f_scaling, _full(self.f_scaling, self.df_scaling), self._df_disagreement)

    @property
    def p_disagreement(self) -> Array:
        """Upper tail probability of `f_disagreement`."""
        return f_tail(self.f_disagreement, self._df_disagreement, self.df_error)

    @property
    def _df_disagreement(self) -> Array:
        return _full(self.disagreement, self.df_disagreement)


def scaling_model(means: Array, replicates: Array, ms_error: Array, df_error: Array) -> Scaling:
    """Return the scaling model of tables of cell means without holes.

    Parameters
    ----------
    means
        (q, a, p) means of each assessor and prototype, p at least 3, a at least 2.
    replicates
        (q,) scores per cell; where cells hold different numbers, their harmonic mean (analysis of unweighted means,
        Yates 1934, J. Am. Stat. Assoc. 29:51), which is then an approximation.
    ms_error, df_error
        (q,) mean square of repeated scores and its degrees of freedom; NaN and 0 where nothing was repeated.
    """
    _, a, p = means.shape
    centred = means - means.mean(axis=(1, 2), keepdims=True)
    x = centred.mean(axis=1)
    own = centred - centred.mean(axis=2, keepdims=True)
    square = (x**2).sum(axis=1)
    factors = _ratio(np.einsum("qap,qp->qa", own, x), square[:, None])
    interaction = replicates * ((own - x[:, None]) ** 2).sum(axis=(1, 2))
    scaling = np.where(square > 0, replicates * ((factors - 1) ** 2).sum(axis=1) * square, 0.0)
    return Scaling(
        prototype=a * replicates * square,
        scaling=scaling,
        disagreement=np.maximum(interaction - scaling, 0.0),
        df_prototype=p - 1,
        df_scaling=a - 1,
        df_disagreement=(a - 1) * (p - 2),
        ms_error=ms_error,
        df_error=df_error,
        factors=factors,
    )


def _full(like: Array, value: float) -> Array:
    return np.full(np.shape(like), float(value))


def _ratio(above: Array, below: Array) -> Array:
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(above / below)


# With what chance would somebody who uses a scale backwards be told from honest people?
#
# The slope of such a person's means on the others' is expected at minus the others' reliability. It is noticed
# when it
# falls below what honest slopes allow, and the person's own table tells the prototypes apart as well; of the two
# chances
# the smaller one is taken, for both come from the same means. An approximation: about, not exactly.


@dataclass(frozen=True, eq=False, slots=True)
class ReversalRule:
    """Reversed is a slope whose adjusted p-value is below `alpha`, and that of the own table below `separates`.

    Slopes are looked at only where a reversed one lies at least `turn` standard errors below an honest one.
    """

    alpha: float
    separates: float
    turn: float = 0.0


def reversal_chance(
    rules: tuple[ReversalRule, ...],
    tests: tuple[float, ...],
    *,
    reliability: Array,
    others_square: Array,
    std_error: Array,
    df: Array,
    own: tuple[Array, Array, Array],
    prototypes: Array,
) -> Array:
    """Return the chance that a reversed scale is noticed by any one of the rules, (q, a); NaN where not judged.

    Parameters
    ----------
    tests
        How many slopes are counted together by each of the rules.
    reliability, others_square, std_error, df
        Of the others' means, and of the slope on them, as in `panel.stats.assessors.departures`.
    own
        The person's residual mean square, its degrees of freedom, and the scores behind each mean.
    prototypes
        Number of prototypes the person scored.
    """
    error = np.sqrt(std_error**2 + (reliability * SCALE_SD) ** 2)
    honest = np.sqrt(error**2 + (reliability * SCALE_SD) ** 2)
    mean_square, df_error, scores = own
    chances = []
    with np.errstate(divide="ignore", invalid="ignore"):
        strength = reliability * others_square * scores / mean_square
        for rule, counted in zip(rules, tests, strict=True):
            limit = np.minimum(reliability + honest * stdtrit(df, rule.alpha / max(counted, 1.0)), 0.0)
            looked_at = 2 * reliability / honest >= rule.turn
            low = np.where(looked_at, ndtr((limit + reliability) / error), 0.0)
            bar = fdtri(prototypes - 1, df_error, 1 - rule.separates)
            chances.append(np.minimum(low, 1 - ncfdtr(prototypes - 1, df_error, strength, bar)))
    usable = (reliability > 0) & np.isfinite(error) & (df_error > 0) & (prototypes > 2)
    return np.where(usable, np.max(chances, axis=0), np.nan)
