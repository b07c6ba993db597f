"""Colours and marker shapes that tell prototypes apart, also without colour vision and in print."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

# Okabe and Ito (2008), Color Universal Design; without yellow, which is hard to see on white.
COLOURS = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#56b4e9", "#e69f00", "#000000")
GREY = "#8c8c8c"
INK = "#262626"
FAINT = "#d0d0d0"
MOST_COLOURED = len(COLOURS)

# The same shapes in matplotlib's and in Vega's words, in the same order.
_SHAPES = (
    ("o", "circle"),
    ("s", "square"),
    ("^", "triangle-up"),
    ("D", "diamond"),
    ("v", "triangle-down"),
    ("P", "cross"),
    (">", "triangle-right"),
)


@dataclass(frozen=True, slots=True)
class Marker:
    """How one prototype is drawn: fill colour, and its shape in matplotlib's and in Vega's words."""

    colour: str
    shape: str
    vega_shape: str


def markers(prototypes: Sequence[str], chosen: Sequence[str] = ()) -> dict[str, Marker]:
    """Return the marker of each prototype, in order.

    Up to seven prototypes get a colour and a shape each. With more, all are grey circles and only the
    `chosen` ones are coloured, seven at the most; further chosen ones stay grey.
    """
    if len(prototypes) <= MOST_COLOURED:
        coloured = list(prototypes)
    else:
        coloured = [prototype for prototype in chosen if prototype in prototypes][:MOST_COLOURED]
    found = dict.fromkeys(prototypes, Marker(GREY, *_SHAPES[0]))
    for number, prototype in enumerate(coloured):
        found[prototype] = Marker(COLOURS[number], *_SHAPES[number])
    return found


@dataclass(frozen=True, slots=True)
class Stroke:
    """How the attributes of one stage of use are drawn: colour, and dashes as lengths of line and gap."""

    colour: str
    dashes: tuple[int, ...]


# Light to dark in the order of use: five steps of matplotlib's inferno, each at least 3 to 1 on white.
_STAGES = {
    "appearance": Stroke("#ea632a", ()),
    "pick-up": Stroke("#c33b4f", (6, 2)),
    "rub-out": Stroke("#8f2469", (2, 2)),
    "after-feel": Stroke("#520e6d", (6, 2, 2, 2)),
    "later after-feel": Stroke("#000004", ()),
}
_ANY_STAGE = Stroke("#666666", ())
STAGES = tuple(_STAGES)


def stage_stroke(stage: str) -> Stroke:
    """Return how attributes of a stage are drawn; plain dark grey where the stage is not known."""
    return _STAGES.get(stage, _ANY_STAGE)
