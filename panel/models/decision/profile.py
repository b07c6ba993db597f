"""What is wanted of each attribute, how much does it count, and what must be?"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import stdtrit

from panel.checks.confounds import find_confounds
from panel.errors import ModelError, StudyError
from panel.models.emollients.predictions import study_targets
from panel.models.prototypes.batch_spread import BatchSpread, batch_spread
from panel.models.prototypes.panel_design import PanelDesign, assessor_means, fit_panel
from panel.models.prototypes.sensitivity import ONE_PLANNED, Sensitivity
from panel.stats.formulas.desirability import overall_desirability, window_wanted
from panel.stats.maps.draws import joint_draws, person_correlations
from panel.stats.mixed.reml import BATCH, MixedFit
from panel.stats.mixed.satterthwaite import estimate_contrasts, widened
from panel.study.facts import stated_fact
from panel.study.scores_used import scores_used
from panel.study.study import Study

BENCHMARK_LEVELS, TOLERANCE = "benchmark_levels", "tolerance"
_PART_OF_SCALE = 0.25  # of the scale outside a window a mean counts for nothing; common practice, no source
_WRONG_WAY = {"more": "target_high", "less": "target_low"}


@dataclass(frozen=True, eq=False, slots=True)
class Profile:
    """The target profile of a study.

    Parameters
    ----------
    wanted
        `attribute direction target_low target_high weight must_have benchmark_level tolerance`: one row per attribute
        with a window; NaN where there is no limit on that side. `benchmark_level` is where the benchmark stood when the
        windows were set, NaN if the study does not say. `tolerance` is how far outside the window a mean counts for
        nothing, NaN where neither the study nor the scale tells.
    weights_stated
        False if nobody stated a weight, so that all count the same.
    """

    wanted: pd.DataFrame
    weights_stated: bool
    notes: tuple[str, ...]

    @property
    def attributes(self) -> tuple[str, ...]:
        """Attributes with a window, in the order of the study."""
        return tuple(str(name) for name in self.wanted["attribute"])

    @property
    def has_windows_both_sides(self) -> bool:
        """Whether some window is closed on both sides."""
        return bool(self.wanted[["target_low", "target_high"]].notna().all(axis=1).any())


def target_profile(study: Study, weights: Mapping[str, float] | None = None) -> Profile:
    """Return what the study wants.

    Parameters
    ----------
    weights
        Weights by attribute, in place of those of the attributes table.

    Raises
    ------
    ModelError
        If no attribute has a window.
    StudyError
        If a window is upside down, a weight is negative or none is positive, or a fact cannot be understood.
    """
    limits = study_targets(study).limits
    if not limits:
        raise ModelError(
            "The study wants nothing: no attribute has a target window. Fill in target_low or target_high in the table "
            "of attributes, before the scores are looked at."
        )
    rows = study.table("attributes").drop_duplicates("attribute").set_index("attribute").loc[list(limits)]
    for name, (low, high) in limits.items():
        if low > high:
            raise StudyError(f"{name}: target_low {low:g} lies above target_high {high:g}. Exchange them.")
    stated = {str(name): float(value) for name, value in rows["weight"].items() if not math.isnan(float(value))}
    given = stated if weights is None else {str(name): float(value) for name, value in weights.items()}
    levels = _levels(study)
    reach = _tolerance(study)
    wanted = pd.DataFrame(
        {
            "attribute": pd.Series(list(limits), dtype="str"),
            "direction": rows["direction"].tolist(),
            "target_low": [low for low, _ in limits.values()],
            "target_high": [high for _, high in limits.values()],
            "weight": _checked_weights(given, list(limits)),
            "must_have": (rows["must_have"] == "yes").tolist(),
            "benchmark_level": [levels.get(name, float("nan")) for name in limits],
            "tolerance": [reach or _from_scale(study, name) for name in limits],
        }
    )
    return Profile(wanted, bool(given), tuple(_notes(study, wanted, given, stated=weights is None)))


def narrow_windows(profile: Profile, sensitivity: Sensitivity) -> tuple[str, ...]:
    """Return a note for each window that is narrower than the smallest difference this panel could have shown."""
    medians = sensitivity.medians
    smallest = medians.loc[medians["family"] == ONE_PLANNED].set_index("attribute")["smallest_difference"]
    told = []
    for row in profile.wanted.to_dict("records"):
        width = float(row["target_high"]) - float(row["target_low"])
        seen = float(smallest.get(row["attribute"], float("nan")))
        if width < seen:
            told.append(
                f"{row['attribute']}: the window is {width:.1f} wide, but a panel like this one shows a single planned "
                f"difference only from about {seen:.1f} on. It cannot say whether a prototype is inside: widen the "
                "window or ask more assessors."
            )
    return tuple(told)


def _checked_weights(given: Mapping[str, float], attributes: list[str]) -> list[float]:
    unknown = [name for name in given if name not in attributes]
    if unknown:
        raise StudyError(
            f"A weight is given for {', '.join(unknown)}, which has no target window. Choose among "
            f"{', '.join(attributes)}, or give it a window first."
        )
    for name, value in given.items():
        if not math.isfinite(value) or value < 0:
            raise StudyError(f"The weight of {name} is {value:g}. Write a number that is 0 or more.")
    used = [given.get(name, 1.0) for name in attributes]
    if not sum(used) > 0:
        raise StudyError("All weights are 0, so nothing counts. Give at least one attribute a weight above 0.")
    return used


def _levels(study: Study) -> dict[str, float]:
    stated: Any = stated_fact(study, BENCHMARK_LEVELS, {})
    if not isinstance(stated, dict) or not all(_is_number(value) for value in stated.values()):
        raise StudyError(
            f"The fact {BENCHMARK_LEVELS!r} is not understood. Write for each attribute the level of the benchmark "
            'when the windows were set, such as {"AF_GREASE": 52}.'
        )
    return {str(name): float(value) for name, value in stated.items()}


def _tolerance(study: Study) -> float | None:
    stated: Any = stated_fact(study, TOLERANCE)
    if stated is None:
        return None
    if not _is_number(stated) or stated <= 0:
        raise StudyError(
            f"The fact {TOLERANCE!r} is {stated!r}. Write how far outside its window a mean counts for nothing, a "
            "number above 0 in scale units."
        )
    return float(stated)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _from_scale(study: Study, attribute: str) -> float:
    scale = study.scale(attribute)
    return float("nan") if scale is None else _PART_OF_SCALE * (scale[1] - scale[0])


def _notes(study: Study, wanted: pd.DataFrame, given: Mapping[str, float], *, stated: bool) -> list[str]:
    notes = []
    if not given:
        notes.append("Nobody stated weights, so all attributes with a window count the same.")
    elif len(given) < len(wanted):
        without = [name for name in wanted["attribute"] if name not in given]
        where = "in the table of attributes" if stated else "here"
        notes.append(f"Without a weight {where}, so counted as 1: {', '.join(without)}.")
    if len(wanted) > 1 and wanted["must_have"].all():
        notes.append("Every attribute is a must-have, so none of them says what matters most.")
    for row in wanted.to_dict("records"):
        column = _WRONG_WAY.get(str(row["direction"]), "")
        other = {"target_high": "target_low", "target_low": "target_high"}.get(column, "")
        if column and not math.isnan(row[column]) and math.isnan(row[other]):
            notes.append(
                f"{row['attribute']}: the direction says {row['direction']!r}, but only {column} is set. Check which "
                "of the two is meant."
            )
    listed = study.table("attributes")
    aimed = listed.loc[(listed["direction"] == "target") & listed[["target_low", "target_high"]].isna().all(axis=1)]
    if len(aimed):
        notes.append(f"Is to hit a target but has no window, so it does not count: {', '.join(aimed['attribute'])}.")
    if not study.facts.get(TOLERANCE):
        notes.append(
            "Desirability falls from 1 at the edge of a window to 0 a quarter of the scale outside it: common "
            f"practice, no source. The fact {TOLERANCE!r} of the study sets another distance."
        )
        unknown = [str(name) for name in wanted["attribute"] if study.scale(str(name)) is None]
        if unknown:
            notes.append(
                f"The study does not say where the scale of {', '.join(unknown)} begins and ends: desirability falls "
                "over the range of the prototypes' means there. Fill in scale_min and scale_max."
            )
    return notes


# Does each prototype meet its windows, and with what chance: as they stand, and as differences from the benchmark?


Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
_TOLERANCE_OF_SPREAD = 1.0  # without a scale: the spread of the means themselves


@dataclass(frozen=True, eq=False, slots=True)
class Windows:
    """What the windows say of the prototypes; arrays are (attributes, prototypes) or (draws, prototypes).

    Parameters
    ----------
    rows
        One row per attribute with a window and prototype: `attribute prototype estimate std_error df ci_low ci_high
        target_low target_high weight must_have desirability met chance`, and read as differences from the benchmark
        `versus difference difference_low difference_high versus_low versus_high met_versus chance_versus
        chance_better`. `met` is True if the estimate lies inside; NaN where it is not known. `chance_better` is the
        chance to lie on the wanted side of the benchmark; NaN for windows closed on both sides.
    desirability, drawn_desirability
        (prototypes,) overall, and (draws, prototypes).
    chance_all, chance_all_versus
        (prototypes,) chance to meet all windows at once; NaN where one of them is not known.
    single, weights
        (attributes, prototypes) desirabilities of the estimates, and (attributes,).
    """

    rows: pd.DataFrame
    desirability: Floats
    drawn_desirability: Floats
    chance_all: Floats
    chance_all_versus: Floats
    single: Floats
    weights: Floats


def judge_windows(profile: Profile, drawn: PanelDraws, benchmark: str | None, level: float) -> Windows:
    """Hold the means and their draws against the windows of `profile`; intervals at `level`."""
    wanted = profile.wanted.set_index("attribute").loc[list(drawn.attributes)].reset_index()
    low, high = (wanted[[name]].to_numpy(float) for name in ("target_low", "target_high"))
    weights = wanted["weight"].to_numpy(float)
    reach = _reach(wanted, drawn.estimate)
    single = _single(drawn.estimate, low, high, reach)
    base = None if benchmark not in drawn.prototypes else drawn.prototypes.index(str(benchmark))
    half = stdtrit(drawn.df, (1 + level) / 2) * drawn.std_error
    known = np.isfinite(drawn.estimate)
    met = _inside(drawn.drawn, low, high)
    columns = {
        "estimate": drawn.estimate,
        "std_error": drawn.std_error,
        "df": drawn.df,
        "ci_low": drawn.estimate - half,
        "ci_high": drawn.estimate + half,
        **{
            name: np.broadcast_to(wanted[[name]].to_numpy(float), known.shape) for name in ("target_low", "target_high")
        },
        "weight": np.broadcast_to(weights[:, None], known.shape),
        "desirability": single,
        "met": np.where(known, _inside(drawn.estimate, low, high), np.nan),
        "chance": np.where(known, met.mean(axis=0), np.nan),
    }
    versus, met_versus = _versus(wanted, drawn, base, level)
    everything = known.all(axis=0)
    return Windows(
        rows=_long(wanted, drawn, columns | versus, benchmark if base is not None else ""),
        desirability=_overall(single, weights),
        drawn_desirability=_overall(_single(drawn.drawn, low, high, reach), weights),
        chance_all=np.where(everything, met.all(axis=1).mean(axis=0), np.nan),
        chance_all_versus=_all_versus(met_versus, known, base),
        single=single,
        weights=weights,
    )


def window_distance(estimate: Floats, low: Floats, high: Floats) -> Floats:
    """Return how far each mean lies outside its window, scale units; 0 inside, NaN where it is not known."""
    below = np.where(np.isnan(low), 0.0, low - estimate)
    above = np.where(np.isnan(high), 0.0, estimate - high)
    return np.asarray(np.maximum(np.maximum(below, above), 0.0) + 0.0 * estimate)


def _inside(values: Floats, low: Floats, high: Floats) -> Flags:
    """Return which values lie inside; a missing limit is none, a missing value is never inside."""
    return np.asarray(~(values < low) & ~(values > high) & np.isfinite(values))


def _reach(wanted: pd.DataFrame, estimate: Floats) -> Floats:
    """Return how far outside its window a mean counts for nothing, (attributes, 1)."""
    reach = wanted[["tolerance"]].to_numpy(float)
    spread = np.nanmax(estimate, axis=1, keepdims=True) - np.nanmin(estimate, axis=1, keepdims=True)
    return np.asarray(np.where(np.isnan(reach), np.where(spread > 0, spread, _TOLERANCE_OF_SPREAD), reach))


def _single(values: Floats, low: Floats, high: Floats, reach: Floats) -> Floats:
    start, end = np.where(np.isnan(low), -np.inf, low), np.where(np.isnan(high), np.inf, high)
    return window_wanted(values, start - reach, start, end, end + reach)


def _overall(single: Floats, weights: Floats) -> Floats:
    """Return the overall desirability over the attributes, the last axis but one."""
    return overall_desirability(np.moveaxis(single, -2, -1), weights)


def _versus(
    wanted: pd.DataFrame, drawn: PanelDraws, base: int | None, level: float
) -> tuple[dict[str, Floats], Flags | None]:
    """Return the windows read as differences from the benchmark, and which draws meet them."""
    names = ("difference", "difference_low", "difference_high", "versus_low", "versus_high", "met_versus")
    shape = drawn.estimate.shape
    if base is None:
        return {name: np.full(shape, np.nan) for name in (*names, "chance_versus", "chance_better")}, None
    own = drawn.estimate[:, [base]]
    stated = wanted[["benchmark_level"]].to_numpy(float)
    zero = np.where(np.isnan(stated), own, stated)
    low, high = (wanted[[name]].to_numpy(float) - zero for name in ("target_low", "target_high"))
    difference, differences = drawn.estimate - own, drawn.drawn - drawn.drawn[:, :, [base]]
    tail = (1 - level) / 2
    with np.errstate(invalid="ignore"):
        ends = np.quantile(differences, [tail, 1 - tail], axis=0)
    known = np.isfinite(difference)
    met = _inside(differences, low, high)
    side = np.where(np.isnan(high) & ~np.isnan(low), 1.0, np.where(np.isnan(low) & ~np.isnan(high), -1.0, np.nan))
    better = ((differences * side) > 0).mean(axis=0)
    better = np.where(np.isnan(side), np.nan, better)
    better[:, base] = np.nan
    found = (difference, *ends, *(np.broadcast_to(end, shape) for end in (low, high)), _inside(difference, low, high))
    columns = {name: np.where(known, values, np.nan) for name, values in zip(names, found, strict=True)}
    return columns | {
        "chance_versus": np.where(known, met.mean(axis=0), np.nan),
        "chance_better": np.where(known, better, np.nan),
    }, met


def _all_versus(met: Flags | None, known: Flags, base: int | None) -> Floats:
    if met is None or base is None:
        return np.full(known.shape[1], np.nan)
    return np.asarray(np.where((known & known[:, [base]]).all(axis=0), met.all(axis=1).mean(axis=0), np.nan))


def _long(wanted: pd.DataFrame, drawn: PanelDraws, columns: dict[str, Floats], versus: str | None) -> pd.DataFrame:
    q, k = drawn.estimate.shape
    frame = pd.DataFrame(
        {
            "attribute": pd.Series(np.repeat(list(drawn.attributes), k), dtype="str"),
            "prototype": pd.Series(list(drawn.prototypes) * q, dtype="str"),
            **{name: np.asarray(values, dtype=float).ravel() for name, values in columns.items()},
        }
    )
    return frame.assign(must_have=np.repeat(wanted["must_have"].to_numpy(bool), k), versus=versus or "")


# How uncertain are the panel's means, all attributes together? Draws of what the true means may be.


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
    batch_words
        How batches enter the standard errors; empty where they do not.
    """

    attributes: tuple[str, ...]
    prototypes: tuple[str, ...]
    estimate: Floats
    std_error: Floats
    df: Floats
    drawn: Floats
    not_estimated: tuple[tuple[str, str], ...]
    batch_words: str = ""


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
    spread = batch_spread(study, find_confounds(study, frame))
    mean, std_error, df, covariance, dfs = _means(fits, kept, prototypes, spread)
    drawn = joint_draws(mean, covariance, dfs[0], dfs[1], _correlations(frame, prototypes, kept), draws, rng)
    return PanelDraws(kept, prototypes, mean, std_error, df, drawn, why_not, spread.sentence)


def _correlations(
    frame: pd.DataFrame, prototypes: tuple[str, ...], attributes: tuple[str, ...]
) -> tuple[Floats, Floats]:
    return person_correlations(assessor_means(frame, prototypes, attributes))


def _means(
    fits: list[tuple[PanelDesign, MixedFit]],
    attributes: tuple[str, ...],
    prototypes: tuple[str, ...],
    spread: BatchSpread,
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
        added = np.zeros((len(rows), own))
        if BATCH not in design.terms:
            added = np.array(
                [[spread.variance(name, {each: 1.0}) for each in design.prototypes] for name in design.attributes]
            )
        mean[place] = found.estimate
        std_error[place], df[place] = widened(found.std_error, found.df, added, spread.df)
        covariance[np.ix_(rows, columns, columns)] = fit.covariance[:, :own, :own] + added[:, :, None] * np.eye(own)
        dfs[0, rows] = estimate_contrasts(fit, each.mean(axis=0, keepdims=True)).df[:, 0]
        apart = estimate_contrasts(fit, each[1:] - each[0])
        both = added[:, 1:] + added[:, :1]
        dfs[1, rows] = np.median(widened(apart.std_error, apart.df, both, spread.df)[1], axis=1)
    return mean, std_error, df, covariance, dfs
