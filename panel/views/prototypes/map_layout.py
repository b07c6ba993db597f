"""Where everything goes on the picture of a map: ellipses, places, labels, attribute lines, limits of the axes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.models.prototypes.map import PrototypeMap
from panel.stats.maps.map_regions import ellipse_outline
from panel.views.drawing.labels import place_labels, shortened, spread_apart, text_width
from panel.views.drawing.naming import Naming

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
