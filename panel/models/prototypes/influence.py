"""Does any single score decide the result? Leave it out and see."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from panel.models.prototypes.difference_tables import attribute_rows
from panel.models.prototypes.inference import inference
from panel.models.prototypes.residual_checks import ResidualChecks
from panel.models.prototypes.scored_cells import ScoredPanel
from panel.stats.arrays import Array
from panel.stats.mixed.left_out import f_without_each
from panel.stats.mixed.reml import fit_mixed_model

_KEYS = ["attribute", "assessor", "prototype", "session", "replicate", "score"]


def influence_rows(
    panel: ScoredPanel, checks: list[ResidualChecks], frame: pd.DataFrame, candidates: int
) -> pd.DataFrame:
    """Return what leaving out single scores changes, for the scores of each attribute that pull most.

    Those are, with the relative variances held, the `candidates` that move F most and the `candidates` that move the
    largest difference most; the model is then fitted anew without each of them, variances included.
    """
    design = panel.design
    ends = _largest_pairs(panel)
    chosen = [_pulling(panel, column, own, ends[column], candidates) for column, own in enumerate(checks)]
    row = np.concatenate(chosen)
    column = np.repeat(np.arange(len(chosen)), [len(own) for own in chosen])
    response = design.response[:, column]
    response[row, np.arange(len(row))] = np.nan
    without = fit_mixed_model(response, design.fixed, design.groups)
    smaller = replace(design, attributes=tuple(design.attributes[k] for k in column), response=response, cube=None)
    after, before = inference(without), inference(panel.fit)
    tests = attribute_rows(smaller, without, after)
    as_is = attribute_rows(design, panel.fit, before).iloc[column].reset_index(drop=True)
    contrasts = np.array([_difference(design.fixed.shape[1], *pair) for pair in ends])
    now, then = after.estimate(contrasts), before.estimate(contrasts)
    place = panel.place[row, column]
    return (
        frame.iloc[place][_KEYS]
        .reset_index(drop=True)
        .assign(
            row=frame.index[place] + 2,
            highest=[design.prototypes[ends[k][0]] for k in column],
            lowest=[design.prototypes[ends[k][1]] for k in column],
            estimate=then.estimate[column, column],
            std_error=then.std_error[column, column],
            estimate_without=now.estimate[np.arange(len(row)), column],
            statistic=as_is["statistic"],
            statistic_without=tests["statistic"],
            p_value=as_is["p_value"],
            p_value_without=tests["p_value"],
            converged=tests["converged"],
        )
    )


def _largest_pairs(panel: ScoredPanel) -> list[tuple[int, int]]:
    """Return, for each attribute, the prototypes with the highest and the lowest estimated mean."""
    means = panel.fit.coefficients[:, : len(panel.design.prototypes)]
    return list(zip(means.argmax(axis=1).tolist(), means.argmin(axis=1).tolist(), strict=True))


def _difference(n_fixed: int, first: int, second: int) -> Array:
    contrast = np.zeros(n_fixed)
    contrast[first], contrast[second] = 1, -1
    return contrast


def _pulling(
    panel: ScoredPanel, column: int, own: ResidualChecks, pair: tuple[int, int], candidates: int
) -> np.ndarray:
    """Return the rows of the design whose scores move F or the largest difference most."""
    present = np.flatnonzero(np.isfinite(panel.design.response[:, column]))
    k, n_fixed = len(panel.design.prototypes), panel.design.fixed.shape[1]
    contrasts = np.array([_difference(n_fixed, place, 0) for place in range(1, k)])
    f = f_without_each(own.maker, panel.design.response[present, column], contrasts)
    statistic = inference(panel.fit).test(contrasts).statistic[column]
    moved = own.numbers.pull @ _difference(n_fixed, *pair)
    most = [_largest(np.abs(change), candidates) for change in (f - statistic, moved)]
    return present[np.unique(np.concatenate(most))]


def _largest(size: Array, candidates: int) -> np.ndarray:
    """Return the places of the largest sizes; NaN, a score that its model cannot do without, never counts."""
    order = np.argsort(np.where(np.isfinite(size), -size, np.inf), kind="stable")[:candidates]
    return order[np.isfinite(size[order])]
