"""Does each assessor separate the prototypes, repeat, agree with the others, use the scale like them?"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations
from typing import Any, TypeAlias

import numpy as np
import pandas as pd
from scipy.special import ndtr, ndtri

from panel.checks.moments_recorded import order_of_testing
from panel.errors import ModelError
from panel.models.assessors.measures import (
    FEWEST_ASSESSORS,
    FOLLOWS_PROTOTYPES,
    REVERSED_RULES,
    SEPARATES_BELOW,
    PanelNumbers,
    panel_tables,
)
from panel.models.prototypes.differences import ask_fits, minus, panel_test
from panel.models.prototypes.panel_design import PanelDesign, fit_study, in_order
from panel.stats.arrays import Codes
from panel.stats.assessors.departures import SCALE_SD
from panel.stats.comparing.group_means import ASSESSOR, relative_variances
from panel.stats.comparing.multiplicity import ALPHA, LEVEL, below, holm, serial_gatekeeping
from panel.stats.mixed.inference import inference
from panel.stats.mixed.reml import MixedFit
from panel.stats.mixed.residuals import fits_without_groups
from panel.study.formulas import SAME_AMOUNT, formula_percents
from panel.study.naming import naming
from panel.study.study import Study
from panel.words import typed_share


@dataclass(frozen=True, eq=False, slots=True)
class PanelCheck:
    """How each assessor works, beside the others; all frames tidy and unrounded.

    Parameters
    ----------
    assessors
        One row per assessor and attribute. Separates: `statistic df df_error p_value` of the person's own table.
        Repeats: `repeat_sd`, its `repeat_ratio` to the others'. Agrees, where `judged`:
        `correlation slope ci_low ci_high` on the others' means, `slope_expected` of somebody who feels what they
        feel; `sees` says it in one word (`panel.models.assessors.measures`). `interaction_share` of all that is seen
        differently, `level` less the panel's, `drift` per session.
        `*_p_adjusted` by Holm over persons and attributes.
    panel
        One row per attribute: `statistic df df_error p_value p_adjusted differ` of the panel's model, `reliability`
        (1 - 1/F), `repeatability` and `reproducibility` as standard deviations, `interaction_*`,
        `n_separating` of `n_assessors`, `reversal_noticed`: about how likely a scale used backwards would have been
        noticed.
    people
        One row per assessor: `judgement` (none, look again, retrain), `scale` with its interval, `repeat_ratio`,
        `level_share` of the scale, `n_separated` (NaN where none could be tested) of `n_judged` attributes.
    patterns
        What was found: `assessor pattern attribute quality estimate ci_low ci_high p_adjusted action`.
    means
        `assessor attribute prototype estimate others`: the person's mean and the others', less their average over the
        prototypes that both scored.
    without
        `attribute assessor statistic df df_error p_value p_adjusted differ`: the panel's test with everybody (empty)
        and without each; `p_adjusted` over the attributes of the same people, as `find_differences` does it.
    duplicates
        `assessor attribute n_pairs distance others_distance ratio`.
    """

    assessors: pd.DataFrame
    panel: pd.DataFrame
    people: pd.DataFrame
    patterns: pd.DataFrame
    means: pd.DataFrame
    without: pd.DataFrame
    duplicates: pd.DataFrame
    method: str
    notes: tuple[str, ...]


def check_panel(study: Study) -> PanelCheck:
    """Check every assessor of `study` on every attribute.

    Raises
    ------
    ModelError
        If there are no scores, fewer than two prototypes or assessors, or no attribute can be compared.
    """
    fitted = fit_study(study)
    scores, fits, left_out = fitted.used.frame, fitted.fits, fitted.left_out
    _ask(scores)
    ask_fits(fits, left_out, "checked")
    scores = scores.loc[~scores["attribute"].isin([name for name, _ in left_out])]
    without = pd.concat([_tests(design, _without_each(design, fit)) for design, fit in fits], ignore_index=True)
    numbers, tables = panel_tables(study, scores, fits, without)
    people = tables["people"]
    words = {name: study.attribute_words(name) for name in numbers.attributes}
    patterns = _find_patterns(tables["assessors"], people, _qualities_of(words))
    return PanelCheck(
        assessors=tables["assessors"],
        panel=tables["panel"],
        people=people.assign(judgement=_judgements(people, patterns)),
        patterns=patterns,
        means=tables["means"],
        without=in_order(_with_verdicts(study, without), "attribute", numbers.attributes),
        duplicates=_duplicate_distances(study, scores),
        method=_method(numbers),
        notes=(*_notes(numbers, left_out, naming(study).attribute), *_note_on_scales(study, numbers)),
    )


def _ask(scores: pd.DataFrame) -> None:
    """Refuse what cannot be answered at all."""
    if scores.empty:
        raise ModelError("The study has no scores. Import a table of scores on the Study page.")
    if scores["assessor"].nunique() < 2:
        raise ModelError(
            "All scores come from one assessor, so there is no panel to check this person against. "
            "Ask at least two more assessors."
        )
    if scores["prototype"].nunique() < 2:
        raise ModelError("Only one prototype was scored, so nobody can tell prototypes apart. Score a second one.")


def _method(numbers: PanelNumbers) -> str:
    session = " with session taken out" if len(numbers.sessions) > 1 else ""
    return (
        f"Each assessor's own analysis of variance{session}; own scatter against the other assessors' (F, the test "
        "of Cochran and of ASTM E691); correlation with, and slope on, the mean of the other assessors. Agreement is "
        f"judged only where the others, without this person, tell the prototypes apart at {typed_share(ALPHA)}, "
        "against the slope of somebody who feels what they feel, given how weakly the attribute differs; adjusted "
        "by Holm for the number of persons and attributes. How differently honest people see the prototypes is "
        "estimated for each attribute and drawn towards what the attributes have in common (Smyth 2004)."
    )


def _note_on_scales(study: Study, numbers: PanelNumbers) -> Iterator[str]:
    unknown = [naming(study).attribute(name) for name in numbers.attributes if study.scale(name) is None]
    if unknown:
        yield (
            f"The study does not say where the scale of {', '.join(unknown)} begins and ends: parts of the scale are "
            "there parts of the range of the scores."
        )


def _notes(numbers: PanelNumbers, left_out: list[tuple[str, str]], words: Callable[[str], str]) -> Iterator[str]:
    for name, why in left_out:
        yield f"{words(name)} is not checked: {why}."
    if len(numbers.assessors) < FEWEST_ASSESSORS:
        yield "With two assessors agreement is not judged: nobody can say which of them departs from the other."
    if (numbers.own.counts.sum(axis=2) > 0).any() and not (numbers.own.df_error > 0).any():
        yield (
            "Nobody scored a prototype twice: whether a person separates prototypes and repeats cannot be told, and "
            "a reversed scale cannot be told from chance."
        )
    if numbers.own.means.shape[2] < 3:
        yield "With two prototypes agreement is not judged: two points always lie on a line."
    unjudged = [words(name) for name, row in zip(numbers.attributes, numbers.judged, strict=True) if not row.any()]
    if unjudged and len(numbers.assessors) >= FEWEST_ASSESSORS:
        yield f"Agreement is not judged on {', '.join(unjudged)}: the prototypes are not told apart there."


# What a person's numbers amount to, looked at over all attributes and never at one coefficient.
#
# Each rule first asks whether chance would bring about what is seen, counting every person and attribute that was
# looked at (Holm), and only then what it is. What chance often brings about is not told at all; what cannot be told
# for sure, or what needs no training, is told as such. The first advice is always training.


class Pattern(StrEnum):
    """What may be remarkable about somebody, on an attribute or on all."""

    REVERSED = "reversed"
    NOT_FOLLOWING = "does not follow"
    NOT_FELT = "not felt"
    FEELS_LITTLE = "feels little"
    NARROW = "narrow scale"
    WIDE = "wide scale"
    SCATTERS = "scatters"
    OWN_VIEW = "own view"
    DRIFTS = "drifts"
    HIGH = "sits high"
    LOW = "sits low"


class Action(StrEnum):
    """What is to be done about it, the gravest last."""

    NONE = "none"
    LOOK_AGAIN = "look again"
    RETRAIN = "retrain"


_TOO_LOW = 0.025
"""Adjusted p-value below which a slope is too low for somebody who feels what the others feel."""

_UNLIKELY = 0.01
"""Adjusted p-value for the other rules: there are several, and honest people are to be spared by all together."""

_POSSIBLE = 0.05
"""Adjusted p-value for a quality not felt at any stage: it needs two attributes to agree, and only says look again."""

NARROWEST, WIDEST = 0.5, 1.5
"""Slope on the others that leaders commonly accept as use of the scale (common practice, no source)."""

_NARROW_SPREAD = 0.6
"""Own means spread over the others'; honest people simulated with 4 to 8 prototypes fall below about once in 1,000."""

_SEPARATED_SHARE = 0.5
"""Share of judged attributes that somebody separates who uses little of the scale but feels the differences."""

_SCATTER_TOLD, _SCATTER_TRAINED = 1.7, 2.0
"""Ratio of scatter to the others' that is told (common practice, no source), and that calls for training."""

_LEVEL_TOLD = 0.08
"""Share of the scale by which a level is told: the usual smallest difference that matters (common practice)."""

_GENERAL_WORDS = frozenset({"amount", "degree", "ease", "force", "intensity", "level", "speed", "strength"})
_COLUMNS = ["assessor", "pattern", "attribute", "quality", "estimate", "ci_low", "ci_high", "p_adjusted", "action"]


def _find_patterns(
    assessors: pd.DataFrame, people: pd.DataFrame, qualities: Mapping[str, Sequence[str]]
) -> pd.DataFrame:
    """Return the patterns, columns `_COLUMNS`; `attribute` is empty where a pattern goes over all attributes.

    Parameters
    ----------
    assessors, people
        As made by `panel.models.assessors.measures`.
    qualities
        Attributes that are one quality judged at several stages, by the word they share.
    """
    rows = [*_by_attribute(assessors), *_by_quality(assessors, qualities), *_by_person(people)]
    frame = pd.DataFrame(rows, columns=_COLUMNS)
    text = dict.fromkeys(["assessor", "pattern", "attribute", "quality", "action"], "str")
    numbers = dict.fromkeys(["estimate", "ci_low", "ci_high", "p_adjusted"], "float64")
    frame = frame.astype(text | numbers).drop_duplicates(["assessor", "pattern", "attribute"])
    return in_order(frame, "assessor", people["assessor"])


def _by_attribute(assessors: pd.DataFrame) -> Iterator[tuple[object, ...]]:
    """Yield the patterns that a single attribute shows."""
    smaller = np.fmin(assessors["slope_p_adjusted"], assessors["reversed_p_adjusted"])
    assessors = assessors.assign(backwards_p_adjusted=smaller)
    separates = assessors["p_value"]
    slope = assessors["slope"]
    low = assessors["slope_p_adjusted"] < _TOO_LOW
    follows = separates < FOLLOWS_PROTOTYPES
    everybody, separating = REVERSED_RULES
    backwards = (slope < 0) & (
        ((assessors["slope_p_adjusted"] < everybody.alpha) & follows)
        | (assessors["reversed_p_adjusted"] < separating.alpha)
    )
    flat = (assessors["flatness_p_adjusted"] < _UNLIKELY) & ~(separates < SEPARATES_BELOW)
    strange = (assessors["interaction_p_adjusted"] < _UNLIKELY) & follows & ~low & ~backwards
    scatter = (assessors["repeat_p_adjusted"] < _UNLIKELY) & (assessors["repeat_ratio"] > _SCATTER_TOLD)
    wander = assessors["drift_p_adjusted"] < _UNLIKELY
    for chosen, pattern, estimate, p_adjusted, action in (
        (backwards, Pattern.REVERSED, "slope", "backwards_p_adjusted", Action.RETRAIN),
        (low & ~backwards, Pattern.NOT_FOLLOWING, "slope", "slope_p_adjusted", Action.LOOK_AGAIN),
        (flat & ~low, Pattern.NOT_FELT, "slope", "flatness_p_adjusted", Action.LOOK_AGAIN),
        (strange, Pattern.OWN_VIEW, "interaction_share", "interaction_p_adjusted", Action.LOOK_AGAIN),
        (scatter, Pattern.SCATTERS, "repeat_ratio", "repeat_p_adjusted", Action.LOOK_AGAIN),
        (wander, Pattern.DRIFTS, "drift", "drift_p_adjusted", Action.LOOK_AGAIN),
    ):
        for row in assessors.loc[chosen].to_dict("records"):
            ends = (row["ci_low"], row["ci_high"]) if estimate == "slope" else (np.nan, np.nan)
            yield row["assessor"], pattern, row["attribute"], "", row[estimate], *ends, row[p_adjusted], action


def _by_quality(assessors: pd.DataFrame, qualities: Mapping[str, Sequence[str]]) -> Iterator[tuple[object, ...]]:
    """Yield qualities that a person does not feel at any stage, the stages taken together (Stouffer's z)."""
    found: list[tuple[pd.DataFrame, str, float]] = []
    for quality, attributes in qualities.items():
        for _, rows in assessors.loc[assessors["attribute"].isin(attributes)].groupby("assessor", sort=False):
            p_value = rows["flatness_p_value"].to_numpy(float)
            if len(rows) == len(attributes) and np.isfinite(p_value).all():
                z = ndtri(np.clip(p_value, np.finfo(float).tiny, 1 - np.finfo(float).eps))
                found.append((rows, quality, float(ndtr(z.sum() / np.sqrt(len(z))))))
    adjusted = holm([p_value for _, _, p_value in found])
    for (rows, quality, _), p_adjusted in zip(found, adjusted, strict=True):
        if p_adjusted < _POSSIBLE and not (rows["p_value"] < SEPARATES_BELOW).any():
            for row in rows.to_dict("records"):
                about = row["assessor"], Pattern.NOT_FELT, row["attribute"], quality
                yield *about, row["slope"], row["ci_low"], row["ci_high"], p_adjusted, Action.LOOK_AGAIN


def _by_person(people: pd.DataFrame) -> Iterator[tuple[object, ...]]:
    """Yield the patterns that a person shows over all attributes."""
    beyond = -ndtri(_POSSIBLE / len(people))
    for row, p_little in zip(people.to_dict("records"), holm(_lowness(people)), strict=True):
        for pattern, *numbers_and_action in _of_person(row, p_little, beyond):
            yield row["assessor"], pattern, "", "", *numbers_and_action


def _of_person(
    row: Mapping[Hashable, Any], p_little: float, beyond: float
) -> Iterator[tuple[Pattern, float, float, float, float, Action]]:
    """Yield `pattern estimate ci_low ci_high p_adjusted action` of a person over all attributes."""
    nan = float("nan")
    scale, ends = row["scale"], (row["scale_low"], row["scale_high"])
    spread, p_spread = row["spread_ratio"], row["spread_p_adjusted"]
    feels = row["n_separated"] >= _SEPARATED_SHARE * row["n_judged"]
    if spread < _NARROW_SPREAD and p_spread < _UNLIKELY and feels:
        yield Pattern.NARROW, spread, nan, nan, p_spread, Action.RETRAIN
    elif scale < NARROWEST and p_little < _UNLIKELY:
        yield Pattern.NOT_FOLLOWING if feels else Pattern.FEELS_LITTLE, scale, *ends, p_little, Action.RETRAIN
    elif scale > WIDEST and scale - beyond * row["scale_error"] > 1:
        yield Pattern.WIDE, scale, *ends, nan, Action.NONE
    ratio, p_adjusted = row["repeat_ratio"], row["repeat_p_adjusted"]
    if ratio > _SCATTER_TOLD and p_adjusted < _UNLIKELY:
        action = Action.RETRAIN if ratio > _SCATTER_TRAINED else Action.LOOK_AGAIN
        yield Pattern.SCATTERS, ratio, nan, nan, p_adjusted, action
    if abs(row["level_share"]) > _LEVEL_TOLD:
        side = Pattern.HIGH if row["level_share"] > 0 else Pattern.LOW
        yield side, row["level_share"], nan, nan, nan, Action.NONE


def _lowness(people: pd.DataFrame) -> np.ndarray:
    """Return the chance of so low a slope over all attributes in somebody who feels what the others feel."""
    scale, error = people["scale"].to_numpy(float), people["scale_error"].to_numpy(float)
    return np.asarray(ndtr((scale - 1) / np.hypot(error, SCALE_SD)))


def _judgements(people: pd.DataFrame, patterns: pd.DataFrame) -> pd.Series:
    """Return for each person the gravest action that a pattern calls for, `none` if no pattern does."""
    grave = {action: place for place, action in enumerate(Action)}
    worst = patterns["action"].map(grave).groupby(patterns["assessor"]).max()
    found = people["assessor"].map(worst).fillna(0).astype(int)
    return pd.Series([tuple(Action)[place] for place in found], index=people.index, dtype="str")


def _qualities_of(words: Mapping[str, str]) -> dict[str, list[str]]:
    """Return attributes that are one quality judged at several stages, by the word their names start with.

    `stickiness of the bulk` and `stickiness, later` are both stickiness; `ease of spreading` goes by `spreading`.
    """
    found: dict[str, list[str]] = {}
    for attribute, name in words.items():
        parts = [part.strip(",;:.()").lower() for part in name.split()]
        if len(parts) > 2 and parts[0] in _GENERAL_WORDS and parts[1] == "of":
            parts = parts[2:]
        if parts and parts[0]:
            found.setdefault(parts[0], []).append(attribute)
    return {word: attributes for word, attributes in found.items() if len(attributes) > 1}


# How far apart does each assessor put two samples that are the same?


_DUPLICATE_COLUMNS = ["assessor", "attribute", "n_pairs", "distance", "others_distance", "ratio"]


def _duplicate_distances(study: Study, scores: pd.DataFrame) -> pd.DataFrame:
    """Return how far each assessor puts blind duplicates apart, one row per assessor and attribute.

    Duplicates are one prototype served twice in a session, and two prototypes with the same formula scored in the
    same session. `distance` is the root mean square difference, `others_distance` that of the other assessors.
    Without rows where nothing was served twice.
    """
    same = {name: group[0] for group in _same_formulas(study) for name in group}
    pairs = _differences(scores.assign(sample=scores["prototype"].map(lambda name: same.get(name, name))))
    if pairs.empty:
        return pd.DataFrame(columns=_DUPLICATE_COLUMNS).astype({"assessor": "str", "attribute": "str"})
    own = pairs.groupby(["attribute", "assessor"], sort=False)["square"].agg(["sum", "count"])
    whole = own.groupby("attribute", sort=False).transform("sum")
    with np.errstate(divide="ignore", invalid="ignore"):
        others = np.sqrt((whole["sum"] - own["sum"]).to_numpy() / (whole["count"] - own["count"]).to_numpy())
        distance = np.sqrt(own["sum"].to_numpy() / own["count"].to_numpy())
        ratio = distance / others
    frame = own.reset_index().assign(distance=distance, others_distance=others, ratio=ratio)
    frame = in_order(frame.rename(columns={"count": "n_pairs"}), "attribute", study.attributes)
    return in_order(frame, "assessor", study.assessors)[_DUPLICATE_COLUMNS]


def _same_formulas(study: Study) -> list[tuple[str, ...]]:
    """Return groups of prototypes whose formulas are the same, every amount within 0.005 %."""
    percent = formula_percents(study)
    groups: list[list[str]] = []
    for prototype in percent.index:
        for group in groups:
            if bool((percent.loc[prototype] - percent.loc[group[0]]).abs().le(SAME_AMOUNT + 1e-9).all()):
                group.append(str(prototype))
                break
        else:
            groups.append([str(prototype)])
    return [tuple(group) for group in groups if len(group) > 1]


def _differences(scores: pd.DataFrame) -> pd.DataFrame:
    """Return the squared differences of all scores of one sample by one person in one session."""
    with_session = scores.loc[scores["session"] != ""]
    rows = []
    keys = ["assessor", "attribute", "session", "sample"]
    repeated = with_session.loc[with_session.duplicated(keys, keep=False)]
    for (assessor, attribute, _, _), values in repeated.groupby(keys, sort=False)["score"]:
        rows += [(assessor, attribute, (a - b) ** 2) for a, b in combinations(values.tolist(), 2)]
    return pd.DataFrame(rows, columns=["assessor", "attribute", "square"])


# What becomes of the differences between prototypes when one assessor is left out?


EVERYBODY = ""
_FEWEST_LEFT = 2
"""With one assessor left nothing says whether another person would agree."""
_TEST_COLUMNS = ["attribute", "assessor", "statistic", "df", "df_error", "p_value"]
_LEAST_START = 1e-2
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


_Refit: TypeAlias = tuple[Codes, Codes, MixedFit]
"""One fit of many responses: the place of the assessor left out (-1 for none) and of the attribute of each."""


def leave_one_out(study: Study) -> LeftOut:
    """Fit the panel's model again without each assessor in turn; differences are from the benchmark, if there is one.

    Raises
    ------
    ModelError
        If no attribute can be compared.
    """
    fitted = fit_study(study)
    fits = fitted.fits
    ask_fits(fits, fitted.left_out)
    benchmark = study.benchmark
    told = [(design, each) for design, fit in fits for each in _without_each(design, fit)]
    against = [_leave_one_out_differences(d, each, str(benchmark)) for d, each in told if benchmark in d.prototypes]
    return LeftOut(
        tests=_stacked([_tests(design, [each for d, each in told if d is design]) for design, _ in fits], study),
        differences=_stacked(against, study),
        benchmark=benchmark if against else None,
        method=(
            "The same model as for everybody, fitted again without one assessor at a time. Intervals and p-values are "
            "those of each difference on its own, not adjusted for their number: they show what one person changes."
        ),
    )


def _with_verdicts(study: Study, tests: pd.DataFrame) -> pd.DataFrame:
    """Return the tests with `p_adjusted differ`: the attributes of one panel are a family, in the order of testing."""
    place = tests["attribute"].map(order_of_testing(study)[0]).astype("float64").fillna(np.inf).to_numpy()
    p, adjusted = tests["p_value"].to_numpy(), np.full(len(tests), np.nan)
    for rows in tests.groupby("assessor").indices.values():
        adjusted[rows] = serial_gatekeeping(p[rows], place[rows])
    return tests.assign(p_adjusted=adjusted, differ=below(adjusted))


def _without_each(design: PanelDesign, fit: MixedFit) -> Iterator[_Refit]:
    """Yield the fit with everybody, then the fits without each assessor, many at a time."""
    people, q = len(design.assessors), len(design.attributes)
    yield np.full(q, -1), np.arange(q), fit
    if people < _FEWEST_LEFT + 1:
        return
    start = np.broadcast_to(
        np.maximum(fit.variances[:, :-1] / fit.variances[:, -1:], _LEAST_START), (people, q, len(design.terms))
    )
    if design.cube is not None:
        start = relative_variances(design.cube, design.terms, without_each=True).reshape(start.shape)
    yield from fits_without_groups(design.response, design.fixed, design.groups, start)


def _tests(design: PanelDesign, refits: Iterable[_Refit]) -> pd.DataFrame:
    """Return the F tests, with everybody and then without each assessor, NaN where there is no fit."""
    q = len(design.attributes)
    person, there = design.groups[design.terms.index(ASSESSOR)], np.isfinite(design.response)
    rows = [person == place for place in range(len(design.assessors))]
    own = np.stack([there[held].T @ design.fixed[held] for held in rows])
    everybody = own.sum(axis=0)
    counts = np.concatenate([everybody - own, everybody[None]])
    values = np.full((len(_TEST_COLUMNS) - 2, len(design.assessors) + 1, q), np.nan)
    for left_out, attribute, fit in refits:
        test = panel_test(design, inference(fit), counts[left_out, attribute])
        told = test.statistic, np.full_like(test.statistic, test.df), test.df_error, test.p_value
        values[:, left_out, attribute] = told
    values = np.roll(values, 1, axis=1)  # everybody stood last
    names = {
        "attribute": np.tile(np.array(design.attributes, dtype=object), len(design.assessors) + 1),
        "assessor": np.repeat(np.array([EVERYBODY, *design.assessors], dtype=object), q),
    }
    return pd.DataFrame(names | dict(zip(_TEST_COLUMNS[2:], values.reshape(len(values), -1), strict=True)))


def _leave_one_out_differences(design: PanelDesign, refit: _Refit, benchmark: str) -> pd.DataFrame:
    """Return the differences of all other prototypes from the benchmark, one row per fit and prototype."""
    left_out, attribute, fit = refit
    others = [name for name in design.prototypes if name != benchmark]
    places = list(map(design.prototypes.index, others))
    found = inference(fit).estimate(minus(design, places, design.prototypes.index(benchmark)))
    low, high = found.interval(LEVEL)
    values = {"estimate": found.estimate, "std_error": found.std_error, "df": found.df, "statistic": found.statistic}
    values |= {"p_value": found.p_value, "ci_low": low, "ci_high": high}
    names = {
        "attribute": np.repeat(np.array(design.attributes, dtype=object)[attribute], len(others)),
        "assessor": np.repeat(np.array([*design.assessors, EVERYBODY], dtype=object)[left_out], len(others)),
        "prototype": others * len(attribute),
        "versus": benchmark,
    }
    return pd.DataFrame(names | {name: value.ravel() for name, value in values.items()})


def _stacked(parts: list[pd.DataFrame], study: Study) -> pd.DataFrame:
    """Put the rows together by attribute, in the order of the study; everybody first, then the assessors."""
    if not parts:
        return pd.DataFrame({name: pd.Series(dtype="str") for name in ("attribute", "assessor", "prototype", "versus")})
    return in_order(pd.concat(parts, ignore_index=True), "attribute", study.attributes)
