"""Whether consumers want different things, in plain sentences made from the numbers, and what that cannot show."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from panel import words
from panel.models.consumers.segments import Segments
from panel.stats.comparing.multiplicity import LEVEL
from panel.study import shown
from panel.study.naming import Naming
from panel.views.pictures import BROAD, interval_figure, markers, needed_limits, signs_of
from panel.views.told import Item, Picture, Told, drawer

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_MOST_PAIRS = 3


def _segment_name(result: Segments, segment: int) -> str:
    """Return what a group is called: `group 1 (39 consumers)`; all consumers for 0 or where there is one group."""
    if segment == 0 or result.n_groups == 1:
        return "all consumers"
    return f"group {segment} ({words.counted(_sizes(result)[segment - 1], 'consumer')})"


def _sizes(result: Segments) -> list[int]:
    found = result.consumers["segment"]
    return [int((found == segment).sum()) for segment in range(1, result.n_groups + 1)]


def _mean(row: Mapping[str, Any], _: shown.Shown) -> str:
    return f"{words.with_interval(row['estimate'], row['ci_low'], row['ci_high'], 2)} {row['letters']}"


SEGMENT_MEANS = shown.Table(
    name="segment_means",
    title="Mean liking within each group of consumers",
    rows="means",
    columns=(shown.PROTOTYPE_IN_WORDS,),
    key=("prototype", "segment"),
    across=shown.Across(
        "segment",
        shown.each_row("", _mean, "estimate", "ci_low", "ci_high", "letters", figure=True),
        lambda segment, about: f"Mean liking of {_segment_name(about.result, int(segment))}",
    ),
    code="G",
    sources=lambda found: (
        shown.Source("answers", only={"kind": ("liking",), "question": (found.question,)}, direct=("prototype",)),
    ),
)
_DIVIDED = shown.Table(
    name="divided",
    title="Pairs that please different people",
    rows="divided",
    columns=(
        shown.PROTOTYPE,
        shown.VERSUS,
        shown.count("Group", "segment"),
        shown.change("Difference (points)", digits=2),
        shown.interval(digits=2),
    ),
)
_STEPS = shown.Table(
    name="segment_steps",
    title="Numbers of groups that were asked for",
    rows="steps",
    columns=(
        *(shown.count("Groups", "groups"), shown.share("One group more lowers the scatter by")),
        *(shown.p_value("Noise reaches that: p", "p_value"), shown.count("Smallest group", "smallest")),
        *(shown.number("Comes back (0 to 1)", "stability", 2), shown.yes_no("Believed", "accepted")),
    ),
)


def tell_segments(result: Segments, names: Naming) -> Told:
    """Return what is told of groups of consumers."""
    several = result.n_groups > 1
    each: list[Item] = [_group(result, segment) for segment in range(1, result.n_groups + 1)]
    steps: tuple[Item, ...] = (_STEPS,) if len(result.steps) else ()
    pairs: tuple[Item, ...] = (_divided(result), _DIVIDED) if len(result.divided) else ()
    picture = Picture(
        "groups", "Mean liking within each group of consumers", _alt(result), partial(_figure, result, names)
    )
    return Told(
        result,
        names,
        _headline(result),
        picture if several else None,
        mind=(*_how_sure(result), *_order(result)),
        table=SEGMENT_MEANS if several else None,
        drawers=(
            drawer("What each group likes", *([*each, SEGMENT_MEANS] if several else [])),
            drawer("Pairs that please different people", *pairs),
            drawer("How groups were looked for", *steps),
        ),
        cannot=_CANNOT if several else _CANNOT_ONE,
    )


_CANNOT_ONE = (
    "That no groups were found does not show that everybody wants the same: small or weakly different groups need more "
    "consumers.",
)
_CANNOT = (
    "The groups were made from the same answers as the means inside them: the differences between them look larger "
    "than they are. Test again with people recruited by their taste before a launch is built on it.",
    "Who belongs to a group is not known beyond these answers: look whether usage or skin goes with it.",
    "A group of so few people gives wide intervals; its favourite is a hint.",
)


def _order(result: Segments) -> tuple[str, ...]:
    """Return what the place in the serving did before it was taken out."""
    shows = [
        f"{row['effect']} ({words.p_words(row['p_value'])})"
        for row in result.order.to_dict("records")
        if row["matters"]
    ]
    quiet = [row["effect"] for row in result.order.to_dict("records") if not row["matters"]]
    if not shows:
        return ()
    rest = f"; {words.format_list(quiet)} {'does' if len(quiet) == 1 else 'do'} not show" if quiet else ""
    return (f"What the place in the serving does to liking was taken out first: {words.format_list(shows)}{rest}.",)


def _headline(result: Segments) -> str:
    if result.n_groups == 1 and result.steps.empty:
        return f"Whether there are groups of consumers is not known. {result.why_one}"
    if result.n_groups == 1:
        return f"One group: no stable groups of consumers were found. {result.why_one}"
    sizes = words.format_list([str(size) for size in _sizes(result)])
    if result.alike["same_taste"].all():
        return (
            f"{result.n_groups} groups of consumers ({sizes}) like much the same prototypes, some of them more "
            "strongly."
        )
    return f"The prototypes please different people: {result.n_groups} groups of {sizes} consumers."


def _how_sure(result: Segments) -> tuple[str, ...]:
    """Return how far the groups are to be believed, or how little two groups would say."""
    if result.n_groups == 1:
        if result.steps.empty:
            return ()
        step = result.steps.iloc[0]
        lower = words.format_share(step["share"])
        return (
            f"Two groups would lower the scatter by {lower}; noise alone reaches that with "
            f"{words.p_words(step['p_value'])}.",
        )
    last = result.steps.loc[result.steps["accepted"]].iloc[-1]
    return (
        f"The groups are unlikely to be chance ({words.p_words(last['p_value'])}) and come back when consumers are "
        f"drawn anew ({words.format_number(last['stability'], 2)} of 1 for the least sure one).",
        "They may be separate kinds of people, or the two ends of one gradient of taste: that stays open.",
    )


def _group(result: Segments, segment: int) -> str:
    rows = result.means.loc[result.means["segment"] == segment].sort_values("estimate", ascending=False, kind="stable")
    best = rows.loc[rows["favourite"]]
    lowest = rows.iloc[-1]
    liked = [f"{row['prototype']} ({words.format_number(row['estimate'])})" for row in best.to_dict("records")]
    said = "likes best" if len(liked) == 1 else "likes best, and does not separate,"
    return (
        f"{words.capital(_segment_name(result, segment))}: {said} {words.format_list(liked)}; least "
        f"{lowest['prototype']} ({words.format_number(lowest['estimate'])})."
    )


def _divided(result: Segments) -> str:
    """Return the pairs that divide the groups, those of which both are liked well over all groups first."""
    means = result.means.assign(total=result.means["estimate"] * result.means["n"]).groupby("prototype")
    liked = dict(means["total"].sum() / means["n"].sum())
    pairs = [rows for _, rows in result.divided.groupby(["prototype", "versus"], sort=False)]
    pairs.sort(key=lambda rows: -min(liked[rows["prototype"].iloc[0]], liked[rows["versus"].iloc[0]]))
    told = "; ".join(_pair(rows) for rows in pairs[:_MOST_PAIRS])
    rest = len(pairs) - _MOST_PAIRS
    more = f"; {words.counted(rest, 'more pair')} in the table" if rest > 0 else ""
    return f"Over all consumers these cannot be separated; in these answers the groups part over them: {told}{more}."


def _pair(rows: pd.DataFrame) -> str:
    first, second = rows["prototype"].iloc[0], rows["versus"].iloc[0]
    each = [
        f"group {row['segment']} "
        f"{words.with_interval(row['estimate'], row['ci_low'], row['ci_high'], write=words.format_change)}"
        for row in rows.to_dict("records")
    ]
    return f"{first} against {second}: {words.format_list(each)}"


_LINE, _BETWEEN = 0.19, 0.16  # inches


def _figure(result: Segments, names: Naming, width: float = BROAD) -> Figure:
    """Return, for each prototype, the mean liking of each group with its interval; by colour and shape."""
    groups = list(range(1, result.n_groups + 1))
    drawn = markers([_segment_name(result, group) for group in groups])
    order = list(dict.fromkeys(result.means["prototype"]))
    step = _LINE * len(groups) + _BETWEEN
    looks = [drawn[_segment_name(result, group)] for group in result.means["segment"]]
    place = result.means["prototype"].map(order.index)
    rows = result.means.assign(
        y=step * place + _BETWEEN + _LINE * (result.means["segment"] - 0.5),
        colour=[look.colour for look in looks],
        shape=[look.shape for look in looks],
        filled=result.means["favourite"],
    )
    ticks = [(step * k + _BETWEEN + _LINE * len(groups) / 2, names.prototype(name)) for k, name in enumerate(order)]
    figure, axes = interval_figure(
        rows,
        step * len(order) + _BETWEEN,
        ticks,
        width=width,
        limits=needed_limits(rows),
        key=signs_of(drawn),
        x_title=f"Mean liking, {words.level_words(LEVEL)}s. Filled: not separated from the group's best",
    )
    for place in np.arange(1, len(order)) * step + _BETWEEN / 2:
        axes.axhline(place, color="#ededed", linewidth=0.8, zorder=0)
    return figure


def _alt(result: Segments) -> str:
    parts = []
    for group, rows in result.means.groupby("segment"):
        said = [f"{row['prototype']} {words.format_number(row['estimate'])}" for row in rows.to_dict("records")]
        parts.append(f"{_segment_name(result, int(str(group)))}: {', '.join(said)}")
    return f"Mean liking of each prototype in each group. {'; '.join(parts)}."
