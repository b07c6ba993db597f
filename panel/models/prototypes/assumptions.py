"""Do the scores behave as the mixed model assumes, and what rests on a single score?"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
import pandas as pd

from panel.models.prototypes.differences import ask_fits, attribute_rows, minus
from panel.models.prototypes.panel_design import PanelDesign, designs_of, fit_panel, fit_study, in_order
from panel.stats.arrays import Array, Codes
from panel.stats.comparing.multiplicity import ALPHA, below, holm
from panel.stats.mixed.inference import inference
from panel.stats.mixed.reml import MixedFit, fit_mixed_model
from panel.stats.mixed.residuals import (
    MixedResiduals,
    ResidualMaker,
    f_without_each,
    mixed_residuals,
    normal_plot_correlation,
    residual_maker,
    share_reaching,
    simulated_residuals,
    spread_by_group,
    spread_with_level,
)
from panel.study.naming import naming
from panel.study.scores_used import scores_used
from panel.study.study import Study

_CANDIDATES = 3
_DRAWS = 999
_DRAWS_PER_ATTRIBUTE = 40  # twice what a p-value of 0.05 needs after Holm


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
    draws: int
    method: str
    notes: tuple[str, ...]


def look_at_assumptions(
    study: Study, *, rng: np.random.Generator, draws: int | None = None, candidates: int = _CANDIDATES
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

    Raises
    ------
    ModelError
        If no attribute can be modelled.
    """
    frame = scores_used(study).frame
    panels, left_out = _scored_panels(study)
    n_attributes = sum(len(panel.design.attributes) for panel in panels)
    draws = max(_DRAWS, _DRAWS_PER_ATTRIBUTE * n_attributes) if draws is None else draws
    checks = [
        [_residual_checks(panel, column, frame, draws, rng) for column in range(len(panel.design.attributes))]
        for panel in panels
    ]
    frames = [own for every in checks for own, _, _ in every]
    order = study.attributes
    tests = _tests(_stack((one["tests"] for one in frames), order))
    pulling = [
        _influence_rows(panel, [(found, maker) for _, found, maker in own], frame, candidates)
        for panel, own in zip(panels, checks, strict=True)
    ]
    influence = _stack(pulling, order)
    assessors = _stack((one["assessors"] for one in frames), order)
    ends = _stack([_end_rows(study, frame)], order)
    return Assumptions(
        residuals=_stack((one["residuals"] for one in frames), order),
        assessors=assessors,
        tests=tests,
        ends=ends,
        influence=influence,
        problems=_stack([_problem_rows(tests, assessors, ends, influence)], order),
        draws=draws,
        method=_method(panels, draws, candidates),
        notes=(
            *_few_draws(n_attributes, draws),
            *_notes(panels, left_out, set(order) - set(ends["attribute"]), naming(study).attribute),
        ),
    )


def _stack(parts: Iterable[pd.DataFrame], order: Iterable[str]) -> pd.DataFrame:
    """Put the rows of all attributes together in the order of the study's attributes."""
    return in_order(pd.concat(list(parts), ignore_index=True), "attribute", order)


def _tests(tests: pd.DataFrame) -> pd.DataFrame:
    adjusted = tests.groupby("kind")["p_value"].transform(lambda p: holm(p.to_numpy()))
    return tests.assign(p_adjusted=adjusted)[["attribute", "kind", "statistic", "p_value", "p_adjusted"]]


def _method(panels: list[_ScoredPanel], draws: int, candidates: int) -> str:
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


def _few_draws(n_attributes: int, draws: int) -> Iterable[str]:
    if n_attributes / (draws + 1) >= ALPHA:
        yield (
            f"{draws} simulated sets are too few for {n_attributes} attributes: after Holm no test can reach its "
            "level. Simulate more."
        )


def _notes(
    panels: list[_ScoredPanel], left_out: list[tuple[str, str]], no_scale: set[str], words: Callable[[str], str]
) -> Iterable[str]:
    for name, why in left_out:
        yield f"{words(name)} is not looked at: {why}."
    unsettled = [
        words(name)
        for panel in panels
        for name, converged in zip(panel.design.attributes, panel.fit.converged, strict=True)
        if not converged
    ]
    if unsettled:
        yield f"The fit of {', '.join(unsettled)} did not settle; do not rely on these residuals."
    if no_scale:
        listed = ", ".join(words(name) for name in sorted(no_scale))
        yield f"The ends of the scale are not stated for {listed}, so crowding there is not judged."
    yield (
        "Only the scores that pull most were left out one by one. Two odd scores can hide each other, and a whole odd "
        "assessor shows in the panel check, not here."
    )
    yield (
        "Residuals of a model look more normal than what they come from, and a small panel shows only gross trouble: "
        "finding none does not prove the assumptions."
    )


# The panel's fitted models with the way back from every cell of their arrays to its score.


@dataclass(frozen=True, eq=False, slots=True)
class _ScoredPanel:
    """Attributes that share one model: the design, the fit, and where each score stands.

    `place` (n, q): row of the frame of scores that fills each cell of the response, -1 where there is none.
    """

    design: PanelDesign
    fit: MixedFit
    place: Codes


def _scored_panels(study: Study) -> tuple[list[_ScoredPanel], list[tuple[str, str]]]:
    """Fit the scores used; return the fits and (attribute, why not) of attributes that cannot be fitted.

    Raises
    ------
    ModelError
        If no attribute can be fitted.
    """
    fitted = fit_study(study)
    frame, fits, left_out = fitted.used.frame, fitted.fits, fitted.left_out
    ask_fits(fits, left_out, "modelled", "the study has no scores")
    held = np.flatnonzero(~frame["attribute"].isin([name for name, _ in left_out]).to_numpy())
    scores = frame.iloc[held]
    if left_out:  # the arrays below and those of the fit must come from the same rows
        fits, _ = fit_panel(study, scores)
    # a design depends only on which scores are there: with row numbers for scores it says where each one is
    numbers = designs_of(study, scores.assign(score=held.astype(float)))
    return [
        _ScoredPanel(design, fit, np.where(np.isfinite(own.response), own.response, -1).astype(np.intp))
        for (design, fit), own in zip(fits, numbers, strict=True)
    ], left_out


# Which of the things seen in the residuals and the scores are problems?


class Problem(StrEnum):
    """What may be wrong with the assumptions on an attribute."""

    UNEVEN_ASSESSORS = "uneven assessors"
    SPREAD_FOLLOWS_LEVEL = "spread follows level"
    NOT_NORMAL = "not normal"
    FLOOR = "floor"
    CEILING = "ceiling"
    ONE_SCORE_DECIDES = "one score decides"


_CROWDED = 0.15  # share at an end of the scale that counts as crowded (McHorney & Tarlov 1995, Qual. Life Res. 4:293)
_MOVED = 1.0  # standard errors by which a single score may move the largest difference before it counts as decisive
_COLUMNS = ["attribute", "kind", "prototype", "assessor", "row", "size", "p_adjusted"]


def _end_rows(study: Study, frame: pd.DataFrame) -> pd.DataFrame:
    """Return how many scores sit at the ends of the scale, per attribute and prototype, where a scale is known."""
    scales = {name: study.scale(name) for name in dict.fromkeys(frame["attribute"])}
    limits = np.array([scales[name] or (np.nan, np.nan) for name in frame["attribute"]]).reshape(-1, 2)
    marked = frame.assign(at_floor=frame["score"] <= limits[:, 0], at_ceiling=frame["score"] >= limits[:, 1])
    marked = marked.loc[np.isfinite(limits).all(axis=1)]
    counts = marked.groupby(["attribute", "prototype"], sort=False).agg(
        n_scores=("score", "size"), at_floor=("at_floor", "sum"), at_ceiling=("at_ceiling", "sum")
    )
    return counts.assign(
        share_floor=counts["at_floor"] / counts["n_scores"], share_ceiling=counts["at_ceiling"] / counts["n_scores"]
    ).reset_index()


def _problem_rows(
    tests: pd.DataFrame, assessors: pd.DataFrame, ends: pd.DataFrame, influence: pd.DataFrame
) -> pd.DataFrame:
    """Return one row per problem: `attribute kind prototype assessor row size p_adjusted`."""
    rows = [
        *_from_tests(tests, assessors),
        *_from_ends(ends, "share_floor", Problem.FLOOR),
        *_from_ends(ends, "share_ceiling", Problem.CEILING),
        *_from_influence(influence),
    ]
    frame = pd.DataFrame(rows, columns=_COLUMNS)
    text = dict.fromkeys(["attribute", "kind", "prototype", "assessor"], "str")
    return frame.astype(text | dict.fromkeys(["row", "size", "p_adjusted"], "float64"))


def _from_tests(tests: pd.DataFrame, assessors: pd.DataFrame) -> Iterator[tuple[object, ...]]:
    for test in tests.loc[below(tests["p_adjusted"])].to_dict("records"):
        attribute, who, size = str(test["attribute"]), "", test["statistic"]
        if test["kind"] == Problem.UNEVEN_ASSESSORS:
            own = assessors.loc[assessors["attribute"] == attribute]
            widest = own.sort_values("ratio", ascending=False, kind="stable").iloc[0]  # NaN comes last
            who, size = str(widest["assessor"]), float(widest["ratio"])
        yield attribute, test["kind"], "", who, np.nan, size, test["p_adjusted"]


def _from_ends(ends: pd.DataFrame, share: str, kind: str) -> Iterator[tuple[object, ...]]:
    for row in ends.loc[ends[share] >= _CROWDED].to_dict("records"):
        yield row["attribute"], kind, row["prototype"], "", np.nan, row[share], np.nan


def _from_influence(influence: pd.DataFrame) -> Iterator[tuple[object, ...]]:
    """Yield scores without which an attribute's test turns, or its largest difference moves by a standard error."""
    moved = (influence["estimate_without"] - influence["estimate"]).abs() / influence["std_error"]
    turned = below(influence["p_value"]) != below(influence["p_value_without"])
    found = influence.assign(moved=moved).loc[turned | (moved > _MOVED)]
    for row in found.to_dict("records"):
        yield (
            row["attribute"],
            Problem.ONE_SCORE_DECIDES,
            row["prototype"],
            row["assessor"],
            row["row"],
            row["moved"],
            np.nan,
        )


# Does any single score decide the result? Leave it out and see.


_KEYS = ["attribute", "assessor", "prototype", "session", "replicate", "score"]


def _influence_rows(
    panel: _ScoredPanel, checks: list[tuple[MixedResiduals, ResidualMaker]], frame: pd.DataFrame, candidates: int
) -> pd.DataFrame:
    """Return what leaving out single scores changes, for the scores of each attribute that pull most.

    Those are, with the relative variances held, the `candidates` that move F most and the `candidates` that move the
    largest difference most; the model is then fitted anew without each of them, variances included.
    """
    design = panel.design
    means = panel.fit.coefficients[:, : len(panel.design.prototypes)]
    ends = list(zip(means.argmax(axis=1).tolist(), means.argmin(axis=1).tolist(), strict=True))
    chosen = [_pulling(panel, column, *own, ends[column], candidates) for column, own in enumerate(checks)]
    row = np.concatenate(chosen)
    column = np.repeat(np.arange(len(chosen)), [len(own) for own in chosen])
    response = design.response[:, column]
    response[row, np.arange(len(row))] = np.nan
    without = fit_mixed_model(response, design.fixed, design.groups)
    smaller = replace(design, attributes=tuple(design.attributes[k] for k in column), response=response, cube=None)
    after, before = inference(without), inference(panel.fit)
    tests = attribute_rows(smaller, without, after)
    as_is = attribute_rows(design, panel.fit, before).iloc[column].reset_index(drop=True)
    contrasts = minus(design, *map(list, zip(*ends, strict=True)))
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


def _pulling(
    panel: _ScoredPanel,
    column: int,
    found: MixedResiduals,
    maker: ResidualMaker,
    pair: tuple[int, int],
    candidates: int,
) -> np.ndarray:
    """Return the rows of the design whose scores move F or the largest difference most."""
    present = np.flatnonzero(np.isfinite(panel.design.response[:, column]))
    contrasts = minus(panel.design, list(range(1, len(panel.design.prototypes))), 0)
    f = f_without_each(maker, panel.design.response[present, column], contrasts)
    statistic = inference(panel.fit).test(contrasts).statistic[column]
    moved = found.pull @ minus(panel.design, *pair)
    most = [_largest(np.abs(change), candidates) for change in (f - statistic, moved)]
    return present[np.unique(np.concatenate(most))]


def _largest(size: Array, candidates: int) -> np.ndarray:
    """Return the places of the largest sizes; NaN, a score that its model cannot do without, never counts."""
    order = np.argsort(np.where(np.isfinite(size), -size, np.inf), kind="stable")[:candidates]
    return order[np.isfinite(size[order])]


# What the model leaves over for one attribute: the residuals, their spread by assessor, and three tests of them.


_FEWEST_PER_ASSESSOR = 3  # scores from which a spread of one assessor can be spoken of


def _residual_checks(
    panel: _ScoredPanel, column: int, frame: pd.DataFrame, draws: int, rng: np.random.Generator
) -> tuple[dict[str, pd.DataFrame], MixedResiduals, ResidualMaker]:
    """Look at the residuals of attribute number `column` of a fitted panel, against `draws` simulated sets.

    The frames are `residuals assessors tests`, see `Assumptions`.
    """
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
    tests = _residual_checks_tests(
        found.standardised[free], found.fitted[free], groups[0][free], (simulated / scale)[free], level[free]
    )
    assessors = _assessor_rows(rows, found, variances[-1])
    return {"residuals": rows, "assessors": assessors, "tests": tests.assign(attribute=name)}, found, maker


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
    enough = (table["n_scores"] >= _FEWEST_PER_ASSESSOR) & (table["room"] > 0)
    residual_sd = np.sqrt(table["square"] / table["room"].where(enough))
    table = table.assign(residual_sd=residual_sd, ratio=residual_sd / np.sqrt(residual_variance)).reset_index()
    return table[["attribute", "assessor", "n_scores", "residual_sd", "ratio"]]


def _residual_checks_tests(
    values: Array, fitted: Array, assessor: np.ndarray, simulated: Array, level: Array
) -> pd.DataFrame:
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
    kinds = [Problem.UNEVEN_ASSESSORS, Problem.SPREAD_FOLLOWS_LEVEL, Problem.NOT_NORMAL]
    return pd.DataFrame({"kind": kinds, "statistic": [spread, follows, straight], "p_value": p_values})
