"""What does the trained panel say about the prototypes that claims are about? Each attribute is fitted once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import stdtr, stdtrit

from panel.checks.confounds import Confounds
from panel.claims.said import counted
from panel.models.prototypes.batch_spread import BatchSpread, batch_spread
from panel.models.prototypes.differences import variance_rows, versus_rows
from panel.models.prototypes.panel_design import PanelDesign, fit_panel
from panel.plan.sample_size import Scatter, own_scatter
from panel.stats.mixed.kenward_roger import Inference, inference
from panel.stats.mixed.reml import BATCH, MixedFit
from panel.stats.mixed.satterthwaite import widened
from panel.study.study import Study


@dataclass(frozen=True, slots=True)
class Estimate:
    """One mean or difference of means, with its standard error and degrees of freedom."""

    estimate: float
    std_error: float
    df: float

    @property
    def statistic(self) -> float:
        """Estimate over standard error."""
        return self.estimate / self.std_error

    def interval(self, level: float) -> tuple[float, float]:
        """Return the two-sided interval at `level`."""
        half = float(stdtrit(self.df, (1 + level) / 2)) * self.std_error
        return self.estimate - half, self.estimate + half

    def p_above(self, limit: float) -> float:
        """Return the one-sided p-value against a true value at or below `limit`."""
        return float(stdtr(self.df, -(self.estimate - limit) / self.std_error))


@dataclass(frozen=True, eq=False, slots=True)
class PanelNumbers:
    """The fitted attributes: attribute to model, fit, estimates and place in the model; why others were not fitted.

    `counts`: how many scores, index attribute and assessor, columns prototype, NaN for none. `spread`: what is known of
    batches; it enters where the model itself has no batches.
    """

    fits: Mapping[str, tuple[PanelDesign, MixedFit, Inference, int]]
    left_out: Mapping[str, str]
    counts: pd.DataFrame
    spread: BatchSpread

    def why_not(self, attribute: str, prototypes: Iterable[str]) -> str:
        """Return why the panel says nothing about these prototypes on this attribute; empty if it does."""
        if attribute not in self.fits:
            return f"{attribute} cannot be judged: {self.left_out.get(attribute, 'it was not scored')}."
        held = self.fits[attribute][0].prototypes
        absent = [name for name in prototypes if name not in held]
        return f"{', '.join(absent)} was not scored on {attribute}." if absent else ""

    def contrast(self, attribute: str, weights: Mapping[str, float]) -> Estimate:
        """Return the weighted sum of the means of prototypes, such as a difference."""
        design, _, infer, place = self.fits[attribute]
        row = np.zeros((1, design.fixed.shape[1]))
        for prototype, weight in weights.items():
            row[0, design.prototypes.index(prototype)] = weight
        found = infer.estimate(row)
        error, df = found.std_error[place, 0], found.df[place, 0]
        if not self.has_batches(attribute):
            error, df = widened(error, df, self.spread.variance(attribute, weights), self.spread.df)
        return Estimate(float(found.estimate[place, 0]), float(error), float(df))

    def has_batches(self, attribute: str) -> bool:
        """Return whether the model of an attribute holds batches as a random term."""
        return BATCH in self.fits[attribute][0].terms

    def difference(self, attribute: str, prototype: str, versus: str) -> Estimate:
        """Return prototype minus versus."""
        return self.contrast(attribute, {prototype: 1.0, versus: -1.0})

    def together(self, attribute: str) -> tuple[str, ...]:
        """Return the attributes that share a model with this one."""
        return self.fits[attribute][0].attributes

    def from_one(self, attribute: str, prototype: str, level: float) -> pd.DataFrame:
        """Return the differences of all others from `prototype`, adjusted together (Dunnett), attribute by attribute.

        All attributes that share a model with this one.
        """
        design, _, infer, _ = self.fits[attribute]
        of_mean = np.array(
            [[self.spread.variance(name, {each: 1.0}) for each in design.prototypes] for name in design.attributes]
        )
        if self.has_batches(attribute) or not of_mean.any():
            return versus_rows(design, infer, prototype, level)
        return versus_rows(design, infer, prototype, level, (of_mean, self.spread.df))

    def scatter(self, attribute: str) -> Scatter:
        """Return how much the scores of an attribute scatter in this panel."""
        design, fit, _, _ = self.fits[attribute]
        variances = variance_rows(design, fit)
        return own_scatter(variances.loc[variances["attribute"] == attribute])[0]

    def prototypes(self, attribute: str) -> tuple[str, ...]:
        """Return the prototypes scored on an attribute."""
        return self.fits[attribute][0].prototypes

    def people(self, attribute: str, prototypes: Iterable[str]) -> tuple[int, int]:
        """Return how many assessors scored all these prototypes, and how often each (the median)."""
        wanted = list(prototypes)
        if attribute not in self.fits:
            return 0, 0
        counts = self.counts.xs(attribute)[wanted].dropna()
        return len(counts), int(np.median(counts.to_numpy())) if len(counts) else 0

    def scores_each(self, attribute: str, prototypes: Iterable[str]) -> str:
        """Return how often each of these people scored each of these prototypes: `3 scores`, or `2 to 3 scores`."""
        counts = self.counts.xs(attribute)[list(prototypes)].dropna().to_numpy()
        if not counts.size:
            return ""
        low, high = int(counts.min()), int(counts.max())
        return counted(high, "score") if low == high else f"{low} to {high} scores"


def panel_numbers(study: Study, scores: pd.DataFrame, attributes: Iterable[str], confounds: Confounds) -> PanelNumbers:
    """Fit those of `attributes` in `scores` that can be fitted, one model for those that share one."""
    scores = scores.loc[scores["attribute"].isin(set(attributes))]
    fits, left_out = fit_panel(study, scores, confounds=confounds)
    found: dict[str, tuple[PanelDesign, MixedFit, Inference, int]] = {}
    for design, fit in fits:
        infer = inference(fit)
        found |= {name: (design, fit, infer, place) for place, name in enumerate(design.attributes)}
    counts = scores.pivot_table(index=["attribute", "assessor"], columns="prototype", values="score", aggfunc="count")
    return PanelNumbers(found, dict(left_out), counts.replace(0, np.nan), batch_spread(study, confounds))
