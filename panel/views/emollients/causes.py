"""The matrix of causes: which swap did what to which sensation, how surely, and whether that is the wanted way."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from panel import words
from panel.models.emollients.causes import AWAY, GOES_ALONG, STANDS_OUT, TOWARDS, Causes
from panel.models.prototypes.verdict import CANNOT_TELL
from panel.study.naming import Naming
from panel.study.shown import ATTRIBUTE, SCALE, Across, Shown, Table, each_row, told_words
from panel.views.pictures import FAINT, INK, POINTS, sheet, shortened, text_width, wrapped
from panel.views.told import Drawer, Picture, Told, drawer

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


_MOST_COLUMNS = 14
_MOST_IN_A_SENTENCE = 2
_SIGNS = {STANDS_OUT: "●", CANNOT_TELL: "○", GOES_ALONG: "▨"}
_WAYS = {TOWARDS: "wanted", AWAY: "unwanted"}
_LATIN = re.compile(r"^[A-Z][\w-]*(?: [A-Z][\w-]*)* \(([^()]+)\)(?: (.+))?$")


def short_ingredients(ingredients: Iterable[str]) -> dict[str, str]:
    """Return INCI names without the Latin where a common name stands in brackets: `Sweet Almond Oil`.

    Names that would become the same stay as they are.
    """
    full = list(dict.fromkeys(ingredients))
    found = [_LATIN.match(name) for name in full]
    short = [" ".join(filter(None, each.groups())) if each else name for each, name in zip(found, full, strict=True)]
    used = Counter(short)
    return {name: each if used[each] == 1 else name for name, each in zip(full, short, strict=True)}


def short_swap(swap: str) -> str:
    """Return the label of a swap (`X → Y`) with short names: `Y for X`; another text as it is."""
    removed, arrow, added = swap.partition(" → ")
    if not arrow:
        return swap
    added, comma, amount = added.partition(", ")
    ends = [name for end in (removed, added) for name in end.split(" + ")]
    row = {"removed": removed, "added": added}
    return f"{_swap(row, short_ingredients(ends))}{comma}{amount}"


def _heading(letter: Any, about: Shown) -> str:
    rows, short = about.result.swaps.set_index("letter"), _short(about.result)
    added = {name: _parts(row, "added", short) for name, row in rows.iterrows()}
    if len({*added.values()}) == len(added):  # else each says what it replaces
        return f"{letter}: {added[letter]}"
    return f"{letter}: {words.format_typed(float(rows.loc[letter, 'percent']))} % {_swap(rows.loc[letter], short)}"


def _cell(row: Mapping[str, Any], about: Shown) -> str:
    digits = about.digits(SCALE, row["attribute"])
    told = words.with_interval(row["estimate"], row["told_low"], row["told_high"], digits, words.format_change)
    return f"{_SIGNS[row['mark']]} {told}"


WANTED = each_row("Wanted", lambda row, _: words.format_window(row["target_low"], row["target_high"]), "target_low")
_CAUSES = Table(
    "causes",
    f"Change of the score with each swap; {_SIGNS[STANDS_OUT]} stands out, {_SIGNS[CANNOT_TELL]} cannot tell, "
    f"{_SIGNS[GOES_ALONG]} goes along with something else too; in brackets the {{told}}",
    "cells",
    lambda result: (
        ATTRIBUTE,
        *([WANTED] if result.cells[["target_low", "target_high"]].notna().any(axis=None) else []),
    ),
    key=("attribute",),
    across=Across("letter", each_row("", _cell, "estimate", figure=True), _heading),
    none="No two prototypes differ by one swap only, so no effect can be credited to a swap.",
)


_CANNOT = (
    "An effect belongs to the whole swap, the emollient that went as much as the one that came, never to one "
    "property of it.",
    "No clear effect is not no effect: look at how far the interval reaches.",
    "Nothing here says what another base, another amount or another batch would do, nor what people like.",
)


def tell_causes(causes: Causes, names: Naming, *more: Drawer) -> Told:
    """Tell which swap did what; `more` are drawers that lie behind it."""
    there = not causes.cells.empty
    return Told(
        causes,
        names,
        _causes_headline(causes, names),
        causes_picture(causes, names) if there else None,
        _causes_to_mind(causes, names),
        _CAUSES if there else None,
        (*([drawer("The same as a table", _CAUSES)] if there else []), *more),
        _CANNOT,
    )


def _causes_headline(causes: Causes, names: Naming) -> str:
    """Return the sentence that answers: the swap with the largest change that stands out, and what it did."""
    if causes.cells.empty:
        return "No two prototypes differ by one emollient only, so no single swap can be judged."
    told = _credited(causes, names)
    if told:
        return told[0]
    asked = words.counted(causes.cells["attribute"].nunique(), "sensation")
    if causes.cells.loc[causes.cells["mark"] == GOES_ALONG, "seen"].any():
        return f"No swap can be credited with a change: {_along(causes, names)}"
    return f"No change with a swap stands out on any of {asked}: these data cannot tell."


def _causes_to_mind(causes: Causes, names: Naming) -> tuple[str, ...]:
    """Return what else a reader must know: what goes along with something else, one batch each, the next swap."""
    along = _along(causes, names)
    told = [] if along in _causes_headline(causes, names) else [along]
    told += filter(None, [_on_none(causes, names)])
    if causes.swaps["one_batch"].any() and not causes.cells.empty:
        told.append(
            "At least one prototype is known from one batch only: whether another would show the same, these data "
            "cannot tell. A second batch of the base under a code of its own is the cheapest check."
        )
    return (*told, *_credited(causes, names)[1:2])


def _on_none(causes: Causes, names: Naming) -> str:
    """Return where a change would stand out, were the prototypes told apart there; empty where nowhere."""
    on = causes.cells.loc[causes.cells["not_apart"] != "", "attribute"].unique()
    if not len(on):
        return ""
    return (
        f"The prototypes are not told apart on {words.format_list([names.attribute(name) for name in on])}, so no "
        "change there is credited to a swap, though its own interval leaves out zero."
    )


def _credited(causes: Causes, names: Naming) -> list[str]:
    """Return a sentence for each swap that is credited with a change, the largest first; targets before others."""
    clear = causes.cells.loc[causes.cells["mark"] == STANDS_OUT]
    targets = clear[["target_low", "target_high"]].notna().any(axis=1)
    clear = clear.assign(size=clear["estimate"].abs(), wanted=targets)
    best = clear.groupby("letter", sort=False)["size"].max().sort_values(ascending=False, kind="stable")
    return [_did(causes, letter, clear.loc[clear["letter"] == letter], names) for letter in best.index]


def _did(causes: Causes, letter: Any, rows: pd.DataFrame, names: Naming) -> str:
    """Return what a swap did: the largest changes, those with a target first, and one the wrong way if there is any.

    It gave them only where all swaps have earned that word: beside one that has not, two words would say one thing.
    """
    swap = causes.swaps.set_index("letter").loc[letter]
    order = rows.sort_values(["wanted", "size"], ascending=False, kind="stable")
    wrong = order["towards"] == AWAY
    first = order.loc[~wrong].head(_MOST_IN_A_SENTENCE)
    did = _more_and_less(first, names)
    if wrong.any():
        unwanted = _more_and_less(order.loc[wrong].head(1), names)
        did = f"{did}, but also {unwanted}" if did else unwanted
    where = "In these batches" if swap["one_batch"] else "In this base"
    ends = ["removed", "added"]
    several = causes.swaps.duplicated(ends, keep=False)[causes.swaps["letter"] == letter].any()  # by its amounts
    amount = f"{words.format_typed(float(swap['percent']))} % " if several else ""
    verb = "gave" if causes.swaps["earned"].all() else "went with"
    return f"{where} {amount}{_swap(swap, _short(causes))} {verb} {did}."


def _more_and_less(rows: pd.DataFrame, names: Naming) -> str:
    """Return `more ease of spreading (+12) and less greasy film (−11)`."""
    told: dict[str, list[str]] = {}
    for row in rows.to_dict("records"):
        word, what = names.amount(str(row["attribute"]), up=row["estimate"] > 0)
        what = f"“{what}”" if "," in what and not what.startswith("“") else what
        told.setdefault(word, []).append(f"{what} ({_change(row, names)})")
    return " and ".join(f"{word} {words.format_list(texts)}" for word, texts in told.items())


def _along(causes: Causes, names: Naming) -> str:
    """Return the sentence on swaps that are tied to something else; empty where nothing is."""
    tied = causes.cells.loc[causes.cells["mark"].eq(GOES_ALONG) & causes.cells["seen"]]
    told = []
    for letter, rows in tied.groupby("letter", sort=False):
        swap = causes.swaps.set_index("letter").loc[letter]
        first = rows.iloc[(-rows["estimate"].abs()).argsort(kind="stable")].iloc[0].to_dict()
        more = len(rows) - 1
        what = f"{_said(names, first)} ({_change(first, names)})"
        what += f" and {words.counted(more, 'other sensation')} go" if more else " goes"
        told.append(f"{what} along with {_swap(swap, _short(causes))} or with the {_factors(swap)}")
    return f"{words.capital('; '.join(told))}: these data cannot tell the two apart." if told else ""


def _factors(swap: Any) -> str:
    return words.format_list(str(swap["goes_along"]).split(", "))


def _swap(row: Any, short: Mapping[str, str]) -> str:
    """Return `C13-15 Alkane for Dicaprylyl Carbonate`."""
    return f"{_parts(row, 'added', short)} for {_parts(row, 'removed', short)}"


def _parts(row: Any, end: str, short: Mapping[str, str]) -> str:
    return words.format_list([short.get(name, name) for name in str(row[end]).split(" + ")])


def _short(causes: Causes) -> dict[str, str]:
    ends = [*causes.swaps["removed"], *causes.swaps["added"]]
    return short_ingredients(name for end in ends for name in str(end).split(" + "))


def _said(names: Naming, row: Mapping[Any, Any]) -> str:
    said = names.attribute(str(row["attribute"]))
    return f"“{said}”" if "," in said else said


def _change(row: Mapping[Any, Any], names: Naming) -> str:
    """Return a change with one decimal less than scores have, unless it would read as zero."""
    attribute, value = str(row["attribute"]), float(row["estimate"])
    less = max(0, names.digits_of(attribute) - 1)
    return names.change(attribute, value, less if abs(round(value, less)) > 0 else None)


def _causes_alt_text(causes: Causes, names: Naming) -> str:
    """Return the matrix in words: swap by swap what it raised and lowered, what goes along, and what is open."""
    told = []
    for swap in causes.swaps.to_dict("records"):
        rows = causes.cells.loc[causes.cells["letter"] == swap["letter"]]
        head = f"{swap['letter']}, {words.format_typed(float(swap['percent']))} % {_swap(swap, _short(causes))}"
        clear, tied = rows.loc[rows["mark"] == STANDS_OUT], rows.loc[rows["mark"].eq(GOES_ALONG) & rows["seen"]]
        parts = [
            f"{verb} {words.format_list([_in_words(row, names) for row in part.to_dict('records')])}"
            for verb, part in (
                ("more", clear.loc[clear["estimate"] > 0]),
                ("less", clear.loc[clear["estimate"] < 0]),
                (f"goes, like the {_factors(swap)}, along with", tied),
            )
            if len(part)
        ]
        rest = len(rows) - len(clear) - len(tied)
        parts += [f"cannot tell on {rest} of {len(rows)}"] if rest else []
        told.append(f"{head}: {'; '.join(parts)}.")
    return " ".join(told)


def _in_words(row: Mapping[Any, Any], names: Naming) -> str:
    attribute, (_, way) = str(row["attribute"]), _look(row)
    ends = names.interval(attribute, row["told_low"], row["told_high"])
    inside = ", ".join(filter(None, [names.change(attribute, row["estimate"]), ends, way]))
    return f"{_said(names, row)} ({inside})"


_NAMES, _GAP, _MARGIN = 172.0, 8.0, 8.0
_WIDE, _NARROW, _PHONE = 860.0, 280.0, 6.0
_WIDEST_CELL, _MOST_ON_A_PHONE = 120.0, 9
_HEADING, _BODY, _SMALL, _SMALLEST = 10.5, 9.0, 8.0, 7.7  # letters
_ROW, _LINE, _BETWEEN = 56.0, 1.28, 5.0
_TOWARDS, _AWAY, _QUIET, _BAND, _HATCH = "#0b6b63", "#a8480a", "#6e6e6e", "#e9eeec", "#c3cbc8"
_HATCHED: dict[str, Any] = {"facecolor": "none", "edgecolor": _HATCH, "linewidth": 0, "hatch": "////", "zorder": 0}
_DOT, _RADIUS = 7.5, 10.0  # size of a mark, radius of the ring around a letter
_BOLD = 1.14  # bold letters are so much wider


def causes_picture(causes: Causes, names: Naming) -> Picture:
    """Return the matrix of causes; drawn for a phone swap by swap."""
    return Picture(
        "causes",
        "What changed with each swap",
        f"What changed with each swap, and the {told_words(causes.cells)}. {_causes_alt_text(causes, names)}",
        lambda width: (_narrow_figure if width < _PHONE else _figure)(causes, names),
    )


def _columns(causes: Causes, most: int) -> list[str]:
    cells = causes.cells
    telling = cells.assign(
        wanted=cells[["target_low", "target_high"]].notna().any(axis=1),
        size=cells["estimate"].abs().where(cells["mark"] == STANDS_OUT, 0.0),
        tied=cells["estimate"].abs().where(cells["seen"], 0.0),
    )
    order = telling.groupby("attribute", sort=False)[["wanted", "size", "tied"]].max()
    chosen = set(order.sort_values(["wanted", "size", "tied"], ascending=False, kind="stable").index[:most])
    return [str(name) for name in order.index if name in chosen]


def _reach(causes: Causes, names: Naming, attribute: object) -> float:
    """Return how far a cell reaches to either side of no change: the widest interval, or the margin.

    It is the same for all attributes, unless they have several scales.
    """
    rows = causes.cells.loc[causes.cells["attribute"] == attribute] if names.mixed else causes.cells
    ends = rows[["estimate", "told_low", "told_high"]].abs().to_numpy(float)
    widest = float(np.nanmax(ends)) if np.isfinite(ends).any() else 0.0
    margins = (causes.margins.get(str(name), 0.0) for name in rows["attribute"].unique())
    return max([widest, *(1.15 * margin for margin in margins)]) or 1.0


def _sheet(width: float, height: float) -> tuple[Figure, Axes]:
    """Return an empty picture in which one unit is one point, from the top left."""
    figure, axes = sheet(width / POINTS, height / POINTS)
    axes.set(xlim=(0, width), ylim=(height, 0))
    return figure, axes


def _figure(causes: Causes, names: Naming) -> Figure:
    columns, short = _columns(causes, _MOST_COLUMNS), _short(causes)
    wide = min(_WIDEST_CELL, (_WIDE - _NAMES - _GAP - _MARGIN) / max(1, len(columns)))
    left = _NAMES + _GAP
    width = max(left + wide * len(columns) + _MARGIN, 520.0)
    longest = _longest([names.attribute(name) for name in columns])
    size = float(np.clip((wide - _BETWEEN) / longest, _SMALLEST, _BODY))
    room = min(wide - 1, max(wide - _BETWEEN, longest * size))  # no word is cut for the room between two headings
    heads = {name: wrapped(names.attribute(name), size, room, 3) for name in columns}
    targets = causes.cells.drop_duplicates("attribute").set_index("attribute")[["target_low", "target_high"]]
    key = _key_lines(causes, names, width - 2 * _MARGIN)
    top = 20 + _LINE * size * max([1, *(len(lines) for lines in heads.values())])
    top += 12 if targets.loc[columns].notna().any(axis=None) else 0
    told = [_swap_lines(row, short, _NAMES) for row in causes.swaps.to_dict("records")]
    tall = [max(_ROW, 16 + sum(len(lines) * _LINE * size for lines, size, _ in swap)) for swap in told]
    height = top + sum(tall) + 10 + 15 * len(key)
    figure, axes = _sheet(width, height)
    _lines(axes, _MARGIN, 18 + size, [names.with_scale("Change of the score")], _SMALL, color=_QUIET)
    _write_stages(axes, columns, names, left, wide)
    for place, name in enumerate(columns):
        x = left + (place + 0.5) * wide
        _lines(axes, x, 18 + size, heads[name], size, ha="center")
        if targets.loc[name].notna().any():
            text = names.window(name, *targets.loc[name])
            _text(axes, x, top - 6, shortened(text, _SMALL, wide - 2), _SMALL, ha="center", color=_QUIET)
    y = top
    for row, depth in zip(causes.swaps.to_dict("records"), tall, strict=True):
        axes.plot([_MARGIN, width - _MARGIN], [y, y], color=FAINT, linewidth=0.8)
        _write_swap(axes, row, short, y, _NAMES)
        cells = causes.cells.loc[causes.cells["letter"] == row["letter"]].set_index("attribute", drop=False)
        for place, name in enumerate(columns):
            if name in cells.index:
                box, margin = (left + place * wide, y, wide, depth), causes.margins.get(name)
                _draw_cell(axes, cells.loc[name].to_dict(), box, _reach(causes, names, name), margin, names)
        y += depth
    _write_key(axes, key, y + 12)
    return figure


def _longest(texts: Sequence[str]) -> float:
    """Return the width of the longest word in letters of one point."""
    return max((text_width(word, 1.0) for text in texts for word in text.split()), default=1.0)


def _write_stages(axes: Axes, columns: Sequence[str], names: Naming, left: float, wide: float) -> None:
    """Write the stages of use over their sensations, with a thin line under each."""
    start = 0
    for place in range(1, len(columns) + 1):
        stage = names.stage(columns[start])
        if place < len(columns) and names.stage(columns[place]) == stage:
            continue
        if stage:
            low, high = left + start * wide + 3, left + place * wide - 3
            said = shortened(stage, _SMALL, high - low)
            _text(axes, (low + high) / 2, 8, said, _SMALL, ha="center", color=_QUIET)
            axes.plot([low, high], [13, 13], color=FAINT, linewidth=0.8)
        start = place


def _swap_lines(row: Mapping[Any, Any], short: Mapping[str, str], width: float) -> list[tuple[list[str], float, str]]:
    room = width - 2 * _RADIUS - _MARGIN - 8
    told = f"for {_parts(row, 'removed', short)}, {words.format_typed(float(row['percent']))}\u00a0%"
    found = [
        (wrapped(_parts(row, "added", short), _HEADING, room / _BOLD, 2), _HEADING, INK),
        (wrapped(told, _SMALL, room, 2), _SMALL, INK),
    ]
    if row["goes_along"]:
        found.append((wrapped(f"goes along with the {_factors(row)}", _SMALL, room, 2), _SMALL, _QUIET))
    return found


def _write_swap(axes: Axes, row: Mapping[Any, Any], short: Mapping[str, str], y: float, width: float) -> None:
    from matplotlib.patches import Circle

    centre = (_MARGIN + _RADIUS, y + 11 + _RADIUS)
    axes.add_artist(Circle(centre, _RADIUS, fill=False, edgecolor=INK, linewidth=1.1))
    _text(axes, *centre, str(row["letter"]), _HEADING, ha="center", va="center_baseline", weight="bold")
    down = y + 9
    for lines, size, colour in _swap_lines(row, short, width):
        weight = "bold" if size == _HEADING else "normal"
        _lines(axes, _MARGIN + 2 * _RADIUS + 8, down + size, lines, size, color=colour, weight=weight)
        down += len(lines) * _LINE * size


def _draw_cell(
    axes: Axes,
    cell: Mapping[Any, Any],
    box: tuple[float, float, float, float],
    reach: float,
    margin: float | None,
    names: Naming,
) -> None:
    """Draw one effect: number above, mark with its interval on the common scale, the wanted way below."""
    left, top, wide, tall = box
    if cell["mark"] == GOES_ALONG:
        _draw_box(axes, left + 1, top + 1, wide - 2, tall - 2, **_HATCHED)
    middle, y = left + wide / 2, top + tall / 2 + 1
    _draw_mark(axes, cell, middle, y, (wide / 2 - 4) / reach, margin)
    colour, way = _look(cell)
    if cell["seen"]:
        look: dict[str, Any] = {"ha": "center", "color": colour, "weight": "bold", "zorder": 5}
        paper = {"facecolor": "white", "edgecolor": "none", "pad": 0.8} if cell["mark"] == GOES_ALONG else None
        _text(axes, middle, y - 13, _change(cell, names), _HEADING, **look, bbox=paper)
    if way:
        _text(axes, middle, y + 20, way, _SMALL, ha="center", color=colour)


def _draw_mark(
    axes: Axes, cell: Mapping[Any, Any], middle: float, y: float, scale: float, margin: float | None
) -> None:
    if margin:
        half = margin * scale
        _draw_box(axes, middle - half, y - 8, 2 * half, 16, facecolor=_BAND, linewidth=0, zorder=1)
    axes.plot([middle, middle], [y - 10, y + 10], color=_HATCH, linewidth=0.9, zorder=2)
    colour, _ = _look(cell)
    ends = [middle + scale * float(cell[end]) for end in ("told_low", "told_high")]
    if np.isfinite(ends).all():
        axes.plot(ends, [y, y], color=colour, linewidth=2.2, solid_capstyle="round", zorder=3)
    filled = cell["mark"] == STANDS_OUT
    axes.plot(
        [middle + scale * float(cell["estimate"])], [y], marker="o", markersize=_DOT if filled else _DOT - 1.0,
        markerfacecolor=colour if filled else "white", markeredgecolor=colour, markeredgewidth=1.5, zorder=4,
    )  # fmt: skip


def _look(cell: Mapping[Any, Any]) -> tuple[str, str]:
    """Return the colour of a cell and the word for the way it goes; quiet where nothing is credited to the swap."""
    if cell["mark"] != STANDS_OUT:
        return _QUIET, ""
    return {TOWARDS: _TOWARDS, AWAY: _AWAY}.get(cell["towards"], INK), _WAYS.get(cell["towards"], "")


def _key_lines(causes: Causes, names: Naming, width: float) -> list[list[tuple[str, str]]]:
    marks = set(causes.cells["mark"])
    low, high = (words.format_change(sign * _reach(causes, names, ""), 0) for sign in (-1, 1))
    band = f"too small to matter, up to {names.margins(causes.margins)}" if causes.margins else ""
    entries = [
        ("dot", "stands out"),
        *([("ring", "cannot tell")] if marks - {STANDS_OUT} else []),
        *([("hatch", "goes along with something else too")] if GOES_ALONG in marks else []),
        ("line", told_words(causes.cells)),
        *([("band", band)] if band else []),
        ("", "each sensation on its own scale" if names.mixed else f"each cell from {low} to {high} points"),
    ]
    lines: list[list[tuple[str, str]]] = [[]]
    used = 0.0
    for sign, said in entries:
        needed = text_width(said, _SMALL) + 34
        if used and used + needed > width:
            lines, used = [*lines, []], 0.0
        lines[-1].append((sign, said))
        used += needed
    return lines


def _write_key(axes: Axes, lines: Sequence[Sequence[tuple[str, str]]], y: float) -> None:
    for line in lines:
        x = _MARGIN
        for sign, said in line:
            if sign:
                _draw_sign(axes, sign, x + 7, y - 3)
                x += 18
            _text(axes, x, y, said, _SMALL, color=INK)
            x += text_width(said, _SMALL) + 16
        y += 15


def _draw_box(axes: Axes, x: float, y: float, wide: float, tall: float, **look: Any) -> None:
    from matplotlib.patches import Rectangle

    axes.add_artist(Rectangle((x, y), wide, tall, **look))


def _draw_sign(axes: Axes, sign: str, x: float, y: float) -> None:
    if sign in ("dot", "ring"):
        face, edge = (INK, INK) if sign == "dot" else ("white", _QUIET)
        axes.plot([x], [y], marker="o", markersize=7, markerfacecolor=face, markeredgecolor=edge, markeredgewidth=1.4)
    elif sign == "line":
        axes.plot([x - 7, x + 7], [y, y], color=INK, linewidth=2.2, solid_capstyle="round")
    else:
        look: dict[str, Any] = {"facecolor": _BAND} if sign == "band" else {"facecolor": "none", "hatch": "//////"}
        _draw_box(axes, x - 7, y - 5, 14, 10, edgecolor=_HATCH, linewidth=0.5, **look)


# For a phone: a block for each swap, a line for each sensation.


_STEP, _NUMBER = 27.0, 52.0


def _narrow_figure(causes: Causes, names: Naming) -> Figure:
    columns, short = _columns(causes, min(_MOST_COLUMNS, _MOST_ON_A_PHONE)), _short(causes)
    key = _key_lines(causes, names, _NARROW - 2 * _MARGIN)
    blocks = [_block(causes, str(letter), columns) for letter in causes.swaps["letter"]]
    heads = [
        16 + sum(len(lines) * _LINE * size for lines, size, _ in _swap_lines(row, short, _NARROW - _MARGIN))
        for row in causes.swaps.to_dict("records")
    ]
    depths = [
        head + _STEP * len(rows) + (16 if rest else 0) + 10 for head, (rows, rest) in zip(heads, blocks, strict=True)
    ]
    figure, axes = _sheet(_NARROW, sum(depths) + 10 + 15 * len(key))
    y = 2.0
    for row, (rows, rest), head, depth in zip(causes.swaps.to_dict("records"), blocks, heads, depths, strict=True):
        axes.plot([_MARGIN, _NARROW - _MARGIN], [y, y], color=FAINT, linewidth=0.8)
        _write_swap(axes, row, short, y, _NARROW - _MARGIN)
        for place, cell in enumerate(rows):
            _draw_line(axes, cell, y + head + (place + 0.5) * _STEP, causes, names)
        if rest:
            said = f"{words.counted(rest, 'other sensation')} in the table"
            _text(axes, _MARGIN, y + head + len(rows) * _STEP + 9, said, _SMALL, color=_QUIET)
        y += depth
    _write_key(axes, key, y + 8)
    return figure


def _block(causes: Causes, letter: str, columns: Sequence[str]) -> tuple[list[dict[Any, Any]], int]:
    """Return the lines of a swap that are drawn on a phone (seen, or with a target), and how many are not."""
    cells = causes.cells.loc[(causes.cells["letter"] == letter) & causes.cells["attribute"].isin(columns)]
    drawn = cells.loc[cells["seen"] | cells[["target_low", "target_high"]].notna().any(axis=1)]
    return drawn.to_dict("records"), int(causes.cells["letter"].eq(letter).sum()) - len(drawn)


def _draw_line(axes: Axes, cell: Mapping[Any, Any], y: float, causes: Causes, names: Naming) -> None:
    wide = _NARROW - 2 * _MARGIN - _NUMBER
    name, place = 0.46 * wide, _MARGIN + 0.46 * wide
    if cell["mark"] == GOES_ALONG:
        box = (place, y - _STEP / 2 + 1, wide - name, _STEP - 2)
        _draw_box(axes, *box, **_HATCHED)
    lines = wrapped(names.attribute(str(cell["attribute"])), _BODY, name - 4, 2)
    _lines(axes, _MARGIN, y + 3.2 - (len(lines) - 1) * 5.5, lines, _BODY)
    half = (wide - name) / 2
    margin = causes.margins.get(cell["attribute"])
    _draw_mark(axes, cell, place + half, y, (half - 4) / _reach(causes, names, cell["attribute"]), margin)
    colour, way = _look(cell)
    if cell["seen"]:
        right = _NARROW - _MARGIN
        text = _change(cell, names)
        _text(axes, right, y + (3.5 if not way else -1), text, _HEADING, ha="right", color=colour, weight="bold")
        if way:
            _text(axes, right, y + 9, way, _SMALL, ha="right", color=colour)


def _text(axes: Axes, x: float, y: float, said: str, size: float, **look: Any) -> None:
    axes.text(x, y, said, fontsize=size, **({"color": INK, "ha": "left", "va": "baseline"} | look))


def _lines(axes: Axes, x: float, y: float, lines: Sequence[str], size: float, **look: Any) -> None:
    for number, said in enumerate(lines):
        _text(axes, x, y + number * _LINE * size, said, size, **look)
