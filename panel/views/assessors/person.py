"""One person beside the others: a sentence, the slopes, the means on one attribute, and the table."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from panel.models.assessors.measures import AGAINST, NOT_JUDGED, WITH
from panel.models.assessors.performance import NARROWEST, WIDEST, PanelCheck
from panel.study.naming import Naming
from panel.study.shown import ATTRIBUTE, Shown, Table, change, each_row, literal, number, p_value
from panel.views.assessors.people import BAND, LINE, NO_INTERVAL, STANDS_OUT, patterns_of, sentence
from panel.views.pictures import BROAD, FAINT, GREY, INK, interval_figure, needed_limits
from panel.views.told import Item, Picture
from panel.words import NOTHING, format_interval, format_number

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def person_items(result: PanelCheck, names: Naming, who: str, attribute: str) -> tuple[Item, ...]:
    """Return what there is of one person: a sentence, the slopes, the means on one attribute, the table."""
    items: list[Item] = [sentence(result, names, who) or f"{who}: nothing stands out."]
    slopes = _slope_rows(result, names, who)
    if len(slopes):
        heard = "; ".join(f"{row['label']} {format_number(row['estimate'])}" for row in slopes.to_dict("records"))
        alt = f"Slope on the others' means by attribute: {heard}."
        items.append(Picture("slopes", f"{who} against the others", alt, partial(_slopes_figure, slopes, who)))
    return (*items, _means_picture(result, names, who, attribute), _person_table(who))


def _person_table(who: str) -> Table:
    return Table(
        name="assessor",
        title=f"{literal(who)} on every attribute",
        rows=lambda result: result.assessors.loc[result.assessors["assessor"] == who].reset_index(drop=True),
        columns=(
            *(ATTRIBUTE, p_value("p, tells apart alone", "p_value")),
            number("Scatter against the others'", "repeat_ratio", 2),
            number("Correlation with the others", "correlation", 2),
            each_row("Slope on the others, {level}", _slope_cell, "slope", "ci_low", figure=True),
            *(change("Level{scale}", "level"), change("Change per session", "drift"), STANDS_OUT),
        ),
        key=("attribute",),
    )


def _slope_cell(row: Mapping[str, Any], _: Shown) -> str:
    if not row["judged"]:
        return NOTHING
    ends = format_interval(row["ci_low"], row["ci_high"], 2)
    return f"{format_number(row['slope'], 2)} ({ends})" if ends != NOTHING else format_number(row["slope"], 2)


def _slope_rows(result: PanelCheck, names: Naming, who: str) -> pd.DataFrame:
    """Return what the picture of slopes draws: judged attributes with `estimate ci_low ci_high label remark y`."""
    cells = result.assessors
    rows = cells.loc[(cells["assessor"] == who) & (cells["sees"] != NOT_JUDGED) & cells["slope"].notna()]
    remarks = [patterns_of(result, who, str(name)) for name in rows["attribute"]]
    return rows.assign(
        estimate=rows["slope"],
        label=[names.attribute(str(name)) for name in rows["attribute"]],
        remark=["" if remark == NOTHING else remark for remark in remarks],
        colour=[GREY if remark == NOTHING else INK for remark in remarks],
        shape=np.where(rows["sees"] == AGAINST, "v", "o"),
        filled=rows["sees"].isin([WITH, AGAINST]),
        y=LINE * (np.arange(len(rows)) + 0.75),
    ).reset_index(drop=True)


def _slopes_figure(rows: pd.DataFrame, who: str, width: float = BROAD) -> Figure:
    """Return one person's slope on the others' means, attribute by attribute: 1 is the others', 0 no relation."""
    figure, axes = interval_figure(
        rows,
        LINE * (len(rows) + 0.5),
        list(zip(rows["y"], rows["label"], strict=True)),
        remarks=list(zip(rows["y"], rows["remark"], strict=True)),
        width=width,
        limits=needed_limits(rows, 0.0, WIDEST),
        title=f"{who} against the others",
        x_title="Slope on the others' means (hollow: alone does not tell the prototypes apart)",
    )
    axes.axvspan(NARROWEST, WIDEST, color=BAND, zorder=0)
    for place in (0.0, 1.0):
        axes.axvline(place, color=INK, linewidth=1.0, linestyle="-" if place == 0 else (0, (4, 3)), zorder=1)
    return figure


def _means_picture(result: PanelCheck, names: Naming, who: str, attribute: str) -> Picture:
    rows = _mean_rows(result, who, attribute)
    words, digits = names.attribute(attribute), names.digits_of(attribute)
    heard = "; ".join(
        f"{row['prototype']} {format_number(row['estimate'], digits)} and {format_number(row['others'], digits)}"
        for row in rows.to_dict("records")
    )
    alt = f"Means of {who} and of the others, less their own average: {heard}."
    axis = f"{words}: above or below the own average ({names.units.get(attribute) or names.scale or 'scale units'})"
    return Picture("assessor_means", f"{who} and the others on {words}", alt, partial(_means_figure, rows, who, axis))


def _mean_rows(result: PanelCheck, who: str, attribute: str) -> pd.DataFrame:
    """Return what the picture of means draws: `prototype estimate others y`, highest of the others first."""
    rows = result.means
    rows = rows.loc[(rows["assessor"] == who) & (rows["attribute"] == attribute)]
    rows = rows.sort_values("others", ascending=False, kind="stable", ignore_index=True)
    return rows.assign(y=LINE * (np.arange(len(rows)) + 0.75))


def _means_figure(rows: pd.DataFrame, who: str, axis: str, width: float = BROAD) -> Figure:
    """Return one person's means beside the others', both above or below their own average.

    Prototypes come in the order of the others: somebody who reads the scale the other way round runs against it.
    """
    others = rows.assign(estimate=rows["others"], colour=GREY, shape="o", filled=False, **NO_INTERVAL)
    own = rows.assign(colour=INK, shape="D", filled=True, **NO_INTERVAL)
    both = pd.concat([others, own], ignore_index=True)
    figure, axes = interval_figure(
        both,
        LINE * (len(rows) + 0.5),
        [(row["y"], str(row["prototype"])) for row in rows.to_dict("records")],
        width=width,
        limits=needed_limits(both, 0.0),
        title=f"Dark: {who}. Ring: the others",
        x_title=axis,
    )
    for row in rows.to_dict("records"):
        axes.plot([row["others"], row["estimate"]], [row["y"]] * 2, color=FAINT, linewidth=1.5, zorder=1)
    axes.axvline(0, color=INK, linewidth=1.0, zorder=1)
    return figure
