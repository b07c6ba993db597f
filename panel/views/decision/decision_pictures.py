"""Pictures behind the choice of a prototype: the chances of meeting each window, and windows beside intervals."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import partial
from itertools import product
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from panel.models.decision.contenders import OUT, Decision
from panel.models.decision.wanted import BENCHMARK
from panel.study.naming import Naming
from panel.study.shown import own_lines
from panel.views.pictures import (
    BROAD,
    FAINT,
    INK,
    LETTERS,
    MOST_COLOURED,
    POINTS,
    as_prototypes,
    interval_figure,
    marker_of,
    needed_limits,
    sheet,
    shortened,
    signs_of,
    text_width,
    wrapped,
)
from panel.views.told import Picture
from panel.words import chance_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_CELL, _NARROWEST, _ROW, _LEFT, _GAP = 1.05, 0.78, 0.3, 0.25, 0.12  # inches
_PALE, _DARK = np.array([1.0, 1.0, 1.0]), np.array([0.42, 0.70, 0.72])  # white to a teal that black letters stand on
_MET, _MISSED, _UNKNOWN = "✓", "✗", "–"
_LINE, _BETWEEN = 0.16, 0.14  # inches: one prototype's line, free room between attributes
_BAND = "#e4ece9"  # a window; behind black letters and dark lines
_ALL, _ALL_VERSUS = "all windows", "all, as differences from"

_CHANCES_KEY = (
    f"Number: chance that the true mean lies in the window. {_MET} the mean itself does, {_MISSED} it does not. The "
    "darker, the likelier."
)
_INTERVALS_KEY = "Shaded: the window. Dot: mean. Line: its interval."


def chances_picture(result: Decision, names: Naming) -> Picture:
    """Return the targets with the chance of each: a row per prototype, a column per window, and all at once."""
    alt = _chances_alt_text(result, names)
    return Picture("chances", "Targets, and the chance of meeting each", alt, partial(_chances_figure, result, names))


def windows_picture(result: Decision, names: Naming, chosen: Sequence[str] = (), *, versus: bool = False) -> Picture:
    """Return windows as bands with the intervals of the chosen prototypes, by default the first three."""
    ranked = [str(name) for name in result.ranking["prototype"]]
    first = [*result.contenders, *(name for name in ranked if name not in result.contenders)][:3]
    what = f"differences from {result.benchmark}" if versus else "means"
    return Picture(
        "windows_versus" if versus else "windows",
        f"Windows beside the {what}",
        f"Windows beside the {what} with their intervals. {_INTERVALS_KEY} The table of windows has the numbers.",
        lambda width: _windows_figure(result, names, chosen or first, width, versus=versus),
    )


def _chance_cells(result: Decision, names: Naming) -> pd.DataFrame:
    """Return what the grid writes: `row column prototype heading chance mark`, best prototype first."""
    order = [str(name) for name in result.ranking["prototype"]]
    attributes = [str(name) for name in dict.fromkeys(result.windows["attribute"])]
    by_benchmark = result.profile.read_as == BENCHMARK and result.benchmark is not None
    ends = ("versus_low", "versus_high") if by_benchmark else ("target_low", "target_high")
    found = []
    for windows in result.windows.to_dict("records"):
        met, name = windows["read_met"], str(windows["attribute"])
        mark = _UNKNOWN if met != met else _MET if met else _MISSED
        must = ", must" if windows["must_have"] else ""
        wanted = names.window(name, windows[ends[0]], windows[ends[1]], typed=not by_benchmark)
        heading = f"{names.attribute(name)}: {wanted}{must}"
        place = order.index(str(windows["prototype"])), attributes.index(name)
        found.append((*place, windows["prototype"], heading, windows["read_chance"], mark))
    together = [("chance_all", _ALL)]
    if result.benchmark is not None:
        together.append(("chance_all_versus", f"{_ALL_VERSUS} {result.benchmark}"))
    for row, ranked in enumerate(result.ranking.to_dict("records")):
        found += [
            (row, len(attributes) + number, ranked["prototype"], heading, ranked[column], "")
            for number, (column, heading) in enumerate(together)
        ]
    columns = ["row", "column", "prototype", "heading", "chance", "mark"]
    return pd.DataFrame(found, columns=columns).sort_values(["row", "column"], ignore_index=True)


def _chances_figure(result: Decision, names: Naming, width: float = BROAD) -> Figure:
    """Return the grid of chances: a row per prototype, a column per window, and all windows at once."""
    cells = _chance_cells(result, names)
    out = set(result.ranking.loc[result.ranking["standing"] == OUT, "prototype"])
    labels = [f"{name} (out)" if name in out else str(name) for name in result.ranking["prototype"]]
    headings = cells.loc[cells["row"] == 0, ["column", "heading"]].sort_values("column")["heading"].tolist()
    singles = int((cells.loc[cells["row"] == 0, "mark"] != "").sum())
    labels = [shortened(label, LETTERS, 0.3 * width * POINTS) for label in labels]
    left = max(text_width(label, LETTERS) for label in labels) / POINTS + _LEFT
    side = max(1, int((width - left - 0.1 - _GAP) / _NARROWEST))  # more windows go into a second band
    bands = -(-len(headings) // side)
    side = -(-len(headings) // bands)
    wide = min((width - left - 0.1 - _GAP) / side, _CELL)
    across = [(n % side) * wide + (_GAP if n >= singles else 0.0) for n in range(len(headings))]
    heads = [wrapped(str(heading), LETTERS - 1, wide * POINTS - 4, 5) for heading in headings]
    head, depth = 0.15 + 0.145 * max(map(len, heads)), len(labels) * _ROW
    key = wrapped(_CHANCES_KEY, LETTERS - 0.5, (width - 0.2) * POINTS)
    height = bands * (head + depth + 0.1) + 0.16 * len(key) + 0.1
    figure, axes = sheet(width, height)
    tops = [(number // side) * (head + depth + 0.1) + head for number in range(len(headings))]
    for cell in cells.to_dict("records"):
        place = left + across[cell["column"]], tops[cell["column"]] + cell["row"] * _ROW, wide
        _cell(axes, *place, float(cell["chance"]), str(cell["mark"]))
    for lines, x, y in zip(heads, across, tops, strict=True):
        words: dict[str, Any] = {"fontsize": LETTERS - 1, "color": INK, "va": "bottom", "linespacing": 1.05}
        axes.text(left + x + wide / 2, y - 0.05, "\n".join(lines), ha="center", **words)
    for (number, label), y in product(enumerate(labels), sorted(set(tops))):
        axes.text(left - 0.1, y + (number + 0.5) * _ROW, label, fontsize=LETTERS, color=INK, ha="right", va="center")
    axes.text(0.1, height - 0.08, "\n".join(key), fontsize=LETTERS - 0.5, color=INK, va="bottom")
    return figure


def _chances_alt_text(result: Decision, names: Naming) -> str:
    """Return the grid in words: for each prototype the chance of all windows, and of the least likely one."""
    cells = _chance_cells(result, names)
    told = []
    for prototype, own in cells.groupby("prototype", sort=False):
        single = own.loc[own["mark"] != ""].dropna(subset=["chance"])
        whole = chance_words(float(own.loc[own["heading"] == _ALL, "chance"].iloc[0]))
        least = single.sort_values("chance", kind="stable")["heading"].iloc[0] if len(single) else "not known"
        told.append(f"{prototype}: all windows {whole}, least likely {least}")
    return f"Chances of meeting the windows. {'; '.join(told)}."


def _windows_figure(
    result: Decision, names: Naming, chosen: Sequence[str], width: float = BROAD, *, versus: bool = False
) -> Figure:
    """Return windows as bands with the means and intervals of the chosen prototypes, seven at the most.

    With `versus` everything is a difference from the benchmark.
    """
    from matplotlib.patches import Rectangle

    shown = list(chosen)[:MOST_COLOURED]
    marks = {name: marker_of(names, name) for name in shown}
    rows, places = _interval_rows(result, shown, versus=versus)
    drawn = as_prototypes(rows, names).assign(filled=True)
    first = rows.drop_duplicates("attribute")
    windows = dict(zip(first["attribute"], first[["low", "high"]].to_numpy(float).tolist(), strict=True))
    remarks = [(y, names.window(name, *windows[name], typed=not versus)) for name, y in places.items()]
    drawn, behind = own_lines(drawn, names, "low", "high", about_zero=versus)
    edges = drawn[["low", "high"]].to_numpy(float).ravel()
    limits = needed_limits(drawn, *edges[np.isfinite(edges)].tolist())
    depth = len(places) * (len(shown) * _LINE + _BETWEEN)
    ticks = [(y, f"{names.attribute(attribute)}{behind[attribute]}") for attribute, y in places.items()]
    ends = drawn.drop_duplicates("attribute").set_index("attribute")[["low", "high"]]
    x_title = f"Difference from {result.benchmark}" if versus else names.with_scale("Mean")
    figure, axes = interval_figure(
        drawn,
        depth,
        ticks,
        width=width,
        remarks=remarks,
        limits=limits,
        x_title=x_title,
        key=signs_of(marks),
        names=names,
    )
    half = len(shown) * _LINE / 2 + 0.03
    for attribute, y in places.items():
        low, high = (limit if math.isnan(end) else end for end, limit in zip(ends.loc[attribute], limits, strict=True))
        axes.add_patch(Rectangle((low, y - half), high - low, 2 * half, facecolor=_BAND, edgecolor=FAINT, zorder=0.5))
    return figure


def _interval_rows(result: Decision, shown: list[str], *, versus: bool) -> tuple[pd.DataFrame, dict[str, float]]:
    """Return the intervals to draw and the middle of each attribute, in inches from the top."""
    columns = {"difference": "estimate", "difference_low": "ci_low", "difference_high": "ci_high"} if versus else {}
    ends = ("versus_low", "versus_high") if versus else ("target_low", "target_high")
    taken = [*(columns or ("estimate", "ci_low", "ci_high")), *ends]
    rows = result.windows.loc[result.windows["prototype"].isin(shown), ["attribute", "prototype", *taken]]
    rows = rows.rename(columns=columns | {ends[0]: "low", ends[1]: "high"}).dropna(subset=["estimate"])
    step = len(shown) * _LINE + _BETWEEN
    places = {str(name): (number + 0.5) * step for number, name in enumerate(dict.fromkeys(rows["attribute"]))}
    offset = {name: (number - (len(shown) - 1) / 2) * _LINE for number, name in enumerate(shown)}
    y = [places[str(a)] + offset[str(p)] for a, p in zip(rows["attribute"], rows["prototype"], strict=True)]
    return rows.assign(y=y).reset_index(drop=True), places


def _cell(axes: Axes, x: float, y: float, wide: float, chance: float, mark: str) -> None:
    from matplotlib.patches import Rectangle

    known = chance == chance
    shade = _PALE + (_DARK - _PALE) * (chance if known else 0.0)
    axes.add_artist(Rectangle((x, y), wide, _ROW, facecolor=shade, edgecolor=FAINT, linewidth=0.6))
    words = f"{mark} {chance_words(chance)}".strip()
    axes.text(x + wide / 2, y + _ROW / 2, words, fontsize=LETTERS, color=INK, ha="center", va="center")
