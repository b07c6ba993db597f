"""Pictures of the measured curves: flow curves with the model on logarithmic scales, force curves with their areas."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

from panel.models.emollients.curves import ReducedCurves
from panel.models.emollients.flow_curves import MODEL_WORDS
from panel.stats.curves.force_curve import zero_crossings
from panel.views.drawing.labels import spread_apart, text_width
from panel.views.drawing.palette import COLOURS, FAINT, GREY, INK, markers
from panel.views.drawing.svg import svg_text
from panel.views.emollients.curve_words import RATE_WORDS, flow_alt_text, force_alt_text
from panel.views.emollients.reading_words import unit_words

_FONT = 8.5  # points
_POINTS = 72.0  # to the inch
# Inches.
_WIDTH, _HEIGHT, _LEFT, _BOTTOM, _TOP, _RIGHT = 5.6, 4.0, 0.75, 0.6, 0.65, 0.4
_SMALL_WIDTH, _SMALL_HEIGHT, _SMALL_LEFT, _SMALL_TOP = 2.6, 1.9, 0.6, 0.4
_MOST_BESIDE = 4
_HATCH = "////"
_GAP = 0.025  # between the picture and the names at its right, as a part of its width
_EDGE = 0.15  # a word closer to an edge than this part of the width stands beside its line, not over it
_LINE_SPACE = 1.25  # of the size of the letters
_LONG = 500.0  # a logarithmic axis with more than this between its ends is numbered at powers of ten only
WORK_COLOUR, PULL_COLOUR = COLOURS[4], COLOURS[5]


def flow_figure(result: ReducedCurves, chosen: Sequence[str] = ()) -> Figure:
    """Return the flow curves: measured points, the fitted curve of each repeat, prototypes named at the right.

    With more than seven prototypes only the `chosen` ones are coloured. Dashed uprights are the shear rates of use.
    """
    import seaborn as sns

    flow = result.flow
    prototypes = [str(name) for name in dict.fromkeys(flow.points["prototype"])]
    drawn = markers(prototypes, chosen)
    named = max((text_width(name, _FONT) for name in prototypes), default=0.0) / _POINTS
    width, height = _LEFT + _WIDTH + _RIGHT + named, _BOTTOM + _HEIGHT + _TOP
    figure = Figure(figsize=(width, height))
    axes = figure.add_axes((_LEFT / width, _BOTTOM / height, _WIDTH / width, _HEIGHT / height))
    axes.set(xscale="log", yscale="log")
    colours = {name: drawn[name].colour for name in prototypes}
    shapes = {name: drawn[name].shape for name in prototypes}
    order = sorted(prototypes, key=lambda name: colours[name] != GREY)  # grey ones below
    look = {"x": "rate", "y": "stress", "hue": "prototype", "hue_order": order, "palette": colours, "ax": axes}
    sns.lineplot(
        data=flow.lines, units="repeat", estimator=None, errorbar=None, linewidth=1.2, legend=False, zorder=2, **look
    )
    sns.scatterplot(
        data=flow.points, style="prototype", style_order=order, markers=shapes, s=16, edgecolor=INK, linewidth=0.3,
        legend=False, zorder=3, **look,
    )  # fmt: skip
    _mark_rates(axes, sorted(set(flow.viscosities["rate"])))
    _name_at_the_right(axes, flow.lines)
    _log_ticks(axes)
    model = "" if flow.model is None else f"; lines: {MODEL_WORDS[flow.model]}"
    axes.set_title(f"Flow curves{model}", fontsize=_FONT + 1.5, color=INK, loc="left", pad=26)
    axes.set_xlabel("Shear rate, 1/s", fontsize=_FONT, color=INK)
    axes.set_ylabel("Shear stress, Pa", fontsize=_FONT, color=INK)
    _plain(axes)
    return figure


def flow_svg(result: ReducedCurves, chosen: Sequence[str] = (), *, text_as_paths: bool = True) -> str:
    """Return the flow curves as SVG text."""
    return svg_text(
        flow_figure(result, chosen),
        title="Flow curves",
        description=flow_alt_text(result),
        text_as_paths=text_as_paths,
    )


def force_figure(result: ReducedCurves) -> Figure:
    """Return the force curves, one picture per prototype; the areas taken of its first repeat are filled."""
    points, peaks = result.force.points, result.force.peaks
    prototypes = [str(name) for name in dict.fromkeys(points["prototype"])]
    beside = max(1, min(len(prototypes), _MOST_BESIDE))
    stacked = max(1, -(-len(prototypes) // beside))
    wide, tall = _SMALL_LEFT + _SMALL_WIDTH, _SMALL_TOP + _SMALL_HEIGHT + _BOTTOM
    figure = Figure(figsize=(beside * wide + 0.15, stacked * tall + 0.35))
    whole = beside * wide + 0.15, stacked * tall + 0.35
    for number, prototype in enumerate(prototypes):
        row, column = divmod(number, beside)
        place = (column * wide + _SMALL_LEFT) / whole[0], ((stacked - 1 - row) * tall + _BOTTOM) / whole[1]
        axes = figure.add_axes((*place, (_SMALL_WIDTH - 0.15) / whole[0], _SMALL_HEIGHT / whole[1]))
        axes.set(xlim=_reach(points["along"]), ylim=_reach(points["force"]))
        own = points.loc[points["prototype"] == prototype]
        _draw_force(axes, own, peaks.loc[peaks["prototype"] == prototype].iloc[0])
        axes.set_title(prototype, fontsize=_FONT, color=INK, loc="left")
        along, force = str(own["along_unit"].iloc[0]), str(own["force_unit"].iloc[0])
        axes.set_xlabel(f"{'Time' if along == 's' else 'Way'}, {unit_words(along)}", fontsize=_FONT, color=INK)
        axes.set_ylabel(f"Force, {unit_words(force)}" if column == 0 else "", fontsize=_FONT, color=INK)
    _force_key(figure, whole[1])
    return figure


def force_svg(result: ReducedCurves, *, text_as_paths: bool = True) -> str:
    """Return the force curves as SVG text."""
    return svg_text(
        force_figure(result), title="Force curves", description=force_alt_text(result), text_as_paths=text_as_paths
    )


def _mark_rates(axes: Axes, rates: Sequence[float]) -> None:
    """Draw an upright at each rate of use that lies in the picture, with its words above, on two lines by turns."""
    low, high = np.log(axes.get_xlim())
    inside = [(rate, (np.log(rate) - low) / (high - low)) for rate in rates if low <= np.log(rate) <= high]
    for number, (rate, across) in enumerate(inside):
        axes.axvline(rate, color=INK, linewidth=0.7, linestyle=(0, (4, 3)), zorder=1)
        words = RATE_WORDS.get(float(rate), f"{rate:g} 1/s")
        line = (len(inside) - 1 - number) % 2
        side = "left" if across < _EDGE else "right" if across > 1 - _EDGE else "center"
        axes.annotate(
            words, (across, 1), xycoords="axes fraction", xytext=(0, 3 + line * _FONT * _LINE_SPACE),
            textcoords="offset points", fontsize=_FONT - 1, color=INK, ha=side,
        )  # fmt: skip


def _name_at_the_right(axes: Axes, lines: pd.DataFrame) -> None:
    """Write each prototype beside the end of its curve, apart from the others, with a thin line to it."""
    ends = lines.loc[lines.groupby("prototype", sort=False)["rate"].idxmax()]
    low, high = np.log(axes.get_ylim())
    side = _HEIGHT * _POINTS
    wished = (np.log(ends["stress"].to_numpy(dtype=float)) - low) / (high - low) * side
    heights = np.full(len(ends), _FONT * _LINE_SPACE)
    places = spread_apart(wished, heights, 0.0, side)
    low_rate, high_rate = np.log(axes.get_xlim())
    for row, from_height, place in zip(ends.to_dict("records"), wished, places, strict=True):
        end = (np.log(row["rate"]) - low_rate) / (high_rate - low_rate)
        leader = [end, 1.0, 1 + _GAP], [from_height / side, from_height / side, place / side]
        axes.plot(*leader, transform=axes.transAxes, color=GREY, linewidth=0.6, clip_on=False, zorder=1)
        name = str(row["prototype"])
        axes.text(1.3 * _GAP + 1, place / side, name, transform=axes.transAxes, fontsize=_FONT, color=INK, va="center")


def _draw_force(axes: Axes, own: pd.DataFrame, peak: pd.Series) -> None:
    for number, (_, curve) in enumerate(own.groupby("repeat", sort=False)):
        first = number == 0
        (line,) = axes.plot(curve["along"], curve["force"], color=GREY, linewidth=0.7, zorder=3)
        if first:
            line.set(color=INK, linewidth=1.2, zorder=4)
            _fill_areas(axes, curve, peak)
    axes.axhline(0, color=INK, linewidth=0.8, zorder=1)
    _plain(axes)


def _fill_areas(axes: Axes, curve: pd.DataFrame, peak: pd.Series) -> None:
    """Fill what was taken as work of shear and as work of adhesion, with the crossings of zero as corners."""
    along, force = (curve[column].to_numpy(dtype=float) for column in ("along", "force"))
    work_ends, pull_begins = float(peak["end_of_work"]), float(peak["peak_at"])
    corners = np.unique(np.concatenate([along, zero_crossings(along, force), [work_ends, pull_begins]]))
    heights = np.interp(corners, along, force)
    work, pull = corners <= work_ends, corners >= pull_begins
    look: dict[str, Any] = {"alpha": 0.6, "linewidth": 0, "zorder": 2}
    axes.fill_between(corners[work], np.maximum(heights[work], 0), facecolor=WORK_COLOUR, **look)
    axes.fill_between(
        corners[pull], np.minimum(heights[pull], 0), facecolor=PULL_COLOUR, hatch=_HATCH, edgecolor=INK, **look
    )


def _reach(values: pd.Series) -> tuple[float, float]:
    """Return the ends of an axis that all prototypes share."""
    low, high = min(float(values.min()), 0.0), float(values.max())
    return low - 0.05 * (high - low), high + 0.05 * (high - low)


def _force_key(figure: Figure, height: float) -> None:
    from matplotlib.patches import Patch

    entries = [
        Patch(facecolor=WORK_COLOUR, alpha=0.6, label="work of shear"),
        Patch(facecolor=PULL_COLOUR, alpha=0.6, hatch=_HATCH, edgecolor=INK, linewidth=0, label="work of adhesion"),
    ]
    figure.legend(
        handles=entries, loc="upper left", bbox_to_anchor=(0.01, 1 - 0.02 / height), ncols=2, fontsize=_FONT,
        frameon=False,
    )  # fmt: skip


def _log_ticks(axes: Axes) -> None:
    """Write numbers on the logarithmic axes at 1, 2 and 5, or at the powers of ten where they are long."""
    for axis, (low, high) in ((axes.xaxis, axes.get_xlim()), (axes.yaxis, axes.get_ylim())):
        axis.set_major_locator(LogLocator(subs=(1, 2, 5) if high / low < _LONG else (1,)))
        axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
        axis.set_minor_formatter(NullFormatter())


def _plain(axes: Axes) -> None:
    axes.grid(color=FAINT, linewidth=0.5)
    axes.set_axisbelow(True)
    axes.tick_params(labelsize=_FONT - 1, colors=INK)
    axes.spines[["top", "right"]].set_visible(False)
