"""The picture of the panel check: everybody on every attribute."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.collections import PatchCollection
from matplotlib.colors import LinearSegmentedColormap, to_rgba
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle

from panel.models.assessors.measures import SEPARATES_BELOW
from panel.models.assessors.performance import NARROWEST, NONE, WIDEST, PanelCheck
from panel.stats.arrays import Array
from panel.study.naming import Naming
from panel.views.assessors.assessor_words import JUDGED, MARKS
from panel.views.drawing.interval_picture import FONT, interval_figure, marker_legend, needed_limits
from panel.views.drawing.pictures import COLOURS, FAINT, GREY, INK, Marker, svg_text, text_width
from panel.words import format_number

# Inches.
_CELL_WIDTH, _CELL_HEIGHT, _TOP, _BOTTOM, _MARGIN = 0.66, 0.28, 0.62, 1.35, 0.12
_POINTS = 72.0
# Orange against the others, blue with them, white in between; both ends pale enough for a dark sign on top.
_COLOURS = LinearSegmentedColormap.from_list("agreement", ["#e88a4a", "#fbe3d3", "#ffffff", "#d5e6f2", "#5aa5d3"])
WITH, AGAINST, UNCLEAR, UNJUDGED = "with", "against", "unclear", "unjudged"
_SIGNS = {WITH: ("^", True), AGAINST: ("v", True), UNCLEAR: ("o", False), UNJUDGED: ("_", True)}
_SIGN_WORDS = {
    WITH: "tells the prototypes apart, the same way as the others",
    AGAINST: "tells them apart, rather the other way",
    UNCLEAR: "alone does not tell them apart",
    UNJUDGED: "not judged: the others do not tell them apart",
}


def grid_rows(result: PanelCheck) -> pd.DataFrame:
    """Return what the grid draws: `assessor attribute correlation sign marked`."""
    cells = result.assessors
    separates = cells["p_value"].to_numpy(float) < SEPARATES_BELOW
    correlation = cells["correlation"].to_numpy(float)
    sign = np.where(separates, np.where(correlation < 0, AGAINST, WITH), UNCLEAR)
    sign = np.where(cells["judged"].to_numpy(bool) & np.isfinite(correlation), sign, UNJUDGED)
    told = result.patterns.loc[result.patterns["action"] != NONE]
    marked = set(zip(told["assessor"], told["attribute"], strict=True))
    pairs = zip(cells["assessor"], cells["attribute"], strict=True)
    frame = cells[["assessor", "attribute", "correlation"]]
    return frame.assign(sign=sign, marked=[pair in marked for pair in pairs])


def grid_figure(result: PanelCheck, names: Naming) -> Figure:
    """Return the grid: a row per attribute, a column per assessor.

    Colour and sign say the same: with the others (blue, triangle up), against them (orange, triangle down), not told
    apart (ring). A frame marks what is named in the words.
    """
    rows = grid_rows(result)
    people = [str(name) for name in result.people["assessor"]]
    attributes = [str(name) for name in result.panel["attribute"]]
    left = max(text_width(names.attribute(name), FONT) for name in attributes) / _POINTS + 2 * _MARGIN
    wide, tall = len(people) * _CELL_WIDTH, len(attributes) * _CELL_HEIGHT
    width, height = max(left + wide + _MARGIN, left + 4.6), _TOP + tall + _BOTTOM
    figure = Figure(figsize=(width, height))
    axes = figure.add_axes((left / width, _BOTTOM / height, wide / width, tall / height))
    axes.set(xlim=(0, len(people)), ylim=(len(attributes), 0))
    _draw_cells(axes, rows, _places(rows["assessor"], people), _places(rows["attribute"], attributes))
    judged = result.people.set_index("assessor")["judgement"]
    heads = [f"{name}\n{JUDGED[judged[name]] if judged[name] != NONE else ''}" for name in people]
    axes.set_xticks(np.arange(len(people)) + 0.5, heads, fontsize=FONT - 1, color=INK)
    axes.set_yticks(
        np.arange(len(attributes)) + 0.5, [names.attribute(name) for name in attributes], fontsize=FONT, color=INK
    )
    axes.xaxis.tick_top()
    axes.tick_params(length=0)
    axes.spines[:].set_visible(False)
    _grid_key(figure, left / width)
    return figure


def grid_svg(result: PanelCheck, names: Naming, *, text_as_paths: bool = True) -> str:
    """Return the grid as SVG text."""
    rows = grid_rows(result)
    told = [
        f"{who} {names.attribute(attribute) if attribute else 'over all attributes'}: {MARKS[pattern]}"
        for who, attribute, pattern in zip(
            *(result.patterns[c] for c in ("assessor", "attribute", "pattern")), strict=True
        )
    ]
    counts = rows["sign"].value_counts()
    heard = "; ".join(f"{counts[sign]} cells: {words}" for sign, words in _SIGN_WORDS.items() if sign in counts)
    return svg_text(
        grid_figure(result, names),
        title="Assessors and attributes",
        description=f"{heard}. Named: {'; '.join(told) or 'nothing'}.",
        text_as_paths=text_as_paths,
    )


def _places(names: pd.Series, order: list[str]) -> Array:
    """Return where each name stands in the order, counted from 0."""
    return np.array([order.index(name) for name in names], dtype=np.float64)


def _draw_cells(axes: Axes, rows: pd.DataFrame, column: Array, line: Array) -> None:
    """Draw every cell of the grid: its colour, its sign, and a frame where it is named."""
    sign = rows["sign"].to_numpy(dtype=object)
    colours = _COLOURS((rows["correlation"].fillna(0.0).to_numpy(dtype=float) + 1) / 2)
    colours[sign == UNJUDGED] = to_rgba("white")
    cells = [Rectangle((x + 0.03, y + 0.05), 0.94, 0.9) for x, y in zip(column, line, strict=True)]
    axes.add_collection(PatchCollection(cells, facecolors=colours, edgecolors=FAINT, linewidths=0.5))
    marked = rows["marked"].to_numpy(dtype=bool)
    for x, y in zip(column[marked], line[marked], strict=True):
        axes.add_patch(Rectangle((x + 0.05, y + 0.09), 0.9, 0.82, fill=False, edgecolor=INK, linewidth=2.0))
    for name, (shape, filled) in _SIGNS.items():
        there = sign == name
        colour = GREY if name == UNJUDGED else INK
        axes.plot(
            column[there] + 0.5,
            line[there] + 0.5,
            linestyle="none",
            marker=shape,
            markersize=6,
            color=colour,
            markerfacecolor=colour if filled else "none",
        )


def _grid_key(figure: Figure, left: float) -> None:
    entries = [
        Line2D(
            [], [], linestyle="none", marker=shape, color=GREY if sign == UNJUDGED else INK, markersize=6,
            markerfacecolor=INK if filled else "none", label=_SIGN_WORDS[sign],
        )
        for sign, (shape, filled) in _SIGNS.items()
    ]  # fmt: skip
    entries.append(_square("none", INK, 2.0, "more than chance: named in the words"))
    entries.append(_square(_COLOURS(1.0), FAINT, 0.5, "blue: correlated with the others' means"))
    entries.append(_square(_COLOURS(0.0), FAINT, 0.5, "orange: correlated the other way"))
    figure.legend(
        handles=entries,
        loc="lower left",
        bbox_to_anchor=(left, 0.0),
        ncols=1,
        fontsize=FONT - 1,
        frameon=False,
        borderaxespad=0.3,
        handletextpad=0.3,
        labelspacing=0.25,
    )


def _square(face: object, edge: str, width: float, label: str) -> Line2D:
    square = Line2D([], [], linestyle="none", marker="s", markersize=8, label=label)
    square.set(markerfacecolor=face, markeredgecolor=edge, markeredgewidth=width)
    return square


# Pictures of one assessor against the others: all attributes by their slopes, one attribute by its means.


_LINE = 0.26  # inches
_BAND = "#e8eef2"
_OWN, _OTHERS = Marker(COLOURS[0], "o"), Marker(COLOURS[1], "s")


def slopes_figure(result: PanelCheck, names: Naming, assessor: str) -> Figure:
    """Return one person's slope on the others' means, attribute by attribute: 1 is the others', 0 no relation."""
    rows = slope_rows(result, names, assessor)
    figure, axes = interval_figure(
        rows,
        _LINE * (len(rows) + 0.5),
        list(zip(rows["y"], rows["label"], strict=True)),
        remarks=list(zip(rows["y"], rows["remark"], strict=True)),
        limits=needed_limits(rows, 0.0, WIDEST),
        title=f"{assessor} against the others",
        x_title="Slope on the others' means (hollow: alone not told apart)",
    )
    axes.axvspan(NARROWEST, WIDEST, color=_BAND, zorder=0)
    for place in (0.0, 1.0):
        axes.axvline(place, color=INK, linewidth=1.0, linestyle="-" if place == 0 else (0, (4, 3)), zorder=1)
    return figure


def slope_rows(result: PanelCheck, names: Naming, assessor: str) -> pd.DataFrame:
    """Return what the picture of slopes draws: judged attributes with `estimate ci_low ci_high label remark y`."""
    cells = result.assessors
    rows = cells.loc[(cells["assessor"] == assessor) & cells["judged"] & cells["slope"].notna()]
    own = result.patterns.loc[result.patterns["assessor"] == assessor]
    told = dict(zip(own["attribute"], own["pattern"].map(MARKS), strict=True))
    clear = rows["p_value"].to_numpy(float) < SEPARATES_BELOW
    marked = [str(told.get(name, "")) for name in rows["attribute"]]
    return rows.assign(
        estimate=rows["slope"],
        label=[names.attribute(str(name)) for name in rows["attribute"]],
        remark=marked,
        colour=np.where(rows["slope"] < 0, COLOURS[1], np.where(clear, COLOURS[0], GREY)),
        shape=np.where(rows["slope"] < 0, "v", "o"),
        filled=clear,
        y=_LINE * (np.arange(len(rows)) + 0.75),
    ).reset_index(drop=True)


def slopes_svg(result: PanelCheck, names: Naming, assessor: str, *, text_as_paths: bool = True) -> str:
    """Return the slopes as SVG text."""
    rows = slope_rows(result, names, assessor)
    heard = "; ".join(f"{row['label']} {format_number(row['estimate'], 1)}" for row in rows.to_dict("records"))
    return svg_text(
        slopes_figure(result, names, assessor),
        title=f"{assessor} against the others",
        description=f"Slope on the others' means by attribute: {heard}.",
        text_as_paths=text_as_paths,
    )


def means_figure(result: PanelCheck, names: Naming, assessor: str, attribute: str) -> Figure:
    """Return one person's means on one attribute beside the others', both above or below their own average.

    Prototypes come in the order of the others: somebody who reads the scale the other way round runs against it.
    """
    rows = mean_rows(result, assessor, attribute)
    both = _either(rows)
    figure, axes = interval_figure(
        both,
        _LINE * (len(rows) + 0.5),
        [(row["y"], str(row["prototype"])) for row in rows.to_dict("records")],
        limits=needed_limits(both, 0.0),
        x_title=f"{names.attribute(attribute)}: above or below the own average ({names.scale or 'scale units'})",
    )
    for row in rows.to_dict("records"):
        axes.plot([row["others"], row["estimate"]], [row["y"]] * 2, color=FAINT, linewidth=1.5, zorder=1)
    axes.axvline(0, color=INK, linewidth=1.0, zorder=1)
    marker_legend(axes, {assessor: _OWN, "the others": _OTHERS})
    return figure


def mean_rows(result: PanelCheck, assessor: str, attribute: str) -> pd.DataFrame:
    """Return what the picture of means draws: `prototype estimate others y`, highest of the others first."""
    rows = result.means
    rows = rows.loc[(rows["assessor"] == assessor) & (rows["attribute"] == attribute)]
    rows = rows.sort_values("others", ascending=False, kind="stable", ignore_index=True)
    return rows.assign(y=_LINE * (np.arange(len(rows)) + 0.75))


def _either(rows: pd.DataFrame) -> pd.DataFrame:
    """Return the dots: the others' first, so that the person's lie on top."""
    blank = {"ci_low": np.nan, "ci_high": np.nan, "filled": True}
    others = rows.assign(estimate=rows["others"], colour=_OTHERS.colour, shape=_OTHERS.shape, **blank)
    own = rows.assign(colour=_OWN.colour, shape=_OWN.shape, **blank)
    return pd.concat([others, own], ignore_index=True)


def means_svg(result: PanelCheck, names: Naming, assessor: str, attribute: str, *, text_as_paths: bool = True) -> str:
    """Return the means as SVG text."""
    rows = mean_rows(result, assessor, attribute)
    heard = "; ".join(
        f"{row['prototype']} {format_number(row['estimate'], names.digits)} and "
        f"{format_number(row['others'], names.digits)}"
        for row in rows.to_dict("records")
    )
    return svg_text(
        means_figure(result, names, assessor, attribute),
        title=f"{assessor} and the others on {names.attribute(attribute)}",
        description=f"Means of {assessor} and of the others, less their own average: {heard}.",
        text_as_paths=text_as_paths,
    )
