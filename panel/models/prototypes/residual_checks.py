"""What the model leaves over for one attribute: the residuals, their spread by assessor, and three tests of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from panel.models.prototypes.scored_cells import ScoredPanel
from panel.stats.arrays import Array
from panel.stats.mixed.mixed_residuals import MixedResiduals, ResidualMaker, mixed_residuals, residual_maker
from panel.stats.mixed.residual_tests import (
    normal_plot_correlation,
    share_reaching,
    simulated_residuals,
    spread_by_group,
    spread_with_level,
)

UNEVEN_ASSESSORS = "uneven assessors"
SPREAD_FOLLOWS_LEVEL = "spread follows level"
NOT_NORMAL = "not normal"
FEWEST_PER_ASSESSOR = 3  # scores from which a spread of one assessor can be spoken of


@dataclass(frozen=True, eq=False, slots=True)
class ResidualChecks:
    """Residuals of one attribute and what was found in them; see `look_at_assumptions` for the columns."""

    residuals: pd.DataFrame
    assessors: pd.DataFrame
    tests: pd.DataFrame
    numbers: MixedResiduals
    maker: ResidualMaker


def residual_checks(
    panel: ScoredPanel, column: int, frame: pd.DataFrame, draws: int, rng: np.random.Generator
) -> ResidualChecks:
    """Look at the residuals of attribute number `column` of a fitted panel, against `draws` simulated sets."""
    design = panel.design
    present = np.isfinite(design.response[:, column])
    y, fixed = design.response[present, column], design.fixed[present]
    groups = [group[present] for group in design.groups]
    variances = panel.fit.variances[column]
    maker = residual_maker(fixed, groups, variances[:-1] / variances[-1])
    found = mixed_residuals(maker, y, fixed, groups, variances)
    name = design.attributes[column]
    rows = _residual_rows(frame, panel.place[present, column], found)
    free = np.isfinite(found.standardised)
    simulated, bent = simulated_residuals(maker, groups, variances[:-1] / variances[-1], draws, rng)
    level = found.marginal_fit[:, None] + np.sqrt(variances[-1]) * bent
    scale = np.sqrt(np.where(free, found.room, 1.0))[:, None]
    tests = _tests(
        found.standardised[free], found.fitted[free], groups[0][free], (simulated / scale)[free], level[free]
    )
    return ResidualChecks(rows, _assessor_rows(rows, found, variances[-1]), tests.assign(attribute=name), found, maker)


def _residual_rows(frame: pd.DataFrame, place: np.ndarray, found: MixedResiduals) -> pd.DataFrame:
    keys = ["attribute", "assessor", "prototype", "session", "replicate", "score"]
    return (
        frame.iloc[place][keys]
        .reset_index(drop=True)
        .assign(
            row=frame.index[place] + 2,
            fitted=found.fitted,
            residual=found.residual,
            standardised=found.standardised,
            leverage=1 - found.room,
        )
    )


def _assessor_rows(rows: pd.DataFrame, found: MixedResiduals, residual_variance: float) -> pd.DataFrame:
    """Return the residual SD of each assessor, freed of how far the model bends to that assessor's scores."""
    sums = rows.assign(square=found.residual**2, room=found.room).groupby("assessor", sort=False)
    table = sums.agg(
        attribute=("attribute", "first"), n_scores=("score", "size"), square=("square", "sum"), room=("room", "sum")
    )
    enough = (table["n_scores"] >= FEWEST_PER_ASSESSOR) & (table["room"] > 0)
    residual_sd = np.sqrt(table["square"] / table["room"].where(enough))
    table = table.assign(residual_sd=residual_sd, ratio=residual_sd / np.sqrt(residual_variance)).reset_index()
    return table[["attribute", "assessor", "n_scores", "residual_sd", "ratio"]]


def _tests(values: Array, fitted: Array, assessor: np.ndarray, simulated: Array, level: Array) -> pd.DataFrame:
    """Place three statistics of the residuals among those of simulated residuals of the same design."""
    group = np.unique(assessor, return_inverse=True)[1].reshape(-1)
    one = values[:, None]
    spread = float(spread_by_group(one, group)[0])
    follows = float(spread_with_level(one, fitted[:, None])[0])
    straight = float(normal_plot_correlation(one)[0])
    p_values = [
        share_reaching(spread_by_group(simulated, group), spread),
        share_reaching(np.abs(spread_with_level(simulated, level)), abs(follows)),
        share_reaching(-normal_plot_correlation(simulated), -straight),
    ]
    kinds = [UNEVEN_ASSESSORS, SPREAD_FOLLOWS_LEVEL, NOT_NORMAL]
    return pd.DataFrame({"kind": kinds, "statistic": [spread, follows, straight], "p_value": p_values})
