"""Where to write labels so that they do not cover each other."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path
from numpy.typing import NDArray
from scipy.optimize import isotonic_regression

# Directions tried around a point, best first: right, left, above, below, then the corners.
_DIRECTIONS = np.array(
    [(1, 0), (-1, 0), (0, 1), (0, -1), (0.8, 0.8), (-0.8, 0.8), (0.8, -0.8), (-0.8, -0.8)], dtype=float
)
_OUTSIDE, _ON_LABEL, _ON_POINT, _FURTHER = 1000.0, 10.0, 10.0, 0.01


def text_width(text: str, size: float) -> float:
    """Return how wide `text` is at a font size, in the unit of the size (matplotlib's own font)."""
    width, _, _ = text_to_path.get_text_width_height_descent(text, FontProperties(size=size), ismath=False)
    return float(width)


def shortened(text: str, size: float, width: float) -> str:
    """Return `text` cut to a width, with an ellipsis where something was cut off."""
    if text_width(text, size) <= width:
        return text
    kept = len(text)
    while kept > 1 and text_width(f"{text[:kept].rstrip()}…", size) > width:
        kept -= 1
    return f"{text[:kept].rstrip()}…"


def spread_apart(
    wished: NDArray[np.float64], heights: NDArray[np.float64], low: float, high: float
) -> NDArray[np.float64]:
    """Return places in one line near the wished ones, in the same order, that do not overlap.

    Among all such places these move least (sum of squares): an isotonic regression after taking out the room
    each label needs. If all together need more room than low to high offers, they are squeezed evenly.
    """
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
