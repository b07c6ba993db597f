"""Command about time: after-feel over the minutes, courses of intensity, dominant sensations."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from panel.cli.shared import json_option, open_path, print_json, print_lines, print_table, study_argument
from panel.errors import ModelError

if TYPE_CHECKING:
    from panel.models.over_time.after_feel import AfterFeel
    from panel.models.over_time.dominance import Dominances
    from panel.models.over_time.intensity import Courses
    from panel.views.drawing.naming import Naming


NOTHING_OVER_TIME = (
    "Nothing in this study runs over time. Score an attribute at several times (in the table attributes each time has "
    "a row of its own, with the same name and other minutes), or add the table courses or the table dominances."
)


@click.command("over-time", short_help="Say what happens over time.")
@study_argument
@json_option
def over_time(study: Path, as_json: bool) -> None:
    """Say what happens over time: after-feel, courses of intensity, dominance."""
    from panel.models.over_time.after_feel import follow_after_feel, timed_attributes
    from panel.models.over_time.dominance import follow_dominance
    from panel.models.over_time.intensity import reduce_courses
    from panel.views.drawing.naming import naming

    opened = open_path(study)
    has_courses, has_dominance = (not opened.table(name).empty for name in ("courses", "dominances"))
    timed = bool(timed_attributes(opened))
    if not (timed or has_courses or has_dominance):
        raise ModelError(NOTHING_OVER_TIME)
    after_feel = follow_after_feel(opened) if timed else None
    courses = reduce_courses(opened) if has_courses else None
    dominance = follow_dominance(opened) if has_dominance else None
    if as_json:
        print_json(_as_data(after_feel, courses, dominance))
        return
    _print_words(naming(opened), after_feel, courses, dominance)


def _as_data(after_feel: AfterFeel | None, courses: Courses | None, dominance: Dominances | None) -> dict[str, Any]:
    content: dict[str, Any] = {}
    if after_feel is not None:
        content |= {f"after_feel_{name}": getattr(after_feel, name) for name in ("tests", "curves", "versus")}
        content["after_feel_variances"] = after_feel.variances
    if courses is not None:
        content |= {"courses": courses.courses, "mean_courses": courses.means}
        if courses.differences is not None:
            content |= {"course_tests": courses.differences.attributes, "course_pairs": courses.differences.pairs}
    if dominance is not None:
        content |= {"dominance_rates": dominance.rates, "dominance_lines": dominance.lines}
        content |= {"dominance_periods": dominance.periods, "dominance_differences": dominance.differences}
    results = [result for result in (after_feel, courses, dominance) if result is not None]
    methods = " ".join(result.method for result in results)
    return content | {"method": methods, "notes": [note for result in results for note in result.notes]}


def _print_words(
    names: Naming, after_feel: AfterFeel | None, courses: Courses | None, dominance: Dominances | None
) -> None:
    from panel.views.over_time import over_time_tables as tables
    from panel.views.over_time import over_time_words as words

    if after_feel is not None:
        print_lines(words.after_feel_headline(after_feel), "", *words.after_feel_sentences(after_feel, names), "")
        print_table(tables.after_feel_tests_table(after_feel))
        if len(after_feel.versus):
            print_table(tables.after_feel_versus_table(after_feel, names))
        print_lines(after_feel.method, *after_feel.notes, *words.what_after_feel_cannot_show(), "")
    if courses is not None:
        headline = [words.courses_headline(courses, names), ""] if courses.differences is not None else []
        print_lines(*headline, *words.course_sentences(courses, names), "")
        print_table(tables.courses_table(courses, names))
        print_lines(courses.method, *courses.notes, *words.what_courses_cannot_show(), "")
    if dominance is not None:
        print_lines(*words.dominance_sentences(dominance, names), "")
        print_table(tables.dominance_table(dominance, names))
        print_lines(*words.dominance_difference_sentences(dominance, names))
        print_lines(dominance.method, *dominance.notes, *words.what_dominance_cannot_show())
