"""How does an attribute change over the minutes after use, and do the prototypes change alike?

Attributes that share their name and differ in `minutes` are one attribute over time. The courses of intensity
while a sample is worked in stand here too: how it rises and falls, and where the prototypes differ in that.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from panel.errors import ModelError
from panel.models.prototypes.differences import Differences, find_differences
from panel.stats.arrays import Array, Codes
from panel.stats.comparing.multiplicity import ALPHA, LEVEL, below, holm
from panel.stats.curves.over_time import course_at, intensity_course
from panel.stats.mixed.inference import estimate_contrasts, test_contrasts
from panel.stats.mixed.reml import fit_mixed_model
from panel.stats.mixed.residuals import nothing_left
from panel.study.scores_used import named_rows, scores_used
from panel.study.study import Study, natural_order
from panel.words import level_words

_FEWEST_TIMES = 2
_VERSUS = [
    *("name", "minutes", "prototype", "versus", "estimate", "std_error", "df", "statistic", "p_value"),
    *("ci_low", "ci_high", "p_adjusted", "differs"),
]


@dataclass(frozen=True, eq=False, slots=True)
class AfterFeel:
    """Attributes over the minutes after use; frames tidy and unrounded.

    Parameters
    ----------
    tests
        `name term statistic df df_error p_value p_adjusted n_scores times model differs`; terms `prototype` (means over
        the times), `time` (means over the prototypes) and `prototype_time` (do the prototypes change alike?);
        `p_adjusted` by Holm over the attributes, for each term.
    curves
        `name attribute minutes prototype estimate std_error df ci_low ci_high`: estimated means.
    versus
        `name minutes prototype versus estimate std_error df statistic p_value ci_low ci_high p_adjusted differs`:
        differences from the benchmark at each time; p-values and intervals by Bonferroni over all times and
        prototypes of the attribute. Without rows if there is no benchmark.
    variances
        `name term variance`.
    not_estimated
        `name why`.
    """

    tests: pd.DataFrame
    curves: pd.DataFrame
    versus: pd.DataFrame
    variances: pd.DataFrame
    not_estimated: pd.DataFrame
    benchmark: str | None
    method: str
    notes: tuple[str, ...]


def timed_attributes(study: Study) -> dict[str, pd.DataFrame]:
    """Return the attributes over time: name to `attribute minutes`, by time, of those with two times or more."""
    attributes = study.table("attributes")
    timed = attributes.loc[attributes["minutes"].notna() & (attributes["name"] != "")]
    found = {}
    for name, rows in timed.groupby("name", sort=False):
        times = rows[["attribute", "minutes"]].drop_duplicates("minutes").sort_values("minutes", ignore_index=True)
        if len(times) >= _FEWEST_TIMES:
            found[str(name)] = times
    return found


def follow_after_feel(study: Study) -> AfterFeel:
    """Compare the prototypes over the times of each attribute that was scored at several.

    Raises
    ------
    ModelError
        If no attribute has several times, or none can be estimated.
    """
    timed = timed_attributes(study)
    if not timed:
        raise ModelError(
            "No attribute was scored at several times. Give attributes that are the same but for the time one name and "
            "different minutes in the table attributes."
        )
    frame = scores_used(study).frame
    parts: list[dict[str, Any]] = []
    left_out: list[tuple[str, str]] = []
    for name, times in timed.items():
        try:
            design = _time_design(frame, times, study.prototypes)
            parts.append(_follow(name, design, study.benchmark))
        except ModelError as error:
            left_out.append((name, str(error)))
    if not parts:
        raise ModelError(f"No attribute can be followed over time: {'; '.join(f'{n} ({why})' for n, why in left_out)}")
    tests = pd.concat([part["tests"] for part in parts], ignore_index=True)
    tests["p_adjusted"] = tests.groupby("term")["p_value"].transform(lambda p: holm(p.to_numpy()))
    tests["differs"] = below(tests["p_adjusted"])
    versus = pd.concat([part["versus"] for part in parts], ignore_index=True)
    return AfterFeel(
        tests=tests,
        curves=pd.concat([part["curves"] for part in parts], ignore_index=True),
        versus=versus,
        variances=pd.concat([part["variances"] for part in parts], ignore_index=True),
        not_estimated=pd.DataFrame(left_out, columns=["name", "why"], dtype="str"),
        benchmark=study.benchmark if len(versus) else None,
        method=_method(),
        notes=(*(note for part in parts for note in part["notes"]), *(f"{n}: {why}" for n, why in left_out)),
    )


def _follow(name: str, design: _TimeDesign, benchmark: str | None) -> dict[str, Any]:
    """Fit one attribute over time and return its tables."""
    fit = fit_mixed_model(design.response, design.fixed, design.groups)
    if why := nothing_left(fit, design.response, design.fixed, design.groups)[0]:
        raise ModelError(f"{why}.")
    tests = []
    for term, contrasts in zip(("prototype", "time", "prototype_time"), _hypotheses(design), strict=True):
        found = test_contrasts(fit, contrasts)
        tests.append(
            {
                "name": name,
                "term": term,
                "statistic": found.statistic[0],
                "df": float(found.df),
                "df_error": found.df_error[0],
                "p_value": found.p_value[0],
                "n_scores": int(fit.n_scores[0]),
                "times": len(design.minutes),
                "model": design.sentence,
            }
        )
    cells = estimate_contrasts(fit, np.eye(design.n_cells, design.fixed.shape[1]))
    low, high = cells.interval(LEVEL)
    means = {"estimate": cells.estimate, "std_error": cells.std_error, "df": cells.df, "ci_low": low, "ci_high": high}
    curves = design.cells.assign(name=name, **{column: values[0] for column, values in means.items()})
    columns = ["name", "attribute", "minutes", "prototype", *means]
    return {
        "tests": pd.DataFrame(tests),
        "curves": curves[columns],
        "versus": _versus(name, design, fit, benchmark),
        "variances": pd.DataFrame({"name": name, "term": [*design.terms, "residual"], "variance": fit.variances[0]}),
        "notes": [f"{name}: {note}" for note in design.notes],
    }


def _hypotheses(design: _TimeDesign) -> tuple[Array, Array, Array]:
    """Return contrasts of the cells (prototype by time, time fastest): prototypes, times, and their interaction.

    Prototypes are compared with the first of them in the natural order of names, whatever order they are shown in.
    """
    k, m = len(design.prototypes), len(design.minutes)
    order = [design.prototypes.index(name) for name in natural_order(design.prototypes)]
    apart_k, apart_m = np.zeros((k - 1, k)), _differences(m)
    apart_k[:, order] = _differences(k)
    rows = (
        np.kron(apart_k, np.full((1, m), 1 / m)),
        np.kron(np.full((1, k), 1 / k), apart_m),
        np.kron(apart_k, apart_m),
    )
    more = design.fixed.shape[1] - design.n_cells
    prototype, time, both = (np.hstack([each, np.zeros((len(each), more))]) for each in rows)
    return prototype, time, both


def _differences(k: int) -> Array:
    return np.hstack([-np.ones((k - 1, 1)), np.eye(k - 1)])


def _versus(name: str, design: _TimeDesign, fit: Any, benchmark: str | None) -> pd.DataFrame:
    """Return the differences from the benchmark at each time, adjusted over all of them."""
    if benchmark not in design.prototypes:
        return pd.DataFrame(columns=_VERSUS)
    cells = design.cells
    others = cells.loc[cells["prototype"] != benchmark]
    base = cells.loc[cells["prototype"] == benchmark].set_index("minutes")["place"]
    contrasts = np.zeros((len(others), design.fixed.shape[1]))
    contrasts[np.arange(len(others)), others["place"]] = 1
    contrasts[np.arange(len(others)), base.loc[others["minutes"]].to_numpy()] = -1
    found = estimate_contrasts(fit, contrasts)
    half = stdtrit(found.df[0], 1 - ALPHA / (2 * len(others))) * found.std_error[0]
    return others.assign(
        name=name,
        versus=benchmark,
        estimate=found.estimate[0],
        std_error=found.std_error[0],
        df=found.df[0],
        statistic=found.statistic[0],
        p_value=found.p_value[0],
        ci_low=found.estimate[0] - half,
        ci_high=found.estimate[0] + half,
        p_adjusted=np.minimum(len(others) * found.p_value[0], 1.0),
        differs=below(len(others) * found.p_value[0]),
    )[_VERSUS]


def _method() -> str:
    return (
        "One mixed model per attribute over all its times: prototype by time fixed (and session where there are "
        "several); assessor, assessor x prototype, assessor x time, and where something was repeated each serving and "
        "assessor x prototype x time random; REML, Satterthwaite. The test of prototype x time asks whether the "
        "prototypes change alike; Holm over the attributes. Differences from the benchmark: p-values and "
        f"{level_words(LEVEL)}s by Bonferroni, the family being all times and prototypes of one attribute. "
        "Scores of one serving at neighbouring times are taken to go together no more than those further apart."
    )


# Which mixed model the scores of one attribute at several times call for, and the arrays it is fitted to.


_TERM_WORDS = {
    "assessor": "assessor",
    "assessor_prototype": "assessor x prototype",
    "assessor_time": "assessor x time",
    "serving": "serving",
    "assessor_prototype_time": "assessor x prototype x time",
}


@dataclass(frozen=True, eq=False, slots=True)
class _TimeDesign:
    """The arrays of one attribute over time.

    Parameters
    ----------
    cells
        `attribute minutes prototype place`: the fixed columns, prototype by time, time fastest.
    response, fixed, groups, terms
        Scores (n, 1), fixed columns (n, p): first the cells, then session contrasts; group numbers of each random term.
    """

    prototypes: tuple[str, ...]
    minutes: tuple[float, ...]
    cells: pd.DataFrame
    response: Array
    fixed: Array
    groups: list[Codes]
    terms: tuple[str, ...]
    with_session: bool
    notes: tuple[str, ...]

    @property
    def n_cells(self) -> int:
        """Number of prototypes times number of times."""
        return len(self.cells)

    @property
    def sentence(self) -> str:
        """The model in words."""
        fixed = "prototype x time, session" if self.with_session else "prototype x time"
        return f"score = {fixed} (fixed) + {', '.join(_TERM_WORDS[term] for term in self.terms)} (random) + residual"


def _time_design(frame: pd.DataFrame, times: pd.DataFrame, prototypes: tuple[str, ...]) -> _TimeDesign:
    """Return the design for the attributes and minutes in `times`.

    Raises
    ------
    ModelError
        If fewer than two times, prototypes scored at all of them, or assessors are there.
    """
    rows = frame.loc[frame["attribute"].isin(times["attribute"])]
    rows = rows.assign(minutes=rows["attribute"].map(times.set_index("attribute")["minutes"]))
    minutes = tuple(float(value) for value in times["minutes"] if (rows["minutes"] == value).any())
    scored = rows.groupby("prototype")["minutes"].nunique()
    kept = tuple(name for name in prototypes if scored.get(name, 0) == len(minutes))
    notes = tuple(f"{name} was not scored at every time and is left out." for name in scored.index if name not in kept)
    rows = rows.loc[rows["prototype"].isin(kept)].reset_index(drop=True)
    if len(minutes) < 2 or len(kept) < 2 or rows["assessor"].nunique() < 2:
        raise ModelError("it takes two times, two prototypes scored at each of them, and two assessors.")
    names = {value: name for name, value in zip(times["attribute"], times["minutes"], strict=True)}
    cells = pd.DataFrame(
        [(names[value], value, name) for name in kept for value in minutes],
        columns=["attribute", "minutes", "prototype"],
    ).assign(place=range(len(kept) * len(minutes)))
    cell = _codes(rows["prototype"], kept) * len(minutes) + _codes(rows["minutes"], minutes)
    groups, terms = _random(rows)
    fixed = np.eye(len(cells))[cell]
    codes = pd.factorize(rows["session"])[0]
    each = np.eye(int(codes.max()) + 1)[codes]
    session = np.asarray(each[:, :-1] - each[:, -1:])
    both = np.hstack([fixed, session])
    with_session = bool(session.shape[1]) and np.linalg.matrix_rank(both) == both.shape[1]
    return _TimeDesign(
        prototypes=kept,
        minutes=minutes,
        cells=cells,
        response=rows[["score"]].to_numpy(dtype=float),
        fixed=both if with_session else fixed,
        groups=groups,
        terms=terms,
        with_session=with_session,
        notes=notes,
    )


def _codes(values: pd.Series, order: tuple[object, ...]) -> Codes:
    return np.asarray(pd.Index(list(order)).get_indexer(pd.Index(values)))


def _random(rows: pd.DataFrame) -> tuple[list[Codes], tuple[str, ...]]:
    """Return group numbers of the random terms these rows can tell apart, from each other and from the residual."""
    columns = {
        "assessor": ["assessor"],
        "assessor_prototype": ["assessor", "prototype"],
        "assessor_time": ["assessor", "minutes"],
        "serving": ["assessor", "prototype", "session", "replicate"],
        "assessor_prototype_time": ["assessor", "prototype", "minutes"],
    }
    found: dict[str, Codes] = {}
    for term, names in columns.items():
        codes = np.asarray(rows.groupby(names, sort=False).ngroup(), dtype=np.intp)
        # one group per row is the residual; the same groups as another term are that term
        if codes.max() + 1 < len(rows) and not any(_same_groups(codes, other) for other in found.values()):
            found[term] = codes
    return list(found.values()), tuple(found)


def _same_groups(one: Codes, other: Codes) -> bool:
    pairs = len(np.unique(np.stack([one, other]), axis=1).T)
    return bool(pairs == one.max() + 1 == other.max() + 1)


QUANTITIES = MappingProxyType(
    {
        "largest": "largest intensity",
        "time_to_largest": "time to the largest intensity (s)",
        "plateau": "time at the largest intensity (s)",
        "duration": "duration (s)",
        "area": "area under the course",
        "area_before": "area before the largest intensity",
        "area_after": "area after the largest intensity",
        "rate_up": "rate of rise (per s)",
        "rate_down": "rate of fall (per s)",
    }
)
_GRID_POINTS = 61
_COURSE = ["attribute", "prototype", "assessor", "session", "replicate"]
_SEPARATOR = ": "


@dataclass(frozen=True, eq=False, slots=True)
class Courses:
    """Courses of intensity, reduced and compared; frames tidy and unrounded.

    Parameters
    ----------
    courses
        One row for each course: `attribute prototype assessor session replicate`, the quantities of
        `panel.stats.curves.over_time.IntensityCourse`, `n_points ended`.
    means
        `attribute prototype seconds estimate n`: mean intensity at points of time where most courses run; n courses.
    differences
        The ordinary comparison, each quantity an attribute called `attribute: quantity`; None where it cannot be made.
    left_out
        `attribute prototype assessor session why`: courses that could not be reduced.
    """

    courses: pd.DataFrame
    means: pd.DataFrame
    differences: Differences | None
    left_out: pd.DataFrame
    method: str
    notes: tuple[str, ...]


def reduce_courses(study: Study) -> Courses:
    """Reduce every course of a study and compare the prototypes on each quantity.

    Raises
    ------
    ModelError
        If the study has no courses, or none can be reduced.
    """
    table = named_rows(study, "courses")
    points = table.loc[table["seconds"].notna() & table["score"].notna()]
    if points.empty:
        raise ModelError(
            "The study has no courses of intensity. Add the table courses: assessor, prototype, attribute, seconds, "
            "score, one row for each point."
        )
    rows, left_out = [], []
    for key, own in points.groupby(_COURSE, sort=False):
        own = own.sort_values("seconds", kind="stable")
        names = dict(zip(_COURSE, map(str, key), strict=True))
        try:
            found = intensity_course(own["seconds"], own["score"])
            rows.append(names | found | {"n_points": len(own)})
        except ModelError as error:
            left_out.append(names | {"why": str(error)})
    if not rows:
        raise ModelError(f"No course of intensity can be reduced: {left_out[0]['why']}")
    courses = pd.DataFrame(rows)
    differences, why = _compare(study, courses)
    return Courses(
        courses=courses,
        means=_mean_courses(points),
        differences=differences,
        left_out=pd.DataFrame(left_out, columns=[*_COURSE, "why"], dtype="str"),
        method=(
            "Each course is taken as straight between its points and reduced to its quantities (terms of ASTM E1909; "
            "the time to the largest intensity is that of the first point of a plateau); each quantity is then "
            "compared like any attribute. " + (differences.method if differences else "")
        ).strip(),
        notes=tuple(_notes(courses, left_out, why, study)),
    )


def _compare(study: Study, courses: pd.DataFrame) -> tuple[Differences | None, str]:
    """Return the comparison of the quantities as if they were scores, or why there is none."""
    long = courses.melt(id_vars=_COURSE, value_vars=list(QUANTITIES), var_name="quantity", value_name="score")
    long = long.loc[long["score"].notna()]
    short = long["attribute"] + _SEPARATOR + long["quantity"]
    words = {
        f"{attribute}{_SEPARATOR}{quantity}": f"{study.attribute_words(attribute)}{_SEPARATOR}{text}"
        for attribute in courses["attribute"].unique()
        for quantity, text in QUANTITIES.items()
    }
    attributes = pd.DataFrame({"attribute": list(words), "name": list(words.values())})
    scores = long.assign(attribute=short)[["assessor", "prototype", "attribute", "score", "session", "replicate"]]
    facts = {"benchmark": study.benchmark} if study.benchmark in set(courses["prototype"]) else {}
    tables = {"prototypes": study.table("prototypes"), "attributes": attributes, "scores": scores}
    try:
        return find_differences(Study(tables, facts)), ""
    except ModelError as error:
        return None, str(error)


def _mean_courses(points: pd.DataFrame) -> pd.DataFrame:
    """Return the mean intensity over time of each prototype, where at least half of its courses run."""
    parts = []
    for attribute, own in points.groupby("attribute", sort=False):
        grid = np.linspace(0.0, float(own["seconds"].max()), _GRID_POINTS)
        for prototype, rows in own.groupby("prototype", sort=False):
            sorted_rows = rows.sort_values("seconds", kind="stable")
            each = [
                course_at(course["seconds"], course["score"], grid)
                for _, course in sorted_rows.groupby(_COURSE, sort=False)
                if course["seconds"].is_unique
            ]
            if not each:
                continue
            run = np.array(each)
            n = np.isfinite(run).sum(axis=0)
            total = np.nansum(run, axis=0)
            enough = n >= max(len(run) / 2, 1)
            parts.append(
                pd.DataFrame(
                    {
                        "attribute": attribute,
                        "prototype": prototype,
                        "seconds": grid[enough],
                        "estimate": total[enough] / n[enough],
                        "n": n[enough],
                    }
                )
            )
    return pd.concat(parts, ignore_index=True)


def _notes(courses: pd.DataFrame, left_out: list[dict[str, str]], why: str, study: Study) -> list[str]:
    notes = [
        f"{study.attribute_words(row['attribute'])}, {row['prototype']}, {row['assessor']}: left out, {row['why']}"
        for row in left_out
    ]
    open_ended = int((~courses["ended"]).sum())
    if open_ended:
        notes.append(
            f"{open_ended} of {len(courses)} courses did not come back to zero: their duration, areas and rate of "
            "decrease end with the recording."
        )
    if why:
        notes.append(f"The prototypes are not compared: {why}")
    notes.append(
        "The quantities of one course hang together: the tests of one attribute are not as many pieces of evidence."
    )
    return notes
