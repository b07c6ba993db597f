"""A picture of dots with intervals, one line each: the frame that profiles and differences share."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil
from typing import TYPE_CHECKING, Any

import pandas as pd

from panel.views.drawing.pictures import FAINT, INK, Marker, text_width

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FONT = 9.0  # points
_POINTS = 72.0  # to the inch
_WIDTH, _TOP, _BOTTOM, _MARGIN = 5.0, 0.45, 0.55, 0.12  # inches
_MOST_IN_A_LINE = 8  # names beside their markers
_QUIET = "#5c5c5c"  # words of less weight, 6.7 to 1 on white

Words = Sequence[tuple[float, str]]


def interval_figure(
    rows: pd.DataFrame,
    depth: float,
    ticks: Words,
    *,
    headings: Words = (),
    remarks: Words = (),
    limits: tuple[float, float],
    title: str = "",
    x_title: str = "",
) -> tuple[Figure, Axes]:
    """Return a figure as wide and tall as its words and lines need.

    Parameters
    ----------
    rows
        `y estimate ci_low ci_high colour shape filled`; `y` in inches from the top.
    depth
        Height of the part with the lines, in inches.
    ticks, headings, remarks
        Words at a height: names at the left, headings over groups of names, remarks at the right.
    limits
        Ends of the scale.
    """
    from matplotlib.figure import Figure

    left = max(_widest(ticks), _widest(headings)) + 2 * _MARGIN
    right = _widest(remarks) + 2 * _MARGIN
    width, height = left + _WIDTH + right, _TOP + depth + _BOTTOM
    figure = Figure(figsize=(width, height))
    axes = figure.add_axes((left / width, _BOTTOM / height, _WIDTH / width, depth / height))
    axes.set(xlim=limits, ylim=(depth, 0))
    known = rows.dropna(subset=["ci_low", "ci_high"])
    colours = list(known["colour"])
    axes.hlines(known["y"], known["ci_low"], known["ci_high"], colors=colours, linewidth=1.5, zorder=2)
    for row in rows.to_dict("records"):
        _draw(axes, row)
    axes.set_yticks([y for y, _ in ticks], [words for _, words in ticks], fontsize=FONT, color=INK)
    _write(axes, headings, -(left - _MARGIN) / _WIDTH, _QUIET)
    _write(axes, remarks, 1 + _MARGIN / _WIDTH, INK)
    axes.set_title(title, fontsize=FONT + 1.5, color=INK, loc="left")
    axes.set_xlabel(x_title, fontsize=FONT, color=INK)
    axes.tick_params(axis="y", length=0)
    axes.tick_params(axis="x", labelsize=FONT - 1, colors=INK)
    axes.grid(axis="x", color=FAINT, linewidth=0.6)
    axes.set_axisbelow(True)
    axes.spines[["top", "right", "left"]].set_visible(False)
    return figure, axes


def marker_legend(axes: Axes, drawn: dict[str, Marker]) -> None:
    """Write the names beside their markers, above the picture."""
    from matplotlib.lines import Line2D

    entries = [
        Line2D(
            [],
            [],
            color=marker.colour,
            marker=marker.shape,
            markersize=6,
            markeredgecolor=INK,
            markeredgewidth=0.6,
            linewidth=1.3,
            label=name,
        )
        for name, marker in drawn.items()
    ]
    axes.legend(
        handles=entries,
        loc="lower left",
        bbox_to_anchor=(0, 1),
        ncols=ceil(len(entries) / ceil(len(entries) / _MOST_IN_A_LINE)),
        fontsize=FONT,
        frameon=False,
        handlelength=1.6,
        columnspacing=1.2,
        borderaxespad=0.2,
    )


def needed_limits(rows: pd.DataFrame, *also: float) -> tuple[float, float]:
    """Return ends of a scale that show every interval, every estimate and the values in `also`."""
    values = pd.concat([rows["estimate"], rows["ci_low"], rows["ci_high"], pd.Series(also, dtype="float64")])
    low, high = float(values.min()), float(values.max())
    room = 0.04 * ((high - low) or 1.0)
    return low - room, high + room


def _draw(axes: Axes, line: dict[Any, Any]) -> None:
    y, colour = line["y"], line["colour"]
    axes.plot(
        [line["estimate"]],
        [y],
        linestyle="none",
        marker=line["shape"],
        markersize=6,
        markerfacecolor=colour if line["filled"] else "white",
        markeredgecolor=INK if line["filled"] else colour,
        markeredgewidth=0.6 if line["filled"] else 1.3,
        zorder=3,
    )


def _write(axes: Axes, words: Words, across: float, colour: str) -> None:
    for y, text in words:
        axes.text(
            across, y, text, transform=axes.get_yaxis_transform(), fontsize=FONT, color=colour, ha="left", va="center"
        )


def _widest(words: Words) -> float:
    """Return the width of the longest words in inches."""
    return max((text_width(text, FONT) for _, text in words), default=0.0) / _POINTS
