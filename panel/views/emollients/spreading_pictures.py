"""A picture of the spreading cascade: how much of each blend spreads fast, at middling speed, slowly, or not at all."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from panel.models.emollients.descriptors import SPREADING_LIMITS, BlendDescriptors
from panel.study.naming import Naming
from panel.views.drawing.pictures import COLOURS, FAINT, INK, svg_text, text_width
from panel.words import format_list, format_number

_FONT = 9.0  # points
_POINTS = 72.0  # to the inch
# Inches.
_BARS, _DOTS, _BETWEEN, _ROW, _TOP, _BOTTOM, _MARGIN = 5.2, 2.9, 0.35, 0.42, 0.62, 0.62, 0.15
_CLASSES = ("fast", "medium", "slow", "solid", "unknown")
# From wide to not at all: pale to dark, and a pattern for what does not spread, so that it shows in grey too.
_FILLS = {
    "fast": ("#d3e6f3", ""),
    "medium": ("#8fbfe0", ""),
    "slow": ("#6ba6d1", ""),
    "solid": ("#e3c7a0", "//"),
    "unknown": ("#ffffff", ".."),
}
_WHOLE, _LIQUIDS = COLOURS[0], COLOURS[1]
_SMALLEST_SHOWN = 0.05


def cascade_rows(result: BlendDescriptors, limits: tuple[float, float] = SPREADING_LIMITS[0]) -> pd.DataFrame:
    """Return what the picture draws: `prototype fast medium slow solid unknown whole liquids`.

    Shares in per cent of the emollient part, spreading in mm2 in 10 min; `unknown` is what the table has no value for.
    """
    wide = result.wide
    low, high = limits
    shares = {name: wide[f"{name}_share_{low:g}_{high:g}"].to_numpy(float) for name in ("fast", "medium", "slow")}
    shares["solid"] = wide["solid_share"].to_numpy(float)
    shares["unknown"] = np.clip(100 - np.sum(list(shares.values()), axis=0), 0, None)
    return pd.DataFrame(
        {
            "prototype": pd.Series([str(name) for name in wide.index], dtype="str"),
            **shares,
            "whole": wide["spreading_whole"].to_numpy(float),
            "liquids": wide["spreading_liquids"].to_numpy(float),
        }
    )


def cascade_figure(
    result: BlendDescriptors, names: Naming, limits: tuple[float, float] = SPREADING_LIMITS[0]
) -> Figure:
    """Return the cascade: shares as stacked bars, beside them spreading of the whole blend and of its liquids alone."""
    rows = cascade_rows(result, limits)
    prototypes = [names.prototype(str(name)) for name in rows["prototype"]]
    left = max(0.6, *(text_width(text, _FONT) / _POINTS + 0.2 for text in prototypes))
    width = left + _BARS + _BETWEEN + _DOTS + _MARGIN
    depth = _ROW * len(rows)
    height = _TOP + depth + _BOTTOM
    figure = Figure(figsize=(width, height))
    at = (_BOTTOM / height, depth / height)
    bars = figure.add_axes((left / width, at[0], _BARS / width, at[1]))
    dots = figure.add_axes(((left + _BARS + _BETWEEN) / width, at[0], _DOTS / width, at[1]))
    _draw_bars(bars, rows, limits)
    _draw_dots(dots, rows)
    bars.set_yticks(range(len(rows)), prototypes)
    for axes, title in ((bars, "Per cent of the emollient part"), (dots, "Spreading, mm² in 10 min")):
        axes.set(ylim=(len(rows) - 0.5, -0.5))
        axes.set_xlabel(title, fontsize=_FONT, color=INK)
        axes.tick_params(labelsize=_FONT, colors=INK, length=0)
        axes.spines[["top", "right", "left"]].set_visible(False)
    return figure


def cascade_svg(
    result: BlendDescriptors,
    names: Naming,
    limits: tuple[float, float] = SPREADING_LIMITS[0],
    *,
    text_as_paths: bool = True,
) -> str:
    """Return the cascade as SVG text."""
    return svg_text(
        cascade_figure(result, names, limits),
        title="Spreading cascade of each blend",
        description=cascade_alt_text(result, names, limits),
        text_as_paths=text_as_paths,
    )


def cascade_alt_text(result: BlendDescriptors, names: Naming, limits: tuple[float, float] = SPREADING_LIMITS[0]) -> str:
    """Return what a person who cannot see the cascade should hear."""
    told = []
    for row in cascade_rows(result, limits).to_dict("records"):
        shares = [f"{format_number(row[name], 0)} % {name}" for name in _CLASSES if row[name] >= _SMALLEST_SHOWN]
        told.append(
            f"{names.prototype(str(row['prototype']))}: {format_list(shares)}; spreading "
            f"{format_number(row['whole'], 0)}, its liquids alone {format_number(row['liquids'], 0)}."
        )
    return f"Spreading cascade of each blend. {' '.join(told)}"


def cascade_sentences(
    result: BlendDescriptors, names: Naming, limits: tuple[float, float] = SPREADING_LIMITS[0]
) -> tuple[str, ...]:
    """Return what to mind about the cascade: the trap of the liquids, and classes that are empty."""
    rows = cascade_rows(result, limits)
    told = []
    if rows["solid"].max() > _SMALLEST_SHOWN:
        first = rows.iloc[int(rows["solid"].argmax())]
        told.append(
            f"Solids do not spread. The liquids of {first['prototype']} alone spread "
            f"{format_number(first['liquids'], 0)}, the whole blend only {format_number(first['whole'], 0)} mm² in 10 "
            "min: by the liquids a blend with a butter looks lighter than it feels."
        )
    for name in ("fast", "medium", "slow"):
        empty = [
            str(p) for p in rows.loc[(rows[name] < _SMALLEST_SHOWN) & (rows["unknown"] < _SMALLEST_SHOWN), "prototype"]
        ]
        if 0 < len(empty) < len(rows):
            told.append(f"A gap in the cascade, nothing that spreads {_speed(name)}: {format_list(empty)}.")
    return tuple(told)


def _speed(name: str) -> str:
    return {"fast": "fast", "medium": "at middling speed", "slow": "slowly"}[name]


def _draw_bars(axes: Axes, rows: pd.DataFrame, limits: tuple[float, float]) -> None:
    low, high = limits
    headings = {
        "fast": f"fast, above {high:g}",
        "medium": f"medium, {low:g} to {high:g}",
        "slow": f"slow, below {low:g}",
        "solid": "solid",
        "unknown": "not known",
    }
    start = np.zeros(len(rows))
    shown = [name for name in _CLASSES if rows[name].max() >= _SMALLEST_SHOWN]
    for name in shown:
        share = rows[name].to_numpy(float)
        colour, hatch = _FILLS[name]
        axes.barh(
            range(len(rows)),
            share,
            left=start,
            height=0.76,
            facecolor=colour,
            edgecolor=INK,
            linewidth=0.5,
            hatch=hatch,
            label=headings[name],
        )
        for row, part in enumerate(share):
            _label(axes, name, float(part), float(start[row] + part / 2), row)
        start += share
    axes.set_xlim(0, 100)
    axes.legend(
        loc="lower left",
        bbox_to_anchor=(0, 1.0),
        ncols=len(shown),
        fontsize=_FONT - 1,
        frameon=False,
        handlelength=1.2,
        columnspacing=0.9,
        borderaxespad=0.3,
    )


def _label(axes: Axes, name: str, part: float, middle: float, row: int) -> None:
    """Write name and share on a part of a bar, the share alone where there is no room for both."""
    room = part / 100 * _BARS * _POINTS - 4
    share = f"{format_number(part, 0)} %"
    words = next((text for text in (f"{name} {share}", share) if text_width(text, _FONT - 1) <= room), "")
    if part >= _SMALLEST_SHOWN and words:
        box = {"facecolor": "white", "edgecolor": "none", "pad": 0.8, "alpha": 0.8} if _FILLS[name][1] else None
        axes.text(middle, row, words, fontsize=_FONT - 1, color=INK, ha="center", va="center", bbox=box)


def _draw_dots(axes: Axes, rows: pd.DataFrame) -> None:
    """Draw both figures of spreading joined by a line: the longer it is, the more the liquids alone mislead."""
    for row, (whole, liquids) in enumerate(zip(rows["whole"], rows["liquids"], strict=True)):
        axes.plot([whole, liquids], [row, row], color=FAINT, linewidth=2.2, zorder=1)
        axes.plot(
            [liquids], [row], marker="o", markersize=7, markerfacecolor="white", markeredgecolor=_LIQUIDS, zorder=2
        )
        axes.plot([whole], [row], marker="s", markersize=5, markerfacecolor=_WHOLE, markeredgecolor=_WHOLE, zorder=3)
    axes.set_yticks([])
    axes.grid(axis="x", color=FAINT, linewidth=0.5)
    axes.set_axisbelow(True)
    low, high = float(rows[["whole", "liquids"]].min().min()), float(rows[["whole", "liquids"]].max().max())
    room = 0.08 * ((high - low) or 1.0)
    if np.isfinite([low, high]).all():
        axes.set_xlim(low - room, high + room)
    dots = [
        Line2D([], [], linestyle="none", marker="s", markersize=5, color=_WHOLE, label="whole blend"),
        Line2D(
            [],
            [],
            linestyle="none",
            marker="o",
            markersize=7,
            markerfacecolor="white",
            markeredgecolor=_LIQUIDS,
            label="liquids alone",
        ),
    ]
    axes.legend(
        handles=dots,
        loc="lower left",
        bbox_to_anchor=(0, 1.0),
        ncols=2,
        fontsize=_FONT - 1,
        frameon=False,
        borderaxespad=0.3,
    )
