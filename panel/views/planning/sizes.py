"""How many people it takes, and what batches buy: in one sentence, a picture of the chances, and tables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

import pandas as pd

from panel.plan.sample_size import ALL_PAIRS, ALONE, WITH_BENCHMARK, PanelSizes
from panel.plan.study_plan import BatchNumbers
from panel.study.naming import Naming
from panel.study.shown import SCALE, Across, Shown, Table, count, each_row, number, share, text
from panel.views.pictures import BROAD, GREY, INK, POINTS, framed, plain, text_width, wrapped
from panel.views.told import Drawer, Picture, Told, drawer
from panel.words import capital, format_list, format_number, format_share, format_shares

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_SHOWN_ASSESSORS = (6, 8, 10, 12, 15, 20)
_HOW = {ALL_PAIRS: "among all pairs", WITH_BENCHMARK: "among all differences from the benchmark"}


def _people_needed(row: Mapping[str, Any], about: Shown) -> str:
    tried = int(about.result.sizes["assessors"].max())
    assured, plain = (str(row[name]) if row[name] else f"more than {tried}" for name in ("assured", "assessors"))
    return assured if assured == plain else f"{assured} ({plain})"


def _times(repeats: float) -> str:
    return {1: "once", 2: "twice"}.get(int(repeats), f"{int(repeats)} times")


_NEEDED = Table(
    name="needed",
    title="People needed, by what is compared and how often each scores everything (in brackets: if the scatter is "
    "exactly what it is taken for)",
    rows="needed",
    columns=(text("What is compared", "comparison"),),
    key=("comparison", "replicates"),
    across=Across(
        "replicates", each_row("", _people_needed, "assured", figure=True), lambda value, _: capital(_times(value))
    ),
)
_SIZES = Table(
    name="sizes",
    title="What panels of different sizes find with a chance of 80 %, if the scatter is what it is taken for",
    rows="sizes",
    columns=(
        *(count("Assessors", "assessors"), count("Servings", "servings")),
        number("Standard error of a difference", "std_error", SCALE),
        *(number("One planned difference", "seen", SCALE), number("Among all pairs", "seen_pairs", SCALE)),
        *(number("Against the benchmark", "seen_benchmark", SCALE), number("A swap effect", "seen_swap", SCALE)),
        each_row(
            "Chance to find what matters (plain)",
            lambda row, _: f"{format_share(row['assurance'])} ({format_share(row['power'])})",
            "assurance",
            "power",
            figure=True,
        ),
    ),
    key=("assessors", "replicates"),
)
_SEEN = Table(
    name="seen",
    title="What the people you have can see, each attribute in the units of its own scale",
    rows=lambda frame: frame,
    columns=(
        each_row("Attribute", lambda row, about: about.names.attribute(row["attribute"]) or "planning values"),
        number("Standard error of a difference", "std_error", SCALE),
        number("Least significant difference", "least_significant", SCALE),
        *(number("One planned difference", "seen", SCALE), number("Among all pairs", "seen_pairs", SCALE)),
        *(number("Against the benchmark", "seen_benchmark", SCALE), number("A swap effect", "seen_swap", SCALE)),
    ),
    key=("attribute",),
)
BATCHES = Table(
    name="batches",
    title="What batches and repeats buy at the same number of servings",
    rows="rows",
    columns=(
        *(count("Batches of each", "batches"), count("Scores of each batch", "replicates")),
        count("Servings", "servings"),
        number("Standard error, these batches", "std_error_these", SCALE - 1),
        number("Standard error, other batches too", "std_error", SCALE - 1),
        number("Found, these batches", "seen_these", SCALE),
        number("Found, other batches too", "seen", SCALE),
        share("Chance to find it", "power"),
    ),
    key=("batches",),
)


def tell_sizes(
    result: PanelSizes,
    names: Naming,
    replicates: int,
    *,
    weighed: BatchNumbers | None = None,
    seen: pd.DataFrame | None = None,
) -> Told:
    """Tell how many people find the difference that matters when everybody scores everything so often.

    Parameters
    ----------
    names
        With the scale that is planned in.
    weighed
        What batches buy, if it is known how far they differ.
    seen
        What the people of the study can see, by attribute (`panel.plan.sample_size.what_you_can_see`).
    """

    def rows(found: PanelSizes) -> pd.DataFrame:
        return found.sizes.loc[found.sizes["replicates"] == replicates].reset_index(drop=True)

    of = result.needed.loc[result.needed["replicates"] == replicates].set_index("comparison")
    title = f"{_SIZES.title}; everything scored {_times(replicates)}"
    drawers: list[Drawer] = [
        drawer("Other comparisons and repeats", _NEEDED),
        drawer("Panels of other sizes", replace(_SIZES, title=title, rows=rows)),
    ]
    if weighed is not None:
        batches = Shown(BATCHES, weighed, names)
        drawers.append(drawer("Batches or repeats?", batches, weighed.method, *weighed.notes))
    if seen is not None:
        drawers.append(drawer("What the people you have can see, by attribute", Shown(_SEEN, seen, names)))
    return Told(
        result,
        names,
        _headline(result, names, of, replicates),
        picture=_power_picture(result, names, replicates),
        mind=tuple(_mind(result, names, of, weighed)),
        table=_NEEDED,
        drawers=tuple(drawers),
        cannot=(
            "A chance of 80 % means that one such difference in five is missed.",
            "More people make the mean more precise. They do not make one batch of each prototype stand for another.",
        ),
    )


def _size(result: PanelSizes | BatchNumbers, names: Naming) -> str:
    size = format_number(result.difference, names.digits)
    if names.scale.startswith("%"):
        return f"{size} {names.scale}"
    return f"{size} ({names.scale})" if names.scale else size


def _people(of: pd.DataFrame, comparison: str, column: str) -> int:
    return int(of[column][comparison])


def _headline(result: PanelSizes, names: Naming, of: pd.DataFrame, replicates: int) -> str:
    fewest = _people(of, ALONE, "assured")
    finds = f"find a difference of {_size(result, names)}"
    if not fewest:
        most = int(result.sizes["assessors"].max())
        return f"Not even {most} people who score everything {_times(replicates)} will probably {finds}."
    return f"{fewest} people who score everything {_times(replicates)} will probably {finds}."


def own_panel(result: PanelSizes, names: Naming, people: int, replicates: int) -> str:
    """Return in one sentence what so many people find; empty where panels of that size were not worked out."""
    sizes = result.sizes
    row = sizes.loc[(sizes["assessors"] == people) & (sizes["replicates"] == replicates), "seen"]
    if row.empty:
        return ""
    chance, seen = format_share(result.power), format_number(float(row.iloc[0]), names.digits)
    return f"With a chance of {chance} the {people} assessors of this study find one of {seen}."


def _mind(result: PanelSizes, names: Naming, of: pd.DataFrame, weighed: BatchNumbers | None) -> list[str]:
    """Return the plain number, what other comparisons take, and what batches buy."""
    most = int(result.sizes["assessors"].max())
    plain, assured = _people(of, ALONE, "assessors"), _people(of, ALONE, "assured")
    told = []
    if plain and plain != assured:
        own = of.loc[ALONE]
        sizes = result.sizes.loc[result.sizes["replicates"] == own["replicates"]].set_index("assessors")
        low, high = (sizes[f"assurance_{end}"].get(assured) for end in ("low", "high"))
        open_ones = f" (it may well be {format_shares(low, high)})" if assured else ""
        told.append(
            f"Probably: {format_share(result.power)}, averaged over what your study leaves open about the "
            f"scatter{open_ones}; if it were known exactly, {plain} people would do."
        )
    else:
        told.append(f"Probably: {format_share(result.power)}. The scatter is taken as known: {result.scatter.source}.")
    others = [f"{_people(of, c, 'assured') or f'more than {most}'} {words}" for c, words in _HOW.items()]
    told.append(
        f"That is for one difference planned beforehand; it takes {format_list(others)}, on an attribute that is "
        "tested alone or first. Among several attributes a difference also waits for the test of its own, adjusted "
        "over them all, and is found less often: give those that matter a place in the order of testing."
    )
    return [*told, *([what_batches_buy(weighed, names)] if weighed is not None else [])]


def what_batches_buy(result: BatchNumbers, names: Naming) -> str:
    """Return in one sentence which split of the same servings finds the difference most often, beside one batch."""
    rows = result.rows
    one, best = rows.iloc[0], rows.sort_values("power", ascending=False, kind="stable").iloc[0]
    start = (
        f"If batches differ by an SD of {format_number(result.batch_sd, names.digits)}, one batch of each scored "
        f"{_times(one['replicates'])} finds it with a chance of {format_share(one['power'])}"
    )
    if int(best["batches"]) == 1:
        return f"{start}; more batches with fewer repeats would not find it more often."
    return (
        f"{start}, {int(best['batches'])} batches of each scored {_times(best['replicates'])} with "
        f"{format_share(best['power'])} at the same number of servings."
    )


_FONT = 9.0  # points
_MOST_LINES = 5
_HEIGHT, _BOTTOM, _LEFT, _GAP = 3.2, 0.6, 0.75, 0.12  # inches
_DASHES: tuple[str | tuple[int, tuple[int, ...]], ...] = ("-", (0, (6, 2)), (0, (2, 2)), (0, (6, 2, 2, 2)), (0, (1, 1)))
_APART = 0.06  # of the height, between two labels


def _power_picture(result: PanelSizes, names: Naming, replicates: int) -> Picture:
    fewest = result.needed.loc[
        (result.needed["comparison"] == ALONE) & (result.needed["replicates"] == replicates), "assured"
    ]
    lines = _lines(result, int(fewest.max()), replicates)
    rows = result.sizes.loc[result.sizes["replicates"] == replicates].set_index("assessors")
    told = [f"{people} people find {format_number(float(rows['seen'][people]), names.digits)}" for people in lines]
    alt = (
        "Rising curves, one for each number of people: the larger the true difference and the more people, the larger "
        f"the chance to find it. With a chance of {format_share(result.power)}, if the scatter is known, "
        f"{format_list(told)}."
    )
    return Picture(
        "power", "Chance to find a difference", alt, partial(_power_figure, result, lines, names, replicates)
    )


def _lines(result: PanelSizes, needed: int, replicates: int) -> dict[int, pd.DataFrame]:
    """Return the curve of each panel that was worked out, the smallest first; of many those about what is needed."""
    curve = result.curve.loc[result.curve["replicates"] == replicates]
    known = {*_SHOWN_ASSESSORS, needed} & set(curve["assessors"])
    near = sorted(known, key=lambda people: (abs(people - needed) if needed else -people, people))[:_MOST_LINES]
    return {people: curve.loc[curve["assessors"] == people] for people in sorted(near)}


def _power_figure(
    result: PanelSizes, lines: Mapping[int, pd.DataFrame], names: Naming, replicates: int, width: float = BROAD
) -> Figure:
    """Return the assured chance to find a planned difference of each size, one line for each number of people."""
    tries = f"Chance to find a planned difference, {result.prototypes} prototypes scored {_times(replicates)}"
    figure, axes = _axes([f"{people} people" for people in lines], tries, width)
    end = float(result.curve["difference"].max())
    axes.set(xlim=(0, end), ylim=(0, 1.02))
    for (_, rows), dashes in zip(lines.items(), _DASHES, strict=False):
        axes.plot(rows["difference"], rows["assurance"], color=INK, linestyle=dashes, linewidth=1.4)
    heights = _spread([float(rows["assurance"].iloc[-1]) for rows in lines.values()])
    for people, dashes, height in zip(lines, _DASHES, heights, strict=False):
        axes.plot([1.02, 1.08], [height] * 2, color=INK, linestyle=dashes, transform=axes.transAxes, clip_on=False)
        axes.text(1.10, height, f"{people} people", transform=axes.transAxes, fontsize=_FONT, va="center", color=INK)
    axes.axvline(result.difference, color=GREY, linewidth=0.8, zorder=1)
    axes.axhline(result.power, color=GREY, linewidth=0.8, zorder=1)
    unit = names.scale or "scale units"
    axes.set_xlabel(f"True difference between two prototypes ({unit})", fontsize=_FONT, color=INK)
    matters = f"matters from {format_number(result.difference, names.digits)}"
    at: dict[str, Any] = {"xy": (result.difference, 0.04), "xytext": (4, 0), "textcoords": "offset points"}
    axes.annotate(matters, **at, fontsize=_FONT - 1, color=INK, va="center")
    return figure


def _spread(heights: Sequence[float]) -> list[float]:
    """Return heights that keep their order and lie apart, the last one as high as it is."""
    apart: list[float] = []
    for height in reversed(heights):
        apart.append(min(height, apart[-1] - _APART) if apart else height)
    return apart[::-1]


def _axes(labels: Sequence[str], title: str, width: float) -> tuple[Figure, Axes]:
    from matplotlib.ticker import PercentFormatter

    words = max((text_width(label, _FONT) / POINTS for label in labels), default=0.0)
    wide = (width - _LEFT - words - 2 * _GAP) / 1.1
    heading = wrapped(title, _FONT + 1, (width - 2 * _GAP) * POINTS)
    height = 0.18 + 0.18 * len(heading) + _HEIGHT + _BOTTOM
    figure, axes = framed(width, height, (_LEFT, _BOTTOM, wide, _HEIGHT))
    words_at: dict[str, Any] = {"fontsize": _FONT + 1, "color": INK, "va": "top", "linespacing": 1.15}
    figure.text(_GAP / width, 1 - 0.06 / height, "\n".join(heading), **words_at)
    axes.yaxis.set_major_formatter(PercentFormatter(xmax=1, decimals=0, symbol=" %"))
    plain(axes)
    return figure, axes
