"""How does an intensity rise and fall while a sample is worked in, and where do the prototypes differ in that?"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from types import MappingProxyType

import numpy as np
import pandas as pd

from panel.errors import ModelError
from panel.models.prototypes.differences import Differences, find_differences
from panel.stats.curves.over_time import course_at, intensity_course
from panel.study.scores_used import named_rows
from panel.study.study import Study

QUANTITIES = MappingProxyType(
    {
        "largest": "largest intensity",
        "time_to_largest": "time to the largest intensity (s)",
        "plateau": "time at the largest intensity (s)",
        "duration": "duration (s)",
        "area": "area under the course",
        "area_before": "area before the largest intensity",
        "area_after": "area after the largest intensity",
        "rate_up": "rate of increase (per s)",
        "rate_down": "rate of decrease (per s)",
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
            rows.append(names | asdict(found) | {"n_points": len(own)})
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
        notes=tuple(_notes(courses, left_out, why)),
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


def _notes(courses: pd.DataFrame, left_out: list[dict[str, str]], why: str) -> list[str]:
    notes = [f"{row['attribute']}, {row['prototype']}, {row['assessor']}: left out, {row['why']}" for row in left_out]
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
