"""Differences between prototypes with their intervals, as a picture."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from panel.views.drawing.formats import MINUS, format_interval, format_number, p_words
from panel.views.drawing.interval_picture import interval_figure, needed_limits
from panel.views.drawing.naming import Naming
from panel.views.drawing.palette import COLOURS, GREY, INK
from panel.views.drawing.svg import svg_text

_LINE = 0.24  # inches for one difference
_X_TITLE = "Difference with its interval; adjusted p-value at the right"
_MARGIN_COLOUR = "#e8eef2"


def difference_rows(differences: pd.DataFrame, names: Naming) -> pd.DataFrame:
    """Return what the picture draws: the differences given, with `label remark clear y`.

    The label names what is not the same for all rows: the attribute, the two prototypes, or both. `clear` is True
    where the interval leaves zero out. Rows of one attribute come largest difference first, otherwise in order.
    """
    rows = differences.dropna(subset=["estimate"])
    one_attribute = len(set(rows["attribute"])) <= 1
    one_pair = rows[["prototype", "versus"]].drop_duplicates().shape[0] <= 1
    if one_attribute and not one_pair:
        rows = rows.sort_values("estimate", ascending=False, kind="stable")
    labels = []
    for row in rows.to_dict("records"):
        attribute, pair = names.attribute(row["attribute"]), _pair(row["prototype"], row["versus"])
        labels.append(attribute if one_pair else pair if one_attribute else f"{attribute}: {pair}")
    remarks = [p_words(p_value) for p_value in rows["p_adjusted"]]
    clear = (rows["ci_low"] > 0) | (rows["ci_high"] < 0)
    y = _LINE * (np.arange(len(rows)) + 0.75)
    return rows.assign(label=labels, remark=remarks, clear=clear, y=y).reset_index(drop=True)


def difference_figure(differences: pd.DataFrame, names: Naming, *, margin: float | None = None) -> Figure:
    """Return a line for each difference: filled where its interval leaves zero out, hollow where it does not.

    Parameters
    ----------
    differences
        `attribute prototype versus estimate ci_low ci_high p_adjusted`, the rows to be shown.
    margin
        Largest difference that does not matter; drawn as a band around zero.
    """
    rows = difference_rows(differences, names)
    rows = rows.assign(colour=np.where(rows["clear"], COLOURS[0], GREY), shape="o", filled=rows["clear"])
    ends = (0.0, margin, -margin) if margin is not None else (0.0,)
    figure, axes = interval_figure(
        rows,
        _LINE * (len(rows) + 0.5),
        list(zip(rows["y"], rows["label"], strict=True)),
        remarks=list(zip(rows["y"], rows["remark"], strict=True)),
        limits=needed_limits(rows, *ends),
        title=_title(rows, names),
        x_title=_X_TITLE + (f" (shaded: within ±{margin:g})" if margin is not None else ""),
    )
    if margin is not None:
        axes.axvspan(-margin, margin, color=_MARGIN_COLOUR, zorder=0)
    axes.axvline(0, color=INK, linewidth=1.0, zorder=1)
    return figure


def difference_svg(
    differences: pd.DataFrame, names: Naming, *, margin: float | None = None, text_as_paths: bool = True
) -> str:
    """Return the picture of the differences as SVG text."""
    rows = difference_rows(differences, names)
    heard = "; ".join(
        f"{row['label']} {format_number(row['estimate'], names.digits)}"
        f" ({format_interval(row['ci_low'], row['ci_high'], names.digits)})"
        for row in rows.to_dict("records")
    )
    return svg_text(
        difference_figure(differences, names, margin=margin),
        title=_title(rows, names) or "Differences",
        description=f"Differences with intervals: {heard}.",
        text_as_paths=text_as_paths,
    )


def _pair(prototype: str, versus: str) -> str:
    return f"{prototype} {MINUS} {versus}"


def _title(rows: pd.DataFrame, names: Naming) -> str:
    """Say once what is the same for every row."""
    if rows.empty:
        return ""
    parts = []
    if len(set(rows["attribute"])) == 1:
        parts.append(names.attribute(str(rows["attribute"].iloc[0])))
    if rows[["prototype", "versus"]].drop_duplicates().shape[0] == 1:
        parts.append(_pair(rows["prototype"].iloc[0], rows["versus"].iloc[0]))
    return ", ".join(parts)
