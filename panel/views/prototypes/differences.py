"""Which prototypes differ, on what, and by how much: in sentences, tables and one picture of all of them."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from math import ceil
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from panel import words
from panel.checks.confounds import IN_THESE_BATCHES, OF_TEST, WHOLLY, untold_findings
from panel.models.prototypes.differences import Differences
from panel.models.prototypes.verdict import ALIKE, CANNOT_TELL, DIFFERS, WOULD_BE, WOULD_BE_SMALL, untold_pairs
from panel.stats.comparing.multiplicity import LEVEL
from panel.study import shown
from panel.study.naming import Naming
from panel.views.pictures import (
    BROAD,
    FAINT,
    GREY,
    INK,
    LETTERS,
    POINTS,
    as_prototypes,
    interval_figure,
    marker_of,
    needed_limits,
    prototype_mark,
    shortened,
    signs_of,
    text_width,
    upright_grid,
    wrapped,
)
from panel.views.told import Item, Picture, Told, drawer

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_MOST_ALONE = 2  # prototypes named as told apart from every other; of more the letters of the means say it
_CLEAREST = 3  # pairs named in one line; the table has them all
_OF_ATTRIBUTE = shown.Source("scores", same={"attribute": "attribute"})
_OF_PAIR = (shown.Source("scores", same={"attribute": "attribute"}, direct=("prototype", "versus")),)


def _change_and_interval(row: Mapping[str, Any], about: shown.Shown) -> str:
    digits = about.names.digits_of(row["attribute"])
    return words.with_interval(row["estimate"], row["ci_low"], row["ci_high"], digits, words.format_change)


def _said(row: Mapping[str, Any], about: shown.Shown) -> str:
    """Return the verdict, with why where the interval alone says more; pairs with the benchmark are told once."""
    if row.get("with_benchmark"):
        return f"see the differences from {about.result.benchmark}"
    if row["verdict"] == CANNOT_TELL and (row["ci_low"] > 0 or row["ci_high"] < 0):  # the interval alone would say so
        return f"{row['said']}: {row['because'].partition('; ')[0]}"
    return str(row["said"])


def _brief(row: Mapping[str, Any], about: shown.Shown) -> str:
    """Return a difference as it stands in a cell: in brackets what cannot be told, `=` before what is alike."""
    told = words.format_change(row["estimate"], about.names.digits_of(row["attribute"]))
    if row["verdict"] == ALIKE:
        return f"= {told}"
    return told if row["verdict"] == DIFFERS or told == words.NOTHING else f"({told})"


def _mean_and_letters(row: Mapping[str, Any], about: shown.Shown) -> str:
    mean = words.format_number(row["estimate"], about.names.digits_of(row["attribute"]))
    return f"{mean} {row.get('letters', '')}".strip()


def _do_they_differ(row: Mapping[str, Any], _: shown.Shown) -> str:
    return words.NOTHING if pd.isna(row["p_adjusted"]) else "yes" if row["verdict"] == DIFFERS else CANNOT_TELL


def _standard_deviation(heading: str, name: str) -> shown.Column:
    def write(variance: float, digits: int) -> str:
        return words.format_number(np.sqrt(variance) if variance >= 0 else float("nan"), digits)

    return shown.number(heading, name, shown.SCALE, write=write)


def _of_a_difference(method: str, likeness: str) -> tuple[shown.Column, ...]:
    """Return the columns of a difference; a heading says what its number is adjusted for, for no two are the same."""
    return (
        *(shown.ATTRIBUTE, shown.PROTOTYPE, shown.VERSUS),
        shown.each_row(f"Difference ({{level}}, {method})", _change_and_interval, "estimate", figure=True),
        shown.p_value(f"p, {method}", "p_adjusted"),
        shown.deciding("alike_low", "alike_high", "alike_level", likeness),
        shown.each_row("In words", _said, "said"),
    )


_BRIEFLY = shown.Table(
    name="from_the_benchmark",
    title="Differences from {benchmark}: in brackets what cannot be told, = before what is alike",
    rows="versus",
    columns=(shown.attribute_column("Attribute{scale}"),),
    key=("attribute", "prototype"),
    across=shown.Across("prototype", shown.each_row("", _brief, figure=True)),
)
_MEANS = shown.Table(
    name="means",
    title="Estimated means; prototypes that share a letter within a row are not told apart",
    rows="means",
    columns=(shown.attribute_column("Attribute{scale}"),),
    key=("attribute", "prototype"),
    across=shown.Across("prototype", shown.each_row("", _mean_and_letters, figure=True)),
    code="M",
    sources=(shown.Source("scores", same={"attribute": "attribute"}, direct=("prototype",)),),
)
_TESTS = shown.Table(
    name="tests",
    title="Tests that no prototype differs; adjusted {over}",
    rows="attributes",
    columns=lambda found: (
        *(shown.ATTRIBUTE, shown.STAGE, *([shown.number("Order", "test_order", 0)] if found.in_order else [])),
        shown.number("F", "statistic", 2),
        shown.DEGREES,
        shown.P,
        shown.P_ADJUSTED if found.in_order else shown.P_HOLM,
        shown.each_row("Do prototypes differ?", _do_they_differ, "verdict"),
    ),
    key=("attribute",),
    code="T",
    sources=(_OF_ATTRIBUTE,),
)
_FROM_BENCHMARK = shown.Table(
    name="differences",
    title="Differences from {benchmark}; intervals and p-values by Dunnett within each attribute",
    rows="versus",
    columns=_of_a_difference("Dunnett", "Interval that decides likeness"),
    key=("attribute", "prototype", "versus"),
    code="D",
    sources=_OF_PAIR,
    none="The study names no benchmark that was scored, so there are no differences from one.",
)
_PAIRS = shown.Table(
    name="pairs",
    title="All pairs of prototypes; intervals and p-values by Tukey within each attribute",
    rows="pairs",
    columns=_of_a_difference("Tukey", "Interval that decides likeness, all pairs"),
    key=("attribute", "prototype", "versus"),
    code="A",
    sources=_OF_PAIR,
    printed=False,
)
_WITHOUT_LUCK = shown.Table(
    name="without_luck",
    title="Differences that were told apart, and what is left of each with luck taken out",
    rows="picked",
    columns=(
        shown.ATTRIBUTE,
        shown.PROTOTYPE,
        shown.VERSUS,
        shown.change("Difference"),
        shown.SHRUNKEN,
        shown.WRONG_SIGN,
    ),
    key=("attribute", "prototype", "versus"),
    code="DL",
    sources=_OF_PAIR,
    none="No difference was told apart, so none was picked because it came out large.",
)
_VARIANCES = shown.Table(
    name="scatter",
    title="Where the scatter comes from, as standard deviations (the unrounded table holds variances)",
    rows="variances",
    columns=(
        shown.ATTRIBUTE,
        _standard_deviation("Assessors use other levels", "assessor"),
        _standard_deviation("Assessors see prototypes differently", "assessor_prototype"),
        _standard_deviation("An assessor's level changes between sessions", "session"),
        _standard_deviation("Left over", "residual"),
    ),
    key=("attribute",),
    code="V",
    sources=(_OF_ATTRIBUTE,),
)
NUMBERS = (_MEANS, _TESTS, _FROM_BENCHMARK, _WITHOUT_LUCK, _PAIRS, _VARIANCES)
"""Its tables of numbers, in the order of the evidence file."""
BOTH_WAYS = shown.Table(
    name="both_ways",
    title="F tests with and without the changed scores",
    rows=lambda found: found.both_ways.assign(
        scores=found.both_ways["rules"].map({True: "as analysed", False: "as they came in"})
    ),
    columns=(shown.ATTRIBUTE,),
    key=("attribute", "scores"),
    across=shown.Across(
        "scores",
        shown.each_row(
            "",
            lambda row, _: (
                f"F({words.format_number(row['df'], 0)}; {words.format_number(row['df_error'], 1)}) = "
                f"{words.format_number(row['statistic'], 2)}, {words.p_words(row['p_value'])}"
            ),
        ),
        lambda scores, _: f"Scores {scores}",
    ),
    code="B",
    sources=(_OF_ATTRIBUTE,),
    none="No score was corrected or set aside, so there is one analysis only.",
)


def tell_differences(result: Differences, names: Naming) -> Told:
    """Return what is told of the differences between the prototypes."""
    lines = [_line(row, result, names) for row in result.attributes.to_dict("records")]
    changed: tuple[Item, ...] = (BOTH_WAYS,) if len(result.both_ways) else ()
    return Told(
        result,
        names,
        _headline(result, names),
        _picture(result, names),
        mind=_mind(result, names),
        table=_BRIEFLY if result.benchmark else _MEANS,
        drawers=(
            drawer("Attribute by attribute", *lines, _TESTS),
            drawer("Means", _MEANS),
            drawer("Differences from the benchmark", *([_FROM_BENCHMARK] if result.benchmark else [])),
            drawer("With luck taken out", *_largest(result, names), _WITHOUT_LUCK),
            drawer("All pairs", _PAIRS),
            drawer("With and without the changed scores", *changed),
            drawer("Where the scatter comes from", _VARIANCES),
        ),
        cannot=_what_the_differences_cannot_show(result, names),
    )


def _headline(result: Differences, names: Naming) -> str:
    """Return the answer: on how many attributes the prototypes differ, on which not, and who differs on most."""
    apart = result.attributes["verdict"] == DIFFERS
    total, differing = len(apart), int(apart.sum())
    open_ones = [names.attribute(str(name)) for name in result.attributes.loc[~apart, "attribute"]]
    if not differing:
        why = _untold_because(result) or ". That does not show that they are alike."
        return f"On no attribute can the prototypes be told apart{why}"
    on = f"{differing} of {total} attributes" if differing < total else words.all_of(total, "attribute")
    on = names.attribute(str(result.attributes["attribute"].iloc[0])) if total == 1 else on
    rest = f"; not told apart on {words.first_few(open_ones)}" if differing < total else ""
    told = f"The prototypes differ on {f'{on} {result.holds}'.rstrip()}{rest}."
    if result.versus.empty:
        return f"{told}{_apart_from_all(result, names)}"
    counts = result.versus.loc[result.versus["verdict"] == DIFFERS, "prototype"].value_counts(sort=False)
    if counts.empty or total == 1:
        return told
    most = [str(name) for name in counts.index[counts == counts.max()]]
    differ = f"{words.format_list(most)} {'differs' if len(most) == 1 else 'differ'} from {result.benchmark}"
    if differing == 1:
        return f"{told} {differ}."
    on = _of_those(int(counts.max()), differing, total)
    others = result.versus["prototype"].nunique() - len(most)
    fewer = "" if not others else ", the other on fewer" if others == 1 else ", the others on fewer"
    return f"{told} {differ} on {on}{fewer}."


def _of_those(number: int, differing: int, total: int) -> str:
    """Return on how many of the attributes that differ, so that nobody takes them for all that were asked."""
    if differing == total:
        return f"{number} of them" if number < total else "both" if total == 2 else "all of them"
    if number < differing:
        return f"{number} of the {differing} that differ"
    return "both that differ" if differing == 2 else f"all {differing} that differ"


def _untold_because(result: Differences) -> str:
    """Return what every pair goes wholly along with, where that alone keeps all of them from being told."""
    own = result.confounds.pairs
    factors = dict.fromkeys(own.loc[(own["kind"] == WHOLLY) & own["factor"].isin(OF_TEST), "factor"])
    if not factors or not untold_pairs(result.pairs, result.confounds).all():
        return ""
    return f": every pair goes along with the {' or the '.join(factors)}."


def _apart_from_all(result: Differences, names: Naming) -> str:
    """Return, where there is no benchmark, which prototypes are told apart from every other on most attributes."""
    pairs = result.pairs[["attribute", "prototype", "versus", "verdict"]]
    both = pd.concat([pairs, pairs.rename(columns={"prototype": "versus", "versus": "prototype"})])
    if both["prototype"].nunique() < 3:
        return ""  # the one pair is what the sentence before speaks of
    alone = (both["verdict"] == DIFFERS).groupby([both["prototype"], both["attribute"]], sort=False).all()
    on = alone[alone].reset_index().groupby("prototype", sort=False)["attribute"].agg(list)
    most = on.map(len) == on.map(len).max()
    told = [
        f"{name} on {words.first_few([names.attribute(str(each)) for each in held])}" for name, held in on[most].items()
    ]
    return f" Told apart from every other: {words.format_list(told)}." if 0 < len(told) <= _MOST_ALONE else ""


def _mind(result: Differences, names: Naming) -> tuple[str, ...]:
    """Return what to mind before believing it: what else could explain it, what is missing, what was changed."""
    lines = [finding.message for finding in untold_findings(result.confounds)][:1]
    for by, own in result.attributes.query("differently != ''").groupby("differently", sort=False):
        on = words.first_few([names.attribute(str(name)) for name in own["attribute"]])
        lines.append(f"On {on} the {by} do not show the prototypes alike: what is told is a mean of these {by}.")
    if len(result.not_estimated):
        absent = [names.attribute(str(name)) for name in result.not_estimated["attribute"]]
        lines.append(f"Not compared, for the reasons given below: {words.first_few(absent)}.")
    if len(result.both_ways):
        lines.append(
            "Some scores were corrected or set aside: see “With and without the changed scores” for both answers."
        )
    if IN_THESE_BATCHES in result.holds:
        one = "At least one prototype is known from one batch only"
        known = one if any(result.confounds.batches.values()) else "No batch is recorded"
        lines.append(f"{known}: another batch may come out differently.")
    if not result.margin_stated:
        lines.append(_TYPED_IN.format(margin=names.margins(result.margins)))
    return tuple(lines)


_TYPED_IN = (
    "The margin of {margin} was typed in after the scores: it shows nothing, and tells only what would lie within it. "
    "State it in the study before the next test, or the earlier day of the plan that has it."
)


def _line(row: Mapping[Any, Any], result: Differences, names: Naming) -> str:
    attribute = str(row["attribute"])
    named = names.attribute(attribute)
    test = f"F {words.format_number(row['statistic'], 1)}, {words.p_after_holm(row['p_adjusted'])}"
    if row["because"]:
        return f"{named}: cannot tell ({test}); {row['because']}."
    if row["verdict"] != DIFFERS:
        return f"{named}: no difference shown ({test}). {_seen_at_best(attribute, result, names)}"
    source = result.versus if result.benchmark in set(result.means["prototype"]) else result.pairs
    source = source.loc[source["attribute"] == attribute]
    told = source.loc[source["verdict"] == DIFFERS]
    alike = source.loc[source["verdict"] == ALIKE]
    would = source.loc[source["said"].str.startswith((WOULD_BE, WOULD_BE_SMALL))]
    parts = [f"{named}: the prototypes differ ({test})."]
    parts += _sides(told, f" than {result.benchmark}") if result.benchmark else _clearest_pairs(told, names)
    if told.empty:
        parts.append(f"No single difference{f' from {result.benchmark}' if result.benchmark else ''} stands out alone.")
    of_benchmark = f" of {result.benchmark}" if result.benchmark else ""
    for words_of, rows in (("Within the margin", alike), ("Would be within the margin", would)):
        if len(rows):
            parts.append(f"{words_of}{of_benchmark}: {words.format_list(_in_intervals(rows, result, names))}.")
    return " ".join(parts)


def _largest(result: Differences, names: Naming) -> list[str]:
    """Return what is left of the largest difference once the luck that made it the largest is taken out."""
    told = result.picked
    if told.empty:
        return []
    row = _widest_first(told).iloc[0]
    attribute = str(row["attribute"])
    pair = f"{row['prototype']} minus {row['versus']} on {names.attribute(attribute)}"
    return [f"The largest difference, {pair}, is {words.luck_words(row.to_dict(), partial(names.change, attribute))}."]


def _in_intervals(rows: pd.DataFrame, result: Differences, names: Naming) -> list[str]:
    """Return who is alike, each with the interval that decides it."""
    return [
        f"{row['prototype']}{'' if result.benchmark else ' and ' + row['versus']} "
        f"({words.level_words(row['alike_level'])} "
        f"{names.interval(row['attribute'], row['alike_low'], row['alike_high'])})"
        for row in rows.to_dict("records")
    ]


def _sides(told: pd.DataFrame, against: str) -> list[str]:
    return [
        f"{word}{against}: {words.format_list(_widest_first(rows)['prototype'].astype(str).tolist())}."
        for word, rows in (("Higher", told[told["estimate"] > 0]), ("Lower", told[told["estimate"] < 0]))
        if len(rows)
    ]


def _widest_first(rows: pd.DataFrame) -> pd.DataFrame:
    return rows.reindex(rows["estimate"].abs().sort_values(ascending=False).index)


def _clearest_pairs(told: pd.DataFrame, names: Naming) -> list[str]:
    if told.empty:
        return []
    rows = _widest_first(told).head(_CLEAREST)[["prototype", "versus", "estimate", "attribute"]].itertuples(index=False)
    ends = ((one, other, size, on) if size > 0 else (other, one, -size, on) for one, other, size, on in rows)
    pairs = [f"{above} above {below} by {names.number(on, size)}" for above, below, size, on in ends]
    rest = len(told) - len(pairs)
    more = f"; {words.counted(rest, 'more pair')} told apart" if rest else ""
    return [f"Widest: {words.format_list(pairs)}{more}."]


def _seen_at_best(attribute: str, result: Differences, names: Naming) -> str:
    """Return what size of difference would have stood out, from the intervals of this very panel."""
    pairs = result.pairs.loc[result.pairs["attribute"] == attribute]
    if ((pairs["ci_low"] > 0) | (pairs["ci_high"] < 0)).any():
        return "Some pairs would stand out alone; the test over all attributes together does not bear them out."
    half = float(((pairs["ci_high"] - pairs["ci_low"]) / 2).median())
    if half > names.span:
        return "No difference that the scale allows could be told apart here."
    return f"Two prototypes would have to lie about {names.number(attribute, half)} apart to be told apart here."


def _what_the_differences_cannot_show(result: Differences, names: Naming) -> tuple[str, ...]:
    return (
        "They say how these assessors perceive these batches, not how consumers like them.",
        "With one batch of a prototype nothing shows whether another batch would come out the same."
        if result.confounds.one_batch
        else "Each prototype was scored from two batches or more; what differs between batches is in the intervals.",
        "'Not told apart' is not 'the same': that needs a margin and an interval within it.",
        (_SET_BY_PEOPLE if result.margin_stated else _TYPED_IN).format(margin=names.margins(result.margins))
        if result.margins
        else "No margin was set, so the differences are not judged as large or small. Set the smallest difference that "
        "matters before the next test.",
    )


_SET_BY_PEOPLE = (
    "A difference up to {margin} is taken as too small to matter; that margin was set by people, not by the data."
)


_TOP, _MARGIN, _LEAST_WIDE = 0.5, 0.1, 0.86  # inches
_LINE = 0.27  # inches for one attribute
_MARGIN_COLOUR = "#e8eef2"


def _picture(result: Differences, names: Naming) -> Picture:
    """Return all prototypes in one picture: against the benchmark, or their means."""
    if not result.benchmark:
        title, heard = "Estimated means of the prototypes", _means_heard(result, names)
        return Picture("means", title, heard, partial(_means_figure, result, names))
    title, heard = f"Differences from {result.benchmark}", _against_heard(result, names)
    return Picture("differences", title, heard, partial(_against_figure, result, names))


def _against_figure(result: Differences, names: Naming, width: float = BROAD) -> Figure:
    """Return a column for each prototype: filled where it differs, grey where it is alike, hollow where neither."""
    from matplotlib.figure import Figure

    rows = result.versus.dropna(subset=["estimate"])
    rows = rows.assign(margin=rows["attribute"].map(result.margins).astype(float))
    rows, behind = shown.own_lines(rows, names, "margin", about_zero=True)
    attributes = [str(name) for name in result.attributes["attribute"]]
    prototypes = [str(name) for name in dict.fromkeys(result.versus["prototype"])]
    room = min(2.3, 0.42 * width) * POINTS
    pairs = [(names.attribute(name), behind.get(name, "")) for name in attributes]
    labels = [f"{shortened(name, LETTERS, room - text_width(end, LETTERS))}{end}" for name, end in pairs]
    left = max(text_width(label, LETTERS) for label in labels) / POINTS + 2 * _MARGIN
    bands = ceil(len(prototypes) / max(1, int((width - left) / _LEAST_WIDE)))
    across = ceil(len(prototypes) / bands)
    depth, wide = _LINE * len(attributes), (width - left) / across
    heads = {name: wrapped(name, LETTERS + 1, 0.85 * (wide - _MARGIN) * POINTS, 2) for name in prototypes}
    top = _TOP + 0.17 * (max(map(len, heads.values())) - 1)
    legend = wrapped(_legend(result, names), LETTERS, (width - 2 * _MARGIN) * POINTS)
    bottom = 0.5 + 0.16 * len(legend)
    height = bands * (top + depth) + bottom + (bands - 1) * 0.35
    limits = needed_limits(rows, 0.0, *rows["margin"].dropna(), *-rows["margin"].dropna())
    figure = Figure(figsize=(width, height))
    for place, prototype in enumerate(prototypes):
        band, column = divmod(place, across)
        low = height - (band + 1) * (top + depth) - band * 0.35
        box = ((left + column * wide) / width, low / height, (wide - _MARGIN) / width, depth / height)
        axes = figure.add_axes(box)
        axes.set(xlim=limits, ylim=(len(attributes) - 0.5, -0.5))
        axes.hlines(range(len(attributes)), *limits, colors=FAINT, linewidth=0.5, zorder=0.5)  # quicker than a grid
        named = labels if column == 0 else []
        axes.set_yticks(range(len(named)), named, fontsize=LETTERS, color=INK)
        _draw_prototype(axes, rows.loc[rows["prototype"] == prototype], attributes, prototype, names)
        axes.set_title("\n".join(heads[prototype]), fontsize=LETTERS + 1, color=INK, fontweight="bold", pad=17)
    figure.text(_MARGIN / width, 0.1 / height, "\n".join(legend), fontsize=LETTERS, color=INK, va="bottom")
    return figure


def _draw_prototype(axes: Axes, rows: pd.DataFrame, attributes: list[str], prototype: str, names: Naming) -> None:
    from matplotlib.ticker import MaxNLocator, NullLocator
    from matplotlib.transforms import ScaledTranslation

    look = marker_of(names, prototype)
    heights = rows["attribute"].map({name: place for place, name in enumerate(attributes)})
    axes.barh(heights, 2 * rows["margin"], 1, -rows["margin"], color=_MARGIN_COLOUR, linewidth=0, zorder=0)
    axes.axvline(0, color=INK, linewidth=0.8, zorder=1)
    axes.hlines(heights, rows["ci_low"], rows["ci_high"], colors=look.colour, linewidth=1.2, zorder=2)
    fills = rows["verdict"].map({DIFFERS: look.colour, ALIKE: FAINT}).fillna("white")
    for fill, drawn in rows.groupby(fills.to_numpy(), sort=False):
        edge = look.colour if fill == "white" else INK
        axes.plot(drawn["estimate"], heights[drawn.index], linestyle="none", marker=look.shape, markersize=6,
                  markerfacecolor=fill, markeredgecolor=edge, markeredgewidth=0.8, zorder=3,
                  gid=prototype_mark(prototype))  # fmt: skip
    above = axes.transAxes + ScaledTranslation(0, 9 / POINTS, axes.figure.dpi_scale_trans)
    axes.plot([0.5], [1], transform=above, linestyle="none", marker=look.shape, markersize=7, clip_on=False,
              markerfacecolor=look.colour, markeredgecolor=INK, markeredgewidth=0.6,
              gid=prototype_mark(prototype))  # fmt: skip
    axes.xaxis.set_major_locator(NullLocator() if names.mixed else MaxNLocator(3, steps=[1, 2, 5, 10]))
    upright_grid(axes)


def _legend(result: Differences, names: Naming) -> str:
    scale = f", scale {names.scale}" if names.scale else ""
    seen = result.versus.dropna(subset=["estimate"])["verdict"]
    signs = (
        ("Filled: differs.", seen == DIFFERS),
        ("Hollow: cannot tell.", ~seen.isin([DIFFERS, ALIKE])),
        ("Grey: alike.", seen == ALIKE),
    )
    key = " ".join(said for said, drawn in signs if drawn.any())
    band = f" Band: up to {names.margins(result.margins)}." if result.margins else ""
    return (
        f"Difference from {result.benchmark} with its {words.level_words(LEVEL)}{scale}. "
        f"{key}{band}{f' {shown.OWN_LINES}.' if names.mixed else ''}"
    )


def _against_heard(result: Differences, names: Naming) -> str:
    parts = []
    for prototype, rows in result.versus.groupby("prototype", sort=False):
        told = rows["verdict"] == DIFFERS
        sides = (
            ("higher on", told & (rows["estimate"] > 0)),
            ("lower on", told & (rows["estimate"] < 0)),
            ("alike on", rows["verdict"] == ALIKE),
        )
        heard = [
            f"{named} {words.format_list([names.attribute(str(name)) for name in rows.loc[side, 'attribute']])}"
            for named, side in sides
            if side.any()
        ]
        parts.append(f"{prototype}: {'; '.join(heard) or 'nothing can be told'}")
    return f"Differences from {result.benchmark} with intervals. {'. '.join(parts)}."


def _means_figure(result: Differences, names: Naming, width: float = BROAD) -> Figure:
    """Return the prototypes' means, a line for each attribute: filled where the prototypes differ."""
    rows, behind = shown.own_lines(
        result.means.dropna(subset=["estimate"]).assign(ci_low=np.nan, ci_high=np.nan), names
    )
    prototypes = [str(name) for name in dict.fromkeys(rows["prototype"])]
    attributes = [str(name) for name in result.attributes["attribute"]]
    apart = dict(zip(attributes, result.attributes["verdict"] == DIFFERS, strict=True))
    line = _LINE * 1.4
    step = {name: 0.5 + 0.6 * ((place + 0.5) / len(prototypes) - 0.5) for place, name in enumerate(prototypes)}
    middle = {name: line * place for place, name in enumerate(attributes)}
    drawn = as_prototypes(rows, names).assign(
        y=rows["attribute"].map(middle) + line * rows["prototype"].map(step).astype("float64"),
        filled=[bool(apart.get(name, False)) for name in rows["attribute"]],
    )
    figure, axes = interval_figure(
        drawn,
        line * len(attributes),
        [(top + line / 2, f"{names.attribute(name)}{behind[name]}") for name, top in middle.items()],
        width=width,
        limits=needed_limits(drawn),
        key=signs_of({name: marker_of(names, name) for name in prototypes}),
        x_title=f"{names.with_scale('Estimated mean')}. Filled: the prototypes differ. Hollow: cannot tell.",
        names=names,
    )
    for top in list(middle.values())[1:]:
        axes.axhline(top, color=GREY, linewidth=0.4, zorder=0)
    return figure


def _means_heard(result: Differences, names: Naming) -> str:
    parts = []
    for attribute, rows in result.means.dropna(subset=["estimate"]).groupby("attribute", sort=False):
        ends = zip(rows["prototype"], rows["estimate"], strict=True)
        told = ", ".join(f"{prototype} {names.number(str(attribute), value)}" for prototype, value in ends)
        parts.append(f"{names.attribute(str(attribute))}: {told}")
    return f"Estimated means. {'; '.join(parts)}."
