"""Groups of consumers as a picture and tables: what each group likes, and the pairs that divide them."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from panel.models.consumers.segments import Segments
from panel.views.consumers.segment_words import segment_name
from panel.views.drawing.formats import format_change, format_interval, format_number, format_p
from panel.views.drawing.interval_picture import interval_figure, marker_legend, needed_limits
from panel.views.drawing.naming import Naming
from panel.views.drawing.palette import markers
from panel.views.drawing.svg import svg_text

_LINE, _BETWEEN = 0.19, 0.16  # inches


def segments_figure(result: Segments, names: Naming) -> Figure:
    """Return, for each prototype, the mean liking of each group with its interval; by colour and shape."""
    groups = list(range(1, result.n_groups + 1))
    drawn = markers([segment_name(result, group) for group in groups])
    order = list(dict.fromkeys(result.means["prototype"]))
    step = _LINE * len(groups) + _BETWEEN
    rows = result.means.assign(
        y=[
            step * order.index(row["prototype"]) + _BETWEEN + _LINE * (row["segment"] - 0.5)
            for row in result.means.to_dict("records")
        ],
        colour=[drawn[segment_name(result, group)].colour for group in result.means["segment"]],
        shape=[drawn[segment_name(result, group)].shape for group in result.means["segment"]],
        filled=result.means["favourite"],
    )
    ticks = [(step * k + _BETWEEN + _LINE * len(groups) / 2, names.prototype(name)) for k, name in enumerate(order)]
    figure, axes = interval_figure(
        rows,
        step * len(order) + _BETWEEN,
        ticks,
        limits=needed_limits(rows),
        x_title=f"Mean liking, {100 * result.level:g} % intervals. Filled: not separated from the group's best",
    )
    for place in np.arange(1, len(order)) * step + _BETWEEN / 2:
        axes.axhline(place, color="#ededed", linewidth=0.8, zorder=0)
    marker_legend(axes, drawn)
    return figure


def segments_svg(result: Segments, names: Naming, *, text_as_paths: bool = True) -> str:
    """Return the picture of the groups as SVG text."""
    return svg_text(
        segments_figure(result, names),
        title="What each group likes",
        description=segments_alt_text(result),
        text_as_paths=text_as_paths,
    )


def segments_alt_text(result: Segments) -> str:
    """Return what the picture shows, for those who do not see it."""
    parts = []
    for group, rows in result.means.groupby("segment"):
        said = [f"{row['prototype']} {format_number(row['estimate'], 1)}" for row in rows.to_dict("records")]
        parts.append(f"{segment_name(result, int(str(group)))}: {', '.join(said)}")
    return f"Mean liking of each prototype in each group. {'; '.join(parts)}."


def segments_table(result: Segments, names: Naming) -> pd.DataFrame:
    """Return one row per prototype, and for each group its mean, interval and letters."""
    table: dict[str, list[str]] = {
        "Prototype": [names.prototype(str(name)) for name in dict.fromkeys(result.means["prototype"])]
    }
    for group, rows in result.means.groupby("segment"):
        table[f"Mean liking of {segment_name(result, int(str(group)))}"] = [
            f"{format_number(row['estimate'], 2)} ({format_interval(row['ci_low'], row['ci_high'], 2)}) "
            f"{row['letters']}"
            for row in rows.to_dict("records")
        ]
    return pd.DataFrame(table, dtype="str")


def divided_table(result: Segments) -> pd.DataFrame:
    """Return one row per pair and group, for pairs that please different people."""
    rows = result.divided
    return pd.DataFrame(
        {
            "Prototype": list(rows["prototype"]),
            "Compared with": list(rows["versus"]),
            "Group": [f"{segment:.0f}" for segment in rows["segment"]],
            "Difference (points)": [format_change(value, 2) for value in rows["estimate"]],
            f"{100 * result.level:g} % interval": [
                format_interval(low, high, 2) for low, high in zip(rows["ci_low"], rows["ci_high"], strict=True)
            ],
        },
        dtype="str",
    )


def steps_table(result: Segments) -> pd.DataFrame:
    """Return one row per number of groups that was asked for."""
    rows = result.steps
    return pd.DataFrame(
        {
            "Groups": [f"{count:.0f}" for count in rows["groups"]],
            "One group more lowers the scatter by": [f"{format_number(100 * share, 0)} %" for share in rows["share"]],
            "Noise reaches that: p": [format_p(value) for value in rows["p_value"]],
            "Smallest group": [f"{count:.0f}" for count in rows["smallest"]],
            "Comes back (0 to 1)": [format_number(value, 2) for value in rows["stability"]],
            "Believed": ["yes" if accepted else "no" for accepted in rows["accepted"]],
        },
        dtype="str",
    )
