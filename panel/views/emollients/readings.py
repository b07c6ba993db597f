"""What instrument readings say beside the panel, and what the swaps did to them."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel import words
from panel.models.emollients.readings import AGAINST, AS_EXPECTED, JoinedReadings
from panel.models.prototypes.map import BOTH, INSTRUMENTS, PANEL, JointMap
from panel.models.prototypes.verdict import CANNOT_TELL
from panel.study import shown
from panel.study.naming import Naming
from panel.views import pictures
from panel.views.emollients.causes import short_swap
from panel.views.emollients.curves import format_reading, measure_title, with_unit
from panel.views.emollients.swaps import SWAP
from panel.views.told import Item, Picture, Told, drawer

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_MOST_NAMED = 5
_CANNOT = (
    "A reading that goes with a feeling does not replace it: what people feel is for people to say.",
    "Prototypes are few and differ in few directions. Two things that go together here may part in other formulas.",
    "No clear link is not no link: look at how far the interval reaches.",
)


def tell_readings(result: JoinedReadings, names: Naming) -> Told:
    """Tell which readings go with what people feel, and what the swaps did to them."""
    pairs = result.partners
    screened = _screening_sentences(result, names)
    return Told(
        result,
        names,
        _headline(result, names),
        _pairs_picture(result, names) if len(pairs) else None,
        (*_against(result, names), *screened[:1]),
        _PARTNERS if len(pairs) else None,
        (
            drawer("Each declared pair", *((_scatter_picture(result, names), _PARTNERS) if len(pairs) else ())),
            drawer("All other pairs", *screened[1:], *((_SCREENING,) if len(result.screening) else ())),
            drawer("Panel and instruments on one map", *_mapped(result.map, names)),
            drawer("What changed in the readings with each swap", *_swap_sentences(result), _READING_SWAPS),
            drawer("The readings", _READINGS, _MEASURES),
        ),
        _CANNOT,
    )


def _headline(result: JoinedReadings, names: Naming) -> str:
    """Return how many sensations go with the reading that was declared for them, and which."""
    rows = result.partners
    if rows.empty:
        return (
            "No sensation has a partner among the measures, so nothing is tested. Name one in the column partner of "
            "the attributes, before looking at the readings."
        )
    sure = rows.loc[rows["verdict"] == AS_EXPECTED]
    asked = words.counted(len(rows), "sensation")
    if sure.empty and len(rows) == 1:
        only = words.quoted(names.attribute(str(rows["attribute"].iloc[0])))
        return f"These prototypes cannot show that the reading declared for {only} goes with it."
    if sure.empty:
        return f"On none of {asked} can these prototypes show that the reading declared for it goes with it."
    first = sure.iloc[(-sure["estimate"].abs()).argsort(kind="stable")].head(_MOST_NAMED)
    told = [
        f"{words.quoted(names.attribute(str(row['attribute'])))} with {row['measure']}"
        for row in first.to_dict("records")
    ]
    named = words.format_list([*told, *([words.counted(more, "other")] if (more := len(sure) - len(told)) else [])])
    return f"{len(sure)} of {asked} go with the reading declared beforehand, as expected: {named}."


def _against(result: JoinedReadings, names: Naming) -> tuple[str, ...]:
    """Return the sentence on pairs that went another way than was expected, and on those that may be chance."""
    rows = result.partners
    against, doubtful = (
        [words.quoted(names.attribute(str(name))) for name in rows.loc[chosen, "attribute"]]
        for chosen in (rows["verdict"] == AGAINST, (rows["verdict"] != CANNOT_TELL) & ~rows["stands_out"].astype(bool))
    )
    told = [f"Against what was expected: {words.format_list(against)}."] if against else []
    if doubtful:
        told.append(f"Counted together with all declared pairs this can be chance: {words.format_list(doubtful)}.")
    return tuple(told)


def _screening_sentences(result: JoinedReadings, names: Naming) -> tuple[str, ...]:
    if result.screening.empty:
        return ()
    seen = result.screening.loc[result.screening["stands_out"]]
    asked = f"Of {words.counted(len(result.screening), 'pair')} nobody declared beforehand"
    if seen.empty:
        return (f"{asked}, none stands out after adjusting for their number.",)
    first = [
        f"{names.attribute(str(row['attribute']))} with {row['measure']} (r = "
        f"{words.format_number(row['estimate'], 2)})"
        for row in seen.head(_MOST_NAMED).to_dict("records")
    ]
    stand = "stands" if len(seen) == 1 else "stand"
    return (
        f"{asked}, {len(seen)} {stand} out after adjusting for their number: leads for another study, for the list was "
        "searched after the fact.",
        f"The clearest: {words.format_list(first)}.",
    )


def _swap_sentences(result: JoinedReadings) -> tuple[str, ...]:
    """Return one sentence per swap on what it did to the readings, or on what goes along with it."""
    told = (_swap_sentence(str(swap), rows) for swap, rows in result.swaps.groupby("swap", sort=False))
    return tuple(sentence for sentence in told if sentence)


def _swap_sentence(swap: str, rows: pd.DataFrame) -> str:
    clear = rows.loc[rows["change"] != ""]
    if clear.empty:
        return ""
    parts = [
        f"{word} {words.format_list([_amount(row) for row in clear.loc[clear['change'] == word].to_dict('records')])}"
        for word in ("more", "less")
        if (clear["change"] == word).any()
    ]
    did, factors = " and ".join(parts), str(rows["goes_along"].iloc[0])
    if factors:
        along = words.format_list(factors.split(", "))
        return f"{words.capital(did)} go along with {short_swap(swap)} or with the {along}: these data cannot tell."
    return f"In these batches {short_swap(swap)} went with {did} ({_pair_count(rows)})."


def _amount(row: Mapping[Any, Any]) -> str:
    """Return a measure with its change and interval: in per cent where ratios make sense, else as an amount."""
    if not math.isnan(row["ratio_ci_low"]):
        ends = sorted(abs(100 * (row[end] - 1)) for end in ("ratio_ci_low", "ratio_ci_high"))
        by = f"{_percent(abs(100 * (row['ratio'] - 1)))} %, {_percent(ends[0])} to {_percent(ends[1])} %"
        return f"{row['measure']} ({by})"
    ends = sorted(abs(float(row[end])) for end in ("ci_low", "ci_high"))
    by = with_unit(format_reading(abs(row["estimate"]), 2), str(row["unit"]))
    return f"{row['measure']} ({by}, {format_reading(ends[0], 2)} to {format_reading(ends[1], 2)})"


def _pair_count(rows: pd.DataFrame) -> str:
    low, high = int(rows["n_pairs"].min()), int(rows["n_pairs"].max())
    return words.counted(high, "matched pair") if low == high else f"{low} to {high} matched pairs"


def _mapped(joint: JointMap | None, names: Naming) -> tuple[Item, ...]:
    return () if joint is None else (*_map_sentences(joint), _map_picture(joint, names))


def _map_sentences(joint: JointMap) -> tuple[str, ...]:
    """Return how far panel and instruments agree about the prototypes, and what the map's axes carry."""
    alike = "" if joint.agree else " That is no more than chance."
    seen = float(joint.components["share"].iloc[:2].sum())
    return (
        f"How alike panel and instruments place the prototypes, from 0 to 1: {words.format_number(joint.rv, 2)}. "
        f"Prototypes exchanged at random would give {words.format_number(joint.rv_by_chance, 2)} on average.{alike}",
        f"The two axes carry {words.format_share(seen)} of the differences. Every attribute and every measure counts "
        "the same inside its block, also one in which the prototypes hardly differ.",
    )


def _percent(value: float) -> str:
    """Return per cent without decimals, with as many as show it is not zero where it is less than one half."""
    return words.format_number(value, 0) if value >= 0.5 else format_reading(value, 1)


def _expected(row: Mapping[str, Any], _: shown.Shown) -> str:
    way = {"same": "together", "opposite": "opposite ways"}.get(str(row["expected"]), words.NOTHING)
    return f"{way} ({row['source']})" if row["source"] and way != words.NOTHING else way


def _correlation(row: Mapping[Any, Any]) -> str:
    return words.with_interval(row["estimate"], row["ci_low"], row["ci_high"], 2)


_READING = shown.text("Reading", "measure")
_PARTNERS = shown.Table(
    "partners",
    "Attributes and the readings paired with them beforehand",
    "partners",
    (
        shown.ATTRIBUTE,
        _READING,
        shown.each_row("Expected", _expected, "expected"),
        shown.each_row("r ({level})", lambda row, _: _correlation(row), "estimate", figure=True),
        shown.count("Prototypes", "n"),
        *(shown.number("r needed", "needed", 2), shown.P, shown.VERDICT),
        shown.yes_no("Also beside all these pairs", "stands_out"),
    ),
    key=("attribute", "measure"),
    code="RP",
    sources=(
        shown.Source("readings", same={"measure": "measure"}),
        shown.Source("scores", same={"attribute": "attribute"}),
    ),
    none="No attribute was paired with a reading beforehand, so no correlation is tested.",
)
_SCREENING = shown.Table(
    "screening",
    "All other pairs of attribute and reading, the clearest first",
    "screening",
    (
        shown.ATTRIBUTE,
        _READING,
        shown.number("r", "estimate", 2),
        shown.deciding(digits=2),
        shown.count("Prototypes", "n"),
        *(shown.P, shown.P_ADJUSTED, shown.yes_no("Stands out", "stands_out")),
    ),
    key=("attribute", "measure"),
)


_MEASURE = shown.each_row("Measure", lambda row, _: measure_title(row["measure"], row["unit"]), "measure", "unit")


_OF_FORCE, _OF_FLOW = ("stickiness", "work of adhesion"), ("viscosity at", "yield stress", "flow index")


def _with_curve(name: str) -> Callable[[JoinedReadings], pd.DataFrame]:
    """Return what gives rows with the kind of curve that a measure comes from; empty where it was read off."""

    def rows(found: JoinedReadings) -> pd.DataFrame:
        own: pd.DataFrame = getattr(found, name)
        of = ["force" if measure in _OF_FORCE else "flow" * measure.startswith(_OF_FLOW) for measure in own["measure"]]
        return own.assign(kind=pd.Series(of, index=own.index, dtype="str"))

    return rows


_READINGS = shown.Table(
    "readings",
    "Instrument readings: mean ± standard deviation of repeats",
    _with_curve("means"),
    (_MEASURE,),
    key=("measure", "prototype"),
    across=shown.Across(
        "prototype",
        shown.each_row(
            "",
            lambda row, _: f"{format_reading(row['estimate'])} ± {format_reading(row['sd'], 2)}",
            "estimate",
            "sd",
            figure=True,
        ),
    ),
    code="R",
    sources=(
        shown.Source("readings", same={"measure": "measure", "prototype": "prototype"}),
        shown.Source("curves", same={"kind": "kind", "prototype": "prototype"}),
    ),
)


def _repeats(row: Mapping[str, Any], _: shown.Shown) -> str:
    return words.from_to(int(row["fewest"]), int(row["most"]))


_MEASURES = shown.Table(
    "measures",
    "How well the readings repeat",
    "measures",
    (
        _MEASURE,
        shown.each_row("Readings of a prototype", _repeats, "fewest", "most", figure=True),
        shown.share("Coefficient of variation", "cv", 1),
        shown.share("Scatter, share of differences", "noise_share"),
    ),
    key=("measure",),
)


def _signed(value: float) -> str:
    written = format_reading(value)
    return f"+{written}" if value > 0 else written


def _amount_of(row: Mapping[str, Any], _: shown.Shown) -> str:
    told = with_unit(_signed(row["estimate"]), row["unit"])
    known = not math.isnan(row["ci_low"])
    return f"{told} ({_signed(row['ci_low'])} to {_signed(row['ci_high'])})" if known else told


def _in_per_cent(heading: str, low: str, high: str) -> shown.Column:
    def write(row: Mapping[str, Any], _: shown.Shown) -> str:
        if math.isnan(row[low]):
            return words.NOTHING
        ends = sorted(100 * (row[end] - 1) for end in (low, high))
        return f"{words.format_change(ends[0], 0)} to {words.format_change(ends[1], 0)}"

    return shown.each_row(heading, write, low, high, figure=True)


_READING_SWAPS = shown.Table(
    "reading_swaps",
    "What changed in the readings with each swap",
    _with_curve("swaps"),
    (
        SWAP,
        shown.text("Measure", "measure"),
        shown.count("Pairs", "n_pairs"),
        shown.each_row("Change ({level})", _amount_of, "estimate", figure=True),
        shown.each_row(
            "Change, %", lambda row, _: words.format_change(100 * (row["ratio"] - 1), 0), "ratio", figure=True
        ),
        _in_per_cent("{level}, %", "ratio_ci_low", "ratio_ci_high"),
        _in_per_cent("Lowest and highest pair, %", "ratio_lowest", "ratio_highest"),
        shown.text("Goes along with", "goes_along"),
    ),
    key=("measure", "removed", "added"),
    code="RS",
    sources=(shown.Source("readings", same={"measure": "measure"}), shown.Source("curves", same={"kind": "kind"})),
    printed=False,
    none="No reading can be compared over a swap.",
)
NUMBERS = (_READINGS, _PARTNERS, _READING_SWAPS)  # in the order of the evidence file


_QUIET = "#6e6e6e"


def _pairs_picture(result: JoinedReadings, names: Naming) -> Picture:
    told = [
        f"{names.attribute(str(row['attribute']))} with {row['measure']} {_correlation(row)}, {row['verdict']}"
        for row in result.partners.to_dict("records")
    ]
    alt = f"Correlation of each sensation with the reading declared for it, with its interval: {'; '.join(told)}."
    return Picture("partners", "Sensations and their readings", alt, partial(_pairs_figure, result, names))


def _pairs_figure(result: JoinedReadings, names: Naming, width: float = pictures.BROAD) -> Figure:
    pairs = result.partners
    sure = (pairs["verdict"] != CANNOT_TELL).to_numpy(bool)
    figure, axes = pictures.line_by_line(
        pairs.assign(colour=np.where(sure, pictures.INK, _QUIET), filled=sure),
        0.3,
        [f"{names.attribute(str(row['attribute']))} – {row['measure']}" for row in pairs.to_dict("records")],
        remarks=pairs["verdict"],
        width=width,
        limits=(-1.02, 1.02),
        x_title="r over the prototypes, with its interval: −1 opposite ways, 0 nothing, 1 together",
    )
    axes.axvline(0, color=pictures.INK, linewidth=0.8, zorder=1)
    return figure


def _scatter_picture(result: JoinedReadings, names: Naming) -> Picture:
    alt = "Panel means against readings, a mark per prototype, a part for each declared pair; the table says more."
    return Picture("scatter", "Panel and instruments", alt, partial(_scatter_figure, result, names))


def _map_picture(joint: JointMap, names: Naming) -> Picture:
    places = joint.prototypes.loc[joint.prototypes["block"] == BOTH]
    parts = [
        f"{row['prototype']} at {words.format_number(row['component_1'], 1)}, "
        f"{words.format_number(row['component_2'], 1)}"
        for row in places.to_dict("records")
    ]
    alt = f"Joint map of panel and instruments. {' '.join(_map_sentences(joint))} Places: {'; '.join(parts)}."
    return Picture("joint_map", "Joint map of panel and instruments", alt, partial(_map_figure, joint, names))


_FONT, _POINTS = 8.5, pictures.POINTS
_SIZE, _LEFT, _BOTTOM, _TOP, _LEAST = 2.1, 0.65, 0.55, 0.85, 2.7
_ROOM = 0.14  # of the range of the values, on either side
_MARK = 7.0  # size of a dot, and distance of a label from it, in points


def _scatter_figure(result: JoinedReadings, names: Naming, width: float = pictures.BROAD) -> Figure:
    """Return one scatter picture per declared pair: a mark per prototype with its name beside it.

    Thin lines are the standard deviation of repeated readings. Pairs about which the prototypes cannot say anything
    are pale.
    """
    pairs = result.partners.to_dict("records")
    key = "Lines: standard deviation of the readings. Pale: cannot tell."
    figure, parts = pictures.panels(
        len(pairs), width, least=_LEAST, tall=_SIZE, left=_LEFT, top=_TOP, bottom=_BOTTOM, head=0.3
    )
    figure.text(0.1 / width, 1 - 0.1 / figure.get_figheight(), key, fontsize=_FONT, color=pictures.INK, va="top")
    for axes, pair in zip(parts, pairs, strict=True):
        room = axes.get_position().width * width * _POINTS
        readings = result.means.loc[result.means["measure"] == pair["measure"]].set_index("prototype")
        attribute = str(pair["attribute"])
        together = readings.join(result.panel[attribute].rename("panel"), how="inner").dropna(subset=["panel"])
        _scatter(axes, together, names, 0.35 if pair["verdict"] == CANNOT_TELL else 1.0)
        unit = str(readings["unit"].iloc[0])
        measured = pictures.shortened(measure_title(str(pair["measure"]), unit), _FONT, room)
        axes.set_xlabel(measured, fontsize=_FONT, color=pictures.INK)
        axes.set_ylabel(names.with_scale("Panel mean"), fontsize=_FONT, color=pictures.INK)
        r = f"r = {_correlation(pair)}"
        worded = (names.attribute(attribute), r, str(pair["verdict"]))
        title = "\n".join(line for each in worded for line in pictures.wrapped(each, _FONT, room, 2))
        axes.set_title(title, fontsize=_FONT, color=pictures.INK, loc="left")
    return figure


def _scatter(axes: Axes, together: pd.DataFrame, names: Naming, strength: float) -> None:
    from matplotlib.ticker import MaxNLocator

    for prototype, x, y in zip(together.index, together["estimate"], together["panel"], strict=True):
        pictures.draw_prototype(axes, names, str(prototype), (x, y), alpha=strength)
    known = together.dropna(subset=["sd"])
    ends = known["estimate"] - known["sd"], known["estimate"] + known["sd"]
    axes.hlines(known["panel"], *ends, color=pictures.GREY, linewidth=1.0, zorder=2)
    axes.set(xlim=_limits(pd.concat([together["estimate"], *ends])), ylim=_limits(together["panel"]))
    _label(axes, together)
    pictures.plain(axes)
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(MaxNLocator(4))


def _label(axes: Axes, together: pd.DataFrame) -> None:
    """Write each prototype's name where it covers neither a dot nor another name."""
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    place, inch = axes.get_window_extent(), axes.figure.dpi / _POINTS
    wide, side = place.width / inch, place.height / inch
    across = (together["estimate"].to_numpy(dtype=float) - left) / (right - left)
    up = (together["panel"].to_numpy(dtype=float) - low) / (high - low)
    labels = [pictures.shortened(str(name), _FONT, 0.33 * wide) for name in together.index]
    points = [np.column_stack([across, up])]
    # The lines are in the way as well: a row of points along each, without a label of their own.
    for x, y, half in zip(across, up, together["sd"].fillna(0.0) / (right - left), strict=True):
        along = np.linspace(x - half, x + half, max(2, int(2 * half * wide / _MARK) + 2))
        points.append(np.column_stack([along, np.full_like(along, y)]))
    _write(axes, labels, np.vstack(points) * (wide, side), (wide, side), [pictures.INK] * len(labels))


def _limits(values: pd.Series) -> tuple[float, float]:
    low, high = float(values.min()), float(values.max())
    room = _ROOM * ((high - low) or abs(high) or 1.0)
    return low - room, high + room


_SIDE, _MAP_LEFT, _BETWEEN, _STACKED_BELOW = 3.6, 0.6, 0.25, 6.0
_MAP_ROOM = 0.12  # of the longer range, on either side
_LOOK = {PANEL: (_QUIET, "^"), INSTRUMENTS: (_QUIET, "s"), BOTH: (pictures.INK, "o")}
_WORDING = {PANEL: "as the panel sees it", INSTRUMENTS: "as the instruments see it", BOTH: "both together"}


def _map_figure(joint: JointMap, names: Naming, width: float = pictures.BROAD) -> Figure:
    """Return the joint map: the prototypes, and beside or under them what increases which way.

    Each prototype stands where both blocks together place it, with a line to where the panel (triangle) and the
    instruments (square) alone would.
    """
    from matplotlib.figure import Figure
    from matplotlib.lines import Line2D

    signs = [
        Line2D([], [], color=_LOOK[block][0], marker=_LOOK[block][1], linestyle="none", markersize=5, label=worded)
        for block, worded in _WORDING.items()
    ]
    head = pictures.key_lines(list(_WORDING.values()), width)[1] + 0.35
    beside = width > _STACKED_BELOW
    side = (width - _MAP_LEFT - 0.1) / (2.1 if beside else 1.0)
    side = min(side, _SIDE)
    across = width - (_MAP_LEFT + side + _BETWEEN if beside else 0.2)
    height = head + (side + 0.6) * (1 if beside else 2)
    figure = Figure(figsize=(width, height))
    low, tall = 1 - (head + side) / height, side / height
    places = figure.add_axes((_MAP_LEFT / width, low, side / width, tall))
    if beside:
        columns = figure.add_axes(((_MAP_LEFT + side + _BETWEEN) / width, low, across / width, tall))
    else:
        columns = figure.add_axes((0.1 / width, 0.1 / height, across / width, tall))
    _draw_places(places, joint.prototypes, names, side)
    for axis, component in ((places.xaxis, 1), (places.yaxis, 2)):
        share = joint.components["share"].iloc[component - 1]
        axis.set_label_text(f"Component {component} ({words.format_share(share)})", fontsize=_FONT, color=pictures.INK)
    places.set_title("Prototypes", fontsize=_FONT + 1, color=pictures.INK)
    _draw_columns(columns, joint.columns, names, (across, side))
    columns.set_title("Which way attributes and readings increase", fontsize=_FONT + 1, color=pictures.INK)
    pictures.write_key(figure, signs)
    return figure


def _draw_places(axes: Axes, prototypes: pd.DataFrame, worded: Naming, inches: float) -> None:
    points = {
        block: rows[["component_1", "component_2"]].to_numpy(dtype=float) for block, rows in prototypes.groupby("block")
    }
    low, high = np.vstack(list(points.values())).min(axis=0), np.vstack(list(points.values())).max(axis=0)
    centre, half = (low + high) / 2, (0.5 + _MAP_ROOM) * float((high - low).max())
    axes.set(xlim=(centre[0] - half, centre[0] + half), ylim=(centre[1] - half, centre[1] + half), aspect="equal")
    axes.axhline(0, color=pictures.FAINT, linewidth=0.8, zorder=0)
    axes.axvline(0, color=pictures.FAINT, linewidth=0.8, zorder=0)
    for block in (PANEL, INSTRUMENTS, BOTH):
        colour, shape = _LOOK[block]
        for (x, y), (middle_x, middle_y) in zip(points[block], points[BOTH], strict=True):
            axes.plot([middle_x, x], [middle_y, y], color=colour, linewidth=0.9, zorder=2)
        if block != BOTH:
            axes.scatter(points[block][:, 0], points[block][:, 1], s=18, color=colour, marker=shape, zorder=3)
    side = inches * _POINTS
    everything = np.vstack([points[block] for block in (BOTH, PANEL, INSTRUMENTS)])
    names = [str(name) for name in prototypes.loc[prototypes["block"] == BOTH, "prototype"]]
    for name, at in zip(names, points[BOTH], strict=True):
        pictures.draw_prototype(axes, worded, name, tuple(at))
    names = [pictures.shortened(name, _FONT, 0.4 * side) for name in names]
    _write(axes, names, (everything - centre + half) / (2 * half) * side, (side, side), [pictures.INK] * len(names))
    axes.tick_params(labelsize=_FONT - 1, colors=pictures.INK)
    axes.spines[["top", "right"]].set_visible(False)


def _draw_columns(axes: Axes, columns: pd.DataFrame, names: Naming, inches: tuple[float, float]) -> None:
    from matplotlib.patches import Circle

    wide = columns.pivot_table(index=["block", "name"], columns="component", values="loading", sort=False)
    points = wide[[1, 2]].to_numpy(dtype=float)
    blocks = [str(block) for block, _ in wide.index]
    reach = 1.08
    stretch = inches[0] / inches[1]
    axes.set(xlim=(-reach * stretch, reach * stretch), ylim=(-reach, reach), aspect="equal")
    axes.axis("off")
    axes.add_patch(Circle((0, 0), 1, fill=False, edgecolor=pictures.FAINT, linewidth=0.8))
    axes.plot([-1, 1], [0, 0], color=pictures.FAINT, linewidth=0.8, zorder=0)
    axes.plot([0, 0], [-1, 1], color=pictures.FAINT, linewidth=0.8, zorder=0)
    for block, (x, y) in zip(blocks, points, strict=True):
        colour, shape = _LOOK[block]
        axes.plot([0, x], [0, y], color=colour, linewidth=0.6, alpha=0.5, zorder=1)
        axes.plot([x], [y], color=colour, marker=shape, markersize=5, linestyle="none", zorder=3)
    labels = [
        names.attribute(str(name)) if block == PANEL else str(name)
        for block, (_, name) in zip(blocks, wide.index, strict=True)
    ]
    box = inches[0] * _POINTS, inches[1] * _POINTS
    labels = [pictures.shortened(label, _FONT, 0.42 * box[0]) for label in labels]
    scaled = (points / reach / np.array([stretch, 1.0]) + 1) / 2 * np.array(box)
    _write(axes, labels, scaled, box, [_LOOK[block][0] for block in blocks])


def _write(
    axes: Axes, labels: Sequence[str], points: NDArray[np.float64], box: tuple[float, float], colours: Sequence[str]
) -> None:
    """Write a label beside each of the first points; the further points are only in the way."""
    sizes = [(pictures.text_width(worded, _FONT), 1.3 * _FONT) for worded in labels]
    sizes += [(0.0, 0.0)] * (len(points) - len(labels))
    places = pictures.place_labels(points, sizes, box, _MARK)[: len(labels)] / np.array(box)
    starts = points[: len(labels)] / np.array(box)
    for worded, place, start, size, colour in zip(labels, places, starts, sizes, colours, strict=False):
        gap = np.abs(place - start) * np.array(box) - np.array(size) / 2
        if gap.max() > 1.5 * _MARK:
            led = np.column_stack([start, place])
            axes.plot(*led, transform=axes.transAxes, color=pictures.GREY, linewidth=0.5, zorder=1)
        look: dict[str, Any] = {"fontsize": _FONT, "color": colour, "ha": "center", "va": "center", "zorder": 4}
        axes.text(place[0], place[1], worded, transform=axes.transAxes, **look)
