"""Which sensations go along with liking, in plain sentences and tables, and what so few prototypes cannot show."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from panel.models.consumers.preference_map import PreferenceMap
from panel.stats.arrays import Array
from panel.study import shown
from panel.study.naming import Naming
from panel.views.pictures import (
    BROAD,
    FAINT,
    GREY,
    INK,
    LETTERS,
    OTHERS,
    POINTS,
    draw_prototype,
    framed,
    place_labels,
    shortened,
    text_width,
    wrapped,
)
from panel.views.told import Picture, Told, drawer
from panel.words import capital, counted, format_list, format_number, format_share, p_after_holm, quoted

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_MOST = 3  # sensations named on either side


def _group(result: PreferenceMap, segment: int) -> str:
    """Return what a group is called: `group 1 (39 consumers)`; all consumers for 0."""
    if segment == 0:
        return "all consumers"
    rows = result.directions
    return f"group {segment} ({counted(int(rows.loc[rows['segment'] == segment, 'n_consumers'].iloc[0]), 'consumer')})"


def _correlations(rows: pd.DataFrame, about: shown.Shown) -> list[str]:
    told = zip(rows["estimate"], rows["shown"], shown.deciding(digits=2).cells(rows, about), strict=True)
    return [f"{format_number(r, 2)}{' *' if seen else ''}; {ends}" for r, seen, ends in told]


def _with_ideals(found: PreferenceMap) -> pd.DataFrame:
    return found.directions.merge(found.ideals, on="segment", suffixes=("", "_ideal"))


SENSATIONS = shown.Table(
    name="sensations",
    title="Liking and what the panel feels, over the prototypes (r; {told}; *: shown after Holm)",
    rows="sensations",
    columns=(shown.ATTRIBUTE,),
    key=("attribute", "segment"),
    across=shown.Across(
        "segment", shown.Column("", _correlations), lambda segment, about: f"r, {_group(about.result, int(segment))}"
    ),
    code="HS",
    sources=lambda found: (
        shown.Source("answers", only={"kind": ("liking",), "question": (found.question,)}),
        shown.Source("scores", same={"attribute": "attribute"}),
    ),
)
_DIRECTIONS = shown.Table(
    name="directions",
    title="Directions and best places",
    rows=_with_ideals,
    columns=(
        shown.each_row("Consumers", lambda row, about: _group(about.result, int(row["segment"])), "segment"),
        *(shown.number("Direction (degrees)", "angle", 0), shown.interval("angle_low", "angle_high", 0)),
        *(shown.share("Described, vector"), shown.P_HOLM, shown.share("Described, ideal point", "share_ideal")),
        shown.p_value("p of the peak after Holm", "curvature_p_adjusted"),
        shown.each_row("Peak", lambda row, _: _best_place(row), "shown", "inside"),
    ),
)


def tell_preference_map(result: PreferenceMap, names: Naming) -> Told:
    """Return what is told of liking over the panel's map."""
    lines = _how_well(result)
    alt = f"The panel's map with arrows towards prototypes that are liked better. {_headline(result, names)}"
    return Told(
        result,
        names,
        _headline(result, names),
        Picture("preference_map", "Preference map", " ".join([alt, *lines]), partial(_figure, result, names)),
        mind=_pleased(result),
        table=SENSATIONS,
        drawers=(
            drawer(
                "Each sensation and liking",
                f"A single pair chosen beforehand would need a correlation beyond {format_number(result.limit, 2)} "
                f"with {counted(len(result.places), 'prototype')}; a star says that a pair is shown among all these.",
                SENSATIONS,
            ),
            drawer("Directions and best places", *lines, _DIRECTIONS),
        ),
        cannot=(
            f"{counted(len(result.places), 'prototype')} are very few for a map of preferences: it is for finding "
            "ideas, not for proving one. Make the prototype it points to and test it.",
            "A sensation that goes along with liking need not be its cause: sensations change together when an "
            "emollient is swapped.",
            "Nothing is known beyond the outermost prototypes; directions must not be followed outside the map.",
        ),
    )


def _headline(result: PreferenceMap, names: Naming) -> str:
    own = result.directions.loc[result.directions["segment"] > 0]
    judged = own if len(own) else result.directions
    clear = [int(segment) for segment in judged.loc[judged["clear"], "segment"]]
    if not clear:
        return "It is not shown that liking goes along with any direction on the panel's map."
    called = {segment: f"group {segment}" if segment else "all consumers" for segment in clear}
    parts = [f"{who} with {_along_with(result, segment, names)}" for segment, who in called.items()]
    return f"Liking goes along in {'; in '.join(parts)}."


def _along_with(result: PreferenceMap, segment: int, names: Naming) -> str:
    rows = result.sensations.loc[(result.sensations["segment"] == segment) & result.sensations["shown"]]
    ordered = rows.reindex(rows["estimate"].abs().sort_values(ascending=False).index)
    parts = []
    for way, own in (("more", ordered.loc[ordered["estimate"] > 0]), ("less", ordered.loc[ordered["estimate"] < 0])):
        if named := [quoted(names.attribute(str(name))) for name in own["attribute"]][:_MOST]:
            parts.append(f"{way} {format_list(named)}")
    return " and ".join(parts) or "no single sensation"


def _how_well(result: PreferenceMap) -> list[str]:
    """Return one line per group: how well the map describes its liking, and whether a best place shows."""
    prototypes = counted(len(result.places), "prototype")
    return [
        f"{capital(_group(result, int(way['segment'])))}: the map describes {format_share(way['share'])} of the "
        f"differences in liking ({p_after_holm(way['p_adjusted'])}, {prototypes}). {_best_place(way)}"
        for way in _with_ideals(result).to_dict("records")
    ]


def _best_place(row: Mapping[Any, Any]) -> str:
    if not row["shown"]:
        return "No best place shows; a direction describes it as well."
    return "Its best place lies among the prototypes." if row["inside"] else "Its best place would lie outside the map."


def _pleased(result: PreferenceMap) -> tuple[str, ...]:
    """Return how many consumers are expected to be pleased, wherever one goes among the prototypes."""
    if result.shares.empty:
        return ()
    top, low = result.shares["share"].max(), result.shares["share"].min()
    nobody = ": no place pleases everybody" if top < 1 else ""
    return (
        f"Wherever one goes among the prototypes, between {format_share(low)} and {format_share(top)} of the consumers "
        f"are expected to like it better than their own mean{nobody}.",
    )


_FONT = 8.5  # points
_LEFT, _BOTTOM, _RIGHT, _TOP = 0.75, 0.55, 0.15, 0.1  # inches
_LOWEST, _HIGHEST = 3.0, 5.2
_QUIET = "#5c5c5c"  # words of less weight, 6.7 to 1 on white
_AROUND = 0.16  # free part on each side
_DASHES = ("-", (0, (6, 2)), (0, (2, 2)), (0, (6, 2, 2, 2)))


def _figure(result: PreferenceMap, names: Naming, width: float = BROAD) -> Figure:
    """Return the panel's map with the share of pleased consumers at each prototype and one arrow for each group.

    Arrows of groups whose direction is not clear are grey.
    """
    points = result.places[["component_1", "component_2"]].to_numpy(dtype=float)
    low, high = points.min(axis=0), points.max(axis=0)
    room = _AROUND * (high - low).max()
    low, high = low - room, high + room
    wide = width - _LEFT - _RIGHT
    tall = float(np.clip(wide * (high[1] - low[1]) / (high[0] - low[0]), _LOWEST, _HIGHEST))
    arrows = _arrows(result)
    told = "In brackets: share of consumers expected to like that place better than their own mean."
    below = wrapped(told, LETTERS, (width - 0.2) * POINTS)
    bottom = _BOTTOM + 0.17 * len(below)
    height = _TOP + tall + bottom
    figure, axes = framed(width, height, (_LEFT, bottom, wide, tall))
    axes.set(xlim=(low[0], high[0]), ylim=(low[1], high[1]))
    axes.set_aspect("equal", adjustable="datalim")
    tips = _draw_arrows(axes, result, arrows, 0.5 * float((high - low).min()))
    for prototype, at in zip(result.places["prototype"], points, strict=True):
        draw_prototype(axes, names, str(prototype), tuple(at))
    _name(axes, _labels(result, points), points, arrows, tips, (wide * POINTS, tall * POINTS))
    share = result.components["share"]
    axes.set_xlabel(f"Component 1: {format_share(float(share.iloc[0]))} of the differences", fontsize=_FONT, color=INK)
    axes.set_ylabel(f"Component 2: {format_share(float(share.iloc[1]))}", fontsize=_FONT, color=INK)
    axes.tick_params(labelsize=_FONT - 1, colors=INK)
    axes.spines[["top", "right"]].set_visible(False)
    figure.text(0.1 / width, 0.06 / height, "\n".join(below), fontsize=LETTERS, color=INK)
    return figure


def _arrows(result: PreferenceMap) -> list[tuple[str, str, object]]:
    """Return words, colour and dashes of the arrow of each group."""
    found: list[tuple[str, str, object]] = []
    for place, row in enumerate(result.directions.to_dict("records")):
        clear = row["clear"]
        words = _group(result, int(row["segment"])) + ("" if clear else ": no clear direction")
        colour = GREY if not clear else INK if not place else OTHERS[(place - 1) % len(OTHERS)]
        found.append((words, colour, _DASHES[place % len(_DASHES)]))
    return found


def _draw_arrows(axes: Axes, result: PreferenceMap, arrows: list[tuple[str, str, object]], reach: float) -> Array:
    axes.axhline(0, color=FAINT, linewidth=0.8, zorder=0)
    axes.axvline(0, color=FAINT, linewidth=0.8, zorder=0)
    slopes = result.directions[["slope_1", "slope_2"]].to_numpy(dtype=float)
    longest = float(np.hypot(*slopes.T).max()) or 1.0
    for (_, colour, dashes), slope in zip(arrows, slopes, strict=True):
        tip = slope / longest * reach
        axes.plot([0, tip[0]], [0, tip[1]], color=colour, linestyle=dashes, linewidth=1.8, zorder=3)
        arrow = {"arrowstyle": "-|>", "color": colour, "linewidth": 1.2, "shrinkA": 0, "shrinkB": 0}
        axes.annotate("", xy=tuple(tip * 1.06), xytext=tuple(tip * 0.98), arrowprops=arrow, zorder=3)
    return slopes / longest * reach


def _name(
    axes: Axes,
    prototypes: Sequence[str],
    points: Array,
    arrows: Sequence[tuple[str, str, object]],
    tips: Array,
    box: tuple[float, float],
) -> None:
    """Write the names of prototypes and of arrows at their ends, away from each other and from the arrows."""
    axes.apply_aspect()
    corner = np.array([axes.get_xlim()[0], axes.get_ylim()[0]])
    side = np.array([np.ptp(axes.get_xlim()), np.ptp(axes.get_ylim())])
    labels = [[shortened(label, _FONT, 0.45 * box[0])] for label in prototypes]
    labels += [wrapped(words, _FONT, 0.3 * box[0], 3) for words, _, _ in arrows]
    colours = [INK] * len(prototypes) + [_QUIET if colour == GREY else colour for _, colour, _ in arrows]
    along = np.concatenate([tip * np.linspace(0, 1.06, 25)[:, None] for tip in tips])
    sizes = [(max(text_width(line, _FONT) for line in label), _FONT * 1.2 * len(label)) for label in labels]
    at = (np.concatenate([points, tips, along]) - corner) / side * np.array(box)
    middle = place_labels(at, [*sizes, *[(0.0, 0.0)] * len(along)], box, _FONT) / np.array(box) * side + corner
    look: dict[str, Any] = {"fontsize": _FONT, "ha": "center", "va": "center", "zorder": 5, "linespacing": 1.0}
    for label, colour, (x, y) in zip(labels, colours, middle, strict=False):
        axes.text(x, y, "\n".join(label), color=colour, **look)


def _labels(result: PreferenceMap, points: Array) -> list[str]:
    """Return the names of the prototypes, each with the share of consumers at the place of the grid nearest to it."""
    names = [str(name) for name in result.places["prototype"]]
    if result.shares.empty:
        return names
    grid = result.shares[["component_1", "component_2"]].to_numpy(dtype=float)
    nearest = ((points[:, None, :] - grid) ** 2).sum(axis=2).argmin(axis=1)
    shares = result.shares["share"].to_numpy(dtype=float)[nearest]
    return [f"{name} ({format_share(share)})" for name, share in zip(names, shares, strict=True)]
