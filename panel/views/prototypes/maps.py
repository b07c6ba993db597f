"""The picture of a map for reports and downloads."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Polygon

from panel.models.prototypes.map import PrototypeMap
from panel.study.naming import Naming
from panel.views.drawing.pictures import (
    FAINT,
    GREY,
    INK,
    STAGES,
    markers,
    shortened,
    stage_stroke,
    svg_text,
    text_width,
)
from panel.views.prototypes.map import (
    AttributesLayout,
    PlacesLayout,
    axis_ends,
    axis_title,
    best_height,
    layout_attributes,
    layout_places,
    map_alt_text,
)

_FONT = 8.5  # points
_POINTS = 72.0  # to the inch
# Inches.
_PLACES_WIDTH, _ATTRIBUTES_WIDTH, _LOWEST, _HIGHEST = 5.2, 6.0, 3.6, 5.2
_LEFT, _BOTTOM, _BETWEEN, _TOP, _RIGHT = 1.0, 0.85, 0.4, 0.35, 0.1

_ACROSS = {0.0: "left", 0.5: "center", 1.0: "right"}
_UPRIGHT = {0.0: "bottom", 0.5: "center", 1.0: "top"}


def map_figure(result: PrototypeMap, names: Naming, chosen: Sequence[str] = ()) -> Figure:
    """Return the map: prototypes with their regions on the left, attributes on the right.

    With more than seven prototypes only the `chosen` ones are coloured.
    """
    tall = best_height(result, _PLACES_WIDTH, _LOWEST, _HIGHEST)
    width = _LEFT + _PLACES_WIDTH + _BETWEEN + _ATTRIBUTES_WIDTH + _RIGHT
    height = _BOTTOM + tall + _TOP
    figure = Figure(figsize=(width, height))
    places, attributes = (
        figure.add_axes((start / width, _BOTTOM / height, wide / width, tall / height))
        for start, wide in (
            (_LEFT, _PLACES_WIDTH),
            (_LEFT + _PLACES_WIDTH + _BETWEEN, _ATTRIBUTES_WIDTH),
        )
    )
    box = _PLACES_WIDTH * _POINTS, tall * _POINTS
    _draw_places(places, layout_places(result, box, _FONT + 1), chosen)
    places.set_title(f"Prototypes with {100 * result.level:g} % regions", fontsize=_FONT + 2, color=INK)
    _write_axes(places, result, names, box)
    box = _ATTRIBUTES_WIDTH * _POINTS, tall * _POINTS
    _draw_attributes(attributes, layout_attributes(result, names, box, _FONT))
    attributes.set_title("Attributes: which way they increase", fontsize=_FONT + 2, color=INK)
    return figure


def map_svg(result: PrototypeMap, names: Naming, chosen: Sequence[str] = (), *, text_as_paths: bool = True) -> str:
    """Return the map as SVG text."""
    return svg_text(
        map_figure(result, names, chosen),
        title="Map of the prototypes",
        description=map_alt_text(result, names),
        text_as_paths=text_as_paths,
    )


def _draw_places(axes: Axes, layout: PlacesLayout, chosen: Sequence[str]) -> None:
    axes.set(xlim=layout.x_limits, ylim=layout.y_limits, aspect="equal")
    axes.axhline(0, color=FAINT, linewidth=0.8, zorder=0)
    axes.axvline(0, color=FAINT, linewidth=0.8, zorder=0)
    drawn = markers(list(layout.places["prototype"]), chosen)
    for prototype, outline in layout.outlines.groupby("prototype", sort=False):
        points = outline[["component_1", "component_2"]].to_numpy(dtype=float)
        colour = drawn[str(prototype)].colour
        axes.add_patch(Polygon(points, facecolor=colour, alpha=0.10, linewidth=0, zorder=1))
        axes.add_patch(Polygon(points, fill=False, edgecolor=colour, linewidth=1.1, zorder=2))
    for row in layout.places.to_dict("records"):
        if row["led"]:
            ends = [row["component_1"], row["label_x"]], [row["component_2"], row["label_y"]]
            axes.plot(*ends, color=GREY, linewidth=0.6, zorder=3)
        axes.plot(
            [row["component_1"]],
            [row["component_2"]],
            linestyle="none",
            marker=drawn[str(row["prototype"])].shape,
            markersize=7,
            markerfacecolor=drawn[str(row["prototype"])].colour,
            markeredgecolor=INK,
            markeredgewidth=0.7,
            zorder=4,
        )
        at = row["label_x"], row["label_y"]
        axes.text(*at, row["label"], fontsize=_FONT + 1, color=INK, ha="center", va="center", zorder=5)
    axes.tick_params(labelsize=_FONT - 1, colors=INK)
    axes.spines[["top", "right"]].set_visible(False)


def _write_axes(axes: Axes, result: PrototypeMap, names: Naming, box: tuple[float, float]) -> None:
    """Write the axis titles, and under them the attributes that increase towards either end."""
    for component, first_line in ((1, 26.0), (2, 34.0)):
        less, more = axis_ends(result, names, component)
        room = box[component - 1] - 3 * _FONT
        below = f"← {shortened(', '.join(less), _FONT, room)}" if less else ""
        above = f"{shortened(', '.join(more), _FONT, room)} →" if more else ""
        needed = text_width(below, _FONT) + text_width(above, _FONT) + 2 * _FONT
        second = 1 if not below or needed < box[component - 1] else 2
        for words, along, line in ((axis_title(result, component), 0.5, 0), (below, 0.0, 1), (above, 1.0, second)):
            _beside_axis(axes, component, words, along, first_line + 12.5 * line)


def _beside_axis(axes: Axes, component: int, words: str, along: float, away: float) -> None:
    """Write words outside the axes: `along` 0 to 1 on the axis, `away` points from it; the ends stay inside."""
    flat = component == 1
    axes.annotate(
        words,
        (along, 0) if flat else (0, along),
        xycoords="axes fraction",
        xytext=(0, -away) if flat else (-away, 0),
        textcoords="offset points",
        rotation=0 if flat else 90,
        ha=_ACROSS[along] if flat else "center",
        va="center" if flat else _UPRIGHT[along],
        fontsize=_FONT,
        color=INK,
    )


def _draw_attributes(axes: Axes, layout: AttributesLayout) -> None:
    axes.set(xlim=layout.x_limits, ylim=layout.y_limits, aspect="equal")
    axes.axis("off")
    axes.add_patch(Circle((0, 0), 1, fill=False, edgecolor=FAINT, linewidth=0.8))
    axes.plot([-1, 1], [0, 0], color=FAINT, linewidth=0.8, zorder=0)
    axes.plot([0, 0], [-1, 1], color=FAINT, linewidth=0.8, zorder=0)
    for row in layout.lines.to_dict("records"):
        stroke = stage_stroke(str(row["stage"]))
        leader = [row["x"], row["label_x"] * 0.985], [row["y"], row["label_y"]]
        axes.plot(*leader, color=FAINT, linewidth=0.6, zorder=1)
        (line,) = axes.plot([0, row["x"]], [0, row["y"]], color=stroke.colour, linewidth=1.4, zorder=2)
        if stroke.dashes:
            line.set_dashes(stroke.dashes)
        axes.annotate(
            "",
            xy=(row["x"], row["y"]),
            xytext=(row["x"] * 0.999, row["y"] * 0.999),
            arrowprops={"arrowstyle": "-|>", "color": stroke.colour, "shrinkA": 0, "shrinkB": 0},
            zorder=3,
        )
        side = "left" if row["side"] == "right" else "right"
        axes.text(row["label_x"], row["label_y"], row["label"], fontsize=_FONT, color=INK, ha=side, va="center")
    _stage_legend(axes, set(layout.lines["stage"]))


def _stage_legend(axes: Axes, present: set[str]) -> None:
    entries = []
    for stage in (stage for stage in STAGES if stage in present):
        stroke = stage_stroke(stage)
        entry = Line2D([], [], color=stroke.colour, linewidth=1.6, label=stage)
        if stroke.dashes:
            entry.set_dashes(stroke.dashes)
        entries.append(entry)
    if entries:
        axes.legend(
            handles=entries,
            loc="upper center",
            bbox_to_anchor=(0.5, -0.02),
            ncols=len(entries),
            fontsize=_FONT,
            frameon=False,
            handlelength=2.4,
            columnspacing=1.4,
        )
