"""Pictures of the panel beside the instruments: one scatter picture for each pair that was declared beforehand."""

from __future__ import annotations

from textwrap import wrap

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from panel.models.emollients.partners import CANNOT_TELL
from panel.models.emollients.readings import JoinedReadings
from panel.views.drawing.formats import format_interval, format_number
from panel.views.drawing.labels import place_labels, text_width
from panel.views.drawing.naming import Naming
from panel.views.drawing.palette import COLOURS, FAINT, GREY, INK
from panel.views.drawing.svg import svg_text
from panel.views.emollients.reading_words import measure_title, partner_alt_text

_FONT = 8.5  # points
_POINTS = 72.0  # to the inch
# Inches.
_SIZE, _LEFT, _BOTTOM, _TOP, _RIGHT, _KEY = 2.35, 0.65, 0.6, 0.75, 0.15, 0.3
_MOST_BESIDE = 4
_ROOM = 0.14  # of the range of the values, on either side
_MARK = 7.0  # size of a dot, and distance of a label from it, in points


def partner_figure(result: JoinedReadings, names: Naming) -> Figure:
    """Return one scatter picture per declared pair: a dot per prototype with its name beside it.

    Thin lines are the standard deviation of repeated readings. Pairs about which the prototypes cannot say anything
    are grey.
    """
    pairs = result.partners.to_dict("records")
    beside = max(1, min(len(pairs), _MOST_BESIDE))
    stacked = max(1, -(-len(pairs) // beside))
    wide, tall = _LEFT + _SIZE + _RIGHT, _TOP + _SIZE + _BOTTOM
    whole = beside * wide, stacked * tall + _KEY
    figure = Figure(figsize=whole)
    for number, pair in enumerate(pairs):
        row, column = divmod(number, beside)
        place = (column * wide + _LEFT) / whole[0], ((stacked - 1 - row) * tall + _BOTTOM + _KEY) / whole[1]
        axes = figure.add_axes((*place, _SIZE / whole[0], _SIZE / whole[1]))
        readings = result.means.loc[result.means["measure"] == pair["measure"]].set_index("prototype")
        attribute = str(pair["attribute"])
        together = readings.join(result.panel[attribute].rename("panel"), how="inner").dropna(subset=["panel"])
        _scatter(axes, together, GREY if pair["verdict"] == CANNOT_TELL else COLOURS[0])
        unit = str(readings["unit"].iloc[0])
        axes.set_xlabel(measure_title(str(pair["measure"]), unit), fontsize=_FONT, color=INK)
        axes.set_ylabel(names.with_scale("Panel mean") if column == 0 else "", fontsize=_FONT, color=INK)
        r = f"r = {format_number(pair['estimate'], 2)} ({format_interval(pair['ci_low'], pair['ci_high'], 2)})"
        title = "\n".join([*wrap(names.attribute(attribute), 34)[:2], r, str(pair["verdict"])])
        axes.set_title(title, fontsize=_FONT, color=INK, loc="left")
    key = "Dots: means. Lines: standard deviation of the readings. Grey: cannot tell."
    figure.text(_LEFT / whole[0], 0.5 * _KEY / whole[1], key, fontsize=_FONT, color=INK, va="center")
    return figure


def partner_svg(result: JoinedReadings, names: Naming, *, text_as_paths: bool = True) -> str:
    """Return the scatter pictures as SVG text."""
    return svg_text(
        partner_figure(result, names),
        title="Panel and instruments",
        description=partner_alt_text(result, names),
        text_as_paths=text_as_paths,
    )


def _scatter(axes: Axes, together: pd.DataFrame, colour: str) -> None:
    import seaborn as sns

    sns.scatterplot(
        data=together, x="estimate", y="panel", ax=axes, color=colour, edgecolor=INK, linewidth=0.6, s=34, zorder=3
    )
    known = together["sd"].notna()
    axes.hlines(
        together.loc[known, "panel"],
        (together["estimate"] - together["sd"])[known],
        (together["estimate"] + together["sd"])[known],
        color=colour,
        linewidth=1.0,
        zorder=2,
    )
    ends = pd.concat([together["estimate"] - together["sd"].fillna(0), together["estimate"] + together["sd"].fillna(0)])
    axes.set(xlim=_limits(ends), ylim=_limits(together["panel"]))
    _label(axes, together)
    axes.grid(color=FAINT, linewidth=0.5)
    axes.set_axisbelow(True)
    axes.tick_params(labelsize=_FONT - 1, colors=INK)
    axes.spines[["top", "right"]].set_visible(False)
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(MaxNLocator(4))


def _label(axes: Axes, together: pd.DataFrame) -> None:
    """Write each prototype's name where it covers neither a dot nor another name."""
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    side = _SIZE * _POINTS
    across = (together["estimate"].to_numpy(dtype=float) - left) / (right - left)
    up = (together["panel"].to_numpy(dtype=float) - low) / (high - low)
    labels = [str(name) for name in together.index]
    points, sizes = [np.column_stack([across, up])], [(text_width(text, _FONT - 0.5), _FONT) for text in labels]
    # The lines are in the way as well: a row of points along each, without a label of their own.
    for x, y, half in zip(across, up, together["sd"].fillna(0.0) / (right - left), strict=True):
        along = np.linspace(x - half, x + half, max(2, int(2 * half * side / _MARK) + 2))
        points.append(np.column_stack([along, np.full_like(along, y)]))
    everything = np.vstack(points)
    sizes += [(0.0, 0.0)] * (len(everything) - len(labels))
    places = place_labels(side * everything, sizes, (side, side), _MARK) / side
    for text, (x, y) in zip(labels, places[: len(labels)], strict=True):
        axes.text(
            x, y, text, transform=axes.transAxes, fontsize=_FONT - 0.5, color=INK, ha="center", va="center", zorder=4
        )


def _limits(values: pd.Series) -> tuple[float, float]:
    low, high = float(values.min()), float(values.max())
    room = _ROOM * ((high - low) or abs(high) or 1.0)
    return low - room, high + room
