"""Which words people tick for which prototype, and which go with liking: in plain lines made from the numbers."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from panel import words
from panel.models.consumers.check_all import FEW_CONSUMERS, LEAST_TICKS, CheckAll
from panel.stats.arrays import Array
from panel.study import shown
from panel.study.naming import Naming
from panel.views import pictures
from panel.views.told import Item, Picture, Told, drawer

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_TERM = shown.text("Term", "term")
_OF_TERM = shown.Source("answers", same={"term": "question"}, only={"kind": ("check_all",)})

_TERM_COUNTS = shown.Table(
    name="term_counts",
    title="Ticks of each term",
    rows="shares",
    columns=(_TERM,),
    key=("term", "prototype"),
    across=shown.Across("prototype", shown.of_share("", "ticked", "base")),
    code="X",
    sources=(
        shown.Source("answers", same={"term": "question", "prototype": "prototype"}, only={"kind": ("check_all",)}),
    ),
)
_TERM_TESTS = shown.Table(
    name="term_tests",
    title="Do the prototypes differ in how often a term is ticked?",
    rows="terms",
    columns=(
        *(_TERM, shown.of_share("Ticked", "ticked", "base"), shown.yes_no("Rare", "rare", "rare", "")),
        *(shown.number("Cochran's Q", "statistic"), shown.count("Degrees of freedom", "df"), shown.P, shown.P_HOLM),
        shown.yes_no("Way", "exact", "exact", "chi-square"),
        *(shown.count("Consumers", "n_consumers"), shown.count("Lost (not all prototypes)", "n_lost")),
    ),
    key=("term",),
    code="XT",
    sources=(_OF_TERM,),
)
_TERM_PAIRS = shown.Table(
    name="term_pairs",
    title="Each term, all pairs of prototypes",
    rows="pairs",
    columns=(
        *(_TERM, shown.PROTOTYPE, shown.VERSUS, shown.count("Consumers", "n")),
        shown.count("Ticked for the first only", "only_prototype"),
        shown.count("Ticked for the second only", "only_versus"),
        *(shown.change("Difference in points of per cent", digits=1, factor=100.0), shown.P_HOLM),
    ),
    key=("term", "prototype", "versus"),
    code="XA",
    sources=(
        shown.Source(
            "answers", same={"term": "question"}, only={"kind": ("check_all",)}, direct=("prototype", "versus")
        ),
    ),
    printed=False,
)
_LIFT = shown.Table(
    name="terms_and_liking",
    title="Terms and liking",
    rows="lift",
    columns=(
        *(_TERM, shown.count("Answers ticked", "n_ticked"), shown.count("Not ticked", "n_not")),
        *(shown.change("Liking, ticked minus not", digits=1), shown.deciding(digits=1), shown.P_HOLM),
        shown.change("Within consumers", "within_estimate", digits=1),
        shown.deciding("within_told_low", "within_told_high", "within_told_level", "Interval that decides, within", 1),
        shown.p_value("p after Holm, within", "within_p_adjusted"),
    ),
    key=("term",),
    code="XL",
    sources=lambda found: (_OF_TERM, shown.Source("answers", only={"question": (found.liking,)})),
    none="There is no liking question that the terms could be held against.",
)
NUMBERS = (_TERM_COUNTS, _TERM_TESTS, _LIFT, _TERM_PAIRS)
"""Its tables of numbers, in the order of the evidence file."""
_COMPONENTS = shown.Table(
    name="term_components",
    title="Components of the map",
    rows=lambda found: found.map["components"],
    columns=(
        *(shown.count("Component", "component"), shown.number("Canonical correlation", "correlation", 3)),
        *(shown.number("Inertia", "inertia", 4), shown.share("Share", digits=1)),
    ),
)


def tell_check_all(result: CheckAll, names: Naming) -> Told:
    """Return what is told of the ticked terms."""
    liked: tuple[Item, ...] = ()
    if result.lift["estimate"].notna().any():
        liked = (*_lift_lines(result), _lift_picture(result), _LIFT)
    return Told(
        result,
        names,
        _headline(result),
        _map_picture(result, names) if result.map else None,
        mind=(*result.untold[:1], *_liking_in_short(result)),
        table=_TERM_COUNTS,
        drawers=(
            drawer("How often each term was ticked", _TERM_COUNTS),
            drawer("Terms and liking", *liked),
            drawer("How to read the map", *_map_words(result), *([_COMPONENTS] if result.map else [])),
            drawer("Term by term: do the prototypes differ?", *_term_lines(result), _TERM_TESTS),
            drawer("All pairs of prototypes, term by term", _TERM_PAIRS),
        ),
        cannot=_CANNOT,
    )


_CANNOT = (
    "A tick says that a word came to mind, not how strong the feeling was; a term left open is not a no.",
    "That a term goes with liking does not show that it makes the liking: people who like a product also tick its "
    "pleasant words.",
    f"A map of terms takes about {FEW_CONSUMERS} consumers (common practice, no source); other people may use the "
    "words differently.",
)


def _headline(result: CheckAll) -> str:
    """Return the answer in one sentence: how many terms tell the prototypes apart."""
    apart = result.terms["differs"]
    total, told = len(apart), int(apart.sum())
    rest = [str(name) for name in result.terms.loc[~apart, "term"]]
    pairs = result.pairs.loc[result.pairs["differs"]].to_dict("records")
    seen = [f"{row['term']} ({row['prototype']} and {row['versus']})" for row in pairs]
    if not result.terms["n_consumers"].any():
        stands = words.format_list(seen or ["nothing"])
        return f"No term could be tested over all prototypes at once; pair by pair {stands} stands out."
    if not told and seen:
        return (
            "Over all prototypes at once no term tells them apart, as far as these answers can tell; pair by pair "
            f"{words.format_list(seen)} stands out."
        )
    if not told:
        return "No term is ticked more for one prototype than for another, as far as these answers can tell."
    if told == total:
        term = words.quoted(str(result.terms["term"].iloc[0]))
        return f"The prototypes are told apart by {term if total == 1 else words.all_of(total, 'term')}."
    if len(rest) < min(3, told):
        return f"All {total} terms but {words.format_list(rest)} tell the prototypes apart."
    return f"{told} of {total} terms {'tells' if told == 1 else 'tell'} the prototypes apart."


def _liking_in_short(result: CheckAll) -> tuple[str, ...]:
    """Return in one sentence which terms go with liking more, and which with liking less."""
    if not result.liking:
        return ()
    seen = _strongest_first(result)
    if seen.empty:
        return (_only_within(result) or f"For none of the terms is a difference in liking shown; {_MAY_BE}",)
    parts = []
    for way, rows in (("better", seen.loc[seen["estimate"] > 0]), ("less", seen.loc[seen["estimate"] < 0])):
        if len(rows):
            parts.append(f"liked {way} where these are ticked: {words.first_few(list(rows['term']))}")
    unsure = seen.loc[seen["within_estimate"].notna() & ~seen["within_shown"].astype(bool), "term"]
    but = f" Between answers of the same consumer that is not shown for {words.first_few(list(unsure))}."
    told = f"{words.capital('; '.join(parts))}.{but * bool(len(unsure))}"
    return (f"{told} What makes the liking these answers do not show.",)


_MAY_BE = "that does not show that there is none."


def _only_within(result: CheckAll) -> str:
    """Return of which terms a difference is shown only between answers of one consumer; empty where of none."""
    only = [str(name) for name in result.lift.loc[result.lift["within_shown"] & ~result.lift["shown"], "term"]]
    told = f"Between answers of the same consumer liking differs with {words.format_list(only)}"
    return f"{told}; over all answers together that is not shown." if only else ""


def _strongest_first(result: CheckAll) -> pd.DataFrame:
    seen = result.lift.loc[result.lift["shown"]]
    return seen.reindex(seen["estimate"].abs().sort_values(ascending=False, kind="stable").index)


def _lift_lines(result: CheckAll) -> list[str]:
    """Return one line for each term that goes with liking, the strongest first, and how far to trust the others."""
    seen = _strongest_first(result)
    lines = [*map(_lift, seen.to_dict("records")), *filter(None, [_only_within(result)])]
    rest = int((~result.lift["shown"] & ~result.lift["within_shown"]).sum())
    if rest and lines:
        others = "the other term" if rest == 1 else f"the other {rest} terms"
        lines.append(f"For {others} no difference in liking is shown; {_MAY_BE}")
    few = [str(name) for name in result.lift.loc[result.lift["few"], "term"]]
    if few:
        lines.append(
            f"Fewer than {LEAST_TICKS} answers on one side, so hardly anything to go by: {words.format_list(few)}."
        )
    return lines


def _lift(row: Mapping[Any, Any]) -> str:
    higher = "higher" if row["estimate"] > 0 else "lower"
    ends = sorted((abs(row["told_low"]), abs(row["told_high"])))
    told = (
        f"{row['term']}: where it is ticked liking is {words.format_number(abs(row['estimate']))} {higher} "
        f"({words.level_words(row['told_level'])} {words.format_interval(ends[0], ends[1])}, "
        f"{words.p_after_holm(row['p_adjusted'])}; {words.counted(int(row['n_consumers']), 'consumer')})."
    )
    within = row["within_estimate"]
    if np.isnan(within):
        return told
    same = "the same holds" if row["within_shown"] and within * row["estimate"] > 0 else "it is not sure"
    return f"{told} Within consumers {same} ({words.format_number(within)})."


def _map_words(result: CheckAll) -> list[str]:
    """Return what the map shows and how far to trust it."""
    if not result.map:
        return ["There is no map: fewer than two terms or two prototypes were ticked."]
    shares = result.map["components"]["share"]
    seen = words.format_share(min(float(shares.iloc[:2].sum()), 1.0))
    return [
        f"The map shows {seen} of what sets the prototypes apart in the ticks. A term lies in the direction of the "
        "prototypes it is ticked for more than others are; how near a term lies to a prototype says nothing.",
        "The ticks of one consumer belong together, so no test goes with the map; the tests are those of the terms.",
    ]


def _term_lines(result: CheckAll) -> list[str]:
    own = {str(name): rows for name, rows in result.shares.groupby("term", sort=False)}
    return [_line(row, own[str(row["term"])]) for row in result.terms.to_dict("records")]


def _line(row: Mapping[Any, Any], shares: pd.DataFrame) -> str:
    test = "not tested" if np.isnan(row["p_value"]) else _test(row)
    if not row["differs"]:
        ticked = words.counted_share(int(row["ticked"]), int(row["base"]))
        told = f"{row['term']}: no difference shown ({test}); ticked {ticked}."
    else:
        most, least = (shares.loc[[shares["share"].idxmax()]], shares.loc[[shares["share"].idxmin()]])
        ends = [
            f"{end['prototype'].iloc[0]}, {words.counted_share(int(end['ticked'].iloc[0]), int(end['base'].iloc[0]))}"
            for end in (most, least)
        ]
        told = f"{row['term']}: ticked most for {ends[0]}; least for {ends[1]}. {words.capital(test)}."
    return f"{told} Rarely ticked, so it tells little." if row["rare"] else told


def _test(row: Mapping[Any, Any]) -> str:
    if np.isnan(row["statistic"]):
        return "every consumer ticked it everywhere or nowhere"
    exact = "exact " if row["exact"] else ""
    return f"Q {words.format_number(row['statistic'])}, {exact}{words.p_after_holm(row['p_adjusted'])}"


_FONT = 9.0  # points
_LEAST, _MOST = 4.2, 6.5  # inches
_LEFT, _BOTTOM, _TOP, _RIGHT = 0.7, 0.6, 0.1, 0.15
_LINE = 1.45  # height of a line of text, in font sizes
_ROUND = 0.09  # free part of the picture on each side
_ROW = 0.26  # inches, one term of the liking picture


def _map_figure(found: dict[str, pd.DataFrame], names: Naming, width: float = pictures.BROAD) -> Figure:
    """Return the map: terms as small dots, prototypes as their marks."""
    points, labels, is_term = _points(found)
    span = np.maximum(np.ptp(points, axis=0), 1e-9)
    wide = width - _LEFT - _RIGHT
    tall = float(np.clip(wide * span[1] / span[0], _LEAST, _MOST))
    height = _BOTTOM + tall + _TOP
    figure, axes = pictures.framed(width, height, (_LEFT, _BOTTOM, wide, tall))
    axes.axhline(0, color=pictures.FAINT, linewidth=0.8, zorder=0)
    axes.axvline(0, color=pictures.FAINT, linewidth=0.8, zorder=0)
    _draw(axes, points, labels, is_term, names, np.array([wide, tall]) * pictures.POINTS)
    shares = [words.format_share(value) for value in found["components"]["share"]]
    axes.set_xlabel(f"Component 1 ({shares[0]} of the differences)", fontsize=_FONT, color=pictures.INK)
    if len(shares) > 1:
        axes.set_ylabel(f"Component 2 ({shares[1]})", fontsize=_FONT, color=pictures.INK)
    axes.tick_params(labelsize=_FONT - 1, colors=pictures.INK)
    axes.spines[["top", "right"]].set_visible(False)
    return figure


def _draw(axes: Axes, points: Array, labels: list[str], is_term: list[bool], names: Naming, box: Array) -> None:
    """Draw the points with labels that keep out of each other's way; `box` is the size of the picture in points."""
    span = np.maximum(np.ptp(points, axis=0), 1e-9)
    unit = float((span / box).max()) / (1 - 2 * _ROUND)  # both components on the same scale
    corner = (points.min(axis=0) + points.max(axis=0)) / 2 - unit * box / 2
    axes.set(xlim=(corner[0], corner[0] + unit * box[0]), ylim=(corner[1], corner[1] + unit * box[1]))
    cut = [pictures.shortened(label, _FONT, 0.4 * float(box[0])) for label in labels]
    sizes = [
        (pictures.text_width(label, _FONT) * (1.0 if term else 1.2), _FONT * _LINE)
        for label, term in zip(cut, is_term, strict=True)
    ]
    in_box = (points - corner) / unit
    centres = pictures.place_labels(in_box, sizes, (float(box[0]), float(box[1])), distance=0.65 * _FONT)
    far = np.maximum(np.abs(centres - in_box) - np.array(sizes) / 2, 0).max(axis=1) > _FONT
    for (x, y), (to_x, to_y), label, written, term, led in zip(
        points, corner + centres * unit, labels, cut, is_term, far, strict=True
    ):
        if led:
            axes.plot([x, to_x], [y, to_y], color=pictures.GREY, linewidth=0.6, zorder=1)
        if term:
            axes.plot([x], [y], ".", color=pictures.GREY, markersize=6, zorder=2)
        else:
            pictures.draw_prototype(axes, names, label, (x, y), size=8.0)
        look: dict[str, Any] = {"fontsize": _FONT, "color": pictures.INK, "ha": "center", "va": "center", "zorder": 3}
        axes.text(to_x, to_y, written, fontweight="normal" if term else "bold", **look)


def _points(found: dict[str, pd.DataFrame]) -> tuple[Array, list[str], list[bool]]:
    """Return where terms and prototypes lie on the first two components, their labels, and which are terms."""
    columns = [name for name in ("component_1", "component_2") if name in found["terms"]]
    parts = [frame[columns].to_numpy(dtype=float) for frame in (found["prototypes"], found["terms"])]
    points = np.vstack(parts)
    if points.shape[1] == 1:
        points = np.column_stack([points, np.zeros(len(points))])
    labels = [*map(str, found["prototypes"]["prototype"]), *map(str, found["terms"]["term"])]
    return points, labels, [number >= len(parts[0]) for number in range(len(points))]


def _map_picture(result: CheckAll, names: Naming) -> Picture:
    alt = (
        f"Terms and prototypes on the first two components of the counts. {_headline(result)} The table has the ticks."
    )
    return Picture("term_map", "Map of the ticked terms", alt, partial(_map_figure, result.map, names))


def _lift_figure(result: CheckAll, width: float = pictures.BROAD) -> Figure:
    """Return how much liking differs where a term is ticked, from the most welcome term down; hollow: can be chance."""
    rows = result.lift.dropna(subset=["estimate"]).sort_values("estimate", ascending=False, kind="stable")
    figure, axes = pictures.line_by_line(
        rows.assign(filled=rows["shown"]),
        _ROW,
        rows["term"],
        width=width,
        limits=pictures.needed_limits(rows, 0.0),
        x_title="Liking where it is ticked minus where it is not (hollow: can be chance)",
    )
    axes.axvline(0, color=pictures.GREY, linewidth=0.8, zorder=1)
    return figure


def _lift_picture(result: CheckAll) -> Picture:
    alt = "Liking where a term is ticked minus where it is not, with intervals, by term; the table has the numbers."
    return Picture("terms_and_liking", "Terms and liking", alt, partial(_lift_figure, result))
