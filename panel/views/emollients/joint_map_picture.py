"""The picture of the joint map: prototypes as panel and instruments see them together, and what pulls which way."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Circle
from numpy.typing import NDArray

from panel.models.emollients.joint_map import BOTH, INSTRUMENTS, PANEL, JointMap
from panel.views.drawing.formats import format_share
from panel.views.drawing.labels import place_labels, text_width
from panel.views.drawing.naming import Naming
from panel.views.drawing.palette import COLOURS, FAINT, GREY, INK
from panel.views.drawing.svg import svg_text
from panel.views.emollients.reading_words import joint_map_alt_text

_FONT = 8.5  # points
_POINTS = 72.0  # to the inch
# Inches.
_SIDE, _LEFT, _BOTTOM, _TOP, _BETWEEN, _WORDS = 4.4, 0.6, 0.75, 0.4, 0.35, 1.3
_ROOM = 0.12  # of the longer range, on either side
_MARK = 8.0  # size of a mark, and distance of a label from it, in points
_LOOK = {PANEL: (COLOURS[0], "^"), INSTRUMENTS: (COLOURS[1], "s"), BOTH: (INK, "o")}
_WORDING = {PANEL: "as the panel sees it", INSTRUMENTS: "as the instruments see it", BOTH: "both together"}


def joint_map_figure(joint: JointMap, names: Naming) -> Figure:
    """Return the joint map: the prototypes at the left, what increases which way at the right.

    Each prototype stands where both blocks together place it, with a line to where the panel (triangle) and the
    instruments (square) alone would.
    """
    across = _SIDE + 2 * _WORDS
    width, height = _LEFT + _SIDE + _BETWEEN + across, _BOTTOM + _SIDE + _TOP
    figure = Figure(figsize=(width, height))
    places = figure.add_axes((_LEFT / width, _BOTTOM / height, _SIDE / width, _SIDE / height))
    columns = figure.add_axes(((_LEFT + _SIDE + _BETWEEN) / width, _BOTTOM / height, across / width, _SIDE / height))
    _draw_places(places, joint.prototypes)
    for axis, component in ((places.xaxis, 1), (places.yaxis, 2)):
        share = joint.components["share"].iloc[component - 1]
        axis.set_label_text(f"Component {component} ({format_share(share)})", fontsize=_FONT, color=INK)
    places.set_title("Prototypes", fontsize=_FONT + 2, color=INK)
    _draw_columns(columns, joint.columns, names)
    columns.set_title("Attributes and readings: which way they increase", fontsize=_FONT + 2, color=INK)
    _key(figure, width, height)
    return figure


def joint_map_svg(joint: JointMap, names: Naming, *, text_as_paths: bool = True) -> str:
    """Return the joint map as SVG text."""
    return svg_text(
        joint_map_figure(joint, names),
        title="Joint map of panel and instruments",
        description=joint_map_alt_text(joint),
        text_as_paths=text_as_paths,
    )


def _draw_places(axes: Axes, prototypes: pd.DataFrame) -> None:
    points = {block: _points(rows) for block, rows in prototypes.groupby("block", sort=False)}
    low, high = np.vstack(list(points.values())).min(axis=0), np.vstack(list(points.values())).max(axis=0)
    centre, half = (low + high) / 2, (0.5 + _ROOM) * float((high - low).max())
    axes.set(xlim=(centre[0] - half, centre[0] + half), ylim=(centre[1] - half, centre[1] + half), aspect="equal")
    axes.axhline(0, color=FAINT, linewidth=0.8, zorder=0)
    axes.axvline(0, color=FAINT, linewidth=0.8, zorder=0)
    for block in (PANEL, INSTRUMENTS, BOTH):
        colour, shape = _LOOK[block]
        for (x, y), (middle_x, middle_y) in zip(points[block], points[BOTH], strict=True):
            axes.plot([middle_x, x], [middle_y, y], color=colour, linewidth=0.9, zorder=2)
        x, y = points[block].T
        axes.scatter(x, y, s=34 if block == BOTH else 18, color=colour, marker=shape, zorder=3)
    side = _SIDE * _POINTS
    everything = np.vstack([points[block] for block in (BOTH, PANEL, INSTRUMENTS)])
    names = [str(name) for name in prototypes.loc[prototypes["block"] == BOTH, "prototype"]]
    _write(axes, names, (everything - centre + half) / (2 * half) * side, (side, side), [INK] * len(names))
    axes.tick_params(labelsize=_FONT - 1, colors=INK)
    axes.spines[["top", "right"]].set_visible(False)


def _draw_columns(axes: Axes, columns: pd.DataFrame, names: Naming) -> None:
    wide = columns.pivot_table(index=["block", "name"], columns="component", values="loading", sort=False)
    points = wide[[1, 2]].to_numpy(dtype=float)
    blocks = [str(block) for block, _ in wide.index]
    reach = 1.08
    stretch = (_SIDE + 2 * _WORDS) / _SIDE
    axes.set(xlim=(-reach * stretch, reach * stretch), ylim=(-reach, reach), aspect="equal")
    axes.axis("off")
    axes.add_patch(Circle((0, 0), 1, fill=False, edgecolor=FAINT, linewidth=0.8))
    axes.plot([-1, 1], [0, 0], color=FAINT, linewidth=0.8, zorder=0)
    axes.plot([0, 0], [-1, 1], color=FAINT, linewidth=0.8, zorder=0)
    for block, (x, y) in zip(blocks, points, strict=True):
        colour, shape = _LOOK[block]
        axes.plot([0, x], [0, y], color=colour, linewidth=0.6, alpha=0.5, zorder=1)
        axes.plot([x], [y], color=colour, marker=shape, markersize=5, linestyle="none", zorder=3)
    labels = [
        names.attribute(str(name)) if block == PANEL else str(name)
        for block, (_, name) in zip(blocks, wide.index, strict=True)
    ]
    box = (_SIDE + 2 * _WORDS) * _POINTS, _SIDE * _POINTS
    scaled = (points / reach / np.array([stretch, 1.0]) + 1) / 2 * np.array(box)
    _write(axes, labels, scaled, box, [_LOOK[block][0] for block in blocks])


def _write(
    axes: Axes, labels: Sequence[str], points: NDArray[np.float64], box: tuple[float, float], colours: Sequence[str]
) -> None:
    """Write a label beside each of the first points; the further points are only in the way."""
    sizes = [(text_width(text, _FONT), _FONT) for text in labels]
    sizes += [(0.0, 0.0)] * (len(points) - len(labels))
    places = place_labels(points, sizes, box, _MARK)[: len(labels)] / np.array(box)
    starts = points[: len(labels)] / np.array(box)
    for text, place, start, size, colour in zip(labels, places, starts, sizes, colours, strict=False):
        gap = np.abs(place - start) * np.array(box) - np.array(size) / 2
        if gap.max() > 1.5 * _MARK:
            axes.plot(*np.column_stack([start, place]), transform=axes.transAxes, color=GREY, linewidth=0.5, zorder=1)
        x, y = place
        axes.text(
            x, y, text, transform=axes.transAxes, fontsize=_FONT, color=colour, ha="center", va="center", zorder=4
        )


def _points(rows: pd.DataFrame) -> NDArray[np.float64]:
    return rows[["component_1", "component_2"]].to_numpy(dtype=float)


def _key(figure: Figure, width: float, height: float) -> None:
    entries = [
        Line2D([], [], color=_LOOK[block][0], marker=_LOOK[block][1], linestyle="none", markersize=5, label=words)
        for block, words in _WORDING.items()
    ]
    figure.legend(
        handles=entries, loc="lower left", bbox_to_anchor=(0.1 / width, 0.02 / height), ncols=3, fontsize=_FONT,
        frameon=False, columnspacing=1.2, handletextpad=0.3,
    )  # fmt: skip
