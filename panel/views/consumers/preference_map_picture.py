"""The picture of the preference map: prototypes as the panel sees them, shares of consumers, arrows towards liking."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from panel.models.consumers.preference_map import PreferenceMap
from panel.models.consumers.segments import Segments
from panel.stats.arrays import Array
from panel.views.consumers.preference_map_words import preferences_alt_text
from panel.views.consumers.segment_words import segment_name
from panel.views.drawing.formats import format_share
from panel.views.drawing.labels import place_labels, text_width
from panel.views.drawing.naming import Naming
from panel.views.drawing.palette import COLOURS, FAINT, GREY, INK
from panel.views.drawing.svg import svg_text

_FONT = 8.5  # points
_POINTS = 72.0
_WIDTH, _LEFT, _BOTTOM, _TOP, _RIGHT, _KEY = 5.2, 0.75, 0.6, 0.4, 0.15, 0.24  # inches
_LOWEST, _HIGHEST = 3.0, 5.2
_AROUND = 0.16  # free part on each side
_ARROW = 0.38  # length of the arrow of the steepest slope, of the shorter side
_DASHES = ("-", (0, (6, 2)), (0, (2, 2)), (0, (6, 2, 2, 2)))
_CLEAR = 0.05


def preference_map_figure(result: PreferenceMap, segments: Segments, names: Naming) -> Figure:
    """Return the panel's map with the share of pleased consumers at each prototype and one arrow for each group.

    Arrows of groups whose direction is not clear are grey.
    """
    points = result.places[["component_1", "component_2"]].to_numpy(dtype=float)
    low, high = points.min(axis=0), points.max(axis=0)
    room = _AROUND * (high - low).max()
    low, high = low - room, high + room
    tall = float(np.clip(_WIDTH * (high[1] - low[1]) / (high[0] - low[0]), _LOWEST, _HIGHEST))
    arrows = _arrows(result, segments)
    key = _KEY * (len(arrows) + 1)
    width, height = _LEFT + _WIDTH + _RIGHT, key + _BOTTOM + tall + _TOP
    figure = Figure(figsize=(width, height))
    axes = figure.add_axes((_LEFT / width, (key + _BOTTOM) / height, _WIDTH / width, tall / height))
    axes.set(xlim=(low[0], high[0]), ylim=(low[1], high[1]))
    axes.set_aspect("equal", adjustable="datalim")
    _draw_arrows(axes, result, arrows, 0.5 * float((high - low).min()))
    _draw_places(axes, result, points, (_WIDTH * _POINTS, tall * _POINTS))
    share = result.components["share"]
    axes.set_xlabel(f"Component 1: {format_share(float(share.iloc[0]))} of the differences", fontsize=_FONT, color=INK)
    axes.set_ylabel(f"Component 2: {format_share(float(share.iloc[1]))}", fontsize=_FONT, color=INK)
    axes.set_title("Towards where liking rises", fontsize=_FONT + 1.5, color=INK, loc="left")
    axes.tick_params(labelsize=_FONT - 1, colors=INK)
    axes.spines[["top", "right"]].set_visible(False)
    for number, (name, colour, dashes) in enumerate(arrows):
        y = _KEY * (len(arrows) - number + 0.3) / height
        figure.add_artist(_sample((_LEFT / width, (_LEFT + 0.4) / width), y, colour, dashes))
        figure.text((_LEFT + 0.5) / width, y, name, fontsize=_FONT, color=INK, va="center")
    line = "In brackets: share of consumers expected to like that place better than their own mean."
    figure.text(_LEFT / width, 0.4 * _KEY / height, line, fontsize=_FONT, color=INK, va="center")
    return figure


def preference_map_svg(result: PreferenceMap, segments: Segments, names: Naming, *, text_as_paths: bool = True) -> str:
    """Return the preference map as SVG text."""
    return svg_text(
        preference_map_figure(result, segments, names),
        title="Preference map",
        description=preferences_alt_text(result, segments, names),
        text_as_paths=text_as_paths,
    )


Arrow = tuple[str, str, object]


def _arrows(result: PreferenceMap, segments: Segments) -> list[Arrow]:
    """Return words, colour and dashes of the arrow of each group."""
    found: list[Arrow] = []
    for number, row in enumerate(result.directions.to_dict("records")):
        clear = row["p_value"] < _CLEAR
        words = segment_name(segments, int(row["segment"])) + ("" if clear else ": no clear direction (grey)")
        colour = GREY if not clear else INK if not number else COLOURS[(number - 1) % len(COLOURS)]
        found.append((words, colour, _DASHES[number % len(_DASHES)]))
    return found


def _draw_arrows(axes: Axes, result: PreferenceMap, arrows: list[Arrow], reach: float) -> None:
    slopes = result.directions[["slope_1", "slope_2"]].to_numpy(dtype=float)
    longest = float(np.hypot(*slopes.T).max()) or 1.0
    for number, ((_, colour, dashes), slope) in enumerate(zip(arrows, slopes, strict=True)):
        tip = slope / longest * reach
        axes.plot([0, tip[0]], [0, tip[1]], color=colour, linestyle=dashes, linewidth=1.8, zorder=3)
        axes.annotate(
            "",
            xy=tuple(tip * 1.06),
            xytext=tuple(tip * 0.98),
            arrowprops={"arrowstyle": "-|>", "color": colour, "linewidth": 1.2, "shrinkA": 0, "shrinkB": 0},
            zorder=3,
        )
        words = "all" if not number else f"{result.directions['segment'].iloc[number]}"
        axes.annotate(words, xy=tuple(tip * 1.16), fontsize=_FONT, color=colour, ha="center", va="center", zorder=4)


def _draw_places(axes: Axes, result: PreferenceMap, points: Array, box: tuple[float, float]) -> None:
    axes.axhline(0, color=FAINT, linewidth=0.8, zorder=0)
    axes.axvline(0, color=FAINT, linewidth=0.8, zorder=0)
    axes.scatter(points[:, 0], points[:, 1], s=34, color="white", edgecolor=INK, linewidth=1.0, zorder=4)
    axes.apply_aspect()
    corner = np.array([axes.get_xlim()[0], axes.get_ylim()[0]])
    side = np.array([np.ptp(axes.get_xlim()), np.ptp(axes.get_ylim())])
    labels = _labels(result, points)
    sizes = [(text_width(label, _FONT), _FONT * 1.2) for label in labels]
    middle = place_labels((points - corner) / side * np.array(box), sizes, box, _FONT)
    for label, (x, y) in zip(labels, middle / np.array(box) * side + corner, strict=True):
        axes.text(x, y, label, fontsize=_FONT, color=INK, ha="center", va="center", zorder=5)


def _labels(result: PreferenceMap, points: Array) -> list[str]:
    """Return the names of the prototypes, each with the share of consumers at the place of the grid nearest to it."""
    names = [str(name) for name in result.places["prototype"]]
    if result.shares.empty:
        return names
    grid = result.shares[["component_1", "component_2"]].to_numpy(dtype=float)
    nearest = ((points[:, None, :] - grid) ** 2).sum(axis=2).argmin(axis=1)
    shares = result.shares["share"].to_numpy(dtype=float)[nearest]
    return [f"{name} ({format_share(share)})" for name, share in zip(names, shares, strict=True)]


def _sample(ends: tuple[float, float], y: float, colour: str, dashes: object) -> Line2D:
    return Line2D(ends, (y, y), color=colour, linestyle=dashes, linewidth=1.8)  # type: ignore[arg-type]  # dash tuples
