"""What a map shows and what it cannot show, in plain sentences made from its numbers."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pandas as pd

from panel.models.prototypes.map import PrototypeMap
from panel.views.drawing.formats import format_list, format_share
from panel.views.drawing.naming import Naming

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
