"""The evidence file as PDF: tagged, PDF/A-2a and PDF/UA-1, the same bytes for the same study and version."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import typst

from panel.errors import StudyError
from panel.report.contents.blocks import Picture, Report, Section
from panel.report.contents.part_study import NO_DAY
from panel.report.elsewhere import elsewhere
from panel.report.html import Drawn, Item, Sheet, Words, items, page_facts, with_breaks

_TEMPLATE = Path(__file__).with_name("evidence.typ")
_STANDARDS: Any = ["a-2a", "ua-1"]  # typst's own list of names cannot be written as the type of a shorter list
# DejaVu Sans first; the second one shows a box with the name of the script for signs that the first lacks.
_FONTS = ("DejaVu Sans", "Last Resort High-Efficiency")
_WIDTH, _HEIGHT = 481.0, 640.0  # points inside the margins of an A4 page; a picture leaves room for its title
_WIDTH_TURNED, _HEIGHT_TURNED = 728.0, 420.0  # the same on a page laid on its side
_SMALLEST = 0.6  # of its own size; a picture that would be smaller gets a page laid on its side
_SIZES = (7.5, 7.0, 6.5, 6.0)  # points, letters in a table; the first at which it fits
_LONG_CELL = 400  # letters; shorter cells are not broken over two pages
_NUMBER = re.compile(r"^[-+−<>–]?\s?[\d.,]+([ \u00a0]%)?$|^–$")


def pdf_bytes(report: Report) -> bytes:
    """Return the evidence file as PDF.

    Raises
    ------
    StudyError
        If the page cannot be set.
    """
    facts = page_facts(report)
    data = {
        **facts,
        "document_title": f"Evidence file: {facts['title']}",
        "date": report.date or NO_DAY,
        "fonts": list(_FONTS),
        "id_size": ID_SIZE,
        "sections": [_section(section) for section in report.all_sections],
    }
    try:
        made = typst.compile(
            str(_TEMPLATE), font_paths=_fonts(), sys_inputs={"data": json.dumps(data)}, pdf_standards=_STANDARDS
        )
    except RuntimeError as error:
        raise StudyError(f"The evidence file could not be set as PDF: {error}.") from error
    if not isinstance(made, bytes):
        raise StudyError("The evidence file could not be set as PDF: no file came out.")
    return made


def _section(section: Section) -> dict[str, Any]:
    heading = f"{section.number}. {section.heading}" if section.number else section.heading
    return {"number": section.number, "heading": heading, "items": [one for it in items(section) for one in _set(it)]}


def _set(item: Item) -> list[dict[str, Any]]:
    match item:
        case Words(kind, texts):
            longest = int(_WIDTH / (9 * LETTER)) - 4
            return [{"kind": kind, "texts": [with_breaks(text, longest) for text in texts]}]
        case Drawn():
            width, turned = _across(item.svg)
            words = {"title": item.title, "alt": item.alt, "svg": item.svg}
            return [{"kind": "picture", **words, "width": width, "turned": turned}]
        case Sheet():
            size = best_size(item, _WIDTH, _SIZES)
            parts = fitting(item, _WIDTH, size)
            return [_sheet(part, widths, size, (at, len(parts))) for at, (part, widths) in enumerate(parts, start=1)]


def _sheet(sheet: Sheet, widths: list[float], size: float, part: tuple[int, int]) -> dict[str, Any]:
    """Return a table, its long words made breakable to the width of their column."""
    number, of = part
    letters = [max(int((width - PADDING) / (LETTER * size)), 1) for width in widths]
    bold = [max(int((width - PADDING) / (BOLD * size)), 1) for width in widths]
    small = max(int((widths[0] - PADDING) / (LETTER * ID_SIZE)), 1)
    rows: list[list[Any]] = []
    for row, name in zip(sheet.rows, sheet.ids, strict=True):
        cells = [with_breaks(cell, longest) for cell, longest in zip(row, letters, strict=True)]
        rows.append([[cells[0], with_breaks(name, small)], *cells[1:]])
    return {
        "kind": "sheet",
        "title": sheet.title if of == 1 else f"{sheet.title} (part {number} of {of})",
        "size": size,
        "whole": max((len(cell) for row in sheet.rows for cell in row), default=0) < _LONG_CELL,
        "widths": widths,
        "headings": [with_breaks(words, longest) for words, longest in zip(sheet.headings, bold, strict=True)],
        "right": [_holds_numbers(sheet, column) for column in range(len(sheet.headings))],
        "rows": rows,
        "note": with_breaks(sheet.note, 100) if number == of else "",
    }


def _holds_numbers(sheet: Sheet, column: int) -> bool:
    return column > 0 and all(_NUMBER.match(row[column]) for row in sheet.rows)


def _across(svg: str) -> tuple[float, bool]:
    """Return the width a picture gets, in points, and whether its page is laid on its side."""
    found = [re.search(rf'<svg [^>]*?{side}="([\d.]+)pt"', svg) for side in ("width", "height")]
    if found[0] is None or found[1] is None:
        return _WIDTH, False
    wide, high = float(found[0].group(1)), float(found[1].group(1))
    if _WIDTH / wide >= _SMALLEST:
        return wide * min(1.0, _WIDTH / wide, _HEIGHT / high), False
    return wide * min(1.0, _WIDTH_TURNED / wide, _HEIGHT_TURNED / high), True


@cache
def _fonts() -> typst.Fonts:
    """Return the fonts that come with matplotlib, the same everywhere; matplotlib itself is not loaded."""
    found = find_spec("matplotlib")
    if found is None or found.origin is None:
        raise StudyError("The fonts were not found: matplotlib is not installed. Install the package again.")
    folder = Path(found.origin).parent / "mpl-data" / "fonts" / "ttf"
    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(folder)])


# How wide is each column of a printed table, and which columns have to go into a second table?


ID_SIZE = 5.5  # points, letters of the id under the first cell of a row
PADDING = 6.0  # points, left and right of a cell together
LETTER = 0.62  # of the size of the letters: mean width of a sign of DejaVu Sans in the tables of the demo
BOLD = 0.72  # the same for its bold face, in which headings are set
_WHOLE = 14  # letters; a cell so short, such as `< 0.001` or an interval, is kept on one line where there is room
_LONG, _COMFORT = 40, 26  # letters; a column with cells so long gets room for so many where it can
_WIDEST_WORD = 300.0  # points; longer words are broken
_LONGEST_LINE = 60  # letters that count when room is shared out


def fitting(sheet: Sheet, width: float, size: float) -> list[tuple[Sheet, list[float]]]:
    """Return the table in as many parts as it needs side by side, each with the widths of its columns in points.

    The first column stands in every part, so that each can be read alone.

    Parameters
    ----------
    width
        Room across the page, in points.
    size
        Size of the letters, in points.
    """
    needed = _needs(sheet, width, size)
    groups = _groups(needed, width)
    # once more with less room, so that the last part is not left with a column or two
    even = (sum(needed) + (len(groups) - 1) * needed[0]) / len(groups) + max(needed)
    groups = min((_groups(needed, min(even, width)), groups), key=len)
    return [(_part(sheet, group), _widths(sheet, group, needed, width, size)) for group in groups]


def best_size(sheet: Sheet, width: float, sizes: Sequence[float]) -> float:
    """Return the largest of the sizes at which the table fits: at ease, else word by word; the largest if at none."""
    for whole in (_WHOLE, 0):
        for size in sizes:
            if sum(_needed(sheet, column, size, whole) for column in range(len(sheet.headings))) <= width:
                return size
    return sizes[0]


def _groups(needed: Sequence[float], width: float) -> list[list[int]]:
    """Return which columns stand side by side, the first one always among them."""
    groups: list[list[int]] = [[0]]
    for column in range(1, len(needed)):
        taken = sum(needed[own] for own in groups[-1])
        if taken + needed[column] > width and len(groups[-1]) > 1:
            groups.append([0])
        groups[-1].append(column)
    return groups


def _needs(sheet: Sheet, width: float, size: float) -> list[float]:
    """Return the least room of each column: with short cells whole if that fits, else word by word."""
    columns = range(len(sheet.headings))
    whole = [_needed(sheet, column, size, _WHOLE) for column in columns]
    return whole if sum(whole) <= width else [_needed(sheet, column, size, 0) for column in columns]


def _needed(sheet: Sheet, column: int, size: float, whole: int) -> float:
    """Return the room for the longest word of a column, or the longest cell of no more letters than `whole`."""
    cells = [row[column] for row in sheet.rows]
    longest = max((len(piece) for cell in cells for piece in _pieces(cell, whole)), default=1)
    if whole and max(map(len, cells), default=0) > _LONG:
        longest = max(longest, _COMFORT)
    if whole and column == 0:
        names = min(max(map(len, sheet.ids), default=0), _COMFORT)
        longest = max(longest, round(names * ID_SIZE / size))
    heading = max((len(word) for word in sheet.headings[column].split(" ")), default=1)
    return min(max(longest * LETTER, heading * BOLD) * size, _WIDEST_WORD) + PADDING


def _pieces(cell: str, whole: int) -> list[str]:
    return [cell] if len(cell) <= whole else cell.split(" ")


def _widths(sheet: Sheet, group: list[int], needed: list[float], width: float, size: float) -> list[float]:
    """Return widths that hold every word; what is left over goes where most is written."""
    least = [needed[column] for column in group]
    if sum(least) > width:
        return [one * width / sum(least) for one in least]
    wanted = [max(_wanted(sheet, column, size) - low, 0.0) for column, low in zip(group, least, strict=True)]
    spare, total = width - sum(least), sum(wanted)
    if total <= spare:
        return [low + more for low, more in zip(least, wanted, strict=True)]
    return [low + spare * more / total for low, more in zip(least, wanted, strict=True)]


def _wanted(sheet: Sheet, column: int, size: float) -> float:
    longest = max((len(row[column]) for row in sheet.rows), default=0)
    longest = max(longest, len(sheet.headings[column]) // 2)
    if column == 0:
        longest = max(longest, max((len(text) for text in sheet.ids), default=0) * 4 // 5)
    return min(longest, _LONGEST_LINE) * LETTER * size + PADDING


def _part(sheet: Sheet, group: list[int]) -> Sheet:
    headings = tuple(sheet.headings[column] for column in group)
    rows = tuple(tuple(row[column] for column in group) for row in sheet.rows)
    return Sheet(sheet.title, headings, rows, sheet.ids, sheet.note)


# Pictures drawn by two processes at a time.


def drawn_ahead(report: Report) -> Report:
    """Return the report with its pictures drawn, every other one by a second process: the same pictures, sooner."""
    pictures = [block for section in report.all_sections for block in section.blocks if isinstance(block, Picture)]
    theirs = elsewhere(lambda: {picture.name: picture.draw() for picture in pictures[1::2]})
    drawn = {picture.name: picture.draw() for picture in pictures[::2]} | theirs()
    return replace(
        report,
        summary=_with_drawn(report.summary, drawn),
        sections=tuple(_with_drawn(section, drawn) for section in report.sections),
    )


def _with_drawn(section: Section, drawn: Mapping[str, str]) -> Section:
    return replace(
        section,
        blocks=tuple(
            replace(block, draw=drawn[block.name].__str__) if isinstance(block, Picture) else block
            for block in section.blocks
        ),
    )
