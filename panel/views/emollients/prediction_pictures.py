"""A picture of a predicted profile: intervals of the means to expect, against the target windows."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle

from panel.models.emollients.what_if import WhatIf
from panel.views.drawing.interval_picture import FONT, interval_figure, needed_limits
from panel.views.drawing.naming import Naming
from panel.views.drawing.palette import COLOURS, INK, STAGES
from panel.views.drawing.svg import svg_text
from panel.views.emollients.what_if_words import what_if_alt_text

_ROW, _HEADING = 0.27, 0.24  # inches
_WINDOW = "#d9ead3"


def prediction_figure(result: WhatIf, names: Naming, limits: tuple[float, float] | None = None) -> Figure:
    """Return the predicted profile; without dots outside the tested region, where nothing can be drawn.

    Filled dots: the whole interval is in the window. Hollow dots: not sure, or no window. A small line marks the base.
    """
    profile = _in_order(result.profile, names)
    heights, headings = _places(profile, names)
    rows = pd.DataFrame(
        {
            "y": heights,
            "estimate": profile["estimate"],
            "ci_low": profile["ci_low"],
            "ci_high": profile["ci_high"],
            "colour": COLOURS[0],
            "shape": "o",
            "filled": _sure(profile),
        }
    ).dropna(subset=["estimate"])
    ends = profile[["base", "target_low", "target_high"]].to_numpy(dtype=float).ravel()
    limits = limits or needed_limits(rows, *ends[np.isfinite(ends)])
    depth = (heights[-1] if heights else 0.0) + _ROW
    figure, axes = interval_figure(
        rows,
        depth,
        [(y, names.attribute(str(name))) for y, name in zip(heights, profile["attribute"], strict=True)],
        headings=headings,
        limits=limits,
        x_title=names.with_scale("Expected mean with its interval"),
    )
    for y, row in zip(heights, profile.to_dict("records"), strict=True):
        _window(axes, y, float(row["target_low"]), float(row["target_high"]), limits)
        axes.plot([row["base"]] * 2, [y - 0.3 * _ROW, y + 0.3 * _ROW], color=INK, linewidth=1.2, zorder=2)
    _key(axes, result.level)
    return figure


def prediction_svg(
    result: WhatIf, names: Naming, limits: tuple[float, float] | None = None, *, text_as_paths: bool = True
) -> str:
    """Return the predicted profile as SVG text."""
    return svg_text(
        prediction_figure(result, names, limits),
        title="Predicted profile of a blend",
        description=what_if_alt_text(result, names),
        text_as_paths=text_as_paths,
    )


def _in_order(profile: pd.DataFrame, names: Naming) -> pd.DataFrame:
    """Return the rows stage by stage in the order of use."""
    order = {stage: place for place, stage in enumerate(STAGES)}
    place = [order.get(names.stage(str(name)), len(order)) for name in profile["attribute"]]
    return profile.iloc[np.argsort(place, kind="stable")].reset_index(drop=True)


def _places(profile: pd.DataFrame, names: Naming) -> tuple[list[float], list[tuple[float, str]]]:
    heights: list[float] = []
    headings: list[tuple[float, str]] = []
    depth, stage = 0.0, None
    for name in profile["attribute"]:
        if names.stage(str(name)) != stage:
            stage = names.stage(str(name))
            headings.append((depth + _HEADING / 2, stage or "other"))
            depth += _HEADING
        heights.append(depth + _ROW / 2)
        depth += _ROW
    return heights, headings


def _sure(profile: pd.DataFrame) -> pd.Series:
    low, high = profile["target_low"], profile["target_high"]
    inside = (low.isna() | (profile["ci_low"] >= low)) & (high.isna() | (profile["ci_high"] <= high))
    return inside & (low.notna() | high.notna())


def _window(axes: Axes, y: float, low: float, high: float, limits: tuple[float, float]) -> None:
    """Shade the target window of one line, open ends reaching to the end of the scale."""
    if np.isnan(low) and np.isnan(high):
        return
    start = limits[0] if np.isnan(low) else max(low, limits[0])
    end = limits[1] if np.isnan(high) else min(high, limits[1])
    if end > start:
        tall = 0.84 * _ROW
        axes.add_patch(
            Rectangle((start, y - tall / 2), end - start, tall, facecolor=_WINDOW, edgecolor="none", zorder=0.8)
        )


def _key(axes: Axes, level: float) -> None:
    axes.legend(
        handles=[
            Patch(facecolor=_WINDOW, label="wanted"),
            Line2D([], [], color=COLOURS[0], linewidth=1.5, label=f"{100 * level:g} % interval"),
            Line2D([], [], linestyle="none", marker="|", markersize=9, markeredgewidth=1.2, color=INK, label="base"),
            Line2D(
                [], [], linestyle="none", marker="o", markersize=6, color=COLOURS[0], label="all of it in the window"
            ),
        ],
        loc="lower left",
        bbox_to_anchor=(0, 1),
        ncols=4,
        fontsize=FONT - 0.5,
        frameon=False,
        handlelength=1.4,
        columnspacing=1.1,
        borderaxespad=0.2,
    )
