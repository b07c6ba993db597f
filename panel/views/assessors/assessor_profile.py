"""Pictures of one assessor against the others: all attributes by their slopes, one attribute by its means."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from panel.models.assessors.check_tables import SEPARATES_BELOW
from panel.models.assessors.patterns import NARROWEST, WIDEST
from panel.models.assessors.performance import PanelCheck
from panel.views.assessors.assessor_words import MARKS
from panel.views.drawing.formats import format_number
from panel.views.drawing.interval_picture import interval_figure, marker_legend, needed_limits
from panel.views.drawing.naming import Naming
from panel.views.drawing.palette import COLOURS, FAINT, GREY, INK, Marker
from panel.views.drawing.svg import svg_text

_LINE = 0.26  # inches
_BAND = "#e8eef2"
_OWN, _OTHERS = Marker(COLOURS[0], "o", "circle"), Marker(COLOURS[1], "s", "square")


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
        x_title="Slope on the others' means (hollow: alone not told apart, or one repeat)",
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
