"""Which prototypes differ, on which attribute, and by how much?"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.errors import ModelError
from panel.models.prototypes.difference_notes import difference_method, difference_notes
from panel.models.prototypes.difference_tables import (
    attribute_rows,
    mean_rows,
    pair_rows,
    variance_rows,
    versus_rows,
)
from panel.models.prototypes.inference import SmallSample, inference
from panel.models.prototypes.panel_design import PanelDesign, panel_designs, score_array
from panel.models.prototypes.serving_labels import serving_labels
from panel.models.prototypes.verdict import difference_verdicts
from panel.stats.comparing.multiplicity import holm
from panel.stats.mixed.reml import MixedFit, fit_mixed_model
from panel.stats.mixed.strata import balanced_strata, relative_variances
from panel.study.scores_used import scores_used
from panel.study.study import Study
from panel.study.those_in import those_in

LEVEL = 0.95
REPEATS_EXACTLY = "the scores repeat exactly, so nothing is left to judge a difference by"
NOT_TOLD_APART = (
    "with so few scores the scatter of the assessors cannot be told from that of the scores; let more of them score "
    "more prototypes, or twice"
)
NOTHING_VARIES = 1e-9  # residual variance, relative to the squared range of the scores, that is only rounding


@dataclass(frozen=True, eq=False, slots=True)
class Differences:
    """What a mixed model per attribute says about the prototypes; all frames tidy and unrounded.

    Parameters
    ----------
    attributes
        One row per attribute: `attribute statistic df df_error p_value p_adjusted n_scores model at_zero converged`.
        The F test that no prototype differs; `p_adjusted` by Holm over the attributes.
    means
        `attribute prototype estimate std_error df ci_low ci_high letters`: estimated means; two prototypes that share
        a letter are not told apart (Tukey).
    pairs
        `attribute prototype versus estimate std_error df statistic p_value p_adjusted ci_low ci_high verdict`: all
        pairs, estimate = prototype minus versus, adjusted p-value and interval by Tukey within each attribute.
    versus
        The same columns for the differences from the benchmark, by Dunnett; without rows if there is none.
    variances
        `attribute assessor assessor_prototype session residual`; `session` is assessor x session; NaN where the
        model has no such term.
    both_ways
        For attributes with scores set aside or corrected: the F test with (`rules` True) and without (`rules` False)
        the corrections and rules.
    not_estimated
        `attribute why` for attributes that no model fits.
    """

    attributes: pd.DataFrame
    means: pd.DataFrame
    pairs: pd.DataFrame
    versus: pd.DataFrame
    variances: pd.DataFrame
    both_ways: pd.DataFrame
    set_aside: pd.DataFrame
    not_estimated: pd.DataFrame
    benchmark: str | None
    margin: float | None
    level: float
    method: str
    notes: tuple[str, ...]


def find_differences(
    study: Study,
    *,
    versus: str | None = None,
    margin: float | None = None,
    level: float = LEVEL,
    adjust_for: Sequence[str] = (),
    small_sample: SmallSample = "satterthwaite",
) -> Differences:
    """Compare the prototypes of `study` on every attribute.

    Parameters
    ----------
    versus
        Prototype the others are compared with; by default the study's benchmark, if it has one.
    margin
        Largest difference that does not matter, in scale units; by default the study's own `margin`, if it has one.
    level
        Level of the intervals.
    adjust_for
        Facts of each serving to take out as fixed effects, among `position`, `site`, `first_on_site`.
    small_sample
        Method for standard errors and degrees of freedom.

    Raises
    ------
    ModelError
        If there are no scores, fewer than two prototypes or assessors, or `versus` was not scored; if `adjust_for`
        names something unknown or not recorded.
    """
    used = scores_used(study)
    benchmark = versus if versus is not None else study.benchmark
    _ask(study, used.frame, versus)
    if margin is None and isinstance(stated := study.facts.get("margin"), int | float):
        margin = float(stated)
    fits, left_out = fit_panel(study, used.frame, adjust_for)
    _ask_fits(fits, left_out)
    order = {name: place for place, name in enumerate(study.attributes)}
    told = [(design, fit, inference(fit, small_sample)) for design, fit in fits]
    attributes = _stack((attribute_rows(*each) for each in told), order)
    attributes["p_adjusted"] = holm(attributes["p_value"].to_numpy())
    pairs = _stack((pair_rows(d, infer, level) for d, _, infer in told), order)
    against = [versus_rows(d, infer, benchmark, level) for d, _, infer in told if benchmark in d.prototypes]
    return Differences(
        attributes=attributes,
        means=_stack((mean_rows(d, infer, level) for d, _, infer in told), order),
        pairs=difference_verdicts(pairs, margin),
        versus=difference_verdicts(_stack(against, order) if against else pairs.iloc[:0], margin),
        variances=_stack((variance_rows(d, f) for d, f in fits), order),
        both_ways=_both_ways(study, pd.concat([used.set_aside, used.corrected]), attributes, adjust_for, small_sample),
        set_aside=used.set_aside,
        not_estimated=pd.DataFrame(left_out, columns=["attribute", "why"], dtype="str"),
        benchmark=benchmark if against else None,
        margin=margin,
        level=level,
        method=difference_method([design for design, _ in fits], benchmark if against else None, small_sample),
        notes=tuple(difference_notes(fits, left_out)),
    )


def _ask(study: Study, frame: pd.DataFrame, versus: str | None) -> None:
    """Refuse what cannot be answered at all."""
    scored = set(frame["prototype"])
    if not scored:
        raise ModelError("The study has no scores. Import a table of scores on the Study page.")
    if len(scored) < 2:
        raise ModelError("Only one prototype was scored, so there is nothing to compare. Score a second one.")
    if frame["assessor"].nunique() < 2:
        raise ModelError(
            "All scores come from one assessor, so nothing says whether another person would agree. "
            "Ask at least one more assessor."
        )
    if versus is not None and versus not in scored:
        raise ModelError(
            f"{versus!r} was not scored, so it cannot be compared with. Choose among "
            f"{', '.join(name for name in study.prototypes if name in scored)}."
        )


def _ask_fits(fits: list[tuple[PanelDesign, MixedFit]], left_out: list[tuple[str, str]]) -> None:
    """Refuse when no attribute can be compared, and say why."""
    if not fits:
        raise ModelError(
            f"No attribute can be compared: {'; '.join(f'{name} ({why})' for name, why in left_out)}. "
            "Check the scores on the Study page."
        )


def fit_panel(
    study: Study, frame: pd.DataFrame, adjust_for: Sequence[str] = ()
) -> tuple[list[tuple[PanelDesign, MixedFit]], list[tuple[str, str]]]:
    """Fit every attribute of the scores in `frame` that can be fitted.

    Returns the fits, attributes that share a model together, and (attribute, why not) of the others.
    """
    left_out: list[tuple[str, str]] = []
    scored = frame.groupby("attribute", sort=False)
    for attribute, rows in scored:
        if why := _why_not(rows):
            left_out.append((str(attribute), why))
    frame = frame.loc[~frame["attribute"].isin([name for name, _ in left_out])]
    if frame.empty:
        return [], left_out
    held = set(frame["attribute"].unique())
    attributes = tuple(name for name in study.attributes if name in held)
    covariates = serving_labels(study, frame, adjust_for)
    array = score_array(frame, study.prototypes, attributes, covariates)
    fits: list[tuple[PanelDesign, MixedFit]] = []
    for design in panel_designs(array):
        fitted, why_not = _fit_all(design)
        fits += fitted
        left_out += why_not
    return fits, left_out


def _fit_all(design: PanelDesign) -> tuple[list[tuple[PanelDesign, MixedFit]], list[tuple[str, str]]]:
    """Fit the attributes of a design, each alone where they cannot be fitted together; return why not of the rest."""
    alone = [design.only(np.arange(len(design.attributes)) == place) for place in range(len(design.attributes))]
    try:
        fit = _fit(design)
    except ModelError as error:
        if len(alone) == 1:
            return [], [(design.attributes[0], str(error))]
        each = [_fit_all(one) for one in alone]
        return [found for fits, _ in each for found in fits], [why for _, left_out in each for why in left_out]
    exact = _repeats_exactly(design, fit)
    reasons = np.where(exact, REPEATS_EXACTLY, np.where(fit.told_apart, "", NOT_TOLD_APART))
    left_out = [(name, str(why)) for name, why in zip(design.attributes, reasons, strict=True) if why]
    if len(left_out) == len(alone):
        return [], left_out
    rest = design.only(reasons == "") if left_out else design
    return [(rest, _fit(rest) if left_out else fit)], left_out


def _why_not(rows: pd.DataFrame) -> str:
    """Return why an attribute cannot be compared, or the empty string."""
    if rows["score"].nunique() < 2:
        return "every score is the same"
    if rows["prototype"].nunique() < 2:
        return "only one prototype was scored"
    if rows["assessor"].nunique() < 2:
        return "only one assessor scored it"
    return ""


def _fit(design: PanelDesign) -> MixedFit:
    start = None
    if design.cube is not None:
        start = relative_variances(balanced_strata(design.cube), design.terms)
    return fit_mixed_model(design.response, design.fixed, design.groups, start)


def _repeats_exactly(design: PanelDesign, fit: MixedFit) -> NDArray[np.bool_]:
    """Return which attributes leave nothing to judge a difference by."""
    spread = np.nanmax(design.response, axis=0) - np.nanmin(design.response, axis=0)
    return np.asarray(fit.variances[:, -1] <= NOTHING_VARIES * spread**2)


def _both_ways(
    study: Study,
    changed: pd.DataFrame,
    attributes: pd.DataFrame,
    adjust_for: Sequence[str],
    small_sample: SmallSample,
) -> pd.DataFrame:
    """Return the F tests of the attributes with changed scores, with and without the changes."""
    columns = ["attribute", "statistic", "df", "df_error", "p_value"]
    without = scores_used(study, rules=False)
    changed = changed.loc[~changed["row"].isin(without.set_aside["row"])]  # in neither, for no rule and no reason
    names = list(those_in(attributes["attribute"], changed["attribute"]))
    frame = without.frame
    fits, _ = fit_panel(study, frame.loc[frame["attribute"].isin(names)], adjust_for) if names else ([], [])
    parts = [attributes.loc[attributes["attribute"].isin(names), columns].assign(rules=True)]
    parts += [attribute_rows(d, f, inference(f, small_sample))[columns].assign(rules=False) for d, f in fits]
    return pd.concat(parts, ignore_index=True)


def _stack(parts: Iterable[pd.DataFrame], order: dict[str, int]) -> pd.DataFrame:
    """Put the rows of all models together in the order of the study's attributes."""
    frame = pd.concat(list(parts), ignore_index=True)
    return frame.sort_values("attribute", key=lambda names: names.map(order), kind="stable", ignore_index=True)
