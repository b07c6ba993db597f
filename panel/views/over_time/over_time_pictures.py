"""Pictures over time: after-feel curves, mean courses of intensity, rates of dominance."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import PercentFormatter

from panel.models.over_time.after_feel import AfterFeel
from panel.models.over_time.dominance import Dominances
from panel.models.over_time.intensity import Courses
from panel.views.drawing.labels import text_width
from panel.views.drawing.naming import Naming
from panel.views.drawing.palette import FAINT, INK, Marker, markers
from panel.views.drawing.svg import svg_text
from panel.views.over_time.over_time_words import after_feel_headline, dominance_sentences

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
