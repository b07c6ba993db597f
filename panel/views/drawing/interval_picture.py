"""A picture of dots with intervals, one line each: the frame that profiles and differences share."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import pandas as pd

from panel.study.naming import Naming
from panel.views.drawing.pictures import (
    BROAD,
    FAINT,
    INK,
    LETTERS,
    Marker,
    key_lines,
    marker_of,
    text_width,
    wrapped,
    write_key,
)

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FONT = LETTERS
_POINTS = 72.0  # to the inch
_TOP, _BOTTOM, _MARGIN, _LINE = 0.14, 0.34, 0.12, 0.17  # inches
_NAMES, _REMARKS = 0.36, 0.3  # of the width: names at the left, remarks at the right, at most
_LEAST = 1.3  # inches for the lines, however long the words are
_QUIET = "#5c5c5c"  # words of less weight, 6.7 to 1 on white

Words = Sequence[tuple[float, str]]


def interval_figure(
    rows: pd.DataFrame,
    depth: float,
    ticks: Words,
    *,
    width: float = BROAD,
    headings: Words = (),
    remarks: Words = (),
    limits: tuple[float, float],
    title: str = "",
    x_title: str = "",
    key: Sequence[Artist] = (),
) -> tuple[Figure, Axes]:
    """Return a figure of a width in inches, as tall as its words and lines need.

    Parameters
    ----------
    rows
        `y estimate ci_low ci_high colour shape filled`; `y` in inches from the top. A mark that
        `stands_for` a prototype carries its name.
    depth
        Height of the part with the lines, in inches.
    ticks, headings, remarks
        Words at a height: names at the left, headings over groups of names, remarks at the right. Long ones are broken
        into two lines.
    limits
        Ends of the scale.
    key
        What stands for what, with its name as its label; written above.
    """
    from matplotlib.figure import Figure

    names, left = _column(ticks, _NAMES * width)
    said, right = _column(remarks, _REMARKS * width)
    left = max(left, min(_widest(headings), _NAMES * width)) + 2 * _MARGIN
    right += 2 * _MARGIN
    wide = max(width - left - right, _LEAST)
    heading = wrapped(title, FONT + 1, (width - 2 * _MARGIN) * _POINTS) if title else []
    below = wrapped(x_title, FONT, (width - 2 * _MARGIN) * _POINTS) if x_title else []
    head = key_lines([str(sign.get_label()) for sign in key], width - 2 * _MARGIN)[1] if key else 0.0
    top = _TOP + head + 1.15 * _LINE * len(heading)
    height = top + depth + _BOTTOM + _LINE * len(below)
    figure = Figure(figsize=(width, height))
    axes = figure.add_axes((left / width, 1 - (top + depth) / height, wide / width, depth / height))
    axes.set(xlim=limits, ylim=(depth, 0))
    known = rows.dropna(subset=["ci_low", "ci_high"])
    axes.hlines(known["y"], known["ci_low"], known["ci_high"], colors=list(known["colour"]), linewidth=1.5, zorder=2)
    for row in rows.to_dict("records"):
        _draw(axes, row)
    axes.set_yticks([y for y, _ in ticks], names, fontsize=FONT, color=INK, linespacing=1.0)
    _write(axes, headings, -(left - _MARGIN) / wide, _QUIET)
    _write(axes, list(zip([y for y, _ in remarks], said, strict=True)), 1 + _MARGIN / wide, INK)
    edge = _MARGIN / width
    if heading:
        at = 1 - (head + 0.05) / height
        figure.text(edge, at, "\n".join(heading), fontsize=FONT + 1, color=INK, va="top", linespacing=1.15)
    if below:
        figure.text(edge, 0.06 / height, "\n".join(below), fontsize=FONT, color=INK)
    if key:
        write_key(figure, key, left=_MARGIN)
    axes.tick_params(axis="y", length=0)
    axes.tick_params(axis="x", labelsize=FONT - 1, colors=INK)
    _few_numbers(axes, wide)
    axes.grid(axis="x", color=FAINT, linewidth=0.6)
    axes.set_axisbelow(True)
    axes.spines[["top", "right", "left"]].set_visible(False)
    return figure, axes


def signs_of(drawn: Mapping[str, Marker]) -> list[Artist]:
    """Return the signs of a key: a marker on a piece of line, labelled with its name."""
    from matplotlib.lines import Line2D

    return [
        Line2D(
            [], [], color=look.colour, marker=look.shape, markersize=6, markeredgecolor=INK, markeredgewidth=0.6,
            linewidth=1.3, label=name,
        )
        for name, look in drawn.items()
    ]  # fmt: skip


def needed_limits(rows: pd.DataFrame, *also: float) -> tuple[float, float]:
    """Return ends of a scale that show every interval, every estimate and the values in `also`."""
    values = pd.concat([rows["estimate"], rows["ci_low"], rows["ci_high"], pd.Series(also, dtype="float64")])
    low, high = float(values.min()), float(values.max())
    room = 0.04 * ((high - low) or 1.0)
    return low - room, high + room


def _few_numbers(axes: Axes, wide: float) -> None:
    """Write no more numbers on the scale than there is room for."""
    from matplotlib.ticker import MaxNLocator

    axes.xaxis.set_major_locator(MaxNLocator(max(2, min(9, int(wide / 0.55))), steps=[1, 2, 2.5, 5, 10]))


def _draw(axes: Axes, line: dict[Any, Any]) -> None:
    y, colour = line["y"], line["colour"]
    axes.plot(
        [line["estimate"]], [y], linestyle="none", marker=line["shape"], markersize=6, zorder=3,
        markerfacecolor=colour if line["filled"] else "white", markeredgecolor=INK if line["filled"] else colour,
        markeredgewidth=0.6 if line["filled"] else 1.3,
        gid=prototype_mark(line["stands_for"]) if line.get("stands_for") else None,
    )  # fmt: skip


def draw_prototype(
    axes: Axes, names: Naming, prototype: str, at: tuple[float, float], *, size: float = 7.0, **look: Any
) -> None:
    """Draw the mark of a prototype at a place of a picture, in its colour and shape."""
    own = marker_of(names, prototype)
    axes.plot(
        [at[0]], [at[1]], linestyle="none", marker=own.shape, markersize=size, markerfacecolor=own.colour,
        markeredgecolor=INK, markeredgewidth=0.7, gid=prototype_mark(prototype), **({"zorder": 5} | look),
    )  # fmt: skip


def prototype_mark(prototype: object) -> str:
    """Return the name that the mark of a prototype carries in a picture, so that it can be found there."""
    return f"prototype {prototype}"


def _write(axes: Axes, words: Words, across: float, colour: str) -> None:
    for y, text in words:
        axes.text(
            across, y, text, transform=axes.get_yaxis_transform(), fontsize=FONT, color=colour, ha="left", va="center",
            linespacing=1.0,
        )  # fmt: skip


def _column(words: Words, most: float) -> tuple[list[str], float]:
    """Return words in two lines at the most, and the width of the column they stand in, in inches."""
    whole = _widest(words)
    lines = [[text] if whole <= most else wrapped(text, FONT, most * _POINTS, 2) for _, text in words]
    return ["\n".join(each) for each in lines], min(whole, _widest([(0.0, part) for each in lines for part in each]))


def _widest(words: Words) -> float:
    """Return the width of the longest words in inches."""
    return max((text_width(text, FONT) for _, text in words), default=0.0) / _POINTS
