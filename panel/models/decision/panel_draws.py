"""How uncertain are the panel's means, all attributes together? Draws of what the true means may be."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.errors import ModelError
from panel.models.prototypes.assessor_means import assessor_means
from panel.models.prototypes.differences import fit_panel
from panel.models.prototypes.panel_design import PanelDesign
from panel.stats.maps.joint_draws import joint_draws, person_correlations
from panel.stats.mixed.reml import MixedFit
from panel.stats.mixed.satterthwaite import estimate_contrasts
from panel.study.scores_used import scores_used
from panel.study.study import Study

Floats = NDArray[np.float64]
DRAWS = 4000


@dataclass(frozen=True, eq=False, slots=True)
class PanelDraws:
    """Estimated means and draws of the true ones.

    Parameters
    ----------
    attributes, prototypes
        Names of rows and columns; attributes that no model fits are left out.
    estimate, std_error, df
        (attributes, prototypes), NaN where a prototype was not scored on an attribute.
    drawn
        (draws, attributes, prototypes).
    not_estimated
        (attribute, why not) of the attributes left out.
    """

    attributes: tuple[str, ...]
    prototypes: tuple[str, ...]
    estimate: Floats
    std_error: Floats
    df: Floats
    drawn: Floats
    not_estimated: tuple[tuple[str, str], ...]


def draw_panels(
    study: Study, attributes: tuple[str, ...], rng: np.random.Generator, *, draws: int = DRAWS
) -> PanelDraws:
    """Return draws of the true means on `attributes`.

    Means, their covariance and degrees of freedom are those of the mixed model of each attribute; what ties the
    attributes together is taken from the assessors' own means. So whole people vary, not single scores.

    Raises
    ------
    ModelError
        If none of the attributes can be modelled.
    """
    frame = scores_used(study).frame
    frame = frame.loc[frame["attribute"].isin(attributes)]
    fits, left_out = fit_panel(study, frame)
    unscored = [(name, "it was not scored") for name in attributes if name not in set(frame["attribute"])]
    why_not = (*left_out, *unscored)
    if not fits:
        reasons = "; ".join(f"{name} ({why})" for name, why in why_not)
        raise ModelError(
            f"No attribute with a target window can be judged: {reasons}. Import the scores on the Study page, or "
            "give windows to attributes that were scored."
        )
    kept = tuple(name for name in attributes if any(name in design.attributes for design, _ in fits))
    prototypes = tuple(name for name in study.prototypes if any(name in design.prototypes for design, _ in fits))
    mean, std_error, df, covariance, dfs = _means(fits, kept, prototypes)
    drawn = joint_draws(mean, covariance, dfs[0], dfs[1], _correlations(frame, prototypes, kept), draws, rng)
    return PanelDraws(kept, prototypes, mean, std_error, df, drawn, why_not)


def _correlations(
    frame: pd.DataFrame, prototypes: tuple[str, ...], attributes: tuple[str, ...]
) -> tuple[Floats, Floats]:
    return person_correlations(assessor_means(frame, prototypes, attributes))


def _means(
    fits: list[tuple[PanelDesign, MixedFit]], attributes: tuple[str, ...], prototypes: tuple[str, ...]
) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Put all models together: means, standard errors, df (q, k), covariance (q, k, k), df of the parts (2, q)."""
    q, k = len(attributes), len(prototypes)
    mean, std_error, df = (np.full((q, k), np.nan) for _ in range(3))
    covariance, dfs = np.full((q, k, k), np.nan), np.ones((2, q))
    for design, fit in fits:
        rows = [attributes.index(name) for name in design.attributes]
        columns = [prototypes.index(name) for name in design.prototypes]
        own = len(columns)
        each = np.eye(own, design.fixed.shape[1])
        found = estimate_contrasts(fit, each)
        place = np.ix_(rows, columns)
        mean[place], std_error[place], df[place] = found.estimate, found.std_error, found.df
        covariance[np.ix_(rows, columns, columns)] = fit.covariance[:, :own, :own]
        dfs[0, rows] = estimate_contrasts(fit, each.mean(axis=0, keepdims=True)).df[:, 0]
        dfs[1, rows] = np.median(estimate_contrasts(fit, each[1:] - each[0]).df, axis=1)
    return mean, std_error, df, covariance, dfs
