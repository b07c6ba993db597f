"""The panel's fitted models with the way back from every cell of their arrays to its score."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from panel.errors import ModelError
from panel.models.prototypes.differences import fit_panel
from panel.models.prototypes.panel_design import PanelDesign, panel_designs, score_array
from panel.stats.arrays import Codes
from panel.stats.mixed.reml import MixedFit
from panel.study.study import Study
from panel.study.those_in import those_in


@dataclass(frozen=True, eq=False, slots=True)
class ScoredPanel:
    """Attributes that share one model: the design, the fit, and where each score stands.

    `place` (n, q): row of the frame of scores that fills each cell of the response, -1 where there is none.
    """

    design: PanelDesign
    fit: MixedFit
    place: Codes


def scored_panels(study: Study, frame: pd.DataFrame) -> tuple[list[ScoredPanel], list[tuple[str, str]]]:
    """Fit the scores in `frame`; return the fits and (attribute, why not) of attributes that cannot be fitted.

    Raises
    ------
    ModelError
        If no attribute can be fitted.
    """
    fits, left_out = fit_panel(study, frame)
    if not fits:
        reasons = "; ".join(f"{name} ({why})" for name, why in left_out) or "the study has no scores"
        raise ModelError(f"No attribute can be modelled: {reasons}. Check the scores on the Study page.")
    held = np.flatnonzero(~frame["attribute"].isin([name for name, _ in left_out]).to_numpy())
    scores = frame.iloc[held]
    if left_out:  # the arrays below and those of the fit must come from the same rows
        fits, _ = fit_panel(study, scores)
    attributes = those_in(study.attributes, scores["attribute"])
    # a design depends only on which scores are there: with row numbers for scores it says where each one is
    numbers = panel_designs(score_array(scores.assign(score=held.astype(float)), study.prototypes, attributes))
    return [
        ScoredPanel(design, fit, np.where(np.isfinite(own.response), own.response, -1).astype(np.intp))
        for (design, fit), own in zip(fits, numbers, strict=True)
    ], left_out
