"""What becomes of the differences between prototypes when one assessor is left out?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from panel.errors import ModelError
from panel.models.prototypes.difference_tables import attribute_rows
from panel.models.prototypes.differences import LEVEL, fit_panel
from panel.models.prototypes.inference import inference
from panel.models.prototypes.panel_design import PanelDesign
from panel.stats.mixed.reml import MixedFit, fit_mixed_model
from panel.stats.mixed.strata import ASSESSOR, balanced_strata, relative_variances
from panel.study.scores_used import scores_used
from panel.study.study import Study

EVERYBODY = ""
TEST_COLUMNS = ["attribute", "assessor", "statistic", "df", "df_error", "p_value"]
LEAST_START = 1e-2
"""Relative variance below which no refit starts: a start at zero could stay there."""


@dataclass(frozen=True, eq=False, slots=True)
class LeftOut:
    """The comparison of prototypes with everybody (`assessor` empty) and without each assessor.

    Parameters
    ----------
    tests
        `attribute assessor statistic df df_error p_value`; NaN where the model cannot be fitted without that person.
    differences
        `attribute assessor prototype versus estimate std_error df statistic p_value ci_low ci_high`: differences from
        the benchmark, each on its own (not adjusted for their number); without rows if there is no benchmark.
    """

    tests: pd.DataFrame
    differences: pd.DataFrame
    benchmark: str | None
    method: str


def leave_one_out(study: Study, *, versus: str | None = None, level: float = LEVEL) -> LeftOut:
    """Fit the panel's model again without each assessor in turn.

    Parameters
    ----------
    versus
        Prototype the others are compared with; by default the study's benchmark, if it has one.
    level
        Level of the intervals.

    Raises
    ------
    ModelError
        If no attribute can be compared.
    """
    fits, left_out = fit_panel(study, scores_used(study).frame)
    if not fits:
        reasons = "; ".join(f"{name} ({why})" for name, why in left_out) or "there are no scores"
        raise ModelError(f"No attribute can be compared: {reasons}. Check the scores on the Study page.")
    benchmark = versus if versus is not None else study.benchmark
    order = {name: place for place, name in enumerate(study.attributes)}
    refits = [(who, *each) for design, fit in fits for who, each in without_each(design, fit)]
    against = [
        _differences(who, design, fit, str(benchmark), level)
        for who, design, fit in refits
        if fit is not None and benchmark in design.prototypes
    ]
    return LeftOut(
        tests=_in_order([_tests(*each) for each in refits], order)[TEST_COLUMNS],
        differences=_in_order(against, order),
        benchmark=benchmark if against else None,
        method=(
            "The same model as for everybody, fitted again without one assessor at a time. Intervals and p-values are "
            "those of each difference on its own, not adjusted for their number: they show what one person changes."
        ),
    )


def refitted_tests(fits: list[tuple[PanelDesign, MixedFit]]) -> pd.DataFrame:
    """Return the F tests with everybody and without each assessor, in the columns of `LeftOut.tests`."""
    refits = [(who, *each) for design, fit in fits for who, each in without_each(design, fit)]
    return pd.concat([_tests(*each) for each in refits], ignore_index=True)[TEST_COLUMNS]


def without_each(design: PanelDesign, fit: MixedFit) -> Iterator[tuple[str, tuple[PanelDesign, MixedFit | None]]]:
    """Yield the design and fit with everybody, then without each assessor; the fit None where there is none."""
    yield EVERYBODY, (design, fit)
    start = np.maximum(fit.variances[:, :-1] / fit.variances[:, -1:], LEAST_START)
    for place, who in enumerate(design.assessors):
        reduced = _without(design, place)
        try:
            yield who, (reduced, _refit(reduced, start))
        except ModelError:
            yield who, (reduced, None)


def _without(design: PanelDesign, place: int) -> PanelDesign:
    """Return the design without the assessor numbered `place`."""
    kept = design.groups[design.terms.index(ASSESSOR)] != place
    return replace(
        design,
        assessors=tuple(name for number, name in enumerate(design.assessors) if number != place),
        response=design.response[kept],
        fixed=design.fixed[kept],
        groups=[group[kept] for group in design.groups],
        cube=None if design.cube is None else np.delete(design.cube, place, axis=0),
    )


def _refit(design: PanelDesign, start: np.ndarray) -> MixedFit:
    if len(design.assessors) < 2:
        raise ModelError("Only one assessor is left, so nothing says whether another person would agree.")
    if design.cube is not None:
        start = relative_variances(balanced_strata(design.cube), design.terms)
    return fit_mixed_model(design.response, design.fixed, design.groups, start)


def _tests(who: str, design: PanelDesign, fit: MixedFit | None) -> pd.DataFrame:
    if fit is None:
        rows = pd.DataFrame({"attribute": design.attributes})
        return rows.assign(assessor=who, statistic=np.nan, df=np.nan, df_error=np.nan, p_value=np.nan)
    return attribute_rows(design, fit, inference(fit)).assign(assessor=who)


def _differences(who: str, design: PanelDesign, fit: MixedFit, benchmark: str, level: float) -> pd.DataFrame:
    """Return the differences of all other prototypes from the benchmark, one row per attribute and prototype."""
    others = [name for name in design.prototypes if name != benchmark]
    contrasts = np.zeros((len(others), design.fixed.shape[1]))
    contrasts[np.arange(len(others)), [design.prototypes.index(name) for name in others]] = 1
    contrasts[:, design.prototypes.index(benchmark)] = -1
    found = inference(fit).estimate(contrasts)
    low, high = found.interval(level)
    values = {"estimate": found.estimate, "std_error": found.std_error, "df": found.df, "statistic": found.statistic}
    values |= {"p_value": found.p_value, "ci_low": low, "ci_high": high}
    names = {
        "attribute": np.repeat(np.array(design.attributes, dtype=object), len(others)),
        "assessor": who,
        "prototype": others * len(design.attributes),
        "versus": benchmark,
    }
    return pd.DataFrame(names | {name: value.ravel() for name, value in values.items()})


def _in_order(parts: list[pd.DataFrame], order: dict[str, int]) -> pd.DataFrame:
    """Put the rows together by attribute, in the order of the study; everybody first, then the assessors."""
    if not parts:
        return pd.DataFrame({name: pd.Series(dtype="str") for name in ("attribute", "assessor", "prototype", "versus")})
    frame = pd.concat(parts, ignore_index=True)
    return frame.sort_values("attribute", key=lambda names: names.map(order), kind="stable", ignore_index=True)
