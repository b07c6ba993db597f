"""Towards which sensations liking rises, in plain sentences and tables, and what so few prototypes cannot show."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from panel.models.consumers.preference_map import PreferenceMap
from panel.models.consumers.segments import Segments
from panel.stats.arrays import Array
from panel.study.naming import Naming
from panel.views.consumers.segments import segment_name
from panel.views.drawing.pictures import COLOURS, FAINT, GREY, INK, place_labels, svg_text, text_width
from panel.words import format_interval, format_list, format_number, format_p, format_share, p_words

_MOST = 3  # sensations named on either side
_CLEAR = 0.05


def preferences_headline(result: PreferenceMap, segments: Segments, names: Naming) -> str:
    """Return the answer in one sentence."""
    own = result.directions.loc[result.directions["segment"] > 0]
    judged = own if len(own) else result.directions
    clear = judged.loc[judged["p_value"] < _CLEAR]
    if clear.empty:
        return "No direction on the panel's map goes clearly with liking."
    parts = [
        f"for {segment_name(segments, int(row['segment']))} {_towards(result, int(row['segment']), names)}"
        for row in clear.to_dict("records")
    ]
    return f"Liking rises {'; '.join(parts)}."


def what_the_preferences_show(result: PreferenceMap, segments: Segments, names: Naming) -> list[str]:
    """Return one line per group: how well the map describes its liking, and whether a best place shows."""
    lines = []
    for way, ideal in zip(result.directions.to_dict("records"), result.ideals.to_dict("records"), strict=True):
        name = segment_name(segments, int(way["segment"]))
        fits = (
            f"{name[0].upper()}{name[1:]}: the map describes {format_share(way['share'])} of the differences in liking"
        )
        best = _best_place(ideal)
        lines.append(f"{fits} ({p_words(way['p_value'])}, {len(result.places)} prototypes). {best}")
    if len(result.shares):
        top, low = result.shares["share"].max(), result.shares["share"].min()
        lines.append(
            f"Wherever one goes among the prototypes, between {format_share(low)} and {format_share(top)} of the "
            "consumers are expected to like it better than their own mean: no place pleases everybody."
        )
    return lines


def what_the_preferences_cannot_show(result: PreferenceMap) -> tuple[str, ...]:
    """Return what a reader must not take from the map."""
    return (
        f"{len(result.places)} prototypes are very few for a map of preferences: it is for finding ideas, not for "
        "proving one. Make the prototype it points to and test it.",
        "A sensation that goes with liking need not be its cause: sensations change together when an emollient is "
        "swapped.",
        "Nothing is known beyond the outermost prototypes; directions must not be followed outside the map.",
    )


def sensations_table(result: PreferenceMap, segments: Segments, names: Naming) -> pd.DataFrame:
    """Return one row per attribute, and for each group the correlation of its mean liking with the panel's mean."""
    groups = list(dict.fromkeys(result.sensations["segment"]))
    attributes = list(dict.fromkeys(result.sensations["attribute"]))
    table = {"Attribute": [names.attribute(str(name)) for name in attributes]}
    for group in groups:
        rows = result.sensations.loc[result.sensations["segment"] == group].set_index("attribute").loc[attributes]
        table[f"r, {segment_name(segments, int(group))}"] = [
            f"{format_number(row['estimate'], 2)}{' *' if row['beyond'] else ''} "
            f"({format_interval(row['ci_low'], row['ci_high'], 2)})"
            for row in rows.to_dict("records")
        ]
    return pd.DataFrame(table, dtype="str")


def sensations_caption(result: PreferenceMap) -> str:
    """Return what the stars mean."""
    return (
        f"* beyond {format_number(result.limit, 2)}, which a single pair chosen beforehand needs with "
        f"{len(result.places)} prototypes. With so many pairs some pass it by chance."
    )


def directions_table(result: PreferenceMap, segments: Segments) -> pd.DataFrame:
    """Return one row per group: direction, interval, share described, and the ideal point where there is one."""
    rows = result.directions.merge(result.ideals, on="segment", suffixes=("", "_ideal"))
    return pd.DataFrame(
        {
            "Consumers": [segment_name(segments, int(segment)) for segment in rows["segment"]],
            "Direction (degrees)": [format_number(value, 0) for value in rows["angle"]],
            f"{100 * result.level:g} % interval": [
                format_interval(low, high, 0) for low, high in zip(rows["angle_low"], rows["angle_high"], strict=True)
            ],
            "Described, vector": [format_share(value) for value in rows["share"]],
            "p": [format_p(value) for value in rows["p_value"]],
            "Described, ideal point": [format_share(value) for value in rows["share_ideal"]],
            "p of the peak": [format_p(value) for value in rows["curvature_p_value"]],
            "Peak": [_best_place(row) for row in rows.to_dict("records")],
        },
        dtype="str",
    )


def preferences_alt_text(result: PreferenceMap, segments: Segments, names: Naming) -> str:
    """Return what the picture shows, for those who do not see it."""
    lines = [preferences_headline(result, segments, names), *what_the_preferences_show(result, segments, names)]
    return f"The panel's map with arrows towards more liking. {' '.join(lines)}"


def _towards(result: PreferenceMap, segment: int, names: Naming) -> str:
    rows = result.sensations.loc[(result.sensations["segment"] == segment) & result.sensations["beyond"]]
    ordered = rows.reindex(rows["estimate"].abs().sort_values(ascending=False).index)
    more = [_quoted(names.attribute(str(name))) for name in ordered.loc[ordered["estimate"] > 0, "attribute"]][:_MOST]
    less = [_quoted(names.attribute(str(name))) for name in ordered.loc[ordered["estimate"] < 0, "attribute"]][:_MOST]
    parts = [f"with more {format_list(more)}"] if more else []
    parts += [f"with less {format_list(less)}"] if less else []
    return " and ".join(parts) or "in a direction that no single sensation describes"


def _quoted(words: str) -> str:
    """Words with a comma in them would read as two things in a list."""
    return f"“{words}”" if "," in words else words


def _best_place(ideal: dict[str, object] | dict[object, object]) -> str:
    row = {str(name): value for name, value in ideal.items()}
    if not row["peak"] or float(str(row["curvature_p_value"])) >= _CLEAR:
        return "No best place shows; a direction describes it as well."
    return "Its best place lies among the prototypes." if row["inside"] else "Its best place would lie outside the map."


# The picture of the preference map: prototypes as the panel sees them, shares of consumers, arrows towards liking.


_FONT = 8.5  # points
_POINTS = 72.0
_WIDTH, _LEFT, _BOTTOM, _TOP, _RIGHT, _KEY = 5.2, 0.75, 0.6, 0.4, 0.15, 0.24  # inches
_LOWEST, _HIGHEST = 3.0, 5.2
_AROUND = 0.16  # free part on each side
_ARROW = 0.38  # length of the arrow of the steepest slope, of the shorter side
_DASHES = ("-", (0, (6, 2)), (0, (2, 2)), (0, (6, 2, 2, 2)))


def preference_map_figure(result: PreferenceMap, segments: Segments, names: Naming) -> Figure:
    """Return the panel's map with the share of pleased consumers at each prototype and one arrow for each group.

    Arrows of groups whose direction is not clear are grey.
    """
    points = result.places[["component_1", "component_2"]].to_numpy(dtype=float)
    low, high = points.min(axis=0), points.max(axis=0)
    room = _AROUND * (high - low).max()
    low, high = low - room, high + room
    tall = float(np.clip(_WIDTH * (high[1] - low[1]) / (high[0] - low[0]), _LOWEST, _HIGHEST))
    arrows = _arrows(result, segments)
    key = _KEY * (len(arrows) + 1)
    width, height = _LEFT + _WIDTH + _RIGHT, key + _BOTTOM + tall + _TOP
    figure = Figure(figsize=(width, height))
    axes = figure.add_axes((_LEFT / width, (key + _BOTTOM) / height, _WIDTH / width, tall / height))
    axes.set(xlim=(low[0], high[0]), ylim=(low[1], high[1]))
    axes.set_aspect("equal", adjustable="datalim")
    _draw_arrows(axes, result, arrows, 0.5 * float((high - low).min()))
    _draw_places(axes, result, points, (_WIDTH * _POINTS, tall * _POINTS))
    share = result.components["share"]
    axes.set_xlabel(f"Component 1: {format_share(float(share.iloc[0]))} of the differences", fontsize=_FONT, color=INK)
    axes.set_ylabel(f"Component 2: {format_share(float(share.iloc[1]))}", fontsize=_FONT, color=INK)
    axes.set_title("Towards where liking rises", fontsize=_FONT + 1.5, color=INK, loc="left")
    axes.tick_params(labelsize=_FONT - 1, colors=INK)
    axes.spines[["top", "right"]].set_visible(False)
    for number, (name, colour, dashes) in enumerate(arrows):
        y = _KEY * (len(arrows) - number + 0.3) / height
        figure.add_artist(_sample((_LEFT / width, (_LEFT + 0.4) / width), y, colour, dashes))
        figure.text((_LEFT + 0.5) / width, y, name, fontsize=_FONT, color=INK, va="center")
    line = "In brackets: share of consumers expected to like that place better than their own mean."
    figure.text(_LEFT / width, 0.4 * _KEY / height, line, fontsize=_FONT, color=INK, va="center")
    return figure


def preference_map_svg(result: PreferenceMap, segments: Segments, names: Naming, *, text_as_paths: bool = True) -> str:
    """Return the preference map as SVG text."""
    return svg_text(
        preference_map_figure(result, segments, names),
        title="Preference map",
        description=preferences_alt_text(result, segments, names),
        text_as_paths=text_as_paths,
    )


Arrow = tuple[str, str, object]


def _arrows(result: PreferenceMap, segments: Segments) -> list[Arrow]:
    """Return words, colour and dashes of the arrow of each group."""
    found: list[Arrow] = []
    for number, row in enumerate(result.directions.to_dict("records")):
        clear = row["p_value"] < _CLEAR
        words = segment_name(segments, int(row["segment"])) + ("" if clear else ": no clear direction (grey)")
        colour = GREY if not clear else INK if not number else COLOURS[(number - 1) % len(COLOURS)]
        found.append((words, colour, _DASHES[number % len(_DASHES)]))
    return found


def _draw_arrows(axes: Axes, result: PreferenceMap, arrows: list[Arrow], reach: float) -> None:
    slopes = result.directions[["slope_1", "slope_2"]].to_numpy(dtype=float)
    longest = float(np.hypot(*slopes.T).max()) or 1.0
    for number, ((_, colour, dashes), slope) in enumerate(zip(arrows, slopes, strict=True)):
        tip = slope / longest * reach
        axes.plot([0, tip[0]], [0, tip[1]], color=colour, linestyle=dashes, linewidth=1.8, zorder=3)
        axes.annotate(
            "",
            xy=tuple(tip * 1.06),
            xytext=tuple(tip * 0.98),
            arrowprops={"arrowstyle": "-|>", "color": colour, "linewidth": 1.2, "shrinkA": 0, "shrinkB": 0},
            zorder=3,
        )
        words = "all" if not number else f"{result.directions['segment'].iloc[number]}"
        axes.annotate(words, xy=tuple(tip * 1.16), fontsize=_FONT, color=colour, ha="center", va="center", zorder=4)


def _draw_places(axes: Axes, result: PreferenceMap, points: Array, box: tuple[float, float]) -> None:
    axes.axhline(0, color=FAINT, linewidth=0.8, zorder=0)
    axes.axvline(0, color=FAINT, linewidth=0.8, zorder=0)
    axes.scatter(points[:, 0], points[:, 1], s=34, color="white", edgecolor=INK, linewidth=1.0, zorder=4)
    axes.apply_aspect()
    corner = np.array([axes.get_xlim()[0], axes.get_ylim()[0]])
    side = np.array([np.ptp(axes.get_xlim()), np.ptp(axes.get_ylim())])
    labels = _labels(result, points)
    sizes = [(text_width(label, _FONT), _FONT * 1.2) for label in labels]
    middle = place_labels((points - corner) / side * np.array(box), sizes, box, _FONT)
    for label, (x, y) in zip(labels, middle / np.array(box) * side + corner, strict=True):
        axes.text(x, y, label, fontsize=_FONT, color=INK, ha="center", va="center", zorder=5)


def _labels(result: PreferenceMap, points: Array) -> list[str]:
    """Return the names of the prototypes, each with the share of consumers at the place of the grid nearest to it."""
    names = [str(name) for name in result.places["prototype"]]
    if result.shares.empty:
        return names
    grid = result.shares[["component_1", "component_2"]].to_numpy(dtype=float)
    nearest = ((points[:, None, :] - grid) ** 2).sum(axis=2).argmin(axis=1)
    shares = result.shares["share"].to_numpy(dtype=float)[nearest]
    return [f"{name} ({format_share(share)})" for name, share in zip(names, shares, strict=True)]


def _sample(ends: tuple[float, float], y: float, colour: str, dashes: object) -> Line2D:
    return Line2D(ends, (y, y), color=colour, linestyle=dashes, linewidth=1.8)  # type: ignore[arg-type]  # dash tuples
