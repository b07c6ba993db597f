"""How does an attribute change over the minutes after use, and do the prototypes change alike?

Attributes that share their name and differ in `minutes` are one attribute over time. The courses of intensity
while a sample is worked in stand here too: how it rises and falls, and where the prototypes differ in that.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import combinations
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from panel.checks.confounds import Confounds, find_confounds, untold_findings
from panel.errors import ModelError
from panel.models.prototypes.differences import Differences, confound_notes, find_differences
from panel.models.prototypes.panel_design import NOTHING_JOINED, fixed_columns
from panel.models.prototypes.verdict import NOT_BESIDE_THE_OTHERS, groups_scoring, holds_alone
from panel.stats.arrays import Array, Codes
from panel.stats.comparing.multiplicity import ALPHA, LEVEL, below, holm
from panel.stats.curves.over_time import course_at, intensity_course
from panel.stats.mixed.inference import estimate_contrasts, test_contrasts
from panel.stats.mixed.reml import fit_mixed_model
from panel.stats.mixed.residuals import nothing_left
from panel.stats.orders.block_designs import both_sets, sets_told
from panel.study.scores_used import named_rows, scores_used, serving_of_score
from panel.study.study import Study, natural_order
from panel.words import level_words

_FEWEST_TIMES = 2
_VERSUS = [
    *("name", "minutes", "prototype", "versus", "estimate", "std_error", "df", "statistic", "p_value"),
    *("ci_low", "ci_high", "p_adjusted", "differs", "because"),
]


@dataclass(frozen=True, eq=False, slots=True)
class AfterFeel:
    """Attributes over the minutes after use; frames tidy and unrounded.

    Parameters
    ----------
    tests
        `name term statistic df df_error p_value p_adjusted n_scores times model differs because`; terms `prototype`
        (means over the times), `time` (means over the prototypes) and `prototype_time` (do the prototypes change
        alike?); `p_adjusted` by Holm over the attributes, for each term. Prototypes are compared only where a session
        joins them; `because`: what else in the test could explain it, then nothing `differs`.
    curves
        `name attribute minutes prototype estimate std_error df ci_low ci_high`: estimated means.
    versus
        `name minutes prototype versus estimate std_error df statistic p_value ci_low ci_high p_adjusted differs
        because`: differences from the benchmark at each time; p-values and intervals by Bonferroni over all times and
        prototypes of the attribute; none `differs` where neither test of its prototypes does. Without rows if there is
        no benchmark; without numbers where something of the test goes wholly along with the pair, which `because`
        names.
    variances
        `name term variance`.
    not_estimated
        `name why`.
    untold, holds
        What pairs cannot be told from, in words; for what alone the verdicts hold.
    """

    tests: pd.DataFrame
    curves: pd.DataFrame
    versus: pd.DataFrame
    variances: pd.DataFrame
    not_estimated: pd.DataFrame
    benchmark: str | None
    untold: tuple[str, ...]
    holds: str
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
    frame, confounds = scores_used(study).frame, find_confounds(study)
    frame = frame.assign(position=serving_of_score(study, frame)[0])
    parts: list[dict[str, Any]] = []
    left_out: list[tuple[str, str]] = []
    for name, times in timed.items():
        try:
            design = _time_design(frame, times, study.prototypes, confounds)
            parts.append(_follow(name, design, study.benchmark))
        except ModelError as error:
            left_out.append((name, str(error)))
    if not parts:
        raise ModelError(f"No attribute can be followed over time: {'; '.join(f'{n} ({why})' for n, why in left_out)}")
    tests = pd.concat([part["tests"] for part in parts], ignore_index=True)
    tests["p_adjusted"] = tests.groupby("term")["p_value"].transform(lambda p: holm(p.to_numpy()))
    tests["differs"] = below(tests["p_adjusted"]) & (tests["because"] == "")
    versus = _beside_the_others(pd.concat([part["versus"] for part in parts], ignore_index=True), tests)
    return AfterFeel(
        tests=tests,
        curves=pd.concat([part["curves"] for part in parts], ignore_index=True),
        versus=versus,
        variances=pd.concat([part["variances"] for part in parts], ignore_index=True),
        not_estimated=pd.DataFrame(left_out, columns=["name", "why"], dtype="str"),
        benchmark=study.benchmark if len(versus) else None,
        untold=tuple(finding.message for finding in untold_findings(confounds)),
        holds=holds_alone(replace(confounds, batches={}), groups_scoring(study)),  # no model here holds batches
        method=_method(),
        notes=(
            *(note for part in parts for note in part["notes"]),
            *(f"{n}: {why}" for n, why in left_out),
            *confound_notes(confounds),
        ),
    )


def _beside_the_others(versus: pd.DataFrame, tests: pd.DataFrame) -> pd.DataFrame:
    """Return the differences from the benchmark; none is told where no test of its attribute tells prototypes apart."""
    apart = tests.loc[(tests["term"] != "time") & tests["differs"], "name"]
    alone = versus["differs"].astype(bool) & ~versus["name"].isin(apart)
    return versus.assign(
        differs=versus["differs"] & ~alone, because=versus["because"].mask(alone, NOT_BESIDE_THE_OTHERS)
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
                "because": "" if term == "time" else design.taken_in,
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

    Prototypes are compared with the first of their set in the natural order of names, whatever order they are shown in.
    """
    k, m = len(design.prototypes), len(design.minutes)
    order = [design.prototypes.index(name) for name in natural_order(design.prototypes)]
    first = {int(design.sets[place]): place for place in reversed(order)}
    others = [place for place in order if place not in first.values()]
    apart_k, apart_m = np.eye(k)[others] - np.eye(k)[[first[int(design.sets[place])] for place in others]], _steps(m)
    rows = (
        np.kron(apart_k, np.full((1, m), 1 / m)),
        np.kron(np.full((1, k), 1 / k), apart_m),
        np.kron(apart_k, apart_m),
    )
    more = design.fixed.shape[1] - design.n_cells
    prototype, time, both = (np.hstack([each, np.zeros((len(each), more))]) for each in rows)
    return prototype, time, both


def _steps(k: int) -> Array:
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
    because = [design.untold[frozenset((prototype, str(benchmark)))] for prototype in others["prototype"]]
    told = np.array(because, dtype=object) == ""
    asked = int(told.sum())
    half = stdtrit(found.df[0], 1 - ALPHA / (2 * max(asked, 1))) * found.std_error[0]
    adjusted = np.where(told, np.minimum(asked * found.p_value[0], 1.0), np.nan)
    values = {
        "estimate": found.estimate[0],
        "std_error": found.std_error[0],
        "df": found.df[0],
        "statistic": found.statistic[0],
        "p_value": found.p_value[0],
        "ci_low": found.estimate[0] - half,
        "ci_high": found.estimate[0] + half,
        "p_adjusted": adjusted,
    }
    shown = {column: np.where(told, own, np.nan) for column, own in values.items()}
    rows = others.assign(name=name, versus=benchmark, **shown, differs=below(adjusted))
    return rows.assign(because=pd.Series(because, index=rows.index, dtype="str"))[_VERSUS]


def _method() -> str:
    return (
        "One mixed model per attribute over all its times: prototype by time fixed (and session where there are "
        "several, and position where orders are uneven); assessor, assessor x prototype, assessor x time, and where "
        "something was repeated assessor x session, each serving and "
        "assessor x prototype x time random; REML, Satterthwaite. The test of prototype x time asks whether the "
        "prototypes change alike; Holm over the attributes. Prototypes are compared only where sessions, days and "
        "groups of assessors join them. Differences from the benchmark: p-values and "
        f"{level_words(LEVEL)}s by Bonferroni, the family being all times and prototypes of one attribute; none is "
        "told where neither test of the attribute's prototypes tells them apart. "
        "Scores of one serving at neighbouring times are taken to go together no more than those further apart."
    )


# Which mixed model the scores of one attribute at several times call for, and the arrays it is fitted to.


_TERM_WORDS = {
    "assessor": "assessor",
    "assessor_prototype": "assessor x prototype",
    "assessor_time": "assessor x time",
    "assessor_session": "assessor x session",
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
        Scores (n, 1), fixed columns (n, p): first the cells, then contrasts of the `factors`, as far as they are told;
        group numbers of each random term.
    sets, untold
        Number of the set within which each prototype can be compared; of each pair why it cannot be told, or nothing.
    """

    prototypes: tuple[str, ...]
    minutes: tuple[float, ...]
    cells: pd.DataFrame
    response: Array
    fixed: Array
    groups: list[Codes]
    terms: tuple[str, ...]
    factors: tuple[str, ...]
    sets: Codes
    untold: dict[frozenset[str], str]
    notes: tuple[str, ...]

    @property
    def taken_in(self) -> str:
        """Why the tests of prototypes tell nothing: what goes along with a pair that they take in; else nothing."""
        places = combinations(range(len(self.prototypes)), 2)
        inside = [(one, other) for one, other in places if self.sets[one] == self.sets[other]]
        why = [self.untold[frozenset((self.prototypes[one], self.prototypes[other]))] for one, other in inside]
        return next(filter(None, why), "")

    @property
    def n_cells(self) -> int:
        """Number of prototypes times number of times."""
        return len(self.cells)

    @property
    def sentence(self) -> str:
        """The model in words."""
        fixed = ", ".join(("prototype x time", *self.factors))
        return f"score = {fixed} (fixed) + {', '.join(_TERM_WORDS[term] for term in self.terms)} (random) + residual"


def _time_design(
    frame: pd.DataFrame, times: pd.DataFrame, prototypes: tuple[str, ...], confounds: Confounds
) -> _TimeDesign:
    """Return the design for the attributes and minutes in `times`.

    Raises
    ------
    ModelError
        If fewer than two times, prototypes scored at all of them, or assessors are there, or nothing joins prototypes.
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
    columns = np.eye(len(cells))[_codes(rows["prototype"], kept) * len(minutes) + _codes(rows["minutes"], minutes)]
    factors, response = _factors(rows, uneven=confounds.uneven_orders), rows[["score"]].to_numpy(dtype=float)
    sets = sets_told(columns, factors.values(), len(minutes))
    for name in map(names.__getitem__, minutes):
        sets = both_sets(sets, np.array([confounds.sets[name][prototype] for prototype in kept], dtype=np.intp))
    if int(sets.max()) + 1 == len(kept):
        raise ModelError(f"{NOTHING_JOINED}.")
    groups, terms = _random(rows)
    return _TimeDesign(
        prototypes=kept,
        minutes=minutes,
        cells=cells,
        response=response,
        fixed=fixed_columns(columns, factors, response)[0],
        groups=groups,
        terms=terms,
        factors=tuple(factors),
        sets=sets,
        untold=_untold(kept, sets, list(map(names.__getitem__, minutes)), confounds),
        notes=notes,
    )


def _factors(rows: pd.DataFrame, *, uneven: bool) -> dict[str, Codes]:
    """Return what is fixed beside prototypes and times: sessions that are the panel's, positions of `uneven` orders."""
    sessions, attended = rows["session"].nunique(), len(rows[["assessor", "session"]].drop_duplicates())
    names = [*(["session"] if 1 < sessions < attended else []), *(["position"] if uneven else [])]
    return {name: pd.factorize(rows[name], sort=True)[0].astype(np.intp) for name in names}


def _untold(
    prototypes: tuple[str, ...], sets: Codes, attributes: Iterable[str], confounds: Confounds
) -> dict[frozenset[str], str]:
    """Return why each pair cannot be told, as nothing joins the two or something of the test goes along with them."""
    found = {}
    for one, other in combinations(range(len(prototypes)), 2):
        pair = prototypes[one], prototypes[other]
        why = dict.fromkeys(words for name in attributes for words in confounds.untold(name, *pair)["because"])
        apart = "" if sets[one] == sets[other] else "sessions and positions leave no estimate of it"
        found[frozenset(pair)] = "; ".join(why) or apart
    return found


def _codes(values: pd.Series, order: tuple[object, ...]) -> Codes:
    return np.asarray(pd.Index(list(order)).get_indexer(pd.Index(values)))


def _random(rows: pd.DataFrame) -> tuple[list[Codes], tuple[str, ...]]:
    """Return group numbers of the random terms these rows can tell apart, from each other and from the residual."""
    columns = {
        "assessor": ["assessor"],
        "assessor_prototype": ["assessor", "prototype"],
        "assessor_time": ["assessor", "minutes"],
        "assessor_session": ["assessor", "session"],
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
    tables = {name: study.table(name) for name in ("prototypes", "assessors")}
    tables |= {"attributes": attributes, "scores": scores}
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
