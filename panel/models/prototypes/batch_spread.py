"""How far do batches of one formula differ: as the study states it, as an earlier study showed it, or not known."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from panel.checks.confounds import Confounds
from panel.models.prototypes.panel_design import fit_panel, variance_rows
from panel.study.scores_used import scores_used
from panel.study.study import Study

SD_FACT, DF_FACT = "batch_sd", "batch_sd_df"


@dataclass(frozen=True, slots=True)
class BatchSpread:
    """Standard deviation between batches, and how many batches of each prototype were scored.

    `sd`: attribute to standard deviation in scale units, the empty name for all others. `df`: degrees of freedom behind
    it, infinite where it is stated as known. `batches`: prototype to the number scored, 1 where it is not known.
    """

    sd: Mapping[str, float]
    df: float
    batches: Mapping[str, int]

    def of(self, attribute: str) -> float:
        """Return the standard deviation on an attribute, NaN where nothing is known."""
        return self.sd.get(attribute, self.sd.get("", float("nan")))

    def variance(self, attribute: str, weights: Mapping[str, float]) -> float:
        """Return what batches add to the variance of a weighted sum of means; 0 where nothing is known."""
        sd = self.of(attribute)
        if np.isnan(sd):
            return 0.0
        return sd**2 * sum(weight**2 / max(self.batches.get(name, 1), 1) for name, weight in weights.items())

    def words(self, attribute: str) -> str:
        """Return how batches enter the standard error on an attribute; empty where they do not."""
        sd = self.of(attribute)
        if np.isnan(sd):
            return ""
        known = "as stated for the study" if np.isinf(self.df) else f"learned with {self.df:g} degrees of freedom"
        return f"a standard deviation of {sd:g} between batches, {known}, is in the standard error"

    @property
    def sentence(self) -> str:
        """How batches enter the standard errors, for the method; empty where they do not."""
        if not self.sd:
            return ""
        low, high = min(self.sd.values()), max(self.sd.values())
        size = f"{low:.3g}" if low == high else f"{low:.3g} to {high:.3g}"
        known = "stated for the study" if np.isinf(self.df) else f"learned with {self.df:g} degrees of freedom"
        return f"A standard deviation of {size} between batches, {known}, is in the standard errors."


def batch_spread(study: Study, confounds: Confounds) -> BatchSpread:
    """Return what the facts `batch_sd` (a number, or one by attribute) and `batch_sd_df` of `study` say of batches."""
    stated, df = study.facts.get(SD_FACT), study.facts.get(DF_FACT)
    by_attribute = stated if isinstance(stated, Mapping) else {"": stated}
    sd = {
        str(name): float(value)
        for name, value in by_attribute.items()
        if isinstance(value, int | float) and not isinstance(value, bool) and np.isfinite(value) and value >= 0
    }
    known = float(df) if isinstance(df, int | float) and not isinstance(df, bool) and df >= 1 else float("inf")
    return BatchSpread(sd, known, {name: len(own) for name, own in confounds.batches.items()})


def own_batch_spread(study: Study, confounds: Confounds) -> BatchSpread:
    """Return what the scores themselves tell of batches, where prototypes have two or more, else what is stated."""
    stated = batch_spread(study, confounds)
    if all(number < 2 for number in stated.batches.values()):
        return stated
    fits, _ = fit_panel(study, scores_used(study).frame)
    learned = _learned_batch_sd(pd.concat([variance_rows(*each) for each in fits]), confounds) if fits else {}
    return batch_spread(Study({}, learned), confounds) if learned else stated


def _learned_batch_sd(variances: pd.DataFrame, confounds: Confounds) -> dict[str, object]:
    """Return the facts `batch_sd` and `batch_sd_df` that a study with two or more batches of a prototype teaches.

    Parameters
    ----------
    variances
        `attribute batch` (variances), as the differences between prototypes of that study hold them.
    confounds
        Of the same study. The degrees of freedom are those of batches within prototypes.
    """
    known = variances.loc[variances["batch"].notna()]
    df = sum(len(own) - 1 for own in confounds.batches.values())
    if known.empty or df < 1:
        return {}
    sd = np.sqrt(known["batch"].to_numpy(dtype=float)).tolist()
    return {SD_FACT: dict(zip(known["attribute"].tolist(), sd, strict=True)), DF_FACT: df}
