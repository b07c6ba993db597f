"""Do the scores behave as the mixed model assumes, and what rests on a single score?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from panel.models.prototypes.assumption_problems import end_rows, problem_rows
from panel.models.prototypes.influence import influence_rows
from panel.models.prototypes.residual_checks import residual_checks
from panel.models.prototypes.scored_cells import ScoredPanel, scored_panels
from panel.stats.comparing.multiplicity import holm
from panel.study.scores_used import scores_used
from panel.study.study import Study

CANDIDATES = 3
DRAWS = 999
DRAWS_PER_ATTRIBUTE = 40  # twice what a p-value of 0.05 needs after Holm
LEVEL = 0.95


@dataclass(frozen=True, eq=False, slots=True)
class Assumptions:
    """What the fitted mixed models leave over, and what that says about trusting them; frames tidy and unrounded.

    Parameters
    ----------
    residuals
        One row per score: `attribute assessor prototype session replicate score row fitted residual standardised
        leverage`. `fitted` has the predicted assessor effects in it; `standardised` is the residual over its own
        standard deviation; `row` is the line in the file.
    assessors
        `attribute assessor n_scores residual_sd ratio`: residual spread of each assessor, and over the panel's.
    tests
        `attribute kind statistic p_value p_adjusted`, kinds `uneven assessors` (Brown and Forsythe's F), `spread
        follows level` (rank correlation of the residual's size with the fitted value), `not normal` (correlation of
        the probability plot). p-values from residuals simulated from the fitted model; Holm over the attributes.
    ends
        `attribute prototype n_scores at_floor at_ceiling share_floor share_ceiling`.
    influence
        The scores that pull most, left out one at a time: `attribute assessor prototype session replicate score row
        highest lowest estimate std_error estimate_without statistic statistic_without p_value
        p_value_without converged`; `estimate` is highest minus lowest prototype.
    problems
        `attribute kind prototype assessor row size p_adjusted`: what was found; `size` is the assessor's ratio, the
        rank correlation, the plot correlation, the share, or the move in standard errors.
    """

    residuals: pd.DataFrame
    assessors: pd.DataFrame
    tests: pd.DataFrame
    ends: pd.DataFrame
    influence: pd.DataFrame
    problems: pd.DataFrame
    level: float
    draws: int
    method: str
    notes: tuple[str, ...]


def look_at_assumptions(
    study: Study,
    *,
    rng: np.random.Generator,
    draws: int | None = None,
    candidates: int = CANDIDATES,
    level: float = LEVEL,
) -> Assumptions:
    """Look at what the panel's mixed models leave over.

    Parameters
    ----------
    rng
        Source of the simulated residuals; the same state gives the same p-values.
    draws
        How many sets of residuals to simulate, by default 999 or 40 for each attribute if that is more; the smallest
        p-value is 1 / (draws + 1).
    candidates
        How many scores per attribute to leave out in turn: so many that move F most, and as many that move the
        largest difference most.
    level
        1 minus the level at which a test counts as a problem.

    Raises
    ------
    ModelError
        If no attribute can be modelled.
    """
    frame = scores_used(study).frame
    panels, left_out = scored_panels(study, frame)
    n_attributes = sum(len(panel.design.attributes) for panel in panels)
    draws = max(DRAWS, DRAWS_PER_ATTRIBUTE * n_attributes) if draws is None else draws
    checks = [
        [residual_checks(panel, column, frame, draws, rng) for column in range(len(panel.design.attributes))]
        for panel in panels
    ]
    flat = [one for own in checks for one in own]
    order = {name: place for place, name in enumerate(study.attributes)}
    tests = _tests(_stack((one.tests for one in flat), order))
    pulling = [influence_rows(panel, own, frame, candidates) for panel, own in zip(panels, checks, strict=True)]
    influence = _stack(pulling, order)
    assessors = _stack((one.assessors for one in flat), order)
    ends = _stack([end_rows(study, frame)], order)
    return Assumptions(
        residuals=_stack((one.residuals for one in flat), order),
        assessors=assessors,
        tests=tests,
        ends=ends,
        influence=influence,
        problems=_stack([problem_rows(tests, assessors, ends, influence, level)], order),
        level=level,
        draws=draws,
        method=_method(panels, draws, candidates),
        notes=(*_few_draws(n_attributes, draws, level), *_notes(panels, left_out, set(order) - set(ends["attribute"]))),
    )


def _stack(parts: Iterable[pd.DataFrame], order: dict[str, int]) -> pd.DataFrame:
    """Put the rows of all attributes together in the order of the study's attributes."""
    frame = pd.concat(list(parts), ignore_index=True)
    return frame.sort_values("attribute", key=lambda names: names.map(order), kind="stable", ignore_index=True)


def _tests(tests: pd.DataFrame) -> pd.DataFrame:
    adjusted = tests.groupby("kind")["p_value"].transform(lambda p: holm(p.to_numpy()))
    return tests.assign(p_adjusted=adjusted)[["attribute", "kind", "statistic", "p_value", "p_adjusted"]]


def _method(panels: list[ScoredPanel], draws: int, candidates: int) -> str:
    models = "; ".join(dict.fromkeys(panel.design.sentence for panel in panels))
    return (
        f"Conditional residuals of the mixed model per attribute ({models}): score minus fitted value, the predicted "
        "assessor effects in the fitted value. Spread by assessor: Brown and Forsythe's F; spread with the level: rank "
        "correlation of the residual's size with the fitted value; shape: correlation of the normal probability plot; "
        f"each placed among {draws} sets of residuals simulated from the fitted model, its variances held, and "
        f"adjusted by Holm over the attributes. Single scores: the {candidates} per attribute that move F most and the "
        f"{candidates} that move the largest difference most with the variances held, each left out in turn and the "
        "model fitted anew."
    )


def _few_draws(n_attributes: int, draws: int, level: float) -> Iterable[str]:
    if n_attributes / (draws + 1) >= 1 - level:
        yield (
            f"{draws} simulated sets are too few for {n_attributes} attributes: after Holm no test can reach its "
            "level. Simulate more."
        )


def _notes(panels: list[ScoredPanel], left_out: list[tuple[str, str]], no_scale: set[str]) -> Iterable[str]:
    for name, why in left_out:
        yield f"{name} is not looked at: {why}."
    unsettled = [
        name
        for panel in panels
        for name, converged in zip(panel.design.attributes, panel.fit.converged, strict=True)
        if not converged
    ]
    if unsettled:
        yield f"The fit of {', '.join(unsettled)} did not settle; do not rely on these residuals."
    if no_scale:
        listed = ", ".join(sorted(no_scale))
        yield f"The ends of the scale are not stated for {listed}, so crowding there is not judged."
    yield (
        "Only the scores that pull most were left out one by one. Two odd scores can hide each other, and a whole odd "
        "assessor shows in the panel check, not here."
    )
    yield (
        "Residuals of a model look more normal than what they come from, and a small panel shows only gross trouble: "
        "finding none does not prove the assumptions."
    )
