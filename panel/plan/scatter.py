"""How much do scores scatter: planning values until there is a study of one's own, then one's own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
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


PLANNED_SD = (0.05, 0.08)
"""Standard deviations to plan with, as parts of the scale: assessors by prototypes, and score to score.

Common practice, no source.
"""


def planning_scatter(length: float) -> Scatter:
    """Return the scatter to plan with on a scale of this length, until there is a study of one's own.

    Raises
    ------
    ModelError
        If the scale has no length.
    """
    if not (length > 0 and np.isfinite(length)):
        raise ModelError("The scale must end above where it begins. Correct its lowest and highest score.")
    between, residual = (part * length for part in PLANNED_SD)
    source = (
        f"planning values for a scale {length:g} long (standard deviations {between:.3g} and {residual:.3g}, 5 and 8 % "
        "of it; common practice, no source): replace them by your own after the first study"
    )
    return Scatter(between**2, residual**2, source)


PLANNING_SCATTER = planning_scatter(100.0)
"""On a scale of 0 to 100, and where everything is in per cent of a scale."""


def own_scatter(variances: pd.DataFrame, units: Mapping[str, float] | None = None) -> list[Scatter]:
    """Return the scatter of each attribute from a table `attribute assessor_prototype residual` (variances).

    Such a table comes with the differences between prototypes of an earlier study. Without replicates the two cannot
    be told apart; then all of it is taken as between assessors, so that replicates are not credited with anything.
    Attributes without a residual are left out.

    Parameters
    ----------
    units
        Attribute to how many units of the plan are one unit of its scale (`planning_scale`); 1 if not given.
    """
    found = []
    for row in variances.to_dict("records"):
        residual, between = float(row["residual"]), float(row.get("assessor_prototype", np.nan))
        if np.isnan(residual):
            continue
        name = str(row["attribute"])
        square = (units or {}).get(name, 1.0) ** 2
        residual, between = square * residual, square * between
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
