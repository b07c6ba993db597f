"""Where the prototypes lie to each other when all attributes are seen together: in words, tables and one picture."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.models.prototypes.map import PrototypeMap
from panel.models.prototypes.verdict import DIFFERS
from panel.stats.comparing.multiplicity import LEVEL
from panel.stats.maps.draws import ellipse_outline
from panel.study import shown
from panel.study.naming import Naming
from panel.views import pictures
from panel.views.told import Picture, Told, drawer
from panel.words import capital, format_list, format_share, from_to, quoted

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

# An attribute names an end of an axis if half of its variation lies along it (0.7 x 0.7 = 0.49).
_CLEAR = 0.7
_MOST_NAMED = 3
_FEWEST_FOR_A_PLANE = 3  # prototypes or attributes; with fewer the second axis carries nothing

_COMPONENTS = shown.Table(
    name="components",
    title="Share of the differences on each component of the map",
    rows="components",
    columns=(
        shown.count("Component", "component"),
        shown.share("Share of the differences"),
        shown.Column(
            "Together with those before",
            lambda rows, _: [format_share(min(value, 1.0)) for value in rows["share"].cumsum()],
            ("share",),
        ),
        shown.share("Unrelated attributes reach (1 case in 20)", "chance_share"),
    ),
    key=("component",),
    code="C",
    sources=(shown.Source("scores"),),
)
_PLACES = shown.Table(
    name="places",
    title="Places of the prototypes on the map",
    rows="regions",
    columns=(
        shown.PROTOTYPE_IN_WORDS,
        shown.number("Component 1", "centre_1", shown.SCALE),
        shown.number("Component 2", "centre_2", shown.SCALE),
        shown.number("Ring, longer half", "half_axis_1", shown.SCALE),
        shown.number("Ring, shorter half", "half_axis_2", shown.SCALE),
        shown.count("Assessors", "assessors"),
    ),
    key=("prototype",),
    code="CP",
    sources=(shown.Source("scores", direct=("prototype",)),),
)
_LOADINGS = shown.Table(
    name="map_attributes",
    title="Attributes and the components of the map",
    rows="attributes",
    columns=(shown.ATTRIBUTE, shown.STAGE),
    key=("attribute", "component"),
    across=shown.Across(
        "component", shown.number("", "loading", 2), lambda place, _: f"Correlation with component {place}"
    ),
    code="CA",
    sources=(shown.Source("scores", same={"attribute": "attribute"}),),
)
NUMBERS = (_COMPONENTS, _PLACES, _LOADINGS)
"""Its tables of numbers, in the order of the evidence file."""


def tell_map(result: PrototypeMap, names: Naming) -> Told:
    """Return what is told of the map of the prototypes."""
    return Told(
        result,
        names,
        _distances(result.prototypes),
        _picture(result, names),
        mind=_mind(result, names),
        table=_PLACES,
        drawers=(
            drawer("How much of the differences the map shows", _shares(result), _COMPONENTS),
            drawer("Places of the prototypes", _PLACES),
            drawer("Which way each attribute increases", _LOADINGS),
        ),
        cannot=_what_the_map_cannot_show(result),
    )


def _what_the_map_cannot_show(result: PrototypeMap) -> tuple[str, ...]:
    left = 1 - float(result.components["share"].iloc[:2].sum())
    return (
        f"About {format_share(left)} of the differences is not on the map: neighbours here may differ in it."
        if left >= 0.01
        else "With so few prototypes or attributes nearly everything is on the map by arithmetic alone.",
        "Rings that overlap do not show that two prototypes are alike, and rings apart are no test: look at the"
        " differences attribute by attribute.",
        "Each ring stands for its own prototype, not for all of them at the same time, and for other assessors"
        " like these, not for new batches.",
        "The map says nothing about liking, and not which emollient is the cause. Left and right, top and bottom"
        " could as well be exchanged.",
    )


def _is_plane(result: PrototypeMap) -> bool:
    return min(len(result.prototypes), result.attributes["attribute"].nunique()) >= _FEWEST_FOR_A_PLANE


def _shares(result: PrototypeMap) -> str:
    first, second = (format_share(value) for value in result.components["share"].iloc[:2])
    return f"From left to right the map carries {first} of the differences, from bottom to top {second}."


def _mind(result: PrototypeMap, names: Naming) -> tuple[str, ...]:
    """Return which attributes go with the axes, and what a ring is."""
    planes = ((1, ("left", "right")), (2, ("bottom", "top"))) if _is_plane(result) else ((1, ("left", "right")),)
    axes = [_axis_sentence(result, names, component, sides) for component, sides in planes]
    if not _is_plane(result):
        return (*filter(None, axes), "So few attributes make no map, only a line: the differences say it all.")
    regions = result.regions.dropna(subset=["half_axis_1"])
    rings = ""
    if len(regions):
        people = from_to(int(regions["assessors"].min()), int(regions["assessors"].max()))
        rings = (
            f"A ring is made to hold the true place in {100 * LEVEL:g} of 100 such panels; the more the {people} "
            "assessors differ among themselves, the larger it is."
        )
    return tuple(filter(None, (*axes, rings)))


def _axis_ends(result: PrototypeMap, names: Naming, component: int, most: int = 2) -> tuple[list[str], list[str]]:
    """Return the attributes, `most` of each, that clearly decrease and that clearly increase along an axis.

    Where the comparison does not tell the prototypes apart, the way of an attribute is chance as far as one can tell.
    """
    rows = result.attributes[(result.attributes["component"] == component) & ~_open(result)]
    loadings = dict(zip(rows["attribute"], rows["loading"], strict=True))
    ordered = sorted(loadings, key=lambda name: -abs(loadings[name]))
    clear = [name for name in ordered if abs(loadings[name]) >= _CLEAR]
    less = [names.attribute(name) for name in clear if loadings[name] < 0][:most]
    more = [names.attribute(name) for name in clear if loadings[name] > 0][:most]
    return less, more


def _open(result: PrototypeMap) -> pd.Series:
    return ~result.attributes["verdict"].isin(["", DIFFERS])


def _axis_sentence(result: PrototypeMap, names: Naming, component: int, sides: tuple[str, str]) -> str:
    parts = [
        f"more {format_list([quoted(name) for name in found])} towards the {side}"
        for found, side in zip(_axis_ends(result, names, component, _MOST_NAMED), sides, strict=True)
        if found
    ]
    text = "; ".join(parts)
    return f"{capital(text)}." if text else ""


def _distances(places: pd.DataFrame) -> str:
    points = dict(zip(places["prototype"], places[["component_1", "component_2"]].to_numpy(dtype=float), strict=True))
    apart = {pair: float(np.hypot(*(points[pair[0]] - points[pair[1]]))) for pair in combinations(points, 2)}
    far, near = max(apart, key=lambda pair: apart[pair]), min(apart, key=lambda pair: apart[pair])
    return f"{format_list(far)} lie furthest apart, {format_list(near)} closest together."


def _where(x: float, y: float) -> str:
    across = "right" if x > 0 else "left"
    upright = "top" if y > 0 else "bottom"
    return f"{upright} {across}"


_FONT = 9.5  # points
_HEIGHT, _TOP, _NUMBERED_BELOW = 4.8, 0.1, 6.0  # inches
_STRIP_LINE = 0.3  # inches for a prototype where there is only a line
_LABELS_FROM = 1.14  # names of attributes begin this far from the middle, the circle being at 1
_WIDEST_LABEL = 0.26  # of an attribute, part of the picture's width; longer ones are cut
_LINE = 1.45  # height of a line of text, in font sizes

_Limits = tuple[tuple[float, float], tuple[float, float]]


def _picture(result: PrototypeMap, names: Naming) -> Picture:
    places = "; ".join(
        f"{row['prototype']} {_where(row['component_1'], row['component_2'])}"
        for row in result.prototypes.to_dict("records")
    )
    heard = " ".join((_distances(result.prototypes), _shares(result), *_mind(result, names)))
    draw = _figure if _is_plane(result) else _strip
    return Picture("map", "Map of the prototypes", f"{heard} Places: {places}.", partial(draw, result, names))


def _figure(result: PrototypeMap, names: Naming, width: float = pictures.BROAD) -> Figure:
    """Return prototypes and attributes in one circle; one unit is equally long both ways."""
    from matplotlib.figure import Figure
    from matplotlib.patches import Circle

    untold = set(result.attributes.loc[_open(result), "attribute"])
    labels = {str(name): names.attribute(str(name)) for name in dict.fromkeys(result.attributes["attribute"])}
    labels = {name: f"[{label}]" if name in untold else label for name, label in labels.items()}
    told = [_shares(result), *(["In square brackets: not told apart."] if untold else [])]
    tall = _HEIGHT
    if width < _NUMBERED_BELOW:  # the names would leave no room for the circle
        told.append("; ".join(f"{place}\u00a0{label}" for place, label in enumerate(labels.values(), start=1)))
        labels = {name: f"[{place}]" if name in untold else f"{place}" for place, name in enumerate(labels, start=1)}
        tall = width
    below = [line for words in told for line in pictures.wrapped(words, _FONT - 0.5, 0.94 * width * pictures.POINTS)]
    foot = 0.2 + 0.17 * len(below)
    height = foot + tall + _TOP
    figure = Figure(figsize=(width, height))
    axes = figure.add_axes((0, foot / height, 1, tall / height))
    box = width * pictures.POINTS, tall * pictures.POINTS
    lines, limits = _attribute_lines(result, labels, box)
    axes.set(xlim=limits[0], ylim=limits[1], aspect="equal")
    axes.axis("off")
    axes.add_patch(Circle((0, 0), 1, fill=False, edgecolor=pictures.FAINT, linewidth=0.8))
    axes.plot([-1, 1], [0, 0], color=pictures.FAINT, linewidth=0.8, zorder=0)
    axes.plot([0, 0], [-1, 1], color=pictures.FAINT, linewidth=0.8, zorder=0)
    _draw_attributes(axes, lines)
    _draw_prototypes(axes, *_places(result, box, limits), names)
    figure.text(0.03, 0.08 / height, "\n".join(below), fontsize=_FONT - 0.5, color=pictures.INK, va="bottom")
    return figure


def _strip(result: PrototypeMap, names: Naming, width: float = pictures.BROAD) -> Figure:
    rows = result.prototypes.assign(estimate=result.prototypes["component_1"], ci_low=np.nan, ci_high=np.nan)
    figure, _ = pictures.line_by_line(
        pictures.as_prototypes(rows, names),
        _STRIP_LINE,
        rows["prototype"],
        width=width,
        limits=pictures.needed_limits(rows),
        x_title=f"Component 1: {format_share(result.components['share'].iloc[0])} of the differences",
    )
    return figure


def _draw_attributes(axes: Axes, lines: pd.DataFrame) -> None:
    for row in lines.to_dict("records"):
        leader = [row["x"], row["label_x"] * 0.985], [row["y"], row["label_y"]]
        axes.plot(*leader, color=pictures.FAINT, linewidth=0.6, zorder=1)
        axes.plot([0, row["x"]], [0, row["y"]], color=pictures.GREY, linewidth=1.0, zorder=1)
        tail = row["x"] * 0.999, row["y"] * 0.999
        arrow = {"arrowstyle": "-|>", "color": pictures.GREY, "shrinkA": 0, "shrinkB": 0}
        axes.annotate("", xy=(row["x"], row["y"]), xytext=tail, arrowprops=arrow, zorder=2)
        across = "left" if row["side"] == "right" else "right"
        axes.text(
            row["label_x"], row["label_y"], row["label"], fontsize=_FONT, color=pictures.INK, ha=across, va="center"
        )


def _draw_prototypes(axes: Axes, places: pd.DataFrame, outlines: pd.DataFrame, names: Naming) -> None:
    from matplotlib.patches import Polygon

    for prototype, outline in outlines.groupby("prototype", sort=False):
        points, colour = outline[["x", "y"]].to_numpy(dtype=float), pictures.marker_of(names, str(prototype)).colour
        axes.add_patch(Polygon(points, facecolor=colour, alpha=0.12, linewidth=0, zorder=3))
        axes.add_patch(Polygon(points, fill=False, edgecolor=colour, linewidth=1.2, zorder=4))
    for row in places.to_dict("records"):
        look = pictures.marker_of(names, str(row["prototype"]))
        if row["led"]:
            axes.plot(
                [row["x"], row["label_x"]], [row["y"], row["label_y"]], color=pictures.INK, linewidth=0.6, zorder=5
            )
        axes.plot(
            [row["x"]], [row["y"]], linestyle="none", marker=look.shape, markersize=7.5, markerfacecolor=look.colour,
            markeredgecolor=pictures.INK, markeredgewidth=0.7, zorder=6, gid=pictures.prototype_mark(row["prototype"]),
        )  # fmt: skip
        axes.text(
            row["label_x"], row["label_y"], row["label"], fontsize=_FONT + 1, fontweight="bold", color=pictures.INK,
            ha="center", va="center", zorder=7,
            bbox={"boxstyle": "square,pad=0.1", "fc": "white", "ec": "none", "alpha": 0.75},
        )  # fmt: skip


def _places(result: PrototypeMap, box: tuple[float, float], limits: _Limits) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the prototypes, `prototype label x y label_x label_y led`, and outlines of their rings, `prototype x y`.

    Places are shrunk evenly so that the outermost lies on the circle; `led` where a line should lead to the label.
    """
    outlines = _outlines(result.regions)
    columns = ["component_1", "component_2"]
    points = result.prototypes[columns].to_numpy(dtype=float)
    everything = np.vstack([points, outlines[columns].to_numpy(dtype=float)])
    reach = float(np.hypot(*everything.T).max()) or 1.0
    inside = _LABELS_FROM - 0.04  # the names of prototypes stay between those of the attributes
    corner = np.array([-inside, limits[1][0]])
    unit = (limits[0][1] - limits[0][0]) / box[0]
    within = 2 * inside / unit, box[1]
    in_box = (points / reach - corner) / unit
    font = _FONT + 1
    labels = [pictures.shortened(str(name), font, 0.42 * within[0]) for name in result.prototypes["prototype"]]
    sizes = [(pictures.text_width(label, font) * 1.2, font * _LINE) for label in labels]
    centres = pictures.place_labels(in_box, sizes, within, distance=0.65 * font)
    gaps = np.maximum(np.abs(centres - in_box) - np.array(sizes) / 2, 0).max(axis=1)
    at, written = points / reach, corner + centres * unit
    places = pd.DataFrame(
        {"prototype": result.prototypes["prototype"], "label": labels, "x": at[:, 0], "y": at[:, 1]}
        | {"label_x": written[:, 0], "label_y": written[:, 1], "led": gaps > font}
    )
    ring = outlines[columns].astype(float) / reach
    return places, outlines.assign(x=ring["component_1"], y=ring["component_2"])[["prototype", "x", "y"]]


def _attribute_lines(
    result: PrototypeMap, words: Mapping[str, str], box: tuple[float, float]
) -> tuple[pd.DataFrame, _Limits]:
    """Return `attribute label x y label_x label_y side` in a picture of width and height `box` (points), and its ends.

    The circle of correlations lies in the middle, the names stand in a column on either side.
    """
    wide = result.attributes.pivot_table(index="attribute", columns="component", values="loading", sort=False)
    tips = wide[[1, 2]].to_numpy(dtype=float)
    labels = [pictures.shortened(words[str(name)], _FONT, _WIDEST_LABEL * box[0]) for name in wide.index]
    widths = np.array([pictures.text_width(label, _FONT) for label in labels]) + _FONT
    line = _FONT * _LINE
    right = _sides(tips, int(box[1] // line))
    columns = [float(widths[side].max(initial=0.0)) for side in (~right, right)]
    radius = max(min(box[1] / 2.05, (box[0] - sum(columns)) / 2 / _LABELS_FROM), 0.15 * box[1])
    reach = box[1] / 2 / radius
    spare = (box[0] - sum(columns)) / 2 / radius  # from the middle to either column
    written = np.empty(len(tips))
    for side in (right, ~right):
        written[side] = pictures.spread_apart(tips[side, 1], np.full(side.sum(), line / radius), -reach, reach)
    lines = pd.DataFrame(
        {
            "attribute": pd.Series(wide.index.astype(str), dtype="str"),
            "label": pd.Series(labels, dtype="str"),
            "x": tips[:, 0],
            "y": tips[:, 1],
            "label_x": np.where(right, _LABELS_FROM, -_LABELS_FROM),
            "label_y": written,
            "side": np.where(right, "right", "left"),
        }
    )
    return lines, ((-spare - columns[0] / radius, spare + columns[1] / radius), (-reach, reach))


def _outlines(regions: pd.DataFrame) -> pd.DataFrame:
    parts = []
    for row in regions.dropna(subset=["half_axis_1"]).to_dict("records"):
        centre, halves = (row["centre_1"], row["centre_2"]), (row["half_axis_1"], row["half_axis_2"])
        outline = pd.DataFrame(ellipse_outline(centre, halves, row["angle"]), columns=["component_1", "component_2"])
        parts.append(outline.assign(prototype=row["prototype"]))
    none = pd.DataFrame(columns=["component_1", "component_2", "prototype"])
    return pd.concat(parts, ignore_index=True) if parts else none


def _sides(tips: NDArray[np.float64], most: int) -> NDArray[np.bool_]:
    """Return True for labels on the right; of more than `most` on a side, those nearest the middle change over."""
    right = tips[:, 0] >= 0
    for side in (True, False):
        over = int(np.sum(right == side)) - most
        if over > 0 and len(tips) <= 2 * most:
            on_side = np.flatnonzero(right == side)
            right[on_side[np.argsort(np.abs(tips[on_side, 0]))[:over]]] = not side
    return np.asarray(right)
