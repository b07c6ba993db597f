"""What all pictures share: marks of prototypes, words that keep apart, keys, frames of several kinds; SVG and PNG."""

from __future__ import annotations

import io
import re
import struct
import threading
import warnings
import zlib
from bisect import bisect
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache, lru_cache
from html import escape
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

if TYPE_CHECKING:  # a command that prints words draws nothing: what draws is loaded when something is drawn
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.ft2font import FT2Font
    from matplotlib.text import Text

from panel.study.naming import Naming
from panel.study.shown import OWN_LINES

# Okabe and Ito (2008), Color Universal Design; without yellow, which is hard to see on white.
_COLOURS = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#56b4e9", "#e69f00", "#000000")
GREY = "#8c8c8c"
INK = "#262626"
FAINT = "#d0d0d0"
MOST_COLOURED = len(_COLOURS)

_SHAPES = ("o", "s", "^", "D", "v", "P", ">", "X", "<", "*", "p", "h")
# For what is no prototype: none of them stands for one. Dark enough on white, apart in lightness as well as in hue.
OTHERS = ("#0b6b63", "#a8480a", "#6a4c93", "#5c5c5c", "#8a6d00", "#7b2d43", "#2f4f6f")

# Five more of the same kind for many prototypes, from Tol's schemes (personal.sron.nl/~pault, 'muted'; from memory).
_OF_PROTOTYPES = (*_COLOURS, "#882255", "#999933", "#332288", "#cc6677", "#44aa99")


@dataclass(frozen=True, slots=True)
class Marker:
    """How one prototype is drawn: fill colour and shape (matplotlib's word)."""

    colour: str
    shape: str


def marker_of(names: Naming, prototype: str) -> Marker:
    """Return how a prototype is drawn in every picture: by its place in the study and nothing else.

    The first twelve have a colour and a shape of their own; up to 144 differ in one or the other. What is no prototype
    of the study is a grey circle.
    """
    order = list(names.prototypes)
    if prototype not in order:
        return Marker(GREY, _SHAPES[0])
    turn, place = divmod(order.index(prototype), len(_SHAPES))
    return Marker(_OF_PROTOTYPES[(place - turn) % len(_OF_PROTOTYPES)], _SHAPES[place])


def markers(things: Sequence[str], chosen: Sequence[str] = ()) -> dict[str, Marker]:
    """Return a marker for each of a few things that are no prototypes, in order; for prototypes see `marker_of`.

    Up to seven get a colour and a shape each. With more, all are grey circles and only the `chosen` ones are coloured,
    seven at the most; further chosen ones stay grey.
    """
    coloured = list(things)
    if len(things) > MOST_COLOURED:
        coloured = [name for name in chosen if name in things][:MOST_COLOURED]
    found = dict.fromkeys(things, Marker(GREY, _SHAPES[0]))
    return found | {name: Marker(OTHERS[place], _SHAPES[place]) for place, name in enumerate(coloured)}


BROAD, PRINTED, NARROW = 8.6, 7.6, 3.9
"""Widths in inches that every picture is drawn for: a screen, a sheet of paper, and a phone."""
LETTERS = 9.0
"""Size of the words in a picture, in points."""
POINTS = 72.0  # to the inch
_KEY_LINE, _KEY_SIGN, _KEY_EDGE = 0.22, 0.42, 0.1  # inches: a line of a key, the sign before its words, the edge


# Directions tried around a point, best first: right, left, above, below, then the corners.
_DIRECTIONS = np.array(
    [(1, 0), (-1, 0), (0, 1), (0, -1), (0.8, 0.8), (-0.8, 0.8), (0.8, -0.8), (-0.8, -0.8)], dtype=float
)
_FREE_PLACES = (41, 61)  # across and upwards
_OUTSIDE, _ON_LABEL, _ON_POINT, _FURTHER = 1000.0, 10.0, 10.0, 0.01


@lru_cache(maxsize=10_000)  # a picture asks for the same words again and again
def text_width(text: str, size: float) -> float:
    """Return how wide `text` is at a font size, in the unit of the size (matplotlib's own font)."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import text_to_path

    with _no_word_of_missing_glyphs():
        width, _, _ = text_to_path.get_text_width_height_descent(text, FontProperties(size=size), ismath=False)
    return float(width)


@cache
def sign_width(sign: str, *, bold: bool = False) -> float:
    """Return how wide a sign stands on paper in letters of size 1, not fitted to dots; 1 if the font lacks it."""
    from matplotlib.ft2font import LoadFlags

    font = _font(bold=bold)
    place = font.get_char_index(ord(sign))
    return font.load_glyph(place, flags=LoadFlags.NO_SCALE).horiAdvance / font.units_per_EM if place else 1.0


@cache
def _font(*, bold: bool) -> FT2Font:
    from matplotlib import get_data_path
    from matplotlib.ft2font import FT2Font

    return FT2Font(f"{get_data_path()}/fonts/ttf/DejaVuSans{'-Bold' if bold else ''}.ttf")


def shortened(text: str, size: float, width: float) -> str:
    """Return `text` cut to a width, with an ellipsis where something was cut off."""
    if text_width(text, size) <= width:
        return text
    # halved, for a name may have thousands of letters; at least one of them stays
    too_long = bisect(range(2, len(text)), width, key=lambda letters: text_width(f"{text[:letters].rstrip()}…", size))
    return f"{text[: too_long + 1].rstrip()}…"


def wrapped(text: str, size: float, width: float, most: int = 99) -> list[str]:
    """Return `text` in lines no wider than `width`, at most so many; what does not fit is cut with an ellipsis."""
    if text_width(text, size) <= width:  # most do: the line is not measured word by word
        return [text]
    lines: list[str] = []
    for word in text.split(" "):
        if lines and text_width(f"{lines[-1]} {word}", size) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    if len(lines) > most:
        lines = [*lines[: most - 1], " ".join(lines[most - 1 :])]
    return [shortened(line, size, width) for line in lines]


def key_lines(words: Sequence[str], width: float) -> tuple[int, float]:
    """Return how many entries of a key stand beside each other in a width, and how tall the key is; inches."""
    widest = max((text_width(text, LETTERS) for text in words), default=0.0) / POINTS + _KEY_SIGN
    columns = max(1, min(len(words), int((width - 2 * _KEY_EDGE) // widest)))
    return columns, _KEY_LINE * -(-len(words) // columns) + _KEY_EDGE / 2


def write_key(figure: Figure, signs: Sequence[Artist], *, left: float = _KEY_EDGE) -> None:
    """Write the names of what is drawn, the labels of `signs`, at the top of a figure, from `left` (inches)."""
    width, height = figure.get_size_inches()
    room = (width - left - 2 * _KEY_EDGE - _KEY_SIGN) * POINTS
    for sign in signs:
        sign.set_label(shortened(str(sign.get_label()), LETTERS, room))
    columns, _ = key_lines([str(sign.get_label()) for sign in signs], width - left)
    figure.legend(
        handles=list(signs), loc="upper left", bbox_to_anchor=(left / width, 1 - 0.03 / height), ncols=columns,
        fontsize=LETTERS, frameon=False, handlelength=1.6, handletextpad=0.5, columnspacing=1.0, borderaxespad=0,
        borderpad=0, labelspacing=0.35,
    )  # fmt: skip


def panels(
    count: int,
    width: float,
    *,
    least: float,
    tall: float,
    left: float,
    top: float,
    bottom: float,
    head: float = 0.0,
    right: float = 0.15,
) -> tuple[Figure, list[Axes]]:
    """Return a figure with so many parts of a picture beside and under each other; all lengths in inches.

    As many parts of width `least` stand beside each other as there is room for, four at the most; `left`, `top`,
    `bottom` and `right` is the room for words around each, `head` that above all of them.
    """
    from matplotlib.figure import Figure

    across = max(1, min(count, 4, int(width // least)))
    down = max(1, -(-count // across))
    each, high = width / across, top + tall + bottom
    height = head + down * high
    figure = Figure(figsize=(width, height))
    parts = []
    for row, column in (divmod(place, across) for place in range(count)):
        low = 1 - (head + row * high + top + tall) / height
        box = ((column * each + left) / width, low, (each - left - right) / width, tall / height)
        parts.append(figure.add_axes(box))
    return figure, parts


def framed(width: float, height: float, inside: tuple[float, float, float, float]) -> tuple[Figure, Axes]:
    """Return a figure with a part to draw in: `inside` is its left, bottom, width and height; all in inches."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width, height))
    left, bottom, wide, tall = inside
    return figure, figure.add_axes((left / width, bottom / height, wide / width, tall / height))


def sheet(width: float, height: float) -> tuple[Figure, Axes]:
    """Return an empty figure in which one unit is one inch, from the top left."""
    figure, axes = framed(width, height, (0, 0, width, height))
    axes.set(xlim=(0, width), ylim=(height, 0))
    axes.set_axis_off()
    return figure, axes


def plain(axes: Axes) -> None:
    """Leave of the frame of a picture what is needed: two sides, a pale grid below everything, small numbers."""
    axes.tick_params(labelsize=LETTERS - 1, colors=INK, length=0)
    axes.grid(color=FAINT, linewidth=0.5)
    axes.set_axisbelow(True)
    axes.spines[["top", "right"]].set_visible(False)


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
    points: NDArray[np.float64], sizes: Sequence[tuple[float, float]], box: tuple[float, float], distance: float
) -> NDArray[np.float64]:
    """Return the middle of a label for each point of a picture with corners (0, 0) and `box`; shape (n, 2).

    All lengths in one unit, such as points. One label after the other takes, of 24 places around its point, the
    one that stays in the picture and covers least of other points and of labels already there.
    """
    centres = points.copy()  # where what has no size stays: it is only in the way
    extents = np.asarray(sizes, dtype=float).reshape(-1, 2)
    marks = np.full_like(points, distance)  # a marker is about as wide as the label's distance from it
    for number in np.flatnonzero(extents.prod(axis=1) > 0).tolist():
        point, extent = points[number], extents[number]
        tried = np.concatenate([point + _DIRECTIONS * (extent / 2 + far * distance) for far in (1, 2.5, 4)])
        cost = _FURTHER * np.arange(len(tried)) * extent.prod()
        cost = cost + _ON_LABEL * _overlap(tried, extent, centres[:number], extents[:number])
        cost = cost + _ON_POINT * _overlap(tried, extent, points, marks)
        spare = np.minimum(tried - extent / 2, np.asarray(box) - tried - extent / 2).min(axis=1)
        cost = cost + _OUTSIDE * np.maximum(-spare, 0) * extent.max()
        centres[number] = tried[np.argmin(cost)]
    return _apart(centres, extents, np.asarray(box, dtype=float))


def _apart(centres: NDArray[np.float64], extents: NDArray[np.float64], box: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the labels with those that still cover another moved to the nearest free place in the picture.

    Where that leaves some on others, all labels go to the places of a grid that holds them, as near as can be.
    """
    centres = centres.copy()
    extents = extents * (1.05, 1.0)  # screens with coarse dots draw letters a little wider than their outlines
    labels = np.flatnonzero(extents.prod(axis=1) > 0)  # what has no size is only in the way

    def covers(number: int, places: NDArray[np.float64]) -> NDArray[np.float64]:
        others = labels[labels != number]
        return _overlap(places, extents[number] + 1.0, centres[others], extents[others])

    for number in labels.tolist():
        if covers(number, centres[[number]]).any():
            tried = _grid(box, extents[number], _FREE_PLACES)
            far = ((tried - centres[number]) ** 2).sum(axis=1)
            centres[number] = tried[np.argmin(far + _OUTSIDE * covers(number, tried))]
    if any(covers(number, centres[[number]]).any() for number in labels.tolist()):
        from scipy.optimize import linear_sum_assignment

        largest = extents[labels].max(axis=0) + 1.0
        across, down = (int(count) for count in box // largest)
        if across * down >= len(labels):
            tried = _grid(box, largest, (across, down))
            far = ((centres[labels][:, None, :] - tried[None, :, :]) ** 2).sum(axis=2)
            centres[labels] = tried[linear_sum_assignment(far)[1]]
    return centres


def _grid(box: NDArray[np.float64], extent: NDArray[np.float64], steps: tuple[int, int]) -> NDArray[np.float64]:
    """Return so many places across and upwards at which something of this extent lies within the box."""
    ends = [
        np.linspace(half, max(room - half, half), count)
        for half, room, count in zip(extent / 2, box, steps, strict=True)
    ]
    return np.stack(np.meshgrid(*ends), axis=-1).reshape(-1, 2)


def _overlap(
    tried: NDArray[np.float64], extent: NDArray[np.float64], others: NDArray[np.float64], extents: NDArray[np.float64]
) -> NDArray[np.float64]:
    reach = (extent + extents)[None, :, :] / 2
    shared = np.maximum(reach - np.abs(tried[:, None, :] - others[None, :, :]), 0)
    return np.asarray(shared.prod(axis=2).sum(axis=1))


# A picture of dots with intervals, one line each: the frame that profiles and differences share.


_HEAD, _BOTTOM, _MARGIN, _LINE = 0.14, 0.34, 0.12, 0.17  # inches
_NAMES, _REMARKS = 0.36, 0.3  # of the width: names at the left, remarks at the right, at most
_LEAST_WIDE = 1.3  # inches for the lines, however long the words are
_QUIET = "#5c5c5c"  # words of less weight, 6.7 to 1 on white

_Words = Sequence[tuple[float, str]]


def interval_figure(
    rows: pd.DataFrame,
    depth: float,
    ticks: _Words,
    *,
    width: float = BROAD,
    headings: _Words = (),
    remarks: _Words = (),
    limits: tuple[float, float],
    title: str = "",
    x_title: str = "",
    key: Sequence[Artist] = (),
    names: Naming | None = None,
) -> tuple[Figure, Axes]:
    """Return a figure of a width in inches, as tall as its words and lines need.

    Parameters
    ----------
    rows
        `y estimate ci_low ci_high colour shape filled`; `y` in inches from the top. A mark that
        `stands_for` a prototype carries its name.
    depth, limits
        Height of the part with the lines, in inches; ends of the scale.
    ticks, headings, remarks
        Words at a height: names at the left, headings over groups of them, remarks at the right; long ones are broken.
    key
        What stands for what, with its name as its label; written above.
    names
        Words of the study, where the rows are those of `own_lines`.
    """
    from matplotlib.ticker import MaxNLocator

    own = names is not None and names.mixed
    room = (width - 2 * _MARGIN) * POINTS
    said, right = _column(remarks, _REMARKS * width)
    most = min(_NAMES * width, width - right - _LEAST_WIDE - 4 * _MARGIN)
    labels, left = _column(ticks, most)
    left = max(left, min(_widest(headings), most)) + 2 * _MARGIN
    right += 2 * _MARGIN
    wide = max(width - left - right, _LEAST_WIDE)
    heading = wrapped(title, LETTERS + 1, room) if title else []
    below = wrapped(f"{x_title.rstrip('.')}. {OWN_LINES}." if own else x_title, LETTERS, room) if x_title else []
    head = key_lines([str(sign.get_label()) for sign in key], width - 2 * _MARGIN)[1] if key else 0.0
    top = _HEAD + head + 1.15 * _LINE * len(heading)
    height = top + depth + _BOTTOM + _LINE * len(below)
    figure, axes = framed(width, height, (left, height - top - depth, wide, depth))
    axes.set(xlim=limits, ylim=(depth, 0))
    _draw_rows(axes, rows)
    axes.set_yticks([y for y, _ in ticks], labels, fontsize=LETTERS, color=INK, linespacing=1.0)
    _write(axes, headings, -(left - _MARGIN) / wide, _QUIET)
    _write(axes, list(zip([y for y, _ in remarks], said, strict=True)), 1 + _MARGIN / wide, INK)
    axes.xaxis.set_major_locator(MaxNLocator(max(2, min(9, int(wide / 0.55))), steps=[1, 2, 2.5, 5, 10]))
    upright_grid(axes)
    if own:
        axes.set_xticks([])
    _write_around(figure, heading, below, head, key)
    return figure, axes


def line_by_line(
    rows: pd.DataFrame,
    line: float,
    labels: Iterable[str],
    *,
    remarks: Iterable[str] = (),
    free: float = 0.0,
    **how: Any,
) -> tuple[Figure, Axes]:
    """Return an `interval_figure` with one line for each row, `line` inches high, so much of one `free` at either end.

    What the rows do not say is a dot in ink without an interval; `y` is told by the ticks.
    """
    y = line * (np.arange(len(rows)) + 0.5 + free)
    plainly: dict[str, Any] = {"colour": INK, "shape": "o", "filled": True, "ci_low": np.nan, "ci_high": np.nan}
    drawn = rows.assign(**{name: look for name, look in plainly.items() if name not in rows}, y=y)
    said = list(zip(y, remarks, strict=False))
    return interval_figure(drawn, line * (len(rows) + 2 * free), list(zip(y, labels, strict=True)), remarks=said, **how)


def as_prototypes(rows: pd.DataFrame, names: Naming) -> pd.DataFrame:
    """Return rows of an `interval_figure` with the `colour` and `shape` of the prototype that each `stands_for`."""
    looks = [marker_of(names, str(name)) for name in rows["prototype"]]
    colours, shapes = [look.colour for look in looks], [look.shape for look in looks]
    return rows.assign(colour=colours, shape=shapes, stands_for=rows["prototype"])


def signs_of(drawn: Mapping[str, Marker]) -> list[Artist]:
    """Return the signs of a key: a marker on a piece of line, labelled with its name."""
    from matplotlib.lines import Line2D

    return [
        Line2D(
            [], [], color=look.colour, marker=look.shape, markersize=6, markeredgecolor=INK, markeredgewidth=0.6,
            linewidth=1.3, label=name,
        )
        for name, look in drawn.items()
    ]  # fmt: skip


def needed_limits(rows: pd.DataFrame, *also: float) -> tuple[float, float]:
    """Return ends of a scale that show every interval, every estimate and the values in `also`."""
    values = pd.concat([rows["estimate"], rows["ci_low"], rows["ci_high"], pd.Series(also, dtype="float64")])
    low, high = float(values.min()), float(values.max())
    room = 0.04 * ((high - low) or 1.0)
    return low - room, high + room


def _write_around(
    figure: Figure, heading: Sequence[str], below: Sequence[str], head: float, key: Sequence[Artist]
) -> None:
    """Write the key and under it the heading above the lines, and what the scale is below them."""
    width, height = figure.get_size_inches()
    look: dict[str, Any] = {"color": INK, "linespacing": 1.15}
    if heading:
        figure.text(
            _MARGIN / width, 1 - (head + 0.05) / height, "\n".join(heading), fontsize=LETTERS + 1, va="top", **look
        )
    if below:
        figure.text(_MARGIN / width, 0.06 / height, "\n".join(below), fontsize=LETTERS, **look)
    if key:
        write_key(figure, key, left=_MARGIN)


def upright_grid(axes: Axes) -> None:
    """Leave of the frame of a picture the side below with its small numbers, and a pale upright grid."""
    axes.tick_params(axis="y", length=0)
    axes.tick_params(axis="x", labelsize=LETTERS - 1, colors=INK)
    axes.grid(axis="x", color=FAINT, linewidth=0.6)
    axes.set_axisbelow(True)
    axes.spines[["top", "right", "left"]].set_visible(False)


def _draw_rows(axes: Axes, rows: pd.DataFrame) -> None:
    known = rows.dropna(subset=["ci_low", "ci_high"])
    axes.hlines(known["y"], known["ci_low"], known["ci_high"], colors=list(known["colour"]), linewidth=1.5, zorder=2)
    for row in rows.to_dict("records"):
        face, edge, wide = (row["colour"], INK, 0.6) if row["filled"] else ("white", row["colour"], 1.3)
        axes.plot(
            [row["estimate"]], [row["y"]], linestyle="none", marker=row["shape"], markersize=6, zorder=3,
            markerfacecolor=face, markeredgecolor=edge, markeredgewidth=wide,
            gid=prototype_mark(row["stands_for"]) if row.get("stands_for") else None,
        )  # fmt: skip


def draw_prototype(
    axes: Axes, names: Naming, prototype: str, at: tuple[float, float], *, size: float = 7.0, **look: Any
) -> None:
    """Draw the mark of a prototype at a place of a picture, in its colour and shape."""
    own = marker_of(names, prototype)
    axes.plot(
        [at[0]], [at[1]], linestyle="none", marker=own.shape, markersize=size, markerfacecolor=own.colour,
        markeredgecolor=INK, markeredgewidth=0.7, gid=prototype_mark(prototype), **({"zorder": 5} | look),
    )  # fmt: skip


def prototype_mark(prototype: object) -> str:
    """Return the name that the mark of a prototype carries in a picture, so that it can be found there."""
    return f"prototype {prototype}"


def _write(axes: Axes, words: _Words, across: float, colour: str) -> None:
    for y, text in words:
        axes.text(
            across, y, text, transform=axes.get_yaxis_transform(), fontsize=LETTERS, color=colour, ha="left",
            va="center", linespacing=1.0,
        )  # fmt: skip


def _column(words: _Words, most: float) -> tuple[list[str], float]:
    """Return words in two lines at the most, and the width of the column they stand in, in inches."""
    whole = _widest(words)
    lines = [[text] if whole <= most else wrapped(text, LETTERS, most * POINTS, 2) for _, text in words]
    return ["\n".join(each) for each in lines], min(whole, _widest([(0.0, part) for each in lines for part in each]))


def _widest(words: _Words) -> float:
    return max((text_width(text, LETTERS) for _, text in words), default=0.0) / POINTS


# A figure as SVG text: the same figure always gives the same text.


# matplotlib's settings belong to the whole process: two threads must not set them at the same time.
_SETTINGS = threading.Lock()


@contextmanager
def _no_word_of_missing_glyphs() -> Iterator[None]:
    """Say nothing of letters that the font of the pictures lacks, such as Arabic ones: they show as boxes."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", r"Glyph \d+ .*missing from font")
        yield


@contextmanager
def _literally(figure: Figure) -> Iterator[None]:
    """Draw every word of a figure as it is: a name with two dollar signs is no formula."""
    import matplotlib as mpl

    for text in _words_in(figure):
        text.set_parse_math(False)
    with mpl.rc_context({"text.parse_math": False}), _no_word_of_missing_glyphs():  # marks on an axis are made late
        yield


def _words_in(figure: Figure) -> Iterator[Text]:
    """Yield the words of a figure; of those on its axes only what is made, for `findobj` would make them all."""
    from matplotlib.text import Text

    yield from figure.texts
    legends = [*figure.legends, *(own for axes in figure.axes if (own := axes.get_legend()) is not None)]
    for legend in legends:
        yield from (*legend.get_texts(), legend.get_title())
    for axes in figure.axes:
        yield from (part for part in axes.get_children() if isinstance(part, Text))  # titles may stand at a side too
        for axis in (axes.xaxis, axes.yaxis):
            yield axis.label
            yield from (label for tick in axis.majorTicks for label in (tick.label1, tick.label2))


def svg_text(figure: Figure, *, title: str, description: str, text_as_paths: bool = True) -> str:
    """Return the figure as SVG with a title and a description for screen readers.

    `text_as_paths=False` keeps the words as text (smaller, searchable, needs the font on the reader's side).
    """
    import matplotlib as mpl
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    buffer = io.StringIO()
    fonts = "path" if text_as_paths else "none"
    with _SETTINGS, _literally(figure), mpl.rc_context({"svg.hashsalt": "afterfeel", "svg.fonttype": fonts}):
        FigureCanvasSVG(figure).print_svg(buffer, metadata={"Date": None, "Creator": None})
    # a prototype has many marks, but no name may stand twice in a page
    svg = re.sub(f' id="{prototype_mark("")}[^"]*"', "", buffer.getvalue())
    start = svg.index("<svg ")
    inside = svg.index(">", start) + 1
    opening = svg[start : inside - 1] + f' role="img" aria-label="{escape(title)}">'
    words = "".join(
        f"\n <{tag}>{escape(text, quote=False)}</{tag}>" for tag, text in (("title", title), ("desc", description))
    )
    return f"{opening}{words}{svg[inside:]}"


def png_bytes(figure: Figure, *, dots_per_inch: int = 200) -> bytes:
    """Return the figure as PNG; the same figure gives the same bytes."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # slow to load, and most pictures are SVG

    figure.set_dpi(dots_per_inch)
    canvas = FigureCanvasAgg(figure)
    with _SETTINGS, _literally(figure):
        canvas.draw()
    dots = np.asarray(canvas.buffer_rgba())[:, :, :3]  # the ground is white: nothing shows through
    height, width, _ = dots.shape
    # Each row as it is, behind the number that says so: lines and letters pack better, and sooner, than differences.
    rows = np.insert(dots.reshape(height, -1), 0, 0, axis=1)
    vars(canvas.get_renderer()).clear()  # the words of the figure keep it, and with it four bytes for each dot
    per_metre = round(dots_per_inch / 0.0254)
    parts = {
        b"IHDR": struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0),  # eight bits of each of three colours
        b"pHYs": struct.pack(">IIB", per_metre, per_metre, 1),
        b"IDAT": zlib.compress(rows.tobytes(), 3),
        b"IEND": b"",
    }
    packed = (
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        for kind, data in parts.items()
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(packed)
