"""Command about what happens over time: after-feel, courses of intensity, dominance."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from panel.cli.shared import json_option, open_path, print_json, print_told, study_argument
from panel.errors import ModelError

NOTHING_OVER_TIME = (
    "Nothing in this study runs over time. Score an attribute at several times (in the table attributes each time has "
    "a row of its own, with the same name and other minutes), or add the table courses or the table dominances."
)


@click.command("over-time", short_help="Say what happens over time.")
@study_argument
@click.option("--all", "everything", is_flag=True, help="Also what else there is to say.")
@json_option
def over_time(study: Path, everything: bool, as_json: bool) -> None:
    """Say what happens over time: after-feel, courses of intensity, dominance."""
    from panel.answers import AFTER_FEEL, COURSES, DOMINANCES, Answers
    from panel.models.over_time.after_feel import timed_attributes
    from panel.views.over_time import tell_after_feel, tell_courses, tell_dominance

    answers = Answers(open_path(study))
    has_courses, has_dominance = (not answers.study.table(name).empty for name in ("courses", "dominances"))
    timed = bool(timed_attributes(answers.study))
    if not (timed or has_courses or has_dominance):
        raise ModelError(NOTHING_OVER_TIME)
    after_feel = answers.need(AFTER_FEEL) if timed else None
    courses = answers.need(COURSES) if has_courses else None
    dominances = answers.need(DOMINANCES) if has_dominance else None
    if as_json:
        print_json(_as_data(after_feel, courses, dominances) | ({"seed": answers.seed} if dominances else {}))
        return
    told: list[tuple[Any, Any]] = [(after_feel, tell_after_feel), (courses, tell_courses), (dominances, tell_dominance)]
    for result, tell in told:
        if result is not None:
            print_told(tell(result, answers.names), everything=everything)


def _as_data(after_feel: Any, courses: Any, dominances: Any) -> dict[str, Any]:
    content: dict[str, Any] = {}
    if after_feel is not None:
        content |= {f"after_feel_{name}": getattr(after_feel, name) for name in ("tests", "curves", "versus")}
        content["after_feel_variances"] = after_feel.variances
    if courses is not None:
        content |= {"courses": courses.courses, "mean_courses": courses.means}
        if courses.differences is not None:
            content |= {"course_tests": courses.differences.attributes, "course_pairs": courses.differences.pairs}
    if dominances is not None:
        frames = ("rates", "lines", "periods", "differences")
        content |= {f"dominance_{name}": getattr(dominances, name) for name in frames}
    results = [result for result in (after_feel, courses, dominances) if result is not None]
    methods = " ".join(result.method for result in results)
    return content | {"method": methods, "notes": [note for result in results for note in result.notes]}
