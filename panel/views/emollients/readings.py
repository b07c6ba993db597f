"""What instrument readings say beside the panel, and what they cannot say, in plain sentences made from the numbers."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from textwrap import wrap
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Circle
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from panel.models.emollients.joint_map import BOTH, INSTRUMENTS, PANEL, JointMap
from panel.models.emollients.readings import AGAINST, AS_EXPECTED, CANNOT_TELL, JoinedReadings
from panel.stats.comparing.multiplicity import below
from panel.study.naming import Naming
from panel.views.drawing.pictures import COLOURS, FAINT, GREY, INK, place_labels, svg_text, text_width
from panel.views.emollients.swaps import swap_words
from panel.words import (
    NOTHING,
    format_change,
    format_interval,
    format_list,
    format_number,
    format_p,
    format_share,
    p_after_holm,
)

_MOST_NAMED = 5
_RAISED = str.maketrans("23", "²³")


def partner_sentences(result: JoinedReadings, names: Naming) -> tuple[str, ...]:
    """Return one sentence per pair that was declared beforehand, or one saying that there is none."""
    if result.partners.empty:
        return (
            "No attribute has a partner among the measures. Name one in the column partner of the attributes, before "
            "looking at the readings.",
        )
    rows = result.partners.to_dict("records")
    return tuple(partner_sentence(row, names, result.level, len(rows)) for row in rows)


def partner_sentence(row: Mapping[Any, Any], names: Naming, level: float, n_pairs: int) -> str:
    """Return the sentence for one declared pair."""
    attribute, measure = names.attribute(str(row["attribute"])), str(row["measure"])
    numbers = (
        f"r = {format_number(row['estimate'], 2)}, {100 * level:g} % interval "
        f"{format_interval(row['ci_low'], row['ci_high'], 2)}, {row['n']} prototypes"
    )
    if row["verdict"] == CANNOT_TELL:
        return (
            f"{row['n']} prototypes cannot say whether the panel's {attribute} goes with the reading {measure} "
            f"({numbers}; for one pair chosen beforehand r must be beyond {format_number(row['needed'], 2)})."
        )
    together = "rise together" if row["estimate"] > 0 else "go opposite ways"
    expected = {AS_EXPECTED: ", as expected", AGAINST: ", against what was expected"}.get(str(row["verdict"]), "")
    doubt = (
        f" Counted together with the other {n_pairs - 1} declared pairs this can be chance "
        f"({p_after_holm(row['p_adjusted'])})."
        if row["p_adjusted"] >= 1 - level
        else ""
    )
    return f"The panel's {attribute} and the reading {measure} {together}{expected} ({numbers}).{doubt}"


def screening_sentences(result: JoinedReadings, names: Naming) -> tuple[str, ...]:
    """Return what the screening list holds, and what it is good for."""
    if result.screening.empty:
        return ()
    seen = result.screening.loc[below(result.screening["p_adjusted"], 1 - result.level)]
    number = len(result.screening)
    if seen.empty:
        return (f"Of the {number} pairs nobody declared beforehand, none stands out after adjusting for their number.",)
    first = [
        f"{names.attribute(str(row['attribute']))} with {row['measure']} (r = {format_number(row['estimate'], 2)})"
        for row in seen.head(_MOST_NAMED).to_dict("records")
    ]
    first_words = "The clearest are" if len(seen) > len(first) else "They are" if len(seen) > 1 else "It is"
    return (
        f"Of the {number} pairs nobody declared beforehand, {len(seen)} "
        f"{'stands' if len(seen) == 1 else 'stand'} out after adjusting for their number. {first_words} "
        f"{format_list(first)}.",
        "These are leads for another study: the list was searched after the fact.",
    )


def reading_swap_sentences(result: JoinedReadings) -> tuple[str, ...]:
    """Return one sentence per swap: what it lowers, what it raises, and what cannot be said."""
    return tuple(
        _swap_sentence(rows, result.level) for _, rows in result.swaps.groupby("swap", sort=False) if len(rows)
    )


def joint_map_sentences(joint: JointMap) -> tuple[str, ...]:
    """Return how far panel and instruments agree about the prototypes, and what the map's axes carry."""
    alike = "" if joint.rv > joint.rv_by_chance else " That is no more than chance."
    shown = float(joint.components["share"].iloc[:2].sum())
    return (
        f"How alike panel and instruments place the prototypes, from 0 to 1: RV = {format_number(joint.rv, 2)}. "
        f"Prototypes exchanged at random would give {format_number(joint.rv_by_chance, 2)} on average.{alike}",
        f"The two axes carry {format_share(shown)} of the differences. Every attribute and every measure counts the "
        "same inside its block, also one in which the prototypes hardly differ.",
    )


def what_readings_cannot_show() -> tuple[str, ...]:
    """Return the sentences that keep a reader from reading too much."""
    return (
        "A reading that goes with a feeling does not replace it: what people feel is for people to say.",
        "Prototypes are few and differ in few directions. Two things that go together here may part in other formulas.",
        "No clear link is not no link: look at how far the interval reaches.",
    )


def partner_alt_text(result: JoinedReadings, names: Naming) -> str:
    """Return what a person who cannot see the scatter pictures should hear."""
    return f"Panel means against instrument readings, a dot per prototype. {' '.join(partner_sentences(result, names))}"


def joint_map_alt_text(joint: JointMap) -> str:
    """Return what a person who cannot see the joint map should hear."""
    places = joint.prototypes.loc[joint.prototypes["block"] == "both"]
    parts = [
        f"{row['prototype']} at {format_number(row['component_1'], 1)}, {format_number(row['component_2'], 1)}"
        for row in places.to_dict("records")
    ]
    return f"Joint map of panel and instruments. {' '.join(joint_map_sentences(joint))} Places: {'; '.join(parts)}."


def format_reading(value: float, digits: int = 3) -> str:
    """Return a reading with so many significant digits; an en dash where there is none."""
    if math.isnan(value) or math.isinf(value) or value == 0:
        return format_number(value, 0)
    rounded = float(f"{value:.{digits - 1}e}")
    return format_number(rounded, max(0, digits - 1 - math.floor(math.log10(abs(rounded)))))


def with_unit(text: str, unit: str) -> str:
    """Return a text followed by its unit; a plain number has none."""
    return text if unit == "1" else f"{text} {unit_words(unit)}"


def unit_words(unit: str) -> str:
    """Return a unit as it is printed: raised figures, `−1` as they are; empty for a plain number."""
    if unit == "1":
        return ""
    return unit.translate(_RAISED) if unit.startswith(("mm2", "cm2")) or unit.endswith("m3") else unit


def measure_title(measure: str, unit: str) -> str:
    """Return a measure with its unit behind a comma, for an axis or a column."""
    return measure if unit == "1" else f"{measure}, {unit_words(unit)}"


def _swap_sentence(rows: pd.DataFrame, level: float) -> str:
    first = rows.iloc[0]
    removed, added = (format_list(str(first[end]).split(" + ")) for end in ("removed", "added"))
    opening = (
        f"In this base, replacing {float(first['percent']):g} % {removed} by {added} "
        f"({_pairs(rows)}; in brackets {100 * level:g} % intervals)"
    )
    told = {"lowers": list[str](), "raises": list[str](), "": list[str]()}
    for row in rows.to_dict("records"):
        verb, text = _effect(row)
        told[verb].append(text)
    parts = [f"{verb} {format_list(texts)}" for verb, texts in told.items() if verb and texts]
    cannot = f"these readings cannot say whether it changes {format_list(told[''])}" if told[""] else ""
    return f"{opening}: {'; '.join(filter(None, [*parts, cannot]))}."


def _effect(row: Mapping[Any, Any]) -> tuple[str, str]:
    """Return the verb and the words for one measure; no verb where the interval holds no change."""
    low, high = float(row["ci_low"]), float(row["ci_high"])
    ratio_low, ratio_high = float(row["ratio_ci_low"]), float(row["ratio_ci_high"])
    if not math.isnan(ratio_low):
        if ratio_low <= 1 <= ratio_high:
            return "", str(row["measure"])
        ends = sorted(abs(100 * (end - 1)) for end in (ratio_low, ratio_high))
        amount = f"{_percent(abs(100 * (row['ratio'] - 1)))} %"
        verb = "raises" if row["ratio"] > 1 else "lowers"
        return verb, f"{row['measure']} by {amount} ({_percent(ends[0])} to {_percent(ends[1])} %)"
    if math.isnan(low) or low <= 0 <= high:
        return "", str(row["measure"])
    ends = sorted(abs(end) for end in (low, high))
    amount = with_unit(format_reading(abs(row["estimate"]), 2), str(row["unit"]))
    verb = "raises" if row["estimate"] > 0 else "lowers"
    return verb, f"{row['measure']} by {amount} ({format_reading(ends[0], 2)} to {format_reading(ends[1], 2)})"


def _percent(value: float) -> str:
    """Return per cent without decimals, with as many as show it is not zero where it is less than one half."""
    return format_number(value, 0) if value >= 0.5 else format_reading(value, 1)


def _pairs(rows: pd.DataFrame) -> str:
    low, high = int(rows["n_pairs"].min()), int(rows["n_pairs"].max())
    number = f"{low}" if low == high else f"{low} to {high}"
    return f"{number} matched {'pair' if number == '1' else 'pairs'}"


# Instrument readings, their links to the panel and what swaps did to them, as tables a person reads.


_DIRECTIONS = {"same": "together", "opposite": "opposite ways"}


def readings_table(result: JoinedReadings) -> pd.DataFrame:
    """Return one row per measure and one column per prototype: mean, and the scatter of repeats."""
    prototypes = list(dict.fromkeys(result.means["prototype"]))
    written = {
        (row["measure"], row["prototype"]): f"{format_reading(row['estimate'])} ± {format_reading(row['sd'], 2)}"
        for row in result.means.to_dict("records")
    }
    rows = [
        [
            measure_title(row["measure"], row["unit"]),
            *(written.get((row["measure"], name), NOTHING) for name in prototypes),
            _range(row["fewest"], row["most"]),
            format_share(row["cv"], 1),
            format_share(row["noise_share"]),
        ]
        for row in result.measures.to_dict("records")
    ]
    headings = ["Readings", "Coefficient of variation", "Scatter, share of differences"]
    return pd.DataFrame(rows, columns=["Measure (mean ± SD of repeats)", *prototypes, *headings], dtype="str")


def partners_table(result: JoinedReadings, names: Naming) -> pd.DataFrame:
    """Return one row per pair declared beforehand: correlation, interval, what is needed, verdict."""
    rows = result.partners
    return pd.DataFrame(
        {
            "Attribute": [names.attribute(str(name)) for name in rows["attribute"]],
            "Reading": list(rows["measure"]),
            "Expected": [_DIRECTIONS.get(str(way), NOTHING) for way in rows["expected"]],
            "Why expected": [str(source) or NOTHING for source in rows["source"]],
            "r": [format_number(value, 2) for value in rows["estimate"]],
            f"{100 * result.level:g} % interval": _intervals(rows, 2),
            "Prototypes": [f"{count:d}" for count in rows["n"]],
            "r needed": [format_number(value, 2) for value in rows["needed"]],
            "p": [format_p(value) for value in rows["p_value"]],
            "p after Holm": [format_p(value) for value in rows["p_adjusted"]],
            "In words": list(rows["verdict"]),
        },
        dtype="str",
    )


def screening_table(result: JoinedReadings, names: Naming) -> pd.DataFrame:
    """Return one row per pair that was not declared, the clearest first."""
    rows = result.screening
    return pd.DataFrame(
        {
            "Attribute": [names.attribute(str(name)) for name in rows["attribute"]],
            "Reading": list(rows["measure"]),
            "r": [format_number(value, 2) for value in rows["estimate"]],
            f"{100 * result.level:g} % interval": _intervals(rows, 2),
            "Prototypes": [f"{count:d}" for count in rows["n"]],
            "p": [format_p(value) for value in rows["p_value"]],
            "p, adjusted": [format_p(value) for value in rows["p_adjusted"]],
            "Stands out": ["yes" if below(value, 1 - result.level) else "no" for value in rows["p_adjusted"]],
        },
        dtype="str",
    )


def reading_swaps_table(result: JoinedReadings) -> pd.DataFrame:
    """Return one row per swap and measure: mean change, and mean ratio as a change in per cent."""
    rows = result.swaps
    at = f"{100 * result.level:g} % interval"
    return pd.DataFrame(
        {
            "Swap": [swap_words(str(swap)) for swap in rows["swap"]],
            "Measure": list(rows["measure"]),
            "Pairs": [f"{count:d}" for count in rows["n_pairs"]],
            "Change": [_signed(value) for value in rows["estimate"]],
            "Unit": [unit_words(str(unit)) or NOTHING for unit in rows["unit"]],
            f"{at} of the change": [
                f"{_signed(low)} to {_signed(high)}" if low == low else NOTHING
                for low, high in zip(rows["ci_low"], rows["ci_high"], strict=True)
            ],
            "Change, %": [format_change(100 * (value - 1), 0) for value in rows["ratio"]],
            f"{at}, %": _percent_intervals(rows, "ratio_ci_low", "ratio_ci_high"),
            "Lowest and highest pair, %": _percent_intervals(rows, "ratio_lowest", "ratio_highest"),
        },
        dtype="str",
    )


def _intervals(rows: pd.DataFrame, digits: int) -> list[str]:
    return [format_interval(low, high, digits) for low, high in zip(rows["ci_low"], rows["ci_high"], strict=True)]


def _percent_intervals(rows: pd.DataFrame, low: str, high: str) -> list[str]:
    ends = zip(100 * (rows[low] - 1), 100 * (rows[high] - 1), strict=True)
    return [
        NOTHING if first != first else f"{format_change(first, 0)} to {format_change(last, 0)}" for first, last in ends
    ]


def _signed(value: float) -> str:
    text = format_reading(value)
    return f"+{text}" if value > 0 else text


def _range(low: int, high: int) -> str:
    return f"{low}" if low == high else f"{low} to {high}"


# Pictures of the panel beside the instruments: one scatter picture for each pair that was declared beforehand.


_FONT = 8.5  # points
_POINTS = 72.0  # to the inch
# Inches.
_SIZE, _LEFT, _BOTTOM, _TOP, _RIGHT, _KEY = 2.35, 0.65, 0.6, 0.75, 0.15, 0.3
_MOST_BESIDE = 4
_ROOM = 0.14  # of the range of the values, on either side
_MARK = 7.0  # size of a dot, and distance of a label from it, in points


def partner_figure(result: JoinedReadings, names: Naming) -> Figure:
    """Return one scatter picture per declared pair: a dot per prototype with its name beside it.

    Thin lines are the standard deviation of repeated readings. Pairs about which the prototypes cannot say anything
    are grey.
    """
    pairs = result.partners.to_dict("records")
    beside = max(1, min(len(pairs), _MOST_BESIDE))
    stacked = max(1, -(-len(pairs) // beside))
    wide, tall = _LEFT + _SIZE + _RIGHT, _TOP + _SIZE + _BOTTOM
    whole = beside * wide, stacked * tall + _KEY
    figure = Figure(figsize=whole)
    for number, pair in enumerate(pairs):
        row, column = divmod(number, beside)
        place = (column * wide + _LEFT) / whole[0], ((stacked - 1 - row) * tall + _BOTTOM + _KEY) / whole[1]
        axes = figure.add_axes((*place, _SIZE / whole[0], _SIZE / whole[1]))
        readings = result.means.loc[result.means["measure"] == pair["measure"]].set_index("prototype")
        attribute = str(pair["attribute"])
        together = readings.join(result.panel[attribute].rename("panel"), how="inner").dropna(subset=["panel"])
        _scatter(axes, together, GREY if pair["verdict"] == CANNOT_TELL else COLOURS[0])
        unit = str(readings["unit"].iloc[0])
        axes.set_xlabel(measure_title(str(pair["measure"]), unit), fontsize=_FONT, color=INK)
        axes.set_ylabel(names.with_scale("Panel mean") if column == 0 else "", fontsize=_FONT, color=INK)
        r = f"r = {format_number(pair['estimate'], 2)} ({format_interval(pair['ci_low'], pair['ci_high'], 2)})"
        title = "\n".join([*wrap(names.attribute(attribute), 34)[:2], r, str(pair["verdict"])])
        axes.set_title(title, fontsize=_FONT, color=INK, loc="left")
    key = "Dots: means. Lines: standard deviation of the readings. Grey: cannot tell."
    figure.text(_LEFT / whole[0], 0.5 * _KEY / whole[1], key, fontsize=_FONT, color=INK, va="center")
    return figure


def partner_svg(result: JoinedReadings, names: Naming, *, text_as_paths: bool = True) -> str:
    """Return the scatter pictures as SVG text."""
    return svg_text(
        partner_figure(result, names),
        title="Panel and instruments",
        description=partner_alt_text(result, names),
        text_as_paths=text_as_paths,
    )


def _scatter(axes: Axes, together: pd.DataFrame, colour: str) -> None:
    import seaborn as sns

    sns.scatterplot(
        data=together, x="estimate", y="panel", ax=axes, color=colour, edgecolor=INK, linewidth=0.6, s=34, zorder=3
    )
    known = together["sd"].notna()
    axes.hlines(
        together.loc[known, "panel"],
        (together["estimate"] - together["sd"])[known],
        (together["estimate"] + together["sd"])[known],
        color=colour,
        linewidth=1.0,
        zorder=2,
    )
    ends = pd.concat([together["estimate"] - together["sd"].fillna(0), together["estimate"] + together["sd"].fillna(0)])
    axes.set(xlim=_limits(ends), ylim=_limits(together["panel"]))
    _label(axes, together)
    axes.grid(color=FAINT, linewidth=0.5)
    axes.set_axisbelow(True)
    axes.tick_params(labelsize=_FONT - 1, colors=INK)
    axes.spines[["top", "right"]].set_visible(False)
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(MaxNLocator(4))


def _label(axes: Axes, together: pd.DataFrame) -> None:
    """Write each prototype's name where it covers neither a dot nor another name."""
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    side = _SIZE * _POINTS
    across = (together["estimate"].to_numpy(dtype=float) - left) / (right - left)
    up = (together["panel"].to_numpy(dtype=float) - low) / (high - low)
    labels = [str(name) for name in together.index]
    points, sizes = [np.column_stack([across, up])], [(text_width(text, _FONT - 0.5), _FONT) for text in labels]
    # The lines are in the way as well: a row of points along each, without a label of their own.
    for x, y, half in zip(across, up, together["sd"].fillna(0.0) / (right - left), strict=True):
        along = np.linspace(x - half, x + half, max(2, int(2 * half * side / _MARK) + 2))
        points.append(np.column_stack([along, np.full_like(along, y)]))
    everything = np.vstack(points)
    sizes += [(0.0, 0.0)] * (len(everything) - len(labels))
    places = place_labels(side * everything, sizes, (side, side), _MARK) / side
    for text, (x, y) in zip(labels, places[: len(labels)], strict=True):
        axes.text(
            x, y, text, transform=axes.transAxes, fontsize=_FONT - 0.5, color=INK, ha="center", va="center", zorder=4
        )


def _limits(values: pd.Series) -> tuple[float, float]:
    low, high = float(values.min()), float(values.max())
    room = _ROOM * ((high - low) or abs(high) or 1.0)
    return low - room, high + room


# The picture of the joint map: prototypes as panel and instruments see them together, and what pulls which way.


# Inches.
_SIDE, _JOINT_MAP_PICTURE_LEFT, _JOINT_MAP_PICTURE_BOTTOM, _JOINT_MAP_PICTURE_TOP, _BETWEEN, _WORDS = (
    4.4,
    0.6,
    0.75,
    0.4,
    0.35,
    1.3,
)
_JOINT_MAP_PICTURE_ROOM = 0.12  # of the longer range, on either side
_JOINT_MAP_PICTURE_MARK = 8.0  # size of a mark, and distance of a label from it, in points
_LOOK = {PANEL: (COLOURS[0], "^"), INSTRUMENTS: (COLOURS[1], "s"), BOTH: (INK, "o")}
_WORDING = {PANEL: "as the panel sees it", INSTRUMENTS: "as the instruments see it", BOTH: "both together"}


def joint_map_figure(joint: JointMap, names: Naming) -> Figure:
    """Return the joint map: the prototypes at the left, what increases which way at the right.

    Each prototype stands where both blocks together place it, with a line to where the panel (triangle) and the
    instruments (square) alone would.
    """
    across = _SIDE + 2 * _WORDS
    width, height = (
        _JOINT_MAP_PICTURE_LEFT + _SIDE + _BETWEEN + across,
        _JOINT_MAP_PICTURE_BOTTOM + _SIDE + _JOINT_MAP_PICTURE_TOP,
    )
    figure = Figure(figsize=(width, height))
    places = figure.add_axes(
        (_JOINT_MAP_PICTURE_LEFT / width, _JOINT_MAP_PICTURE_BOTTOM / height, _SIDE / width, _SIDE / height)
    )
    columns = figure.add_axes(
        (
            (_JOINT_MAP_PICTURE_LEFT + _SIDE + _BETWEEN) / width,
            _JOINT_MAP_PICTURE_BOTTOM / height,
            across / width,
            _SIDE / height,
        )
    )
    _draw_places(places, joint.prototypes)
    for axis, component in ((places.xaxis, 1), (places.yaxis, 2)):
        share = joint.components["share"].iloc[component - 1]
        axis.set_label_text(f"Component {component} ({format_share(share)})", fontsize=_FONT, color=INK)
    places.set_title("Prototypes", fontsize=_FONT + 2, color=INK)
    _draw_columns(columns, joint.columns, names)
    columns.set_title("Attributes and readings: which way they increase", fontsize=_FONT + 2, color=INK)
    _key(figure, width, height)
    return figure


def joint_map_svg(joint: JointMap, names: Naming, *, text_as_paths: bool = True) -> str:
    """Return the joint map as SVG text."""
    return svg_text(
        joint_map_figure(joint, names),
        title="Joint map of panel and instruments",
        description=joint_map_alt_text(joint),
        text_as_paths=text_as_paths,
    )


def _draw_places(axes: Axes, prototypes: pd.DataFrame) -> None:
    points = {block: _points(rows) for block, rows in prototypes.groupby("block", sort=False)}
    low, high = np.vstack(list(points.values())).min(axis=0), np.vstack(list(points.values())).max(axis=0)
    centre, half = (low + high) / 2, (0.5 + _JOINT_MAP_PICTURE_ROOM) * float((high - low).max())
    axes.set(xlim=(centre[0] - half, centre[0] + half), ylim=(centre[1] - half, centre[1] + half), aspect="equal")
    axes.axhline(0, color=FAINT, linewidth=0.8, zorder=0)
    axes.axvline(0, color=FAINT, linewidth=0.8, zorder=0)
    for block in (PANEL, INSTRUMENTS, BOTH):
        colour, shape = _LOOK[block]
        for (x, y), (middle_x, middle_y) in zip(points[block], points[BOTH], strict=True):
            axes.plot([middle_x, x], [middle_y, y], color=colour, linewidth=0.9, zorder=2)
        x, y = points[block].T
        axes.scatter(x, y, s=34 if block == BOTH else 18, color=colour, marker=shape, zorder=3)
    side = _SIDE * _POINTS
    everything = np.vstack([points[block] for block in (BOTH, PANEL, INSTRUMENTS)])
    names = [str(name) for name in prototypes.loc[prototypes["block"] == BOTH, "prototype"]]
    _write(axes, names, (everything - centre + half) / (2 * half) * side, (side, side), [INK] * len(names))
    axes.tick_params(labelsize=_FONT - 1, colors=INK)
    axes.spines[["top", "right"]].set_visible(False)


def _draw_columns(axes: Axes, columns: pd.DataFrame, names: Naming) -> None:
    wide = columns.pivot_table(index=["block", "name"], columns="component", values="loading", sort=False)
    points = wide[[1, 2]].to_numpy(dtype=float)
    blocks = [str(block) for block, _ in wide.index]
    reach = 1.08
    stretch = (_SIDE + 2 * _WORDS) / _SIDE
    axes.set(xlim=(-reach * stretch, reach * stretch), ylim=(-reach, reach), aspect="equal")
    axes.axis("off")
    axes.add_patch(Circle((0, 0), 1, fill=False, edgecolor=FAINT, linewidth=0.8))
    axes.plot([-1, 1], [0, 0], color=FAINT, linewidth=0.8, zorder=0)
    axes.plot([0, 0], [-1, 1], color=FAINT, linewidth=0.8, zorder=0)
    for block, (x, y) in zip(blocks, points, strict=True):
        colour, shape = _LOOK[block]
        axes.plot([0, x], [0, y], color=colour, linewidth=0.6, alpha=0.5, zorder=1)
        axes.plot([x], [y], color=colour, marker=shape, markersize=5, linestyle="none", zorder=3)
    labels = [
        names.attribute(str(name)) if block == PANEL else str(name)
        for block, (_, name) in zip(blocks, wide.index, strict=True)
    ]
    box = (_SIDE + 2 * _WORDS) * _POINTS, _SIDE * _POINTS
    scaled = (points / reach / np.array([stretch, 1.0]) + 1) / 2 * np.array(box)
    _write(axes, labels, scaled, box, [_LOOK[block][0] for block in blocks])


def _write(
    axes: Axes, labels: Sequence[str], points: NDArray[np.float64], box: tuple[float, float], colours: Sequence[str]
) -> None:
    """Write a label beside each of the first points; the further points are only in the way."""
    sizes = [(text_width(text, _FONT), _FONT) for text in labels]
    sizes += [(0.0, 0.0)] * (len(points) - len(labels))
    places = place_labels(points, sizes, box, _JOINT_MAP_PICTURE_MARK)[: len(labels)] / np.array(box)
    starts = points[: len(labels)] / np.array(box)
    for text, place, start, size, colour in zip(labels, places, starts, sizes, colours, strict=False):
        gap = np.abs(place - start) * np.array(box) - np.array(size) / 2
        if gap.max() > 1.5 * _JOINT_MAP_PICTURE_MARK:
            axes.plot(*np.column_stack([start, place]), transform=axes.transAxes, color=GREY, linewidth=0.5, zorder=1)
        x, y = place
        axes.text(
            x, y, text, transform=axes.transAxes, fontsize=_FONT, color=colour, ha="center", va="center", zorder=4
        )


def _points(rows: pd.DataFrame) -> NDArray[np.float64]:
    return rows[["component_1", "component_2"]].to_numpy(dtype=float)


def _key(figure: Figure, width: float, height: float) -> None:
    entries = [
        Line2D([], [], color=_LOOK[block][0], marker=_LOOK[block][1], linestyle="none", markersize=5, label=words)
        for block, words in _WORDING.items()
    ]
    figure.legend(
        handles=entries, loc="lower left", bbox_to_anchor=(0.1 / width, 0.02 / height), ncols=3, fontsize=_FONT,
        frameon=False, columnspacing=1.2, handletextpad=0.3,
    )  # fmt: skip
