"""The picture of a map for the screen: point at things to read them, click a prototype to bring it forward."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import altair as alt
import pandas as pd

from panel.models.prototypes.map import PrototypeMap
from panel.stats.maps.map_regions import ellipse_outline
from panel.views.drawing.formats import format_number
from panel.views.drawing.naming import Naming
from panel.views.drawing.palette import FAINT, GREY, INK, STAGES, markers, stage_stroke
from panel.views.prototypes.map_layout import best_height, layout_attributes, layout_places
from panel.views.prototypes.map_words import axis_ends, axis_title, map_alt_text

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
