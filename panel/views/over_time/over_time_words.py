"""What happens over time, in plain sentences made from the numbers, and what cannot be seen in it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from panel.models.over_time.after_feel import AfterFeel
from panel.models.over_time.dominance import Dominances
from panel.models.over_time.intensity import QUANTITIES, Courses
from panel.views.drawing.formats import format_list, format_number, format_share, p_words
from panel.views.drawing.naming import Naming

_AT_ONCE = 0.05  # a difference of dominance with a smaller p-value is told, at its moment alone


def after_feel_headline(result: AfterFeel) -> str:
    """Return the answer in one sentence: on which attributes the prototypes change differently."""
    rows = result.tests.loc[result.tests["term"] == "prototype_time"]
    apart = rows.loc[rows["p_adjusted"] < round(1 - result.level, 12), "name"]
    if len(apart):
        return f"The prototypes do not change alike over time on {format_list([str(name) for name in apart])}."
    return "No attribute shows that the prototypes change differently over time. That does not show they change alike."


def after_feel_sentences(result: AfterFeel, names: Naming) -> list[str]:
    """Return one line per attribute: the three tests, and the differences from the benchmark that stand out."""
    return [_follow(str(name), rows, result, names) for name, rows in result.tests.groupby("name", sort=False)]


def after_feel_heads(result: AfterFeel) -> list[str]:
    """Return the words at the head of each line."""
    return [str(name) for name in result.tests["name"].unique()]


def _follow(name: str, rows: pd.DataFrame, result: AfterFeel, names: Naming) -> str:
    told = rows.set_index("term").to_dict("index")
    bar = round(1 - result.level, 12)
    words = {
        "prototype": ("the prototypes differ on the whole", "no difference on the whole is shown"),
        "time": ("it changes over time", "no change over time is shown"),
        "prototype_time": ("the prototypes do not change alike", "no difference in the change is shown"),
    }
    parts = [
        f"{words[term][0] if told[term]['p_adjusted'] < bar else words[term][1]} "
        f"(F {format_number(told[term]['statistic'], 1)}, {p_words(told[term]['p_adjusted'])})"
        for term in ("prototype_time", "prototype", "time")
    ]
    return f"{name}: {'; '.join(parts)}.{_beside_benchmark(name, result, names)}"


def _beside_benchmark(name: str, result: AfterFeel, names: Naming) -> str:
    versus = result.versus.loc[result.versus["name"] == name]
    if versus.empty:
        return ""
    out = versus.loc[versus["p_adjusted"] < round(1 - result.level, 12)]
    if out.empty:
        return f" No difference from {result.benchmark} stands out at any time."
    each = []
    for prototype in out["prototype"].unique():
        own = out.loc[out["prototype"] == prototype]
        for side, rows in (("higher", own.loc[own["estimate"] > 0]), ("lower", own.loc[own["estimate"] < 0])):
            if len(rows):
                each.append(f"{names.prototype(str(prototype))} {side} at {_moments(rows)}")
    return f" Against {result.benchmark}: {'; '.join(each)} (scale units in brackets)."


def _moments(rows: pd.DataFrame) -> str:
    return format_list(
        [f"{row['minutes']:g} min ({format_number(abs(row['estimate']), 1)})" for row in rows.to_dict("records")]
    )


def what_after_feel_cannot_show() -> tuple[str, ...]:
    """Return what a reader must not take from the curves."""
    return (
        "Between the times that were scored nothing was seen, and after the last one nothing is known.",
        "Scores given one after another on the same skin lean on each other; people remember what they said before.",
        "What wears off in the test room need not wear off so in wear, with washing and handling.",
    )


def course_names(result: Courses, names: Naming) -> Naming:
    """Return the words for the quantities of the courses."""
    words = {
        f"{attribute}: {quantity}": f"{names.attribute(str(attribute))}, {text}"
        for attribute in result.courses["attribute"].unique()
        for quantity, text in QUANTITIES.items()
    }
    return Naming(attributes=words, prototypes=names.prototypes, digits=2)


def courses_headline(result: Courses, names: Naming) -> str:
    """Return the answer in one sentence: in which quantities the courses differ; empty if that was not tested."""
    if result.differences is None:
        return ""
    rows, words = result.differences.attributes, course_names(result, names)
    apart = rows["p_adjusted"] < round(1 - result.differences.level, 12)
    named = [[_quoted(words.attribute(str(name))) for name in rows.loc[side, "attribute"]] for side in (apart, ~apart)]
    if not named[0]:
        return "In no quantity can the courses be told apart. That does not show that they are alike."
    if not named[1]:
        return f"The courses of the prototypes differ in {'the one quantity' if len(rows) == 1 else 'every quantity'}."
    return (
        f"The courses of the prototypes differ in {len(named[0])} of {len(rows)} quantities; not told apart in "
        f"{format_list(named[1])}."
    )


def _quoted(words: str) -> str:
    """Words with a comma in them would read as two things in a list."""
    return f"“{words}”" if "," in words else words


def course_sentences(result: Courses, names: Naming) -> list[str]:
    """Return one line per attribute: how many courses, how strong and how long on average."""
    return [
        f"{names.attribute(str(attribute))}: {len(rows)} courses of {rows['assessor'].nunique()} people; the largest "
        f"intensity is {format_number(rows['largest'].mean(), 1)} on average, reached after "
        f"{format_number(rows['time_to_largest'].mean(), 1)} s; it lasts {format_number(rows['duration'].mean(), 1)} s."
        for attribute, rows in result.courses.groupby("attribute", sort=False)
    ]


def what_courses_cannot_show() -> tuple[str, ...]:
    """Return what a reader must not take from courses of intensity."""
    return (
        "A mean course is the course of nobody: people peak at different moments, so its peak is lower and broader.",
        "How fast a person moves the marker is in every rate and time; compare prototypes, not people.",
    )


def dominance_sentences(result: Dominances, names: Naming) -> list[str]:
    """Return one line per prototype: what is dominant beyond chance, in the order of time."""
    lines = []
    for row in result.lines.to_dict("records"):
        periods = result.periods.loc[result.periods["prototype"] == row["prototype"]].sort_values("start")
        lines.append(f"{names.prototype(str(row['prototype']))}: {_dominant(periods, row, names)}")
    return lines


def _dominant(periods: pd.DataFrame, row: Mapping[Any, Any], names: Naming) -> str:
    if row["line"] > 1:
        return f"{row['n']} evaluations are too few to rise above chance."
    base = f"{row['n']} evaluations; beyond chance from {format_share(row['line'])}"
    if periods.empty:
        return f"nothing is dominant beyond chance ({base})."
    told = [
        f"{names.attribute(str(each['attribute']))} from {100 * each['start']:.0f} to {100 * each['end']:.0f} % of the "
        f"time (at its height in {format_share(each['highest'])} of the evaluations)"
        for each in periods.to_dict("records")
    ]
    return f"dominant beyond chance are {format_list(told)} ({base})."


def dominance_difference_sentences(result: Dominances, names: Naming) -> list[str]:
    """Return one line per prototype and attribute that differs from the other at some moments."""
    rows = result.differences
    lines = []
    for (prototype, attribute), own in rows.groupby(["prototype", "attribute"], sort=False):
        seen = own.loc[own["p_value"] < _AT_ONCE]
        if seen.empty:
            continue
        largest = seen.iloc[int(seen["estimate"].abs().to_numpy().argmax())]
        side = "more" if largest["estimate"] > 0 else "less"
        lines.append(
            f"{names.attribute(str(attribute))} is dominant {side} often in {prototype} than in {largest['versus']} at "
            f"{len(seen)} of {len(own)} moments, the most at {100 * largest['time']:.0f} % of the time (by "
            f"{format_share(abs(largest['estimate']))} of the evaluations, {p_words(largest['p_value'])} at "
            "that moment alone)."
        )
    if len(rows) and not lines:
        lines.append("At no moment is a difference of dominance seen.")
    return lines


def dominance_heads(result: Dominances, names: Naming) -> list[str]:
    """Return the words at the head of each line."""
    return [names.prototype(str(prototype)) for prototype in result.lines["prototype"]]


def course_heads(result: Courses, names: Naming) -> list[str]:
    """Return the words at the head of each line."""
    return [names.attribute(str(attribute)) for attribute in result.courses["attribute"].unique()]


def what_dominance_cannot_show() -> tuple[str, ...]:
    """Return what a reader must not take from dominance."""
    return (
        "Dominant is what catches the attention, not what is strongest; a weak new sensation may be dominant.",
        "Each moment is tested alone and there are many: with a hundred moments some differences come by chance. Trust "
        "long stretches, not single moments.",
        "Panel checks of scores do not apply to dominance; there is no right order.",
        "Standardised time hides that some people stop much earlier than others.",
    )
