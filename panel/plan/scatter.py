"""How much do scores scatter: planning values until there is a study of one's own, then one's own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from panel.errors import ModelError


@dataclass(frozen=True, slots=True)
class Scatter:
    """How much scores scatter, as variances in squared scale units, and where that is known from.

    `assessor_prototype`: assessors see the prototypes differently. `residual`: left over, from score to score.
    """

    assessor_prototype: float
    residual: float
    source: str
    attribute: str = ""


PLANNING_SCATTER = Scatter(
    5.0**2,
    8.0**2,
    "planning values for a scale of 0 to 100 (standard deviations 5 and 8; common practice, no source): replace them "
    "by your own after the first study",
)


def own_scatter(variances: pd.DataFrame) -> list[Scatter]:
    """Return the scatter of each attribute from a table `attribute assessor_prototype residual` (variances).

    Such a table comes with the differences between prototypes of an earlier study. Without replicates the two cannot
    be told apart; then all of it is taken as between assessors, so that replicates are not credited with anything.
    Attributes without a residual are left out.
    """
    found = []
    for row in variances.to_dict("records"):
        residual, between = float(row["residual"]), float(row.get("assessor_prototype", np.nan))
        if np.isnan(residual):
            continue
        name = str(row["attribute"])
        if np.isnan(between):
            source = "your own panel; not replicated, so all scatter is taken as between assessors"
            found.append(Scatter(residual, 0.0, source, name))
        else:
            found.append(Scatter(between, residual, "your own panel", name))
    return found


def typical_scatter(scatters: Sequence[Scatter]) -> Scatter:
    """Return the median of the variances over attributes.

    Raises
    ------
    ModelError
        If there are none.
    """
    if not scatters:
        raise ModelError("No attribute has a scatter to plan with. Use the planning values.")
    between = float(np.median([scatter.assessor_prototype for scatter in scatters]))
    residual = float(np.median([scatter.residual for scatter in scatters]))
    return Scatter(between, residual, f"median of {len(scatters)} attributes of your own panel")
