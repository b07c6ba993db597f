"""A fitted panel model as tables: tests, estimated means, differences, variances."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pandas as pd

from panel.models.prototypes.inference import Inference
from panel.models.prototypes.panel_design import PanelDesign
from panel.stats.arrays import Array
from panel.stats.comparing.letters import letters_for
from panel.stats.comparing.many_to_one import many_to_one
from panel.stats.comparing.range_distribution import tukey_critical, tukey_p_value
from panel.stats.mixed.reml import MixedFit
from panel.stats.mixed.satterthwaite import Estimates, sequential_contrasts
from panel.stats.mixed.strata import ASSESSOR, INTERACTION, SITTING
from panel.study.natural_order import natural_order

VARIANCE_COLUMNS = {ASSESSOR: "assessor", INTERACTION: "assessor_prototype", SITTING: "session"}


def _contrasts(design: PanelDesign) -> tuple[list[tuple[int, int]], Array]:
    """Return all pairs (larger place first as `prototype`) and their contrasts."""
    pairs = [(j, i) for i, j in combinations(range(len(design.prototypes)), 2)]
    return pairs, _minus(design, pairs)


def _minus(design: PanelDesign, pairs: list[tuple[int, int]]) -> Array:
    contrasts = np.zeros((len(pairs), design.fixed.shape[1]))
    contrasts[np.arange(len(pairs)), [first for first, _ in pairs]] = 1
    contrasts[np.arange(len(pairs)), [second for _, second in pairs]] = -1
    return contrasts


def attribute_rows(design: PanelDesign, fit: MixedFit, infer: Inference) -> pd.DataFrame:
    """Return the F test that no prototype differs, one row per attribute."""
    test = infer.test(_hypothesis(design))
    names = [VARIANCE_COLUMNS[term] for term in design.terms]
    at_zero = [", ".join(name for name, zero in zip(names, row, strict=True) if zero) for row in fit.at_zero.tolist()]
    return pd.DataFrame(
        {
            "attribute": design.attributes,
            "statistic": test.statistic,
            "df": float(test.df),
            "df_error": test.df_error,
            "p_value": test.p_value,
            "p_adjusted": np.nan,
            "n_scores": fit.n_scores.astype(int),
            "model": design.sentence,
            "at_zero": at_zero,
            "converged": fit.converged,
        }
    )


def _hypothesis(design: PanelDesign) -> Array:
    """Return the contrasts that say no prototype differs, for each attribute.

    Pooled degrees of freedom lean on the order of the prototypes: it is the natural order of their names, as R's
    default is the sorted order of the levels, whatever the order of the rows or of the table of prototypes.
    """
    order = [design.prototypes.index(name) for name in natural_order(design.prototypes)]
    k = len(order)
    if design.fixed.shape[1] > k:
        return _minus(design, [(place, order[0]) for place in order[1:]])
    counts = (design.fixed.T @ np.isfinite(design.response))[order]
    contrasts = np.zeros((counts.shape[1], k - 1, k))
    contrasts[:, :, order] = np.stack([sequential_contrasts(own, k) for own in counts.T])
    return contrasts


def mean_rows(design: PanelDesign, infer: Inference, level: float) -> pd.DataFrame:
    """Return the estimated means with intervals and Tukey letters, one row per attribute and prototype."""
    k = len(design.prototypes)
    found = infer.estimate(np.eye(k, design.fixed.shape[1]))
    low, high = found.interval(level)
    pairs, contrasts = _contrasts(design)
    differences = infer.estimate(contrasts)
    adjusted = tukey_p_value(differences.statistic, k, differences.df)
    letters: list[str] = []
    for means, p_values in zip(found.estimate, adjusted, strict=True):
        apart = np.zeros((k, k), dtype=bool)
        for (first, second), p_value in zip(pairs, p_values, strict=True):
            apart[first, second] = apart[second, first] = p_value < 1 - level
        letters += letters_for(means, apart)
    frame = _long(design, found, [(name, "") for name in design.prototypes])
    columns = ["attribute", "prototype", "estimate", "std_error", "df"]
    return frame[columns].assign(ci_low=low.ravel(), ci_high=high.ravel(), letters=letters)


def pair_rows(design: PanelDesign, infer: Inference, level: float) -> pd.DataFrame:
    """Return all pairwise differences with Tukey p-values and simultaneous intervals."""
    pairs, contrasts = _contrasts(design)
    found = infer.estimate(contrasts)
    k = len(design.prototypes)
    half = tukey_critical(k, found.df, level) * found.std_error
    names = [(design.prototypes[first], design.prototypes[second]) for first, second in pairs]
    return _long(design, found, names).assign(
        p_adjusted=tukey_p_value(found.statistic, k, found.df).ravel(),
        ci_low=(found.estimate - half).ravel(),
        ci_high=(found.estimate + half).ravel(),
    )


def versus_rows(design: PanelDesign, infer: Inference, benchmark: str | None, level: float) -> pd.DataFrame:
    """Return the differences from the benchmark with Dunnett p-values and simultaneous intervals."""
    base = design.prototypes.index(str(benchmark))
    others = [k for k in range(len(design.prototypes)) if k != base]
    contrasts = _minus(design, [(k, base) for k in others])
    found = infer.estimate(contrasts)
    p_adjusted, half = np.empty_like(found.estimate), np.empty_like(found.estimate)
    for row, covariance in enumerate(contrasts @ infer.covariance @ contrasts.T):
        family = many_to_one(covariance)
        p_adjusted[row] = family.p_value(found.statistic[row], found.df[row])
        half[row] = family.critical(found.df[row], level) * found.std_error[row]
    names = [(design.prototypes[k], str(benchmark)) for k in others]
    return _long(design, found, names).assign(
        p_adjusted=p_adjusted.ravel(),
        ci_low=(found.estimate - half).ravel(),
        ci_high=(found.estimate + half).ravel(),
    )


def _long(design: PanelDesign, found: Estimates, names: list[tuple[str, str]]) -> pd.DataFrame:
    """Return one row per attribute and contrast."""
    q, m = found.estimate.shape
    return pd.DataFrame(
        {
            "attribute": np.repeat(np.array(design.attributes, dtype=object), m),
            "prototype": [first for first, _ in names] * q,
            "versus": [second for _, second in names] * q,
            "estimate": found.estimate.ravel(),
            "std_error": found.std_error.ravel(),
            "df": found.df.ravel(),
            "statistic": found.statistic.ravel(),
            "p_value": found.p_value.ravel(),
        }
    )


def variance_rows(design: PanelDesign, fit: MixedFit) -> pd.DataFrame:
    """Return the variances, one row per attribute, NaN where the model has no such term."""
    columns = dict.fromkeys(["assessor", "assessor_prototype", "session"], np.nan)
    found = {VARIANCE_COLUMNS[term]: fit.variances[:, place] for place, term in enumerate(design.terms)}
    return pd.DataFrame({"attribute": design.attributes} | columns | found | {"residual": fit.variances[:, -1]})
