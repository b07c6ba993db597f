"""The analysis of variance with a scaling factor for each assessor, beside the additive one.

Y_ijk = mu + a_i + v_j + b_i x_j + d_ij + e_ijk with x_j the centred prototype means and sum b_i = 0: assessor x
prototype is split into scaling (somebody uses more or less of the scale) and disagreement (somebody sees the
prototypes differently), and prototypes are tested against disagreement alone.

Brockhoff, Schlich & Skovgaard (2015), Food Qual. Prefer. 39:156-166.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from panel.stats.arrays import Array
from panel.stats.comparing.one_way import f_tail

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
