"""What happens over time, in plain sentences made from the numbers, and what cannot be seen in it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import PercentFormatter

from panel.models.over_time.after_feel import AfterFeel
from panel.models.over_time.dominance import Dominances
from panel.models.over_time.intensity import QUANTITIES, Courses
from panel.study.naming import Naming
from panel.views.drawing.pictures import FAINT, INK, Marker, markers, svg_text, text_width
from panel.words import (
    format_change,
    format_interval,
    format_list,
    format_number,
    format_p,
    format_share,
    p_words,
)

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


# What happens over time as tables a person reads.


_TERMS = {
    "prototype": "Prototypes, over all times",
    "time": "Times, over all prototypes",
    "prototype_time": "Prototype x time",
}


def after_feel_tests_table(result: AfterFeel) -> pd.DataFrame:
    """Return one row per attribute and question: F, degrees of freedom, p-values."""
    rows = result.tests
    return pd.DataFrame(
        {
            "Attribute": list(rows["name"]),
            "What is tested": [_TERMS[term] for term in rows["term"]],
            "F": [format_number(value, 2) for value in rows["statistic"]],
            "Degrees of freedom": [
                f"{format_number(df, 0)}; {format_number(df_error, 1)}"
                for df, df_error in zip(rows["df"], rows["df_error"], strict=True)
            ],
            "p": [format_p(value) for value in rows["p_value"]],
            "p, adjusted": [format_p(value) for value in rows["p_adjusted"]],
        },
        dtype="str",
    )


def after_feel_means_table(result: AfterFeel, names: Naming) -> pd.DataFrame:
    """Return one row per attribute, time and prototype: estimated mean with interval."""
    rows = result.curves
    return pd.DataFrame(
        {
            "Attribute": list(rows["name"]),
            "Minutes": [f"{value:g}" for value in rows["minutes"]],
            "Prototype": list(rows["prototype"]),
            names.with_scale("Mean"): [format_number(value, names.digits) for value in rows["estimate"]],
            f"{100 * result.level:g} % interval": _intervals(rows, names.digits),
        },
        dtype="str",
    )


def after_feel_versus_table(result: AfterFeel, names: Naming) -> pd.DataFrame:
    """Return one row per difference from the benchmark at each time."""
    rows = result.versus
    return pd.DataFrame(
        {
            "Attribute": list(rows["name"]),
            "Minutes": [f"{value:g}" for value in rows["minutes"]],
            "Prototype": list(rows["prototype"]),
            "Compared with": list(rows["versus"]),
            "Difference (scale units)": [format_change(value, names.digits) for value in rows["estimate"]],
            f"{100 * result.level:g} % interval, simultaneous": _intervals(rows, names.digits),
            "p, adjusted": [format_p(value) for value in rows["p_adjusted"]],
        },
        dtype="str",
    )


def courses_table(result: Courses, names: Naming) -> pd.DataFrame:
    """Return one row per attribute and prototype: mean of each quantity over its courses."""
    means = result.courses.groupby(["attribute", "prototype"], sort=False)[list(QUANTITIES)].mean().reset_index()
    return pd.DataFrame(
        {
            "Attribute": [names.attribute(str(name)) for name in means["attribute"]],
            "Prototype": list(means["prototype"]),
        }
        | {
            f"{words[0].upper()}{words[1:]}": [format_number(value, 2) for value in means[quantity]]
            for quantity, words in QUANTITIES.items()
        },
        dtype="str",
    )


def dominance_table(result: Dominances, names: Naming) -> pd.DataFrame:
    """Return one row per stretch of time in which a sensation is dominant beyond chance."""
    rows = result.periods
    lines = {row["prototype"]: row for row in result.lines.to_dict("records")}
    return pd.DataFrame(
        {
            "Prototype": list(rows["prototype"]),
            "Dominant": [names.attribute(str(name)) for name in rows["attribute"]],
            "From, % of the time": [format_number(100 * value, 0) for value in rows["start"]],
            "To, % of the time": [format_number(100 * value, 0) for value in rows["end"]],
            "Highest rate": [format_share(value) for value in rows["highest"]],
            "Beyond chance from": [format_share(lines[name]["line"], 1) for name in rows["prototype"]],
            "Evaluations": [str(lines[name]["n"]) for name in rows["prototype"]],
        },
        dtype="str",
    )


def _intervals(rows: pd.DataFrame, digits: int) -> list[str]:
    return [format_interval(low, high, digits) for low, high in zip(rows["ci_low"], rows["ci_high"], strict=True)]


# Pictures over time: after-feel curves, mean courses of intensity, rates of dominance.


FONT = 8.5  # points
_POINTS = 72.0  # to the inch
_WIDTH, _HEIGHT, _LEFT, _BOTTOM, _TOP, _GAP = 3.0, 2.1, 0.7, 0.6, 0.35, 0.3  # inches, of each part
_LEGEND_ROW, _SAMPLE = 0.24, 0.55
_BESIDE = 2
_DODGE = 0.012  # of the width: intervals of several prototypes at one time stand beside each other
_DASHES = ("-", (0, (6, 2)), (0, (2, 2)), (0, (6, 2, 2, 2)), (0, (1, 1)), (0, (8, 2, 1, 2)), (0, (4, 1)))


def after_feel_figure(result: AfterFeel, chosen: Sequence[str] = ()) -> Figure:
    """Return one part per attribute: the means of each prototype over the minutes, with intervals."""
    names = [str(name) for name in result.curves["name"].unique()]
    prototypes = [str(name) for name in result.curves["prototype"].unique()]
    drawn = markers(prototypes, chosen)
    figure, parts = _parts(names, drawn)
    for axes, name in zip(parts, names, strict=True):
        rows = result.curves.loc[result.curves["name"] == name]
        step = _DODGE * float(rows["minutes"].max() - rows["minutes"].min())
        for place, prototype in enumerate(prototypes):
            own, marker = rows.loc[rows["prototype"] == prototype], drawn[prototype]
            at = own["minutes"] + step * (place - (len(prototypes) - 1) / 2)
            axes.vlines(at, own["ci_low"], own["ci_high"], color=marker.colour, linewidth=1.1)
            axes.plot(at, own["estimate"], color=marker.colour, marker=marker.shape, markersize=4.5, linewidth=1.1)
        axes.set_xticks(sorted(rows["minutes"].unique()))
        axes.set_xlabel("minutes after use", fontsize=FONT, color=INK)
    return figure


def after_feel_svg(result: AfterFeel, chosen: Sequence[str] = (), *, text_as_paths: bool = True) -> str:
    """Return the after-feel over time as SVG text, with what it shows in words."""
    return svg_text(
        after_feel_figure(result, chosen),
        title="After-feel over time",
        description=after_feel_alt_text(result),
        text_as_paths=text_as_paths,
    )


def after_feel_alt_text(result: AfterFeel) -> str:
    """Return what the picture shows, for those who do not see it."""
    return f"Means of each prototype over the minutes after use, with intervals. {after_feel_headline(result)}"


def courses_figure(result: Courses, names: Naming, chosen: Sequence[str] = ()) -> Figure:
    """Return one part per attribute: the mean course of each prototype."""
    attributes = [str(name) for name in result.means["attribute"].unique()]
    prototypes = [str(name) for name in result.means["prototype"].unique()]
    drawn = markers(prototypes, chosen)
    figure, parts = _parts([names.attribute(name) for name in attributes], drawn)
    for axes, attribute in zip(parts, attributes, strict=True):
        rows = result.means.loc[result.means["attribute"] == attribute]
        for place, prototype in enumerate(prototypes):
            own, marker = rows.loc[rows["prototype"] == prototype], drawn[prototype]
            every = (5 * place % 12, 12)
            axes.plot(
                own["seconds"], own["estimate"], color=marker.colour, marker=marker.shape, markersize=4, markevery=every
            )
        axes.set_ylim(bottom=0)
        axes.set_xlabel("seconds after the start", fontsize=FONT, color=INK)
    return figure


def courses_svg(result: Courses, names: Naming, chosen: Sequence[str] = (), *, text_as_paths: bool = True) -> str:
    """Return the mean courses as SVG text, with what they show in words."""
    return svg_text(
        courses_figure(result, names, chosen),
        title="Mean courses of intensity",
        description=courses_alt_text(result),
        text_as_paths=text_as_paths,
    )


def courses_alt_text(result: Courses) -> str:
    """Return what the picture shows, for those who do not see it."""
    return f"Mean intensity over time of each prototype, from {len(result.courses)} courses."


def dominance_figure(result: Dominances, names: Naming) -> Figure:
    """Return one part per prototype: the rate of each sensation over time, chance and the line above it."""
    look = dict(zip(result.attributes, _DASHES * (len(result.attributes) // len(_DASHES) + 1), strict=False))
    risen = [names.attribute(str(name)) for name in result.periods["attribute"].unique()]
    drawn = markers([names.attribute(name) for name in result.attributes], risen)
    prototypes = [str(name) for name in result.lines["prototype"]]
    figure, parts = _parts(prototypes, drawn, {names.attribute(name): dashes for name, dashes in look.items()})
    for axes, line in zip(parts, result.lines.to_dict("records"), strict=True):
        rows = result.rates.loc[result.rates["prototype"] == line["prototype"]]
        for attribute in result.attributes:
            own = rows.loc[rows["attribute"] == attribute]
            colour = drawn[names.attribute(attribute)].colour
            axes.plot(100 * own["time"], own["rate"], color=colour, linestyle=look[attribute], linewidth=1.3)
        for height in (line["chance"], line["line"]):
            if height <= 1:
                axes.axhline(height, color=INK, linewidth=0.7, linestyle="-" if height == line["line"] else (0, (1, 2)))
        axes.set(xlim=(0, 100), ylim=(0, 1.02))
        axes.yaxis.set_major_formatter(PercentFormatter(xmax=1, decimals=0, symbol=" %"))
        axes.set_xlabel("% of the time; dotted: chance, full: beyond chance", fontsize=FONT, color=INK)
    return figure


def dominance_svg(result: Dominances, names: Naming, *, text_as_paths: bool = True) -> str:
    """Return the rates of dominance as SVG text, with what they show in words."""
    return svg_text(
        dominance_figure(result, names),
        title="Dominant sensations over time",
        description=dominance_alt_text(result, names),
        text_as_paths=text_as_paths,
    )


def dominance_alt_text(result: Dominances, names: Naming) -> str:
    """Return what the picture shows, for those who do not see it."""
    told = " ".join(dominance_sentences(result, names))
    return f"Share of evaluations in which each sensation is dominant, over time. {told}"


def _parts(
    titles: Sequence[str], drawn: Mapping[str, Marker], dashes: Mapping[str, object] | None = None
) -> tuple[Figure, list[Axes]]:
    """Return a figure with one part per title, and the names of what is drawn above them."""
    across = min(len(titles), _BESIDE)
    down = math.ceil(len(titles) / _BESIDE)
    widest = max(text_width(name, FONT) for name in drawn) / _POINTS + _SAMPLE + _GAP
    width = max(across * (_LEFT + _WIDTH + _GAP), widest + 2 * _GAP)
    columns = max(int((width - 2 * _GAP) // widest), 1)
    head = _LEGEND_ROW * math.ceil(len(drawn) / columns) + _GAP
    each = _TOP + _HEIGHT + _BOTTOM
    height = head + down * each
    figure = Figure(figsize=(width, height))
    parts = []
    for place, title in enumerate(titles):
        left = (place % _BESIDE) * (_LEFT + _WIDTH + _GAP) + _LEFT
        bottom = height - head - (place // _BESIDE) * each - _TOP - _HEIGHT
        axes = figure.add_axes((left / width, bottom / height, _WIDTH / width, _HEIGHT / height))
        axes.set_title(title, fontsize=FONT + 0.5, color=INK, loc="left", wrap=True)
        axes.tick_params(labelsize=FONT - 1, colors=INK, length=0)
        axes.grid(color=FAINT, linewidth=0.5)
        axes.set_axisbelow(True)
        axes.spines[["top", "right"]].set_visible(False)
        parts.append(axes)
    figure.legend(
        handles=[_sample(name, marker, dashes) for name, marker in drawn.items()],
        loc="upper left",
        bbox_to_anchor=(_GAP / width, 1 - 0.3 * _GAP / height),
        ncols=columns,
        fontsize=FONT,
        frameon=False,
        borderaxespad=0,
    )
    return figure, parts


def _sample(name: str, marker: Marker, dashes: Mapping[str, object] | None) -> Line2D:
    if dashes is not None:
        return Line2D([], [], color=marker.colour, linestyle=dashes[name], linewidth=1.3, label=name)  # type: ignore[arg-type]  # a dash pattern
    return Line2D([], [], color=marker.colour, marker=marker.shape, markersize=4.5, linewidth=1.1, label=name)
