"""What stands in the sheets of a workbook, every cell as text?"""

from __future__ import annotations

import datetime
import io
import re
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import islice
from typing import Any

import python_calamine

from panel.errors import StudyError
from panel.study.archive_limits import open_archive, read_member

MAX_UNPACKED = 100_000_000  # bytes of all parts together
MAX_AREA = 8_000_000  # bound on the cells a sheet is laid out as; four times the cells of the largest dense table
MAX_TEXT = 500_000_000  # bytes of text once every cell has its own copy

MergedRange = tuple[int, int, int, int]

_ROW_OR_CELL = re.compile(rb"""["'\s:]r\s*=\s*["']([A-Za-z]*)(\d+)["']""")
_ROW = re.compile(rb"<(?:\w+:)?row[\s/>]")
_CELL = re.compile(rb"<(?:\w+:)?c[\s/>]")
_VALUE = re.compile(rb"<(?:\w+:)?v[^>]*>\s*(\d{1,9})\s*<")
_SHARED_TEXT = re.compile(rb"<(?:\w+:)?si[\s/>]")
_ERROR_CELL = re.compile(rb"""\st\s*=\s*["']e["']""")


@contextmanager
def open_workbook(content: bytes, name: str) -> Iterator[python_calamine.CalamineWorkbook]:
    """Open a workbook held in memory once it is known to fit into memory.

    Raises
    ------
    StudyError
        If it is no .xlsx workbook, is damaged, or claims an area or an amount of text that would not fit.
    """
    _check_parts(content, name)
    try:
        with python_calamine.load_workbook(io.BytesIO(content)) as workbook:
            yield workbook
    except python_calamine.CalamineError as error:
        raise StudyError(f"{name} cannot be read as a workbook; open it, save it as .xlsx and retry.") from error


def sheet_names(workbook: python_calamine.CalamineWorkbook) -> list[str]:
    """Return the names of the worksheets a person sees, in their order."""
    work, visible = python_calamine.SheetTypeEnum.WorkSheet, python_calamine.SheetVisibleEnum.Visible
    return [sheet.name for sheet in workbook.sheets_metadata if sheet.typ == work and sheet.visible == visible]


def sheet_rows(workbook: python_calamine.CalamineWorkbook, sheet: str) -> list[list[str]]:
    """Return the rows of one sheet from its first line on, each cell as text."""
    rows = workbook.get_sheet_by_name(sheet).to_python(skip_empty_area=False)
    return [[value if type(value) is str else cell_text(value) for value in row] for row in rows]


def merged_ranges(workbook: python_calamine.CalamineWorkbook, sheet: str) -> list[MergedRange]:
    """Return the merged cells of one sheet: first row, first column, last row, last column, all counted from 0."""
    ranges = workbook.get_sheet_by_name(sheet).merged_cell_ranges or []
    return [(*first, *last) for first, last in ranges]


def cell_text(value: Any) -> str:
    """Return a cell's value as text: whole numbers without `.0`, dates and times as ISO 8601."""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, float):
        return f"{value:.0f}" if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, datetime.datetime):
        return value.isoformat(sep=" ")
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    return str(value)


def error_cells(content: bytes, name: str) -> int:
    """Return how many cells of a workbook hold a spreadsheet error such as `#DIV/0!`; they are read as empty."""
    archive = open_archive(content, name)
    sheets = [part for part in archive.namelist() if part.startswith("xl/worksheets/")]
    return sum(len(_ERROR_CELL.findall(read_member(archive, part, name))) for part in sheets)


def _check_parts(content: bytes, name: str) -> None:
    """Raise StudyError if the workbook would not fit into memory.

    The reader lays a sheet out as a full grid, so one value in the last cell of an otherwise empty sheet would
    ask for hundreds of gigabytes, and gives each cell its own copy of a shared text. Both are counted here from
    the packed parts themselves. Reading them also shows any part that unpacks to more than it declares.
    """
    archive = open_archive(content, name, MAX_UNPACKED)
    if "xl/workbook.xml" not in archive.namelist():
        raise StudyError(f"{name} is not an .xlsx workbook; save it as .xlsx or .csv.")
    references: Counter[bytes] = Counter()
    lengths: list[int] = []
    for part in archive.namelist():
        data = read_member(archive, part, name)
        if b"<!DOCTYPE" in data or data[:2] in (b"\xff\xfe", b"\xfe\xff"):
            raise StudyError(f"{name} holds parts that no spreadsheet program writes ({part}); save it again.")
        if _ROW.search(data):
            if _area(data) > MAX_AREA:
                raise StudyError(f"{name} uses cells far outside its tables ({part}); delete them and save it again.")
            references.update(found[1] for found in _VALUE.finditer(data))
        if _SHARED_TEXT.search(data):
            lengths = [len(text) for text in _SHARED_TEXT.split(data)[1:]]
    copies = ((int(number), times) for number, times in references.items())
    if sum(lengths[number] * times for number, times in copies if number < len(lengths)) > MAX_TEXT:
        raise StudyError(f"{name} holds more text than can be read; keep only the table of scores.")


def _area(data: bytes) -> int:
    """Return an upper bound of the cells that a sheet part is laid out as, with or without cell references."""
    starts = [found.start() for found in islice(_ROW.finditer(data), MAX_AREA + 1)]
    ends = [*starts[1:], len(data)]
    widest = 0
    for start, end in zip(starts, ends, strict=True):
        widest = max(widest, sum(1 for _ in islice(_CELL.finditer(data, start, end), MAX_AREA + 1)))
    last_row, last_column = 0, 0
    for found in _ROW_OR_CELL.finditer(data):
        last_row = max(last_row, int(found[2][:9]))
        last_column = max(last_column, _column_number(found[1][:4].upper()))
    return (last_row + len(starts)) * (last_column + widest)


def _column_number(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + letter - 64
    return number
