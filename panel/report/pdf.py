"""The evidence file as PDF: tagged, PDF/A-2a and PDF/UA-1, the same bytes for the same study and version."""

from __future__ import annotations

import base64
import json
import re
import subprocess
import sys
from collections.abc import Sequence
from functools import cache, lru_cache
from importlib.util import find_spec
from itertools import product, zip_longest
from pathlib import Path
from typing import Any

from panel.errors import StudyError
from panel.report.contents.blocks import Report, Words
from panel.report.html import Item, Sheet, holds_numbers, items, leads, page_facts, plain_text, with_breaks
from panel.views.pictures import sign_width
from panel.views.told import Picture

_TEMPLATE, _PICTURES = (Path(__file__).with_name(name) for name in ("evidence.typ", "pictures.typ"))
_DOTS = 150  # to the inch, for pictures in a text document: sharp on paper, and the file stays small
# DejaVu Sans first; the second one shows a box with the name of the script for signs that the first lacks.
_FONTS = ("DejaVu Sans", "Last Resort High-Efficiency")
WIDTH, WIDTH_TURNED = 481.0, 784.0  # points between the margins of an A4 page, and of one laid on its side
_HEIGHT, _HEIGHT_TURNED = 690.0, 410.0  # points for a picture, its title over it
_PLAIN, _SMALL = 9.0, 8.0  # points, letters of running text: before the annex and in it
_MUCH = 2000  # letters; a page of a claim with more is set small, so that it stays one page
_SIZES = (8.0, 7.5, 7.0)  # points, letters in a table; the first at which it fits
_LONG_CELL = 400  # letters; shorter cells are not broken over two pages
ON_ITS_SIDE = "Tables and pictures on their side"


def pdf_bytes(report: Report) -> bytes:
    """Return the evidence file as PDF; StudyError if the page cannot be set."""
    facts = page_facts(report)
    sections, turned = [], []
    for section in report.all_sections:
        found = list(items(section))
        laid = [{**one, "leads": leads(*two)} for two in zip_longest(found, found[1:]) for one in _set(two[0])]
        turned += [one for one in laid if one.get("turned")]
        upright = [one if not one.get("turned") else _paragraph(pointer(one["title"])) for one in laid]
        letters = sum(len(text) for one in upright for text in one.get("texts", ()))
        size = _SMALL if section in report.sections or letters > _MUCH else _PLAIN
        sections.append(_section(plain_text(section.title), upright, size, new_page=section.on_new_page))
    if turned:
        sections.append({**_section(ON_ITS_SIDE, turned, _SMALL, new_page=True), "turned": True})
    data = {
        **facts,
        "document_title": f"Evidence file: {facts['title']}",
        "fonts": list(_FONTS),
        "smallest": SMALLEST_LETTERS,
        "sections": sections,
        "contents": contents_of(report, [ON_ITS_SIDE] if turned else []),
    }
    (made,) = _typeset(_TEMPLATE, data, pdf_standards=["a-2a", "ua-1"])
    return made


def as_png(report: Report) -> dict[str, bytes]:
    """Return the pictures of a report by their names, for forms that take no SVG."""
    blocks = (block for section in report.all_sections for block in section.blocks)
    svgs = {block.name: block.printed_svg for block in blocks if isinstance(block, Picture)}
    made = _typeset(_PICTURES, list(svgs.values()), format="png", ppi=_DOTS) if svgs else []
    return dict(zip(svgs, made, strict=True))


# Typst takes as much memory as the study: in a process of its own it is given back, and adds nothing to this one's.
_SETTING = """
import base64, json, sys, typst
fonts = typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[sys.argv[2]])
data = sys.stdin.buffer.read().decode()
try:
    made = typst.compile(sys.argv[1], font_paths=fonts, sys_inputs={"data": data}, **json.loads(sys.argv[3]))
except RuntimeError as error:
    sys.exit(str(error))
json.dump([base64.b64encode(file).decode() for file in (made if isinstance(made, list) else [made])], sys.stdout)
"""


def _typeset(template: Path, data: object, **options: object) -> list[bytes]:
    """Return the files, one of PDF or one for each page, that a template makes of the data."""
    command = [sys.executable, "-P", "-c", _SETTING, str(template), str(_font_folder()), json.dumps(options)]
    read = json.dumps(data).encode()
    done = subprocess.run(command, input=read, capture_output=True, check=False)  # noqa: S603  # our own words
    if done.returncode or not done.stdout:
        why = done.stderr.decode(errors="replace").strip() or "no file came out"
        raise StudyError(f"The evidence file could not be set: {why}.")
    return [base64.b64decode(file) for file in json.loads(done.stdout)]


def contents_of(report: Report, more: Sequence[str] = ()) -> list[dict[str, Any]]:
    """Return the list of contents: words, and the place among all sections of the heading they stand for.

    The pages of the claims have one line together.
    """
    claims, first = len(report.claims), 1 + len(report.claims)
    listed = [{"words": report.summary.heading, "place": 0}]
    if claims:
        several = f"Claims 1 to {claims}, a page each" if claims > 1 else "Claim 1"
        listed.append({"words": several, "place": 1})
    titles = [*(plain_text(section.title) for section in report.sections), *more]
    return listed + [{"words": title, "place": place} for place, title in enumerate(titles, start=first)]


def _section(heading: str, laid: list[dict[str, Any]], size: float, *, new_page: bool) -> dict[str, Any]:
    return {"heading": heading, "items": laid, "size": size, "new_page": new_page, "turned": False}


def _paragraph(text: str) -> dict[str, Any]:
    return {"kind": "paragraph", "texts": [text]}


def pointer(title: str) -> str:
    """Return what stands in the place of something that is laid on its side at the end."""
    return f"{title}: at the end, on its side."


def _set(item: Item) -> list[dict[str, Any]]:
    match item:
        case Words(kind, texts):
            longest = int(WIDTH / (9 * 0.62)) - 4
            return [{"kind": kind, "texts": [with_breaks(text, longest) for text in texts]}]
        case Picture():
            svg = item.printed_svg
            found = room_for(*size_of(svg))
            if found is None:
                return [_paragraph(f"{plain_text(item.title)}: {TOO_LARGE}")]
            words = {"title": plain_text(item.title), "alt": plain_text(item.alt), "svg": svg}
            return [{"kind": "picture", **words, "width": found[0], "turned": found[1]}]
        case Sheet():
            size, turned = lying(item)
            parts = fitting(item, WIDTH_TURNED if turned else WIDTH, size)
            return [{**_sheet(part, widths, size), "turned": turned} for part, widths in parts]


def lying(sheet: Sheet) -> tuple[float, bool]:
    """Return the size of the letters of a table in points, and whether it is laid on its side to fit."""
    size = _best_size(sheet, WIDTH, _SIZES)
    if len(fitting(sheet, WIDTH, size)) == 1:
        return size, False
    return _best_size(sheet, WIDTH_TURNED, _SIZES), True


def _sheet(sheet: Sheet, widths: list[float], size: float) -> dict[str, Any]:
    room = [width - PADDING for width in widths]
    headings = zip(sheet.headings, room, strict=True)
    rows: list[list[Any]] = []
    for row, name in zip(sheet.rows, sheet.ids, strict=True):
        cells = [_breakable(cell, wide, size) for cell, wide in zip(row, room, strict=True)]
        rows.append([[cells[0], name], *cells[1:]])
    return {
        "kind": "sheet",
        "title": sheet.title,
        "size": size,
        "whole": max((len(cell) for row in sheet.rows for cell in row), default=0) < _LONG_CELL,
        "widths": widths,
        "headings": [_breakable(words, wide, size, bold=True) for words, wide in headings],
        "right": [holds_numbers(sheet, column) for column in range(len(sheet.headings))],
        "rows": rows,
        "note": with_breaks(sheet.note, 100),
    }


TOO_LARGE = "too large for a page; the form for a browser shows it."


def room_for(wide: float, high: float) -> tuple[float, bool] | None:
    """Return the width a picture gets, in points, and whether it is laid on its side; None if it gets too small."""
    for across, down, turned in ((WIDTH, _HEIGHT, False), (WIDTH_TURNED, _HEIGHT_TURNED, True)):
        scale = min(1.0, across / wide, down / high)
        if scale * _LETTERS >= SMALLEST_LETTERS:
            return wide * scale, turned
    return None


def size_of(svg: str) -> tuple[float, float]:
    """Return width and height of a picture in points."""
    found = [re.search(rf'<svg [^>]*?{side}="([\d.]+)pt"', svg) for side in ("width", "height")]
    wide, high = (float(one.group(1)) if one else WIDTH for one in found)
    return wide, high


def _font_folder() -> Path:
    """Return where the fonts that come with matplotlib lie, the same everywhere; matplotlib itself is not loaded."""
    found = find_spec("matplotlib")
    if found is None or found.origin is None:
        raise StudyError("The fonts were not found: matplotlib is not installed. Install the package again.")
    return Path(found.origin).parent / "mpl-data" / "fonts" / "ttf"


# How wide is each column of a printed table, and which columns have to go into a second table?


SMALLEST_LETTERS = 7.0
"""Points; nothing in the file is set smaller."""
_LETTERS = 8.0  # points, the small letters of a picture in its own size

PADDING = 6.0  # points, left and right of a cell together
_SLACK = 0.5  # points, so that a word that just fits is not broken by rounding
# Letters; cells so short, such as a mean with its interval, or `< 0.001`, are kept on one line where there is room.
_WHOLE = (24, 14, 0)
_LONG, _COMFORT = 40, 26  # letters; a column with cells so long gets room for so many where it can
_WIDEST_WORD = 340.0  # points; longer words are broken
_LONGEST_LINE = 90  # letters that count when room is shared out
_MEAN = 0.6  # of the size of the letters: mean width of a sign of DejaVu Sans


@cache
def _width(text: str, *, bold: bool = False) -> float:
    return sum(sign_width(sign, bold=bold) for sign in text)


def _breakable(text: str, room: float, size: float, *, bold: bool = False) -> str:
    if len(text) * size < room:  # no sign is wider than the letters are high
        return text
    words = []
    for word in text.split(" "):
        wide = _width(word, bold=bold) * size
        words.append(with_breaks(word, max(int(0.95 * len(word) * room / wide), 1)) if wide > room else word)
    return " ".join(words)


def fitting(sheet: Sheet, width: float, size: float) -> list[tuple[Sheet, list[float]]]:
    """Return the table in as many parts as it needs side by side, each with the widths of its columns.

    The first column stands in every part, so that each can be read alone. Lengths are in points: the room across the
    page, and the size of the letters.
    """
    needed = _needs(sheet, width, size)
    groups = _groups(needed, width)
    # once more with less room, so that the last part is not left with a column or two
    even = (sum(needed) + (len(groups) - 1) * needed[0]) / len(groups) + max(needed)
    groups = min((_groups(needed, min(even, width)), groups), key=len)
    widths = [_widths(sheet, group, needed, width, size) for group in groups]
    return [(_part(sheet, group, place, len(groups)), widths[place]) for place, group in enumerate(groups)]


def _best_size(sheet: Sheet, width: float, sizes: Sequence[float]) -> float:
    """Return the largest of the sizes at which the table fits: at ease, else word by word; the largest if at none."""
    first, *others = _WHOLE  # the longest cells alone are no reason for smaller letters
    for whole, size in ((first, sizes[0]), *product(others, sizes)):
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
    for whole in _WHOLE:
        needed = [_needed(sheet, column, size, whole) for column in range(len(sheet.headings))]
        if sum(needed) <= width:
            break
    return needed


def _needed(sheet: Sheet, column: int, size: float, whole: int) -> float:
    """Return the room for the longest word of a column, or the longest cell of no more letters than `whole`."""
    longest = _longest(tuple([row[column] for row in sheet.rows]), whole)
    heading = max((_width(word, bold=True) for word in sheet.headings[column].split(" ")), default=0.0)
    return min(max(longest, heading) * size, _WIDEST_WORD) + PADDING + _SLACK


@lru_cache(maxsize=1000)  # asked again for every size of the letters, and for every form of the file
def _longest(cells: tuple[str, ...], whole: int) -> float:
    pieces = (piece for cell in cells for piece in ([cell] if len(cell) <= whole else cell.split(" ")))
    longest = max(map(_width, pieces), default=0.0)
    return max(longest, _COMFORT * _MEAN) if whole and max(map(len, cells), default=0) > _LONG else longest


def _widths(sheet: Sheet, group: list[int], needed: list[float], width: float, size: float) -> list[float]:
    """Return widths that hold every word; what is left over goes where most is written."""
    least = [needed[column] for column in group]
    if sum(least) > width:
        return [one * width / sum(least) for one in least]
    wanted = [max(_wanted(sheet, column, size) - low, 0.0) for column, low in zip(group, least, strict=True)]
    spare, total = width - sum(least), sum(wanted)
    part = 1.0 if total <= spare else spare / total
    return [low + part * more for low, more in zip(least, wanted, strict=True)]


def _wanted(sheet: Sheet, column: int, size: float) -> float:
    longest = max((len(row[column]) for row in sheet.rows), default=0)
    longest = max(longest, len(sheet.headings[column]) // 2)
    if column == 0 and any(sheet.ids):
        longest += 1 + max(map(len, sheet.ids))
    return min(longest, _LONGEST_LINE) * _MEAN * size + PADDING


def _part(sheet: Sheet, group: list[int], place: int, of: int) -> Sheet:
    title = sheet.title if of == 1 else f"{sheet.title} (part {place + 1} of {of})"
    headings = tuple(sheet.headings[column] for column in group)
    rows = tuple(tuple(row[column] for column in group) for row in sheet.rows)
    return Sheet(title, headings, rows, sheet.ids, sheet.note if place + 1 == of else "")
