"""A picture of one claim: its numbers with their intervals against the bar or the margin."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from panel.claims.judge import Claims
from panel.views.decision.claim_tables import interval_words, limit_words, value_words
from panel.views.drawing.interval_picture import interval_figure, needed_limits
from panel.views.drawing.palette import COLOURS, GREY, INK
from panel.views.drawing.svg import svg_text

_LINE = 0.3  # inches for one number
_UNIT_TITLES = {"scale": "On the scale of the panel", "%": "Per cent of people", "s": "Seconds"}


def claim_units(result: Claims, number: int) -> list[str]:
    """Return the units of the numbers behind one claim; each gets a picture of its own."""
    return list(dict.fromkeys(result.numbers.loc[result.numbers["number"] == number, "unit"]))


def claim_rows(result: Claims, number: int, unit: str) -> pd.DataFrame:
    """Return what the picture draws: the numbers in one unit, with `label remark clear y`.

    `clear` is True where the interval keeps to its side of every limit.
    """
    own = result.numbers.loc[(result.numbers["number"] == number) & (result.numbers["unit"] == unit)]
    rows = own.reset_index(drop=True)
    low, high = rows["limit_low"].to_numpy(float), rows["limit_high"].to_numpy(float)
    ends = rows["ci_low"].to_numpy(float), rows["ci_high"].to_numpy(float)
    within = (np.isnan(low) | (ends[0] > low)) & (np.isnan(high) | (ends[1] < high))
    remarks = [f"{interval_words(row)}; to lie {limit_words(row)}" for row in rows.to_dict("records")]
    labels = [f"{row['what']}{', ' + row['method'] if row['method'] else ''}" for row in rows.to_dict("records")]
    y = _LINE * (np.arange(len(rows)) + 0.75)
    return rows.assign(label=labels, remark=remarks, clear=within, y=y)


def claim_figure(result: Claims, number: int, unit: str) -> Figure:
    """Return a line for each number: filled where its interval keeps to its side of the limit, hollow where not."""
    rows = claim_rows(result, number, unit)
    limits = needed_limits(_finite(rows), *_known(rows))
    drawn = rows.assign(
        ci_low=rows["ci_low"].clip(lower=limits[0]),
        ci_high=rows["ci_high"].clip(upper=limits[1]),
        colour=np.where(rows["clear"], COLOURS[0], GREY),
        shape="o",
        filled=rows["clear"],
    )
    figure, axes = interval_figure(
        drawn,
        _LINE * (len(rows) + 0.5),
        list(zip(rows["y"], rows["label"], strict=True)),
        remarks=list(zip(rows["y"], rows["remark"], strict=True)),
        limits=limits,
        title=_title(result, number),
        x_title=f"{_UNIT_TITLES.get(unit, unit)}; upright lines: what the interval is held against",
    )
    for row in rows.to_dict("records"):
        for end in {row["limit_low"], row["limit_high"]}:
            if not np.isnan(end):
                reach = (row["y"] - _LINE / 2, row["y"] + _LINE / 2)
                axes.plot([end, end], reach, color=INK, linewidth=1.2, linestyle=(0, (4, 2)), zorder=1)
    return figure


def claim_svg(result: Claims, number: int, unit: str, *, text_as_paths: bool = True) -> str:
    """Return the picture of one claim as SVG text."""
    rows = claim_rows(result, number, unit)
    heard = "; ".join(
        f"{row['label']} {value_words(row['estimate'], unit)} ({row['remark']})" for row in rows.to_dict("records")
    )
    return svg_text(
        claim_figure(result, number, unit),
        title=_title(result, number),
        description=f"Numbers behind the claim: {heard}.",
        text_as_paths=text_as_paths,
    )


def _title(result: Claims, number: int) -> str:
    row = result.claims.loc[result.claims["number"] == number].iloc[0]
    return f"“{row['claim']}”: {row['verdict']}"


def _finite(rows: pd.DataFrame) -> pd.DataFrame:
    """Return the rows with open ends taken as the estimate, so that they set no limits."""
    ends = rows[["ci_low", "ci_high"]].replace([np.inf, -np.inf], np.nan)
    return rows.assign(ci_low=ends["ci_low"].fillna(rows["estimate"]), ci_high=ends["ci_high"].fillna(rows["estimate"]))


def _known(rows: pd.DataFrame) -> list[float]:
    values = rows[["limit_low", "limit_high"]].to_numpy(float).ravel()
    return [float(value) for value in values if not np.isnan(value)]
