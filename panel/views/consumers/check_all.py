"""Which words people tick for which prototype, and which go with liking: in plain lines made from the numbers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from numpy.typing import NDArray

from panel.errors import ModelError
from panel.models.consumers.check_all import FEW_CONSUMERS, LEAST_TICKS, CheckAll, TermMap
from panel.stats.comparing.estimability import below
from panel.views.drawing.interval_picture import interval_figure, needed_limits
from panel.views.drawing.pictures import COLOURS, FAINT, GREY, INK, place_labels, svg_text, text_width
from panel.words import (
    NOTHING,
    counted_share,
    format_change,
    format_interval,
    format_list,
    format_number,
    format_p,
    format_share,
    p_after_holm,
)


def check_all_headline(result: CheckAll) -> str:
    """Return the answer in one sentence: how many terms tell the prototypes apart, and which do not."""
    apart = below(result.terms["p_adjusted"], 1 - result.level)
    total, told = len(apart), int(apart.sum())
    rest = [str(name) for name in result.terms.loc[~apart, "term"]]
    if not told:
        return "No term is ticked more for one prototype than for another, as far as these answers can tell."
    if told == total:
        return f"The prototypes are told apart by {'the term' if total == 1 else f'all {total} terms'}."
    return f"{told} of {total} terms tell the prototypes apart; not {format_list(rest)}."


def what_the_terms_show(result: CheckAll) -> list[str]:
    """Return one plain line per term, in the order of the ballot."""
    own = {str(name): rows for name, rows in result.shares.groupby("term", sort=False)}
    return [_line(row, own[str(row["term"])], result) for row in result.terms.to_dict("records")]


def what_goes_with_liking(result: CheckAll) -> list[str]:
    """Return one line for each term that goes with liking, the strongest first, and one for the rest."""
    if not result.liking:
        return ["Without a liking question nothing can be said about which terms go with liking."]
    rows = result.lift.assign(size=result.lift["estimate"].abs()).sort_values("size", ascending=False, kind="stable")
    seen = rows.loc[below(rows["p_adjusted"], 1 - result.level)]
    lines = [_lift(row, result) for row in seen.to_dict("records")]
    if len(seen) < len(rows):
        rest = format_list([str(name) for name in rows.loc[~rows.index.isin(seen.index), "term"]])
        lines.append(f"No difference in liking is shown for {rest}. That does not show that there is none.")
    few = [str(name) for name in rows.loc[rows["few"], "term"]]
    if few:
        lines.append(f"Fewer than {LEAST_TICKS} answers on one side, so hardly anything to go by: {format_list(few)}.")
    return lines


def term_map_words(result: CheckAll) -> list[str]:
    """Return what the map shows and how far to trust it."""
    if result.map is None:
        return ["There is no map: fewer than two terms or two prototypes were ticked."]
    shares = result.map.components["share"]
    shown = format_share(min(float(shares.iloc[:2].sum()), 1.0))
    return [
        f"The map shows {shown} of what sets the prototypes apart in the ticks. A term lies in the direction of the "
        "prototypes it is ticked for more than others are; how near a term lies to a prototype says nothing.",
        "The ticks of one consumer belong together, so no test goes with the map; the tests are those of the terms.",
    ]


def what_check_all_cannot_show(result: CheckAll) -> tuple[str, ...]:
    """Return what a reader must not take from ticked terms."""
    return (
        "A tick says that a word came to mind, not how strong the feeling was; a term left open is not a no.",
        "That a term goes with liking does not show that it makes the liking: people who like a product also tick its "
        "pleasant words.",
        f"A map of terms takes about {FEW_CONSUMERS} consumers (common practice, no source); other people may use the "
        "words differently.",
    )


def _line(row: Mapping[Any, Any], shares: pd.DataFrame, result: CheckAll) -> str:
    test = "not tested" if np.isnan(row["p_value"]) else _test(row)
    if not below(row["p_adjusted"], 1 - result.level):
        ticked = counted_share(int(row["ticked"]), int(row["base"]))
        told = f"{row['term']}: no difference shown ({test}); ticked {ticked}."
    else:
        most, least = (shares.loc[[shares["share"].idxmax()]], shares.loc[[shares["share"].idxmin()]])
        ends = [
            f"{end['prototype'].iloc[0]}, {counted_share(int(end['ticked'].iloc[0]), int(end['base'].iloc[0]))}"
            for end in (most, least)
        ]
        told = f"{row['term']}: ticked most for {ends[0]}; least for {ends[1]}. {test[0].upper()}{test[1:]}."
    return f"{told} Rarely ticked, so it tells little." if row["rare"] else told


def _test(row: Mapping[Any, Any]) -> str:
    if np.isnan(row["statistic"]):
        return "every consumer ticked it everywhere or nowhere"
    exact = "exact " if row["exact"] else ""
    return f"Q {format_number(row['statistic'])}, {exact}{p_after_holm(row['p_adjusted'])}"


def _lift(row: Mapping[Any, Any], result: CheckAll) -> str:
    higher = "higher" if row["estimate"] > 0 else "lower"
    ends = sorted((abs(row["ci_low"]), abs(row["ci_high"])))
    told = (
        f"{row['term']}: where it is ticked liking is {format_number(abs(row['estimate']))} {higher} "
        f"({100 * result.level:g} % interval {format_interval(ends[0], ends[1])}, {p_after_holm(row['p_adjusted'])}; "
        f"{row['n_consumers']} consumers)."
    )
    within = row["within_estimate"]
    if np.isnan(within):
        return told
    seen = below(row["within_p_adjusted"], 1 - result.level)
    same = "the same holds" if seen and within * row["estimate"] > 0 else "it is not sure"
    return f"{told} Within consumers {same} ({format_number(within, 1)})."


# Check-all results as tables a person reads.


def term_counts_table(result: CheckAll) -> pd.DataFrame:
    """Return one row per term and one column per prototype: count, base and per cent."""
    rows = result.shares
    told = [counted_share(int(x), int(n)) for x, n in zip(rows["ticked"], rows["base"], strict=True)]
    cell = dict(zip(zip(rows["term"], rows["prototype"], strict=True), told, strict=True))
    terms, prototypes = (list(dict.fromkeys(rows[name])) for name in ("term", "prototype"))
    columns = {str(prototype): [cell.get((term, prototype), NOTHING) for term in terms] for prototype in prototypes}
    return pd.DataFrame({"Term": terms} | columns, dtype="str")


def term_tests_table(result: CheckAll) -> pd.DataFrame:
    """Return one row per term: how often ticked, Cochran's Q, who was lost for it."""
    rows = result.terms
    return pd.DataFrame(
        {
            "Term": list(rows["term"]),
            "Ticked": [counted_share(int(x), int(n)) for x, n in zip(rows["ticked"], rows["base"], strict=True)],
            "Rare": ["rare" if rare else "" for rare in rows["rare"]],
            "Cochran's Q": [format_number(value) for value in rows["statistic"]],
            "Degrees of freedom": [f"{df:d}" for df in rows["df"]],
            "p": [format_p(value) for value in rows["p_value"]],
            "p after Holm": [format_p(value) for value in rows["p_adjusted"]],
            "Way": ["exact" if exact else "chi-square" for exact in rows["exact"]],
            "Consumers": [f"{n:d}" for n in rows["n_consumers"]],
            "Lost (not all prototypes)": [f"{n:d}" for n in rows["n_lost"]],
        },
        dtype="str",
    )


def term_pairs_table(result: CheckAll) -> pd.DataFrame:
    """Return one row per term and pair of prototypes, from the larger difference to the smaller within a term."""
    rows = result.pairs
    return pd.DataFrame(
        {
            "Term": list(rows["term"]),
            "Prototype": list(rows["prototype"]),
            "Compared with": list(rows["versus"]),
            "Consumers": [f"{n:d}" for n in rows["n"]],
            "Ticked for the first only": [f"{n:d}" for n in rows["only_prototype"]],
            "Ticked for the second only": [f"{n:d}" for n in rows["only_versus"]],
            "Difference in points of per cent": [format_change(100 * value) for value in rows["estimate"]],
            "p after Holm": [format_p(value) for value in rows["p_adjusted"]],
        },
        dtype="str",
    )


def lift_table(result: CheckAll) -> pd.DataFrame:
    """Return one row per term: liking where it is ticked minus where it is not, plain and within consumers."""
    rows = result.lift
    level = f"{100 * result.level:g} % interval"
    return pd.DataFrame(
        {
            "Term": list(rows["term"]),
            "Answers ticked": [f"{n:d}" for n in rows["n_ticked"]],
            "Not ticked": [f"{n:d}" for n in rows["n_not"]],
            "Liking, ticked minus not": [format_change(value) for value in rows["estimate"]],
            level: [format_interval(a, b) for a, b in zip(rows["ci_low"], rows["ci_high"], strict=True)],
            "p after Holm": [format_p(value) for value in rows["p_adjusted"]],
            "Within consumers": [format_change(value) for value in rows["within_estimate"]],
            f"{level} within": [
                format_interval(a, b) for a, b in zip(rows["within_ci_low"], rows["within_ci_high"], strict=True)
            ],
            "p after Holm, within": [format_p(value) for value in rows["within_p_adjusted"]],
        },
        dtype="str",
    )


def term_components_table(result: CheckAll) -> pd.DataFrame:
    """Return one row per component of the map; without rows if there is none."""
    if result.map is None:
        return pd.DataFrame({"Component": [], "Canonical correlation": [], "Inertia": [], "Share": []}, dtype="str")
    rows = result.map.components
    return pd.DataFrame(
        {
            "Component": [f"{number:d}" for number in rows["component"]],
            "Canonical correlation": [format_number(value, 3) for value in rows["correlation"]],
            "Inertia": [format_number(value, 4) for value in rows["inertia"]],
            "Share": [format_share(value, 1) for value in rows["share"]],
        },
        dtype="str",
    )


# The map of check-all terms, and how much liking changes where a term is ticked.


Floats = NDArray[np.float64]

_FONT = 9.0  # points
_POINTS = 72.0  # to the inch
_WIDTH, _LEAST, _MOST = 7.2, 4.2, 6.5  # inches
_LEFT, _BOTTOM, _TOP, _RIGHT = 0.7, 0.6, 0.45, 0.15
_LINE = 1.45  # height of a line of text, in font sizes
_ROUND = 0.09  # free part of the picture on each side
_ROW = 0.26  # inches, one term of the liking picture
_TERM, _PROTOTYPE = (COLOURS[0], "o"), (COLOURS[1], "s")


def term_map_figure(result: CheckAll) -> Figure:
    """Return the map: terms as blue dots, prototypes as large red squares; ModelError if there is none."""
    if result.map is None:
        raise ModelError("There is no map of the terms to draw.")
    points, labels, is_term = _points(result.map)
    span = np.maximum(np.ptp(points, axis=0), 1e-9)
    tall = float(np.clip(_WIDTH * span[1] / span[0], _LEAST, _MOST))
    width, height = _LEFT + _WIDTH + _RIGHT, _BOTTOM + tall + _TOP
    figure = Figure(figsize=(width, height))
    axes = figure.add_axes((_LEFT / width, _BOTTOM / height, _WIDTH / width, tall / height))
    axes.axhline(0, color=FAINT, linewidth=0.8, zorder=0)
    axes.axvline(0, color=FAINT, linewidth=0.8, zorder=0)
    _draw(axes, points, labels, is_term, np.array([_WIDTH, tall]) * _POINTS)
    shares = [format_share(value) for value in result.map.components["share"]]
    axes.set_xlabel(f"Component 1 ({shares[0]} of the differences in ticks)", fontsize=_FONT, color=INK)
    if len(shares) > 1:
        axes.set_ylabel(f"Component 2 ({shares[1]})", fontsize=_FONT, color=INK)
    axes.tick_params(labelsize=_FONT - 1, colors=INK)
    axes.spines[["top", "right"]].set_visible(False)
    handles = [
        Line2D([], [], linestyle="none", marker=shape, color=colour, markeredgecolor=INK, label=label)
        for (colour, shape), label in ((_TERM, "term"), (_PROTOTYPE, "prototype"))
    ]
    axes.legend(handles=handles, loc="lower left", bbox_to_anchor=(0, 1), ncols=2, fontsize=_FONT, frameon=False)
    return figure


def _draw(axes: Axes, points: Floats, labels: list[str], is_term: list[bool], box: Floats) -> None:
    """Draw the points with labels that keep out of each other's way; `box` is the size of the picture in points."""
    span = np.maximum(np.ptp(points, axis=0), 1e-9)
    unit = float((span / box).max()) / (1 - 2 * _ROUND)  # both components on the same scale
    corner = (points.min(axis=0) + points.max(axis=0)) / 2 - unit * box / 2
    axes.set(xlim=(corner[0], corner[0] + unit * box[0]), ylim=(corner[1], corner[1] + unit * box[1]))
    sizes = [(text_width(label, _FONT), _FONT * _LINE) for label in labels]
    in_box = (points - corner) / unit
    centres = place_labels(in_box, sizes, (float(box[0]), float(box[1])), distance=0.65 * _FONT)
    far = np.maximum(np.abs(centres - in_box) - np.array(sizes) / 2, 0).max(axis=1) > _FONT
    for (x, y), (to_x, to_y), label, term, led in zip(
        points, corner + centres * unit, labels, is_term, far, strict=True
    ):
        colour, shape = _TERM if term else _PROTOTYPE
        if led:
            axes.plot([x, to_x], [y, to_y], color=GREY, linewidth=0.6, zorder=1)
        axes.plot([x], [y], shape, color=colour, markersize=5 if term else 8, markeredgecolor=INK, zorder=2)
        weight = "normal" if term else "bold"
        axes.text(to_x, to_y, label, fontsize=_FONT, color=INK, ha="center", va="center", fontweight=weight, zorder=3)


def _points(found: TermMap) -> tuple[Floats, list[str], list[bool]]:
    """Return where terms and prototypes lie on the first two components, their labels, and which are terms."""
    columns = [name for name in ("component_1", "component_2") if name in found.terms]
    parts = [frame[columns].to_numpy(dtype=float) for frame in (found.prototypes, found.terms)]
    points = np.vstack(parts)
    if points.shape[1] == 1:
        points = np.column_stack([points, np.zeros(len(points))])
    labels = [*map(str, found.prototypes["prototype"]), *map(str, found.terms["term"])]
    return points, labels, [number >= len(parts[0]) for number in range(len(points))]


def term_map_svg(result: CheckAll, *, text_as_paths: bool = True) -> str:
    """Return the map as SVG text."""
    return svg_text(
        term_map_figure(result),
        title="Map of the check-all terms",
        description="Terms and prototypes on the first two components of the counts; the tables hold the numbers.",
        text_as_paths=text_as_paths,
    )


def lift_figure(result: CheckAll) -> Figure:
    """Return how much liking differs where a term is ticked, from the most welcome term down; hollow: can be chance."""
    rows = result.lift.dropna(subset=["estimate"]).sort_values("estimate", ascending=False, kind="stable")
    if rows.empty:
        raise ModelError("There is no liking beside the terms to draw.")
    rows = rows.assign(
        y=_ROW * (np.arange(len(rows)) + 0.5),
        colour=COLOURS[0],
        shape="o",
        filled=below(rows["p_adjusted"], 1 - result.level),
    )
    figure, axes = interval_figure(
        rows,
        _ROW * len(rows),
        [(float(y), str(term)) for y, term in zip(rows["y"], rows["term"], strict=True)],
        limits=needed_limits(rows, 0.0),
        x_title="Liking where it is ticked minus where it is not (hollow: can be chance)",
    )
    axes.axvline(0, color=GREY, linewidth=0.8, zorder=1)
    return figure


def lift_svg(result: CheckAll, *, text_as_paths: bool = True) -> str:
    """Return the picture of liking as SVG text."""
    return svg_text(
        lift_figure(result),
        title="Terms and liking",
        description="Mean liking where a term is ticked minus where it is not, with intervals, by term.",
        text_as_paths=text_as_paths,
    )
