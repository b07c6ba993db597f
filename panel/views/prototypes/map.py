"""What a map shows and what it cannot show, in plain sentences made from its numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import altair as alt
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.models.prototypes.map import PrototypeMap
from panel.stats.maps.draws import ellipse_outline
from panel.study.naming import Naming
from panel.views.drawing.pictures import (
    FAINT,
    GREY,
    INK,
    STAGES,
    markers,
    place_labels,
    shortened,
    spread_apart,
    stage_stroke,
    text_width,
)
from panel.words import format_list, format_number, format_share

# An attribute names an end of an axis if half of its variation lies along it (0.7 x 0.7 = 0.49).
CLEAR = 0.7
_MOST_NAMED = 3


def what_the_map_shows(result: PrototypeMap, names: Naming) -> tuple[str, ...]:
    """Return the sentences that read the map aloud."""
    shares = result.components["share"].to_numpy(dtype=float)
    sentences = [
        f"The map places {len(result.prototypes)} prototypes by {result.attributes['attribute'].nunique()}"
        f" attributes at once. From left to right it carries {format_share(shares[0])} of the differences"
        f" between them, from bottom to top {format_share(shares[1])}."
    ]
    for component, sides in ((1, ("left", "right")), (2, ("bottom", "top"))):
        sentence = _axis_sentence(result, names, component, sides)
        if sentence:
            sentences.append(sentence)
    sentences.append(_distances(result.prototypes))
    regions = result.regions.dropna(subset=["half_axis_1"])
    if len(regions):
        sentences.append(
            f"A ring shows how well the place of one prototype is known: it is made to hold the true place in"
            f" {100 * result.level:g} of 100 such panels. The {_count(regions['assessors'])} assessors differ"
            " among themselves; the more they do, the larger the ring."
        )
    return tuple(sentences)


def what_the_map_cannot_show(result: PrototypeMap) -> tuple[str, ...]:
    """Return the sentences that keep a reader from reading too much."""
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


def axis_title(result: PrototypeMap, component: int) -> str:
    """Return the title of an axis with the share it carries."""
    share = float(result.components["share"].iloc[component - 1])
    return f"Component {component}: {format_share(share)} of the differences"


def axis_ends(result: PrototypeMap, names: Naming, component: int, most: int = 2) -> tuple[list[str], list[str]]:
    """Return the attributes, `most` of each, that clearly decrease and that clearly increase along an axis."""
    rows = result.attributes[result.attributes["component"] == component]
    loadings = dict(zip(rows["attribute"], rows["loading"], strict=True))
    ordered = sorted(loadings, key=lambda name: -abs(loadings[name]))
    clear = [name for name in ordered if abs(loadings[name]) >= CLEAR]
    less = [names.attribute(name) for name in clear if loadings[name] < 0][:most]
    more = [names.attribute(name) for name in clear if loadings[name] > 0][:most]
    return less, more


def map_alt_text(result: PrototypeMap, names: Naming) -> str:
    """Return what a person who cannot see the map should hear."""
    places = "; ".join(
        f"{row['prototype']} {_where(row['component_1'], row['component_2'])}"
        for row in result.prototypes.to_dict("records")
    )
    return f"Map of prototypes. {' '.join(what_the_map_shows(result, names))} Places: {places}."


def _axis_sentence(result: PrototypeMap, names: Naming, component: int, sides: tuple[str, str]) -> str:
    parts = [
        f"more {format_list([_quoted(name) for name in found])} towards the {side}"
        for found, side in zip(axis_ends(result, names, component, _MOST_NAMED), sides, strict=True)
        if found
    ]
    text = "; ".join(parts)
    return f"{text[0].upper()}{text[1:]}." if text else ""


def _quoted(words: str) -> str:
    """Words with a comma in them would read as two things in a list."""
    return f"“{words}”" if "," in words else words


def _distances(places: pd.DataFrame) -> str:
    points = dict(zip(places["prototype"], places[["component_1", "component_2"]].to_numpy(dtype=float), strict=True))
    apart = {pair: float(np.hypot(*(points[pair[0]] - points[pair[1]]))) for pair in combinations(points, 2)}
    far, near = max(apart, key=lambda pair: apart[pair]), min(apart, key=lambda pair: apart[pair])
    return f"{format_list(far)} lie furthest apart, {format_list(near)} closest together."


def _where(x: float, y: float) -> str:
    across = "right" if x > 0 else "left"
    upright = "top" if y > 0 else "bottom"
    return f"{upright} {across}"


def _count(assessors: pd.Series) -> str:
    low, high = int(assessors.min()), int(assessors.max())
    return f"{low}" if low == high else f"{low} to {high}"


# The picture of a map for the screen: point at things to read them, click a prototype to bring it forward.


_FONT = 12.0  # pixels
_PLACES_WIDTH, _ATTRIBUTES_WIDTH, _LOWEST, _HIGHEST = 460, 560, 330, 460


@dataclass(frozen=True, slots=True)
class _Plane:
    """Both axes of a picture; every layer must use the same ones, or titles and limits get mixed."""

    x_limits: tuple[float, float]
    y_limits: tuple[float, float]
    x_axis: alt.Axis | None = None
    y_axis: alt.Axis | None = None

    def x(self, column: str) -> alt.X:
        return alt.X(f"{column}:Q", scale=_exactly(self.x_limits), axis=self.x_axis)

    def y(self, column: str) -> alt.Y:
        return alt.Y(f"{column}:Q", scale=_exactly(self.y_limits), axis=self.y_axis)

    def at(self, x: str, y: str) -> dict[str, Any]:
        return {"x": self.x(x), "y": self.y(y)}


def map_chart(result: PrototypeMap, names: Naming, chosen: Sequence[str] = ()) -> alt.HConcatChart:
    """Return both pictures side by side, to be shown in their own size (stretching would bend the map)."""
    tall = int(best_height(result, _PLACES_WIDTH, _LOWEST, _HIGHEST))
    return (
        alt.hconcat(
            places_chart(result, names, chosen, height=tall),
            attributes_chart(result, names, height=tall),
            spacing=30,
        )
        .resolve_scale(color="independent", shape="independent", strokeDash="independent")
        .resolve_legend(color="independent", strokeDash="independent")
        .properties(description=map_alt_text(result, names))
    )


def places_chart(
    result: PrototypeMap,
    names: Naming,
    chosen: Sequence[str] = (),
    *,
    width: int = _PLACES_WIDTH,
    height: int | None = None,
) -> alt.LayerChart:
    """Return the prototypes with their regions; both axes have the same scale.

    With more than seven prototypes only the `chosen` ones are coloured. A click fades the others.
    """
    tall = height or int(best_height(result, width, _LOWEST, _HIGHEST))
    layout = layout_places(result, (width, tall), _FONT)
    plane = _Plane(layout.x_limits, layout.y_limits, _axis(result, names, 1), _axis(result, names, 2))
    drawn = markers(list(layout.places["prototype"]), chosen)
    colour = _by_prototype({name: marker.colour for name, marker in drawn.items()})
    shape = _by_prototype({name: marker.vega_shape for name, marker in drawn.items()})
    clicked = alt.selection_point(name="clicked", fields=["prototype"], on="click", empty=True)
    layers = [
        *_zero_lines(plane),
        _regions(layout.outlines, plane, colour, clicked),
        _leaders(layout.places, plane),
        _points(_with_words(layout.places, names), plane, colour, shape, clicked),
        alt.Chart(layout.places)
        .mark_text(fontSize=_FONT, color=INK)
        .encode(**plane.at("label_x", "label_y"), text="label:N"),
    ]
    return alt.LayerChart(layer=layers).properties(
        width=width,
        height=tall,
        title=f"Prototypes with {100 * result.level:g} % regions",
        description=map_alt_text(result, names),
    )


def attributes_chart(
    result: PrototypeMap, names: Naming, *, width: int = _ATTRIBUTES_WIDTH, height: int = _HIGHEST
) -> alt.LayerChart:
    """Return the attributes as lines in the circle of correlations, with their names on either side."""
    layout = layout_attributes(result, names, (width, height), _FONT)
    plane = _Plane(layout.x_limits, layout.y_limits)
    stages = layout.lines["stage"]
    lines = layout.lines.assign(
        stage=stages.where(stages.isin(STAGES), "any"),
        middle=0.0,
        to_label=layout.lines["label_x"] * 0.985,
        with_1=[format_number(value, 2) for value in layout.lines["x"]],
        with_2=[format_number(value, 2) for value in layout.lines["y"]],
    )
    leaders = alt.Chart(lines).mark_rule(color=FAINT).encode(**plane.at("x", "y"), x2="to_label:Q", y2="label_y:Q")
    words = [
        alt.Chart(lines[lines["side"] == side])
        .mark_text(fontSize=_FONT, color=INK, align="left" if side == "right" else "right")
        .encode(**plane.at("label_x", "label_y"), text="label:N")
        for side in ("right", "left")
    ]
    layers = [*_circle(plane), leaders, *_spokes(lines, plane), *words]
    return alt.LayerChart(layer=layers).properties(
        width=width,
        height=height,
        title="Attributes: which way they increase",
        description="Correlation of each attribute with the two components of the map.",
    )


def _regions(outlines: pd.DataFrame, plane: _Plane, colour: alt.Scale, clicked: alt.Parameter) -> alt.Chart:
    return (
        alt.Chart(outlines)
        .mark_line(filled=True, fillOpacity=0.10, strokeWidth=1.4)
        .encode(
            **plane.at("component_1", "component_2"),
            order="order:Q",
            detail="prototype:N",
            fill=alt.Fill("prototype:N", scale=colour, legend=None),
            stroke=alt.Stroke("prototype:N", scale=colour, legend=None),
            opacity=alt.condition(clicked, alt.value(1.0), alt.value(0.15)),
        )
    )


def _points(
    places: pd.DataFrame, plane: _Plane, colour: alt.Scale, shape: alt.Scale, clicked: alt.Parameter
) -> alt.Chart:
    return (
        alt.Chart(places)
        .mark_point(filled=True, size=95, stroke=INK, strokeWidth=0.8)
        .encode(
            **plane.at("component_1", "component_2"),
            shape=alt.Shape("prototype:N", scale=shape, legend=None),
            fill=alt.Fill("prototype:N", scale=colour, legend=None),
            opacity=alt.condition(clicked, alt.value(1.0), alt.value(0.25)),
            tooltip=[
                alt.Tooltip("words:N", title="Prototype"),
                alt.Tooltip("at_1:N", title="Component 1"),
                alt.Tooltip("at_2:N", title="Component 2"),
            ],
        )
        .add_params(clicked)
    )


def _leaders(places: pd.DataFrame, plane: _Plane) -> alt.Chart:
    return (
        alt.Chart(places[places["led"]])
        .mark_rule(color=GREY)
        .encode(**plane.at("component_1", "component_2"), x2="label_x:Q", y2="label_y:Q")
    )


def _spokes(lines: pd.DataFrame, plane: _Plane) -> tuple[alt.Chart, alt.Chart]:
    """Return the lines from the middle and the dots at their ends, coloured and dashed by stage."""
    present = [stage for stage in (*STAGES, "any") if stage in set(lines["stage"])]
    strokes = [stage_stroke(stage) for stage in present]
    dashes: list[Any] = [list(stroke.dashes) or [1, 0] for stroke in strokes]
    legend = alt.Legend(title=None, orient="bottom", symbolType="stroke") if present != ["any"] else None
    colour = alt.Color(
        "stage:N",
        scale=alt.Scale(domain=present, range=[stroke.colour for stroke in strokes]),
        legend=legend,
    )
    dash = alt.StrokeDash("stage:N", scale=alt.Scale(domain=present, range=dashes), legend=legend)
    tooltip = [
        alt.Tooltip("label:N", title="Attribute"),
        alt.Tooltip("stage:N", title="Stage"),
        alt.Tooltip("with_1:N", title="Correlation with component 1"),
        alt.Tooltip("with_2:N", title="Correlation with component 2"),
    ]
    base = alt.Chart(lines)
    return (
        base.mark_rule(strokeWidth=2).encode(
            **plane.at("middle", "middle"), x2="x:Q", y2="y:Q", color=colour, strokeDash=dash, tooltip=tooltip
        ),
        base.mark_point(filled=True, size=45, opacity=1).encode(**plane.at("x", "y"), color=colour, tooltip=tooltip),
    )


def _circle(plane: _Plane) -> tuple[alt.Chart, alt.Chart]:
    outline = ellipse_outline((0, 0), (1, 1), 0)
    ring = pd.DataFrame({"x": outline[:, 0], "y": outline[:, 1], "order": range(len(outline))})
    cross = pd.DataFrame({"x": [-1.0, 0.0], "y": [0.0, -1.0], "x2": [1.0, 0.0], "y2": [0.0, 1.0]})
    return (
        alt.Chart(ring).mark_line(color=FAINT, strokeWidth=1).encode(**plane.at("x", "y"), order="order:Q"),
        alt.Chart(cross).mark_rule(color=FAINT).encode(**plane.at("x", "y"), x2="x2:Q", y2="y2:Q"),
    )


def _zero_lines(plane: _Plane) -> tuple[alt.Chart, alt.Chart]:
    nought = alt.Chart(pd.DataFrame({"zero": [0.0]})).mark_rule(color=FAINT)
    return nought.encode(y=plane.y("zero")), nought.encode(x=plane.x("zero"))


def _exactly(limits: tuple[float, float]) -> alt.Scale:
    return alt.Scale(domain=list(limits), nice=False, zero=False)


def _axis(result: PrototypeMap, names: Naming, component: int) -> alt.Axis:
    less, more = axis_ends(result, names, component, most=1)
    ends = " | ".join([f"← {name}" for name in less] + [f"{name} →" for name in more])
    title = [axis_title(result, component), ends] if ends else axis_title(result, component)
    return alt.Axis(title=title, grid=False, titleFontWeight="normal", titleLimit=_PLACES_WIDTH)


def _by_prototype(values: dict[str, str]) -> alt.Scale:
    return alt.Scale(domain=list(values), range=list(values.values()))


def _with_words(places: pd.DataFrame, names: Naming) -> pd.DataFrame:
    return places.assign(
        words=[names.prototype(str(name)) for name in places["prototype"]],
        at_1=[format_number(value) for value in places["component_1"]],
        at_2=[format_number(value) for value in places["component_2"]],
    )


# Where everything goes on the picture of a map: ellipses, places, labels, attribute lines, limits of the axes.


CIRCLE = 1.0
_LABELS_FROM = 1.14  # labels of attributes begin this far from the middle, the circle being at 1
_WIDEST_LABEL = 0.33  # of an attribute, part of the picture's width; longer ones are cut
_LINE = 1.45  # height of a line of text, in font sizes
_AROUND = 0.08  # free part of the picture on each side


@dataclass(frozen=True, eq=False, slots=True)
class PlacesLayout:
    """The prototypes' picture. All coordinates are on the components, one unit equally long both ways.

    Parameters
    ----------
    outlines
        `prototype order component_1 component_2`: points around each region.
    places
        `prototype component_1 component_2 label label_x label_y`: middle of each label; `led` is True where a
        thin line should lead from the label to its point.
    x_limits, y_limits
        Ends of the axes.
    """

    outlines: pd.DataFrame
    places: pd.DataFrame
    x_limits: tuple[float, float]
    y_limits: tuple[float, float]


@dataclass(frozen=True, eq=False, slots=True)
class AttributesLayout:
    """The attributes' picture: the unit circle in the middle, labels in a column on either side.

    Parameters
    ----------
    lines
        `attribute label stage x y label_x label_y side`: correlations with the two components, where the label
        begins, and on which side it stands (`left`, `right`).
    x_limits, y_limits
        Ends of the axes.
    """

    lines: pd.DataFrame
    x_limits: tuple[float, float]
    y_limits: tuple[float, float]


def best_height(result: PrototypeMap, width: float, lowest: float, highest: float) -> float:
    """Return the height of the prototypes' picture that leaves least of it empty at this width."""
    columns = ["component_1", "component_2"]
    points = np.vstack([result.prototypes[columns], _outlines(result.regions)[columns]]).astype(float)
    wide, tall = np.ptp(points, axis=0)
    return float(np.clip(width * tall / max(wide, 1e-9), lowest, highest))


def layout_places(result: PrototypeMap, box: tuple[float, float], font_size: float) -> PlacesLayout:
    """Return where the prototypes and their regions go in a picture of width and height `box` (points)."""
    outlines = _outlines(result.regions)
    columns = ["component_1", "component_2"]
    points = result.prototypes[columns].to_numpy(dtype=float)
    everything = np.vstack([points, outlines[columns].to_numpy(dtype=float)])
    x_limits, y_limits, unit = _equal_limits(everything, box)
    corner = np.array([x_limits[0], y_limits[0]])
    labels = [str(name) for name in result.prototypes["prototype"]]
    sizes = [(text_width(label, font_size), font_size * _LINE) for label in labels]
    in_box = (points - corner) / unit
    centres = place_labels(in_box, sizes, box, distance=0.65 * font_size)
    gaps = np.maximum(np.abs(centres - in_box) - np.array(sizes) / 2, 0).max(axis=1)
    written = corner + centres * unit
    places = result.prototypes.assign(label=labels, label_x=written[:, 0], label_y=written[:, 1], led=gaps > font_size)
    return PlacesLayout(outlines, places, x_limits, y_limits)


def layout_attributes(
    result: PrototypeMap, names: Naming, box: tuple[float, float], font_size: float
) -> AttributesLayout:
    """Return where the attributes go in a picture of width and height `box` (points)."""
    wide = result.attributes.pivot_table(index="attribute", columns="component", values="loading", sort=False)
    attributes = [str(name) for name in wide.index]
    tips = wide[[1, 2]].to_numpy(dtype=float)
    labels = [shortened(names.attribute(name), font_size, _WIDEST_LABEL * box[0]) for name in attributes]
    widths = np.array([text_width(label, font_size) for label in labels]) + font_size
    line = font_size * _LINE
    right = _sides(tips, int(box[1] // line))
    columns = [float(widths[side].max(initial=0.0)) for side in (~right, right)]
    radius = max(min(box[1] / 2.1, (box[0] - sum(columns)) / 2 / _LABELS_FROM), 0.15 * box[1])
    reach = box[1] / 2 / radius
    spare = (box[0] - sum(columns)) / 2 / radius  # from the middle to either column
    written = np.empty(len(tips))
    for side in (right, ~right):
        written[side] = spread_apart(tips[side, 1], np.full(side.sum(), line / radius), -reach, reach)
    lines = pd.DataFrame(
        {
            "attribute": pd.Series(attributes, dtype="str"),
            "label": pd.Series(labels, dtype="str"),
            "stage": pd.Series([names.stage(name) for name in attributes], dtype="str"),
            "x": tips[:, 0],
            "y": tips[:, 1],
            "label_x": np.where(right, _LABELS_FROM, -_LABELS_FROM),
            "label_y": written,
            "side": np.where(right, "right", "left"),
        }
    )
    x_limits = -spare - columns[0] / radius, spare + columns[1] / radius
    return AttributesLayout(lines, x_limits, (-reach, reach))


def _outlines(regions: pd.DataFrame) -> pd.DataFrame:
    parts = []
    for row in regions.dropna(subset=["half_axis_1"]).to_dict("records"):
        outline = ellipse_outline(
            (row["centre_1"], row["centre_2"]), (row["half_axis_1"], row["half_axis_2"]), row["angle"]
        )
        parts.append(
            pd.DataFrame(
                {
                    "prototype": row["prototype"],
                    "order": np.arange(len(outline)),
                    "component_1": outline[:, 0],
                    "component_2": outline[:, 1],
                }
            )
        )
    columns = ["prototype", "order", "component_1", "component_2"]
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=columns)


def _equal_limits(
    points: NDArray[np.float64], box: tuple[float, float]
) -> tuple[tuple[float, float], tuple[float, float], float]:
    """Return limits that hold all points with some room, and the length of one point of the picture."""
    low, high = points.min(axis=0), points.max(axis=0)
    middle, span = (low + high) / 2, np.maximum(high - low, 1e-9)
    unit = float((span / np.asarray(box)).max()) / (1 - 2 * _AROUND)
    half = unit * np.asarray(box) / 2
    limits = np.column_stack([middle - half, middle + half])
    return (
        (float(limits[0, 0]), float(limits[0, 1])),
        (float(limits[1, 0]), float(limits[1, 1])),
        unit,
    )


def _sides(tips: NDArray[np.float64], most: int) -> NDArray[np.bool_]:
    """Return True for labels on the right; of more than `most` on a side, those nearest the middle change over."""
    right = tips[:, 0] >= 0
    for side in (True, False):
        over = int(np.sum(right == side)) - most
        if over > 0 and len(tips) <= 2 * most:
            on_side = np.flatnonzero(right == side)
            right[on_side[np.argsort(np.abs(tips[on_side, 0]))[:over]]] = not side
    return np.asarray(right)
