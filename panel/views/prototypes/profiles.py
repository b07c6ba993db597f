"""Profiles: estimated means of chosen prototypes with their intervals, attribute by attribute."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
from matplotlib.figure import Figure

from panel.views.drawing.interval_picture import interval_figure, marker_legend, needed_limits
from panel.views.drawing.naming import Naming
from panel.views.drawing.palette import MOST_COLOURED, STAGES, markers
from panel.views.drawing.svg import svg_text

# Inches: one prototype's line, free room between attributes, a stage's heading.
_LINE, _BETWEEN, _HEADING = 0.13, 0.14, 0.24

PROFILE_CAUTION = (
    "The interval of a mean holds how assessors differ in level. Two intervals that overlap can belong to"
    " prototypes that clearly differ: compare prototypes by their differences."
)


def profile_rows(means: pd.DataFrame, names: Naming, chosen: Sequence[str] = ()) -> pd.DataFrame:
    """Return what the profile draws: `attribute label stage prototype estimate ci_low ci_high y`.

    `y` counts inches from the top. Attributes come stage by stage in the order of use, prototypes in the order of
    `chosen`; without a choice the first seven prototypes. Means that are not there have no row.
    """
    shown = _shown(means, chosen)
    rows = means[means["prototype"].isin(shown)].dropna(subset=["estimate"])
    middles, _ = _places(rows, names, len(shown))
    step = {prototype: (place - (len(shown) - 1) / 2) * _LINE for place, prototype in enumerate(shown)}
    rows = rows.assign(
        label=[names.attribute(str(name)) for name in rows["attribute"]],
        stage=[names.stage(str(name)) for name in rows["attribute"]],
        y=rows["attribute"].map(middles).astype("float64") + rows["prototype"].map(step).astype("float64"),
    )
    columns = ["attribute", "label", "stage", "prototype", "estimate", "ci_low", "ci_high", "y"]
    return rows[columns].sort_values("y", ignore_index=True)


def profile_figure(
    means: pd.DataFrame,
    names: Naming,
    chosen: Sequence[str] = (),
    *,
    limits: tuple[float, float] | None = None,
) -> Figure:
    """Return the profile of the chosen prototypes, seven at the most.

    Parameters
    ----------
    means
        `attribute prototype estimate ci_low ci_high`.
    limits
        Ends of the scale; by default what the intervals need.
    """
    shown = _shown(means, chosen)
    rows = profile_rows(means, names, shown)
    middles, headings = _places(rows, names, len(shown))
    drawn = markers(shown)
    rows = rows.assign(
        colour=[drawn[str(name)].colour for name in rows["prototype"]],
        shape=[drawn[str(name)].shape for name in rows["prototype"]],
        filled=True,
    )
    depth = max(middles.values(), default=0.0) + (_LINE * len(shown) + _BETWEEN) / 2
    figure, axes = interval_figure(
        rows,
        depth,
        [(y, names.attribute(attribute)) for attribute, y in middles.items()],
        headings=headings,
        limits=limits or needed_limits(rows),
        x_title=names.with_scale("Estimated mean with its interval"),
    )
    marker_legend(axes, drawn)
    return figure


def profile_svg(
    means: pd.DataFrame,
    names: Naming,
    chosen: Sequence[str] = (),
    *,
    limits: tuple[float, float] | None = None,
    text_as_paths: bool = True,
) -> str:
    """Return the profile as SVG text."""
    shown = ", ".join(_shown(means, chosen))
    return svg_text(
        profile_figure(means, names, chosen, limits=limits),
        title="Profile of estimated means",
        description=f"Estimated means of {shown} with intervals, attribute by attribute; the table holds the numbers.",
        text_as_paths=text_as_paths,
    )


def _shown(means: pd.DataFrame, chosen: Sequence[str]) -> list[str]:
    scored = [str(name) for name in dict.fromkeys(means["prototype"])]
    return [name for name in (chosen or scored) if name in scored][:MOST_COLOURED]


def _places(rows: pd.DataFrame, names: Naming, lines: int) -> tuple[dict[str, float], list[tuple[float, str]]]:
    """Return the height of each attribute and of each stage's heading, in inches from the top."""
    order = {stage: place for place, stage in enumerate(STAGES)}
    attributes = [str(name) for name in dict.fromkeys(rows["attribute"])]
    attributes.sort(key=lambda name: order.get(names.stage(name), len(order)))
    middles: dict[str, float] = {}
    headings: list[tuple[float, str]] = []
    depth, stage = 0.0, ""
    for attribute in attributes:
        if names.stage(attribute) != stage:
            stage = names.stage(attribute)
            headings.append((depth + _HEADING / 2, stage or "other"))
            depth += _HEADING
        middles[attribute] = depth + (_LINE * lines + _BETWEEN) / 2
        depth += _LINE * lines + _BETWEEN
    return middles, headings
