"""Whether consumers want different things, in plain sentences made from the numbers, and what that cannot show."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from panel.models.consumers.segments import Segments
from panel.study.naming import Naming
from panel.views.drawing.interval_picture import interval_figure, marker_legend, needed_limits
from panel.views.drawing.pictures import markers, svg_text
from panel.words import format_change, format_interval, format_list, format_number, format_p, p_words

ALIKE = 0.7  # correlation of two groups' means from which they order the prototypes alike: half of the variation shared
_MOST_PAIRS = 3


def segments_headline(result: Segments, names: Naming) -> str:
    """Return the answer in one sentence."""
    if result.n_groups == 1:
        return f"One group: no stable groups of consumers were found. {result.why_one}"
    sizes = [f"{size}" for size in group_sizes(result)]
    if (result.alike["correlation"] >= ALIKE).all():
        return (
            f"{result.n_groups} groups of consumers ({format_list(sizes)}) like much the same prototypes, some of them "
            "more strongly."
        )
    return f"The prototypes please different people: {result.n_groups} groups of {format_list(sizes)} consumers."


def what_the_segments_show(result: Segments, names: Naming) -> list[str]:
    """Return one line per group, then the pairs that a mean over everybody hides."""
    if result.n_groups == 1:
        return _one_group(result)
    lines = [_group(result, segment, names) for segment in range(1, result.n_groups + 1)]
    pairs = _divided(result)
    if pairs:
        lines.append(f"Over all consumers these cannot be separated, but they please different people: {pairs}.")
    last = result.steps.loc[result.steps["accepted"]].iloc[-1]
    lines.append(
        f"Noise alone would look so grouped with {p_words(last['p_value'])}; drawn anew, the same groups come back "
        f"(index {format_number(last['stability'], 2)} of 1 for the least sure one)."
    )
    lines.append(
        "The groups may be separate kinds of people, or the two ends of one gradient of taste: that stays open."
    )
    return lines


def what_the_segments_cannot_show(result: Segments) -> tuple[str, ...]:
    """Return what a reader must not take from the groups."""
    if result.n_groups == 1:
        return (
            "That no groups were found does not show that everybody wants the same: small or weakly different groups "
            "need more consumers.",
        )
    return (
        "The groups were made from the same answers as the means inside them: the differences between them look larger "
        "than they are. Test again with people recruited by their taste before a launch is built on it.",
        "Who belongs to a group is not known beyond these answers: look whether usage or skin goes with it.",
        "A group of so few people gives wide intervals; its favourite is a hint.",
    )


def segment_name(result: Segments, segment: int) -> str:
    """Return what a group is called: `group 1 (39 consumers)`; all consumers for 0 or where there is one group."""
    if segment == 0 or result.n_groups == 1:
        return "all consumers"
    return f"group {segment} ({group_sizes(result)[segment - 1]} consumers)"


def group_sizes(result: Segments) -> list[int]:
    """Return how many consumers are in each group."""
    found = result.consumers["segment"]
    return [int((found == segment).sum()) for segment in range(1, result.n_groups + 1)]


def _one_group(result: Segments) -> list[str]:
    if result.steps.empty:
        return []
    step = result.steps.iloc[0]
    return [
        f"Two groups would lower the scatter by {format_number(100 * step['share'], 0)} %; noise alone reaches that "
        f"with {p_words(step['p_value'])}."
    ]


def _group(result: Segments, segment: int, names: Naming) -> str:
    rows = result.means.loc[result.means["segment"] == segment].sort_values("estimate", ascending=False, kind="stable")
    best = rows.loc[rows["favourite"]]
    lowest = rows.iloc[-1]
    liked = [f"{row['prototype']} ({format_number(row['estimate'], 1)})" for row in best.to_dict("records")]
    said = "likes best" if len(liked) == 1 else "likes best, and does not separate,"
    head = segment_name(result, segment)
    return (
        f"{head[0].upper()}{head[1:]}: {said} {format_list(liked)}; least {lowest['prototype']} "
        f"({format_number(lowest['estimate'], 1)})."
    )


def _divided(result: Segments) -> str:
    """Return the pairs that divide the groups, those of which both are liked well over all groups first."""
    if result.divided.empty:
        return ""
    means = result.means.assign(total=result.means["estimate"] * result.means["n"]).groupby("prototype")
    liked = dict(means["total"].sum() / means["n"].sum())
    pairs = [rows for _, rows in result.divided.groupby(["prototype", "versus"], sort=False)]
    pairs.sort(key=lambda rows: -min(liked[rows["prototype"].iloc[0]], liked[rows["versus"].iloc[0]]))
    said = [_pair(rows) for rows in pairs[:_MOST_PAIRS]]
    more = f"; {len(pairs) - len(said)} more pairs in the table" if len(pairs) > len(said) else ""
    return f"{'; '.join(said)}{more}"


def _pair(rows: pd.DataFrame) -> str:
    first, second = rows["prototype"].iloc[0], rows["versus"].iloc[0]
    each = [
        f"group {row['segment']} {format_change(row['estimate'], 1)} "
        f"({format_interval(row['ci_low'], row['ci_high'], 1)})"
        for row in rows.to_dict("records")
    ]
    return f"{first} against {second}: {format_list(each)}"


# Groups of consumers as a picture and tables: what each group likes, and the pairs that divide them.


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
