"""The map of check-all terms, and how much liking changes where a term is ticked."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from numpy.typing import NDArray

from panel.errors import ModelError
from panel.models.consumers.check_all import CheckAll
from panel.models.consumers.term_map import TermMap
from panel.views.drawing.formats import format_share
from panel.views.drawing.interval_picture import interval_figure, needed_limits
from panel.views.drawing.labels import place_labels, text_width
from panel.views.drawing.palette import COLOURS, FAINT, GREY, INK
from panel.views.drawing.svg import svg_text

Floats = NDArray[np.float64]

_FONT = 9.0  # points
_POINTS = 72.0  # to the inch
_WIDTH, _LEAST, _MOST = 7.2, 4.2, 6.5  # inches
_LEFT, _BOTTOM, _TOP, _RIGHT = 0.7, 0.6, 0.45, 0.15
_LINE = 1.45  # height of a line of text, in font sizes
_ROUND = 0.09  # free part of the picture on each side
_ROW = 0.26  # inches, one term of the liking picture
_TERM, _PROTOTYPE = (COLOURS[0], "o"), (COLOURS[1], "s")


def term_map_figure(result: CheckAll) -> Figure:
    """Return the map: terms as blue dots, prototypes as large red squares; ModelError if there is none."""
    if result.map is None:
        raise ModelError("There is no map of the terms to draw.")
    points, labels, is_term = _points(result.map)
    span = np.maximum(np.ptp(points, axis=0), 1e-9)
    tall = float(np.clip(_WIDTH * span[1] / span[0], _LEAST, _MOST))
    width, height = _LEFT + _WIDTH + _RIGHT, _BOTTOM + tall + _TOP
    figure = Figure(figsize=(width, height))
    axes = figure.add_axes((_LEFT / width, _BOTTOM / height, _WIDTH / width, tall / height))
    axes.axhline(0, color=FAINT, linewidth=0.8, zorder=0)
    axes.axvline(0, color=FAINT, linewidth=0.8, zorder=0)
    _draw(axes, points, labels, is_term, np.array([_WIDTH, tall]) * _POINTS)
    shares = [format_share(value) for value in result.map.components["share"]]
    axes.set_xlabel(f"Component 1 ({shares[0]} of the differences in ticks)", fontsize=_FONT, color=INK)
    if len(shares) > 1:
        axes.set_ylabel(f"Component 2 ({shares[1]})", fontsize=_FONT, color=INK)
    axes.tick_params(labelsize=_FONT - 1, colors=INK)
    axes.spines[["top", "right"]].set_visible(False)
    handles = [
        Line2D([], [], linestyle="none", marker=shape, color=colour, markeredgecolor=INK, label=label)
        for (colour, shape), label in ((_TERM, "term"), (_PROTOTYPE, "prototype"))
    ]
    axes.legend(handles=handles, loc="lower left", bbox_to_anchor=(0, 1), ncols=2, fontsize=_FONT, frameon=False)
    return figure


def _draw(axes: Axes, points: Floats, labels: list[str], is_term: list[bool], box: Floats) -> None:
    """Draw the points with labels that keep out of each other's way; `box` is the size of the picture in points."""
    span = np.maximum(np.ptp(points, axis=0), 1e-9)
    unit = float((span / box).max()) / (1 - 2 * _ROUND)  # both components on the same scale
    corner = (points.min(axis=0) + points.max(axis=0)) / 2 - unit * box / 2
    axes.set(xlim=(corner[0], corner[0] + unit * box[0]), ylim=(corner[1], corner[1] + unit * box[1]))
    sizes = [(text_width(label, _FONT), _FONT * _LINE) for label in labels]
    in_box = (points - corner) / unit
    centres = place_labels(in_box, sizes, (float(box[0]), float(box[1])), distance=0.65 * _FONT)
    far = np.maximum(np.abs(centres - in_box) - np.array(sizes) / 2, 0).max(axis=1) > _FONT
    for (x, y), (to_x, to_y), label, term, led in zip(
        points, corner + centres * unit, labels, is_term, far, strict=True
    ):
        colour, shape = _TERM if term else _PROTOTYPE
        if led:
            axes.plot([x, to_x], [y, to_y], color=GREY, linewidth=0.6, zorder=1)
        axes.plot([x], [y], shape, color=colour, markersize=5 if term else 8, markeredgecolor=INK, zorder=2)
        weight = "normal" if term else "bold"
        axes.text(to_x, to_y, label, fontsize=_FONT, color=INK, ha="center", va="center", fontweight=weight, zorder=3)


def _points(found: TermMap) -> tuple[Floats, list[str], list[bool]]:
    """Return where terms and prototypes lie on the first two components, their labels, and which are terms."""
    columns = [name for name in ("component_1", "component_2") if name in found.terms]
    parts = [frame[columns].to_numpy(dtype=float) for frame in (found.prototypes, found.terms)]
    points = np.vstack(parts)
    if points.shape[1] == 1:
        points = np.column_stack([points, np.zeros(len(points))])
    labels = [*map(str, found.prototypes["prototype"]), *map(str, found.terms["term"])]
    return points, labels, [number >= len(parts[0]) for number in range(len(points))]


def term_map_svg(result: CheckAll, *, text_as_paths: bool = True) -> str:
    """Return the map as SVG text."""
    return svg_text(
        term_map_figure(result),
        title="Map of the check-all terms",
        description="Terms and prototypes on the first two components of the counts; the tables hold the numbers.",
        text_as_paths=text_as_paths,
    )


def lift_figure(result: CheckAll) -> Figure:
    """Return how much liking differs where a term is ticked, from the most welcome term down; hollow: can be chance."""
    rows = result.lift.dropna(subset=["estimate"]).sort_values("estimate", ascending=False, kind="stable")
    if rows.empty:
        raise ModelError("There is no liking beside the terms to draw.")
    rows = rows.assign(
        y=_ROW * (np.arange(len(rows)) + 0.5),
        colour=COLOURS[0],
        shape="o",
        filled=rows["p_adjusted"] < 1 - result.level,
    )
    figure, axes = interval_figure(
        rows,
        _ROW * len(rows),
        [(float(y), str(term)) for y, term in zip(rows["y"], rows["term"], strict=True)],
        limits=needed_limits(rows, 0.0),
        x_title="Liking where it is ticked minus where it is not (hollow: can be chance)",
    )
    axes.axvline(0, color=GREY, linewidth=0.8, zorder=1)
    return figure


def lift_svg(result: CheckAll, *, text_as_paths: bool = True) -> str:
    """Return the picture of liking as SVG text."""
    return svg_text(
        lift_figure(result),
        title="Terms and liking",
        description="Mean liking where a term is ticked minus where it is not, with intervals, by term.",
        text_as_paths=text_as_paths,
    )
