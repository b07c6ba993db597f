"""What happens over time: after-feel over the minutes, courses of intensity, what is dominant when."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel import words
from panel.models.over_time.after_feel import QUANTITIES, AfterFeel, Courses
from panel.models.over_time.dominance import Dominances
from panel.models.prototypes.verdict import DIFFERS
from panel.study.naming import Naming
from panel.study.shown import (
    ATTRIBUTE,
    DEGREES,
    P_ADJUSTED,
    PROTOTYPE,
    SCALE,
    VERSUS,
    P,
    Shown,
    Table,
    attribute_column,
    change,
    count,
    interval,
    number,
    share,
    text,
    typed,
)
from panel.views.pictures import (
    BROAD,
    GREY,
    INK,
    POINTS,
    Marker,
    marker_of,
    markers,
    panels,
    place_labels,
    plain,
    prototype_mark,
    shortened,
    spread_apart,
    text_width,
    wrapped,
)
from panel.views.told import Picture, Told, drawer

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_TERMS = {
    "prototype": "Prototypes, over all times",
    "time": "Times, over all prototypes",
    "prototype_time": "Prototype x time",
}
_NAME = text("Attribute", "name")
_MINUTES = typed("Minutes", "minutes")
_AT_ONCE = interval(heading="{level}, simultaneous")
_AFTER_FEEL_TESTS = Table(
    name="after_feel_tests",
    title="Tests over time",
    rows="tests",
    columns=(_NAME, text("What is tested", "term", _TERMS), number("F", "statistic", 2), DEGREES, P, P_ADJUSTED),
)
_AFTER_FEEL_MEANS = Table(
    name="after_feel",
    title="Means at each time",
    rows="curves",
    columns=(_NAME, _MINUTES, PROTOTYPE, number("Mean{scale}", "estimate", SCALE), interval()),
)
_AFTER_FEEL_VERSUS = Table(
    name="after_feel_versus",
    title="Differences from {benchmark} at each time; intervals and p-values over all times and prototypes at once",
    rows="versus",
    columns=lambda found: (
        *(_NAME, _MINUTES, PROTOTYPE, VERSUS, change("Difference (scale units)"), _AT_ONCE, P_ADJUSTED),
        *([text("Cannot tell", "because")] if found.versus["because"].any() else []),
    ),
)
_DIGITS = {"area": 0, "rate": 2}
_COURSES_TABLE = Table(
    name="courses",
    title="Mean quantities of the courses",
    rows=lambda found: (
        found.courses.groupby(["attribute", "prototype"], sort=False)[list(QUANTITIES)].mean().reset_index()
    ),
    columns=(
        ATTRIBUTE,
        PROTOTYPE,
        *(
            number(words.capital(worded), name, _DIGITS.get(name.split("_")[0], 1))
            for name, worded in QUANTITIES.items()
        ),
    ),
)
_COURSE_TESTS = Table(
    name="course_tests",
    title="Tests that no prototype differs, by quantity",
    rows="attributes",
    columns=(ATTRIBUTE, number("F", "statistic", 2), DEGREES, P, P_ADJUSTED),
)
_COURSE_PAIRS = Table(
    name="course_pairs",
    title="All pairs of prototypes, by quantity",
    rows="pairs",
    columns=(ATTRIBUTE, PROTOTYPE, VERSUS, change("Difference"), interval(), P_ADJUSTED),
)
_DOMINANT = Table(
    name="dominance",
    title="Dominant beyond chance",
    rows=lambda found: found.periods.merge(found.lines, on="prototype", how="left"),
    columns=(
        *(PROTOTYPE, attribute_column("Dominant"), number("From, % of the time", "start", 0, 100)),
        *(number("To, % of the time", "end", 0, 100), share("Highest rate", "highest")),
        *(share("Beyond chance from", "line", 1), count("People", "people"), count("Evaluations", "n")),
    ),
)


def tell_after_feel(result: AfterFeel, names: Naming) -> Told:
    """Return what is told of the attributes over the minutes after use."""
    return Told(
        result,
        names,
        _after_feel_headline(result),
        Picture(
            "after_feel",
            "After-feel over time",
            f"Means of each prototype over the minutes after use, with intervals. {_after_feel_headline(result)}",
            partial(_after_feel_figure, result, names),
        ),
        mind=result.untold[:1],
        table=_AFTER_FEEL_VERSUS if len(result.versus) else _AFTER_FEEL_MEANS,
        drawers=(
            drawer("Attribute by attribute", *_after_feel_sentences(result, names)),
            drawer("Differences from the benchmark", *([_AFTER_FEEL_VERSUS] if len(result.versus) else [])),
            drawer("Tests and means", _AFTER_FEEL_TESTS, _AFTER_FEEL_MEANS),
        ),
        cannot=(
            "Between the times that were scored nothing was seen, and after the last one nothing is known.",
            "Scores given one after another on the same skin lean on each other; people remember what they said "
            "before.",
            "What wears off in the test room need not wear off so in wear, with washing and handling.",
        ),
    )


def _after_feel_headline(result: AfterFeel) -> str:
    rows = result.tests.loc[(result.tests["term"] == "prototype_time") & result.tests["differs"], "name"]
    if len(rows):
        on = words.format_list([str(name) for name in rows])
        return f"The prototypes do not change alike over time on {f'{on} {result.holds}'.rstrip()}."
    return "No attribute shows that the prototypes change differently over time. That does not show they change alike."


def _after_feel_sentences(result: AfterFeel, names: Naming) -> list[str]:
    """Return one line per attribute: the three tests, and the differences from the benchmark that stand out."""
    return [_follow(str(name), rows, result, names) for name, rows in result.tests.groupby("name", sort=False)]


def _follow(name: str, rows: pd.DataFrame, result: AfterFeel, names: Naming) -> str:
    told = rows.set_index("term").to_dict("index")
    worded = {
        "prototype_time": ("the prototypes do not change alike", "no difference in the change is shown"),
        "prototype": ("the prototypes differ on the whole", "no difference on the whole is shown"),
        "time": ("it changes over time", "no change over time is shown"),
    }
    parts = [
        f"{seen if told[term]['differs'] else not_seen} (F {words.format_number(told[term]['statistic'], 1)}, "
        f"{words.p_after_holm(told[term]['p_adjusted'])}{'; ' * bool(told[term]['because'])}{told[term]['because']})"
        for term, (seen, not_seen) in worded.items()
    ]
    return f"{name}: {'; '.join(parts)}.{_beside_benchmark(name, result, names)}"


def _beside_benchmark(name: str, result: AfterFeel, names: Naming) -> str:
    versus = result.versus.loc[result.versus["name"] == name]
    if versus.empty:
        return ""
    out = versus.loc[versus["differs"].astype(bool)]
    if (versus["because"] != "").all():
        return f" No difference from {result.benchmark} can be told: {versus['because'].iloc[0]}."
    if out.empty:
        return f" No difference from {result.benchmark} stands out at any time."
    each = []
    for prototype in out["prototype"].unique():
        own = out.loc[out["prototype"] == prototype]
        for side, rows in (("higher", own.loc[own["estimate"] > 0]), ("lower", own.loc[own["estimate"] < 0])):
            if len(rows):
                each.append(f"{names.prototype(str(prototype))} {side} at {_moments(rows, names)}")
    return f" Against {result.benchmark}: {'; '.join(each)} (scale units in brackets)."


def _moments(rows: pd.DataFrame, names: Naming) -> str:
    times = zip(map(words.format_typed, rows["minutes"].astype(float)), rows["estimate"].abs(), strict=True)
    return words.format_list([f"{at} min ({words.format_number(size, names.digits)})" for at, size in times])


def tell_courses(result: Courses, names: Naming) -> Told:
    """Return what is told of the courses of intensity."""
    found, worded = result.differences, _course_names(result, names)
    tests = () if found is None else (Shown(_COURSE_TESTS, found, worded), Shown(_COURSE_PAIRS, found, worded))
    return Told(
        result,
        names,
        _courses_headline(result, names),
        Picture(
            "courses",
            "Mean courses of intensity",
            f"Mean intensity over time of each prototype, from {words.counted(len(result.courses), 'course')}.",
            partial(_courses_figure, result, names),
        ),
        table=_COURSES_TABLE,
        drawers=(
            drawer("Attribute by attribute", *_course_sentences(result, names)),
            drawer("Quantities of the courses", _COURSES_TABLE),
            drawer("How the prototypes differ in each quantity", *tests),
        ),
        cannot=(
            "A mean course is the course of nobody: people peak at different moments, so its peak is lower and "
            "broader.",
            "How fast a person moves the marker is in every rate and time; compare prototypes, not people.",
        ),
    )


def _course_names(result: Courses, names: Naming) -> Naming:
    worded = {
        f"{attribute}: {quantity}": f"{names.attribute(str(attribute))}, {told}"
        for attribute in result.courses["attribute"].unique()
        for quantity, told in QUANTITIES.items()
    }
    return Naming(attributes=worded, prototypes=names.prototypes, digits=2)


def _courses_headline(result: Courses, names: Naming) -> str:
    if result.differences is None:
        people = result.courses["assessor"].nunique()
        return (
            f"{words.counted(len(result.courses), 'course')} of {words.counted(people, 'person', 'people')}; whether "
            "the prototypes differ was not tested."
        )
    rows, worded = result.differences.attributes, _course_names(result, names)
    apart = rows["verdict"] == DIFFERS
    told = [words.quoted(worded.attribute(str(name))) for name in rows.loc[apart, "attribute"]]
    few = told if len(told) <= 2 else []
    if not told:
        return "In no quantity can the courses be told apart. That does not show that they are alike."
    if len(told) == len(rows):
        each = "the one quantity" if len(rows) == 1 else "every quantity"
        return f"The courses of the prototypes differ in {f'{each} {result.differences.holds}'.rstrip()}."
    followed = [words.quoted(names.attribute(str(name))) for name in result.courses["attribute"].unique()]
    what = f": {words.format_list(few)}" if few else f" of {words.format_list(followed)}"
    holds = f", {result.differences.holds}" if result.differences.holds else ""
    return f"The courses of the prototypes differ in {len(told)} of {len(rows)} quantities{what}{holds}."


def _course_sentences(result: Courses, names: Naming) -> list[str]:
    """Return one line per attribute: how many courses, how strong and how long on average."""
    return [
        f"{names.attribute(str(attribute))}: {words.counted(len(rows), 'course')} of "
        f"{words.counted(rows['assessor'].nunique(), 'person', 'people')}; the largest "
        f"intensity is {words.format_number(rows['largest'].mean(), 1)} on average, reached after "
        f"{words.format_number(rows['time_to_largest'].mean(), 1)} s; it lasts "
        f"{words.format_number(rows['duration'].mean(), 1)} s{_cut_short(rows)}."
        for attribute, rows in result.courses.groupby("attribute", sort=False)
    ]


def _cut_short(rows: pd.DataFrame) -> str:
    open_ended = int((~rows["ended"].astype(bool)).sum())
    return f" or longer: {open_ended} of {len(rows)} were still felt when the recording ended" if open_ended else ""


def tell_dominance(result: Dominances, names: Naming) -> Told:
    """Return what is told of dominance."""
    lines = _dominance_sentences(result, names)
    alt = f"Share of evaluations in which each sensation is dominant, over time. {' '.join(lines)}"
    return Told(
        result,
        names,
        _dominance_headline(result, names),
        Picture("dominance", "Dominant sensations over time", alt, partial(_dominance_figure, result, names)),
        mind=result.untold[:1],
        table=_DOMINANT,
        drawers=(
            drawer("Prototype by prototype", *lines, _DOMINANT),
            drawer("Differences between prototypes", *_difference_sentences(result, names)),
        ),
        cannot=(
            "Dominant is what catches the attention, not what is strongest; a weak new sensation may be dominant.",
            "Panel checks of scores do not apply to dominance; there is no right order.",
            "Standardised time hides that some people stop much earlier than others.",
        ),
    )


def _dominance_headline(result: Dominances, names: Naming) -> str:
    risen = result.periods.groupby("prototype", sort=False)["attribute"].unique()
    if risen.empty:
        return "No sensation is dominant beyond chance for any prototype. That does not show that none is."
    last = result.periods.sort_values("end", kind="stable").groupby("prototype", sort=False).last()
    told = [f"{prototype} {names.attribute(str(last.loc[prototype, 'attribute']))}" for prototype in risen.index]
    when = "Dominant beyond chance at the end" if (last["end"] == 1).all() else "Last to be dominant beyond chance"
    return f"{when}: {words.first_few(told, 4)}."


def _dominance_sentences(result: Dominances, names: Naming) -> list[str]:
    """Return one line per prototype: what is dominant beyond chance, in the order of time."""
    periods = result.periods.sort_values("start")
    return [
        f"{names.prototype(str(row['prototype']))}: "
        f"{_dominant(periods.loc[periods['prototype'] == row['prototype']], row, names)}"
        for row in result.lines.to_dict("records")
    ]


def _dominant(periods: pd.DataFrame, row: Mapping[Any, Any], names: Naming) -> str:
    base = f"{words.counted(row['people'], 'person', 'people')}; beyond chance from {words.format_share(row['line'])}"
    if periods.empty:
        return f"nothing is dominant beyond chance ({base})."
    told = [
        f"{names.attribute(str(each['attribute']))} {_period(each)} of the time (at its height in "
        f"{words.format_share(each['highest'])} of the evaluations)"
        for each in periods.to_dict("records")
    ]
    return f"dominant beyond chance: {words.format_list(told)} ({base})."


def _period(row: Mapping[Any, Any]) -> str:
    start, end = (words.format_number(100 * row[name], 0) for name in ("start", "end"))
    return f"at {end} %" if start == end else f"from {start} to {end} %"


def _difference_sentences(result: Dominances, names: Naming) -> list[str]:
    """Return one line per prototype and attribute that differs from the other at some moments."""
    rows = result.differences
    lines = []
    for (prototype, name), own in rows.groupby(["prototype", "attribute"], sort=False):
        seen = own.loc[own["differs"].astype(bool)]
        if seen.empty:
            continue
        largest = seen.iloc[int(seen["estimate"].abs().to_numpy().argmax())]
        side = "more" if largest["estimate"] > 0 else "less"
        lines.append(
            f"{names.attribute(str(name))} is dominant {side} often in {prototype} than in {largest['versus']}, the "
            f"most at {words.format_number(100 * largest['time'], 0)} % of the time (by "
            f"{words.format_share(abs(largest['estimate']))} of the evaluations, "
            f"{words.p_words(float(largest['p_adjusted']))} for all "
            "prototypes, times and sensations at once)."
        )
    if len(rows) and not lines:
        lines.append("At no time is a difference of dominance shown. That does not show that there is none.")
    return lines


_FONT = 8.5  # points
_LEAST, _HEIGHT, _LEFT, _BOTTOM, _TOP, _RIGHT = 3.5, 2.3, 0.6, 0.65, 0.5, 0.15  # inches, of each part
_END_LINE, _END_SIGN, _END_GAP = 11.0, 9.0, 10.0  # points: a name, the mark before it, the way to it from the line
_MOST_ENDS, _MOST_HEIGHT = 0.16, 0.48  # of the width of a picture, of a part: names at the ends, and in it
_BESIDE = 5.0  # points, of a line that names keep away from
_PALE = "#b0b0b0"
_DODGE = 0.012  # of the width: intervals of several prototypes at one time stand beside each other
_DASHES = ("-", (0, (6, 2)), (0, (2, 2)), (0, (6, 2, 2, 2)), (0, (1, 1)), (0, (8, 2, 1, 2)), (0, (4, 1)))


def _after_feel_figure(result: AfterFeel, worded: Naming, width: float = BROAD) -> Figure:
    """Return one part per attribute: the means of each prototype over the minutes, with intervals."""
    names = [str(name) for name in result.curves["name"].unique()]
    prototypes = [str(name) for name in result.curves["prototype"].unique()]
    drawn = {name: marker_of(worded, name) for name in prototypes}
    figure, parts = _parts(names, width, ends=prototypes)
    for axes, name in zip(parts, names, strict=True):
        rows = result.curves.loc[result.curves["name"] == name]
        step = _DODGE * float(rows["minutes"].max() - rows["minutes"].min())
        for place, prototype in enumerate(prototypes):
            own, marker = rows.loc[rows["prototype"] == prototype], drawn[prototype]
            at = own["minutes"] + step * (place - (len(prototypes) - 1) / 2)
            axes.vlines(at, own["ci_low"], own["ci_high"], color=marker.colour, linewidth=1.1)
            axes.plot(at, own["estimate"], color=marker.colour, marker=marker.shape, markersize=4.5, linewidth=1.1,
                      gid=prototype_mark(prototype))  # fmt: skip
        axes.set_xticks(sorted(rows["minutes"].unique()))
        axes.set_xlabel("minutes after use", fontsize=_FONT, color=INK)
        _name_ends(axes, drawn, width)
    return figure


def _courses_figure(result: Courses, names: Naming, width: float = BROAD) -> Figure:
    attributes = [str(name) for name in result.means["attribute"].unique()]
    prototypes = [str(name) for name in result.means["prototype"].unique()]
    drawn = {name: marker_of(names, name) for name in prototypes}
    figure, parts = _parts([names.attribute(name) for name in attributes], width, ends=prototypes)
    for axes, attribute in zip(parts, attributes, strict=True):
        rows = result.means.loc[result.means["attribute"] == attribute]
        for place, prototype in enumerate(prototypes):
            own, marker = rows.loc[rows["prototype"] == prototype], drawn[prototype]
            every = (5 * place % 12, 12)
            axes.plot(
                own["seconds"], own["estimate"], color=marker.colour, marker=marker.shape, markersize=4,
                markevery=every, gid=prototype_mark(prototype),
            )  # fmt: skip
        axes.set_ylim(bottom=0)
        axes.set_xlabel("seconds after the start", fontsize=_FONT, color=INK)
        _name_ends(axes, drawn, width)
    return figure


def _name_ends(axes: Axes, drawn: Mapping[str, Marker], width: float) -> None:
    """Write the name of each prototype where its line ends, with its mark before it; names keep apart."""
    lines = {str(line.get_gid()): line for line in axes.lines}
    low, high = axes.get_ylim()
    wide = axes.get_position().width * width * POINTS
    tall = axes.bbox.height / axes.figure.dpi * POINTS
    axes.autoscale(False)
    ends = {name: lines[prototype_mark(name)] for name in drawn if prototype_mark(name) in lines}
    courses = {name: np.asarray(line.get_xydata(), dtype=float) for name, line in ends.items()}
    last_points = {name: (float(line[-1, 0]), float(line[-1, 1])) for name, line in courses.items() if len(line)}
    wished = np.array([(y - low) / (high - low) * tall for _, y in last_points.values()])
    places = spread_apart(wished, np.full(len(last_points), _END_LINE), 0.0, tall)
    room, _ = _ends_room(list(drawn), width)
    for (name, last), place in zip(last_points.items(), places / tall, strict=True):
        look = drawn[name]
        axes.annotate(
            "", last, (1 + _END_GAP / wide, place), textcoords="axes fraction", annotation_clip=False,
            arrowprops={"arrowstyle": "-", "color": look.colour, "linewidth": 0.6, "shrinkA": 0, "shrinkB": 0},
        )  # fmt: skip
        axes.scatter(
            [1 + (_END_GAP + _END_SIGN / 2) / wide], [place], transform=axes.transAxes, clip_on=False, s=25,
            marker=look.shape, color=look.colour, edgecolors=INK, linewidths=0.5, zorder=3,
        )  # fmt: skip
        axes.text(
            1 + (_END_GAP + _END_SIGN + 2) / wide, place, shortened(name, _FONT, room), transform=axes.transAxes,
            fontsize=_FONT, color=INK, va="center",
        )  # fmt: skip


def _ends_room(ends: Sequence[str], width: float) -> tuple[float, float]:
    """Return the room for names at the ends of lines in points, and with all around them in inches; none for none."""
    if not ends:
        return 0.0, _RIGHT
    room = min(max(text_width(name, _FONT) for name in ends) + 2, _MOST_ENDS * width * POINTS)
    return room, (room + _END_GAP + _END_SIGN + 8) / POINTS


def _dominance_figure(result: Dominances, names: Naming, width: float = BROAD) -> Figure:
    """Return one part per prototype: the rate of each sensation over time, chance and the line above it.

    What rises above the line has its name at its height; the rest is grey.
    """
    from matplotlib.ticker import PercentFormatter

    look = dict(zip(result.attributes, _DASHES * (len(result.attributes) // len(_DASHES) + 1), strict=False))
    risen = [names.attribute(str(name)) for name in result.periods["attribute"].unique()]
    drawn = markers([names.attribute(name) for name in result.attributes], risen)
    figure, parts = _parts([names.prototype(str(name)) for name in result.lines["prototype"]], width)
    for axes, line in zip(parts, result.lines.to_dict("records"), strict=True):
        rows = result.rates.loc[result.rates["prototype"] == line["prototype"]]
        here = set(result.periods.loc[result.periods["prototype"] == line["prototype"], "attribute"])
        for attribute in sorted(result.attributes, key=lambda name: name in here):  # what has a name lies above
            own = rows.loc[rows["attribute"] == attribute]
            colour = drawn[names.attribute(attribute)].colour if attribute in here else _PALE
            axes.plot(100 * own["time"], own["rate"], color=colour, linestyle=look[attribute], gid=attribute,
                      linewidth=1.6 if attribute in here else 0.9)  # fmt: skip
        axes.set(xlim=(0, 100), ylim=(0, 1.02))
        _name_heights(axes, [name for name in result.attributes if name in here], names, width)
        for height in (line["chance"], line["line"]):
            if height <= 1:
                axes.axhline(height, color=INK, linewidth=0.7, linestyle="-" if height == line["line"] else (0, (1, 2)))
        axes.yaxis.set_major_formatter(PercentFormatter(xmax=1, decimals=0, symbol=" %"))
        axes.set_xlabel(
            "% of the time; dotted: chance, full:\nbeyond chance; grey: never beyond chance", fontsize=_FONT, color=INK
        )
    return figure


def _name_heights(axes: Axes, attributes: Sequence[str], names: Naming, width: float) -> None:
    """Write the names of sensations at the height of their lines, away from all lines and from each other."""
    box = np.array([axes.get_position().width * width, axes.bbox.height / axes.figure.dpi]) * POINTS
    lines = {str(line.get_gid()): np.column_stack(line.get_data()) / (100, axes.get_ylim()[1]) for line in axes.lines}
    heights = [lines[name][int(lines[name][:, 1].argmax())] for name in attributes]
    labels = ["\n".join(wrapped(names.attribute(name), _FONT, _MOST_HEIGHT * box[0], 2)) for name in attributes]
    sizes = [
        (max(text_width(part, _FONT) for part in worded.split("\n")) + 2, _END_LINE * (worded.count("\n") + 1))
        for worded in labels
    ]
    others = np.concatenate([_along(each * box) for each in lines.values()])
    points = np.concatenate([np.reshape(heights, (-1, 2)) * box, others])
    centres = place_labels(points, [*sizes, *[(0.0, 0.0)] * len(others)], (float(box[0]), float(box[1])), 4.0)
    for name, worded, centre in zip(attributes, labels, centres / box, strict=False):
        colour = next(line.get_color() for line in axes.lines if line.get_gid() == name)
        axes.text(centre[0], centre[1], worded, transform=axes.transAxes, fontsize=_FONT,
                  color=INK if colour == GREY else colour, ha="center", va="center", linespacing=1.0,
                  bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.5})  # fmt: skip


def _along(line: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return points along a line (n, 2), jumps included, as far apart as a letter is wide."""
    far = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    at = np.arange(0.0, far[-1], _BESIDE)
    return np.column_stack([np.interp(at, far, line[:, 0]), np.interp(at, far, line[:, 1])])


def _parts(titles: Sequence[str], width: float, ends: Sequence[str] = ()) -> tuple[Figure, list[Axes]]:
    """Return a figure with one part per title, and room for the names of what ends at the right of each."""
    figure, parts = panels(
        len(titles), width, least=_LEAST, tall=max(_HEIGHT, 1.1 * len(ends) * _END_LINE / POINTS), left=_LEFT,
        top=_TOP, bottom=_BOTTOM, right=_ends_room(ends, width)[1],
    )  # fmt: skip
    for axes, title in zip(parts, titles, strict=True):
        room = axes.get_position().width * width * POINTS
        axes.set_title("\n".join(wrapped(title, _FONT + 0.5, room, 2)), fontsize=_FONT + 0.5, color=INK, loc="left")
        plain(axes)
    return figure, parts
