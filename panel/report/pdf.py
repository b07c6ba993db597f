"""The evidence file as PDF: tagged, PDF/A-2a and PDF/UA-1, the same bytes for the same study and version."""

from __future__ import annotations

import json
import re
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import typst

from panel.errors import StudyError
from panel.report.contents.blocks import Report, Section
from panel.report.contents.days import NO_DAY
from panel.report.pages import Drawn, Item, Sheet, Words, items, page_facts
from panel.report.plain_text import with_breaks
from panel.report.table_widths import BOLD, ID_SIZE, LETTER, PADDING, best_size, fitting

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
