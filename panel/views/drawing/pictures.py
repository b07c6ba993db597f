"""Colours and marker shapes that tell prototypes apart, also without colour vision and in print."""

from __future__ import annotations

import io
import threading
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape, quoteattr

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:  # a command that prints words draws nothing: what draws is loaded when something is drawn
    import altair as alt
    from matplotlib.figure import Figure

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


# Where to write labels so that they do not cover each other.


# Directions tried around a point, best first: right, left, above, below, then the corners.
_DIRECTIONS = np.array(
    [(1, 0), (-1, 0), (0, 1), (0, -1), (0.8, 0.8), (-0.8, 0.8), (0.8, -0.8), (-0.8, -0.8)], dtype=float
)
_OUTSIDE, _ON_LABEL, _ON_POINT, _FURTHER = 1000.0, 10.0, 10.0, 0.01


def text_width(text: str, size: float) -> float:
    """Return how wide `text` is at a font size, in the unit of the size (matplotlib's own font)."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import text_to_path

    with no_word_of_missing_glyphs():
        width, _, _ = text_to_path.get_text_width_height_descent(text, FontProperties(size=size), ismath=False)
    return float(width)


def shortened(text: str, size: float, width: float) -> str:
    """Return `text` cut to a width, with an ellipsis where something was cut off."""
    if text_width(text, size) <= width:
        return text
    fits, too_long = 1, len(text)  # halved, for a name may have thousands of letters
    while too_long - fits > 1:
        middle = (fits + too_long) // 2
        if text_width(f"{text[:middle].rstrip()}…", size) <= width:
            fits = middle
        else:
            too_long = middle
    return f"{text[:fits].rstrip()}…"


def spread_apart(
    wished: NDArray[np.float64], heights: NDArray[np.float64], low: float, high: float
) -> NDArray[np.float64]:
    """Return places in one line near the wished ones, in the same order, that do not overlap.

    Among all such places these move least (sum of squares): an isotonic regression after taking out the room
    each label needs. If all together need more room than low to high offers, they are squeezed evenly.
    """
    from scipy.optimize import isotonic_regression

    order = np.argsort(wished, kind="stable")
    tall = heights[order]
    room = high - low
    if len(tall) and tall.sum() > room:
        tall = tall * room / tall.sum()
    before = np.cumsum(tall) - tall / 2
    free = isotonic_regression(wished[order] - before).x if len(tall) else np.empty(0)
    places = np.empty(len(wished))
    places[order] = np.clip(free, low, high - tall.sum()) + before
    return places


def place_labels(
    points: NDArray[np.float64],
    sizes: Sequence[tuple[float, float]],
    box: tuple[float, float],
    distance: float,
) -> NDArray[np.float64]:
    """Return the middle of a label for each point of a picture with corners (0, 0) and `box`; shape (n, 2).

    All lengths in one unit, such as points. One label after the other takes, of 24 places around its point, the
    one that stays in the picture and covers least of other points and of labels already there.
    """
    centres = np.empty_like(points)
    extents = np.asarray(sizes, dtype=float).reshape(-1, 2)
    marks = np.full_like(points, distance)  # a marker is about as wide as the label's distance from it
    for number, (point, extent) in enumerate(zip(points, extents, strict=True)):
        tried = np.concatenate([point + _DIRECTIONS * (extent / 2 + far * distance) for far in (1, 2.5, 4)])
        cost = _FURTHER * np.arange(len(tried)) * extent.prod()
        cost = cost + _ON_LABEL * _overlap(tried, extent, centres[:number], extents[:number])
        cost = cost + _ON_POINT * _overlap(tried, extent, points, marks)
        spare = np.minimum(tried - extent / 2, np.asarray(box) - tried - extent / 2).min(axis=1)
        cost = cost + _OUTSIDE * np.maximum(-spare, 0) * extent.max()
        centres[number] = tried[np.argmin(cost)]
    return centres


def _overlap(
    tried: NDArray[np.float64],
    extent: NDArray[np.float64],
    others: NDArray[np.float64],
    extents: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return the area each tried place shares with the other boxes."""
    reach = (extent + extents)[None, :, :] / 2
    shared = np.maximum(reach - np.abs(tried[:, None, :] - others[None, :, :]), 0)
    return np.asarray(shared.prod(axis=2).sum(axis=1))


# A figure as SVG text: the same figure always gives the same text.


# matplotlib's settings belong to the whole process: two threads must not set them at the same time.
SETTINGS = threading.Lock()


@contextmanager
def no_word_of_missing_glyphs() -> Iterator[None]:
    """Say nothing of letters that the font of the pictures lacks, such as Arabic ones: they show as boxes."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", r"Glyph \d+ .*missing from font")
        yield


@contextmanager
def literally(figure: Figure) -> Iterator[None]:
    """Draw every word of a figure as it is: a name with two dollar signs is no formula."""
    import matplotlib as mpl
    from matplotlib.text import Text

    for text in figure.findobj(Text):
        text.set_parse_math(False)
    with mpl.rc_context({"text.parse_math": False}), no_word_of_missing_glyphs():  # marks on an axis are made late
        yield


def svg_text(figure: Figure, *, title: str, description: str, text_as_paths: bool = True) -> str:
    """Return the figure as SVG with a title and a description for screen readers.

    `text_as_paths=False` keeps the words as text (smaller, searchable, needs the font on the reader's side).
    """
    import matplotlib as mpl
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    buffer = io.StringIO()
    fonts = "path" if text_as_paths else "none"
    with SETTINGS, literally(figure), mpl.rc_context({"svg.hashsalt": "afterfeel", "svg.fonttype": fonts}):
        FigureCanvasSVG(figure).print_svg(buffer, metadata={"Date": None, "Creator": None})
    svg = buffer.getvalue()
    start = svg.index("<svg ")
    inside = svg.index(">", start) + 1
    opening = svg[start : inside - 1] + f' role="img" aria-label={quoteattr(title)}>'
    return f"{opening}\n <title>{escape(title)}</title>\n <desc>{escape(description)}</desc>{svg[inside:]}"


# A figure as PNG, for programs that take no SVG.


DOTS_PER_INCH = 200


def png_bytes(figure: Figure, *, dots_per_inch: int = DOTS_PER_INCH) -> bytes:
    """Return the figure as PNG; the same figure gives the same bytes."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # slow to load, and most pictures are SVG

    figure.set_dpi(dots_per_inch)
    buffer = io.BytesIO()
    with SETTINGS, literally(figure):
        FigureCanvasAgg(figure).print_png(buffer, metadata={"Software": None})
    return buffer.getvalue()


# Zooming into the map on the screen without catching the wheel of somebody who only scrolls past.


ZOOM_WORDS = "Hold Shift to zoom with the wheel or to move the map by dragging; a double click goes back."
_ZOOM = "wheel![event.shiftKey]"
_MOVE = "[pointerdown[event.shiftKey], window:pointerup] > window:pointermove!"


def zoomable(chart: alt.HConcatChart) -> alt.HConcatChart:
    """Return the chart with its first picture made to zoom and move while Shift is held; both axes keep one scale."""
    import altair as alt

    view = alt.selection_interval(name="view", bind="scales", zoom=_ZOOM, translate=_MOVE)
    copy = chart.copy(deep=True)
    places = copy.hconcat[0]
    # Altair gives a parameter to every layer that has a name; a second layer with it would clash.
    named = next((n for n, layer in enumerate(places.layer) if layer.name is not alt.Undefined), 0)
    places.layer[named] = places.layer[named].add_params(view)
    return copy
