"""What stands in a file somebody hands in? Any text table or workbook becomes one grid of texts with a header."""

from __future__ import annotations

import codecs
import csv
import datetime
import hashlib
import io
import re
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import python_calamine

from panel.errors import StudyError
from panel.study.study import RawFile
from panel.study.workbook_parts import workbook_parts
from panel.words import counted

MAX_BYTES = 20_000_000
MAX_COLUMNS = 2_000
MAX_ROWS = 500_000
MAX_CELLS = 2_000_000

_ZIP = b"PK"
_OLD_WORKBOOK = b"\xd0\xcf\x11\xe0"  # .xls, or a workbook with a password
_SHOWN = 5  # lines named in a sentence before "..."


@dataclass(frozen=True, eq=False, slots=True)
class RawTable:
    """A table as texts, nothing interpreted.

    Parameters
    ----------
    name
        The file it came from.
    header
        Names of the columns, all different.
    columns
        The cells of each column, in the order of the header.
    lines
        For each row the line it stands on in the file or sheet; the first line is 1.
    notes
        What was noticed while reading, one plain sentence each.
    unnamed
        The columns that have no name in the file.
    """

    name: str
    header: tuple[str, ...]
    columns: tuple[tuple[str, ...], ...]
    lines: tuple[int, ...]
    notes: tuple[str, ...] = ()
    unnamed: tuple[str, ...] = ()

    def column(self, name: str) -> tuple[str, ...]:
        """Return the cells of the column called `name`; StudyError if there is none."""
        if name not in self.header:
            raise StudyError(f"{self.name} has no column {name!r}; its columns are {', '.join(self.header)}.")
        return self.columns[self.header.index(name)]


def raw_file(name: str, content: bytes) -> RawFile:
    """Return a file that came in as bytes (an upload) together with its SHA-256."""
    return RawFile(name, hashlib.sha256(content).hexdigest(), content)


def read_raw_file(path: str | Path) -> RawFile:
    """Read a file from disk, unchanged; StudyError if it is no file, cannot be read or is larger than 20 MB."""
    path = Path(path)
    try:
        if path.is_dir():
            raise StudyError(f"{path} is a folder; give one file with the scores.")
        if not path.is_file():
            raise StudyError(f"There is no file {path}.")
        if path.stat().st_size > MAX_BYTES:
            raise StudyError(f"{path} is larger than {MAX_BYTES} bytes; keep only the table of scores.")
        return raw_file(path.name, path.read_bytes())
    except (OSError, ValueError) as error:
        raise StudyError(f"{path} cannot be read: {error}.") from error


def changed_raw_files(files: Iterable[RawFile]) -> tuple[str, ...]:
    """Return the names of imported files that are missing or no longer what was imported."""
    return tuple(file.name for file in files if hashlib.sha256(file.content).hexdigest() != file.sha256)


def raw_table(file: RawFile, sheet: str = "") -> RawTable:
    """Return the table in a file as a grid of texts.

    Parameters
    ----------
    file
        A text table (any usual delimiter and encoding) or an .xlsx workbook.
    sheet
        Which sheet of a workbook; the first one that holds anything if it is not said.

    Raises
    ------
    StudyError
        If there is no table in it, or one that cannot be understood; the text says what to do.
    """
    content, name = file.content, file.name
    if not content:
        raise StudyError(f"{name} is empty.")
    if len(content) > MAX_BYTES:
        raise StudyError(f"{name} is larger than {MAX_BYTES} bytes; keep only the table of scores.")
    rows, notes = _sheet(content, name, sheet) if content[:2] == _ZIP else _text(content, name)
    table = table_of_rows(rows, name, notes)
    if not table.lines:
        raise StudyError(f"{name} has a header but no rows below it.")
    return table


def rows_of_file(file: RawFile, sheet: str = "") -> list[tuple[str, list[list[str]]]]:
    """Return each filled sheet of a workbook with its name, or the one text table, as rows of cells.

    Names merged over several rows stand in each of them. The sign between the cells of a text is the one that most
    lines agree on, so that a title above them does not hide it.
    """
    content, name = file.content, file.name
    if not content or len(content) > MAX_BYTES:
        return []
    if content[:2] == _ZIP:
        with open_workbook(content, name) as workbook:
            found = []
            for each in [sheet] if sheet else sheet_names(workbook):
                if each in sheet_names(workbook) and (rows := sheet_rows(workbook, each)):
                    _fill_merged(rows, merged_cells(workbook, each))
                    found.append((each, rows))
            return found
    if content.startswith(_OLD_WORKBOOK):
        return []
    text = decode(content, name)[0]
    lines = [line for line in text[:_SAMPLE].splitlines() if line.strip()]
    body = "\n".join(lines[min(len(lines) // 2, _TITLES) :])
    rows, _ = text_rows(text, name, MAX_COLUMNS, MAX_ROWS, MAX_CELLS, find_delimiter(body))
    return [("", rows)]


_TITLES = 12  # lines that may stand above the headings


def _sheet(content: bytes, name: str, sheet: str) -> tuple[list[list[str]], list[str]]:
    """Return the rows of the sheet asked for, or of the first one that holds anything."""
    with open_workbook(content, name) as workbook:
        names = sheet_names(workbook)
        if sheet and sheet not in names:
            raise StudyError(f"{name} has no sheet {sheet!r}; its sheets are {', '.join(names)}.")
        for chosen in [sheet] if sheet else names:
            if rows := sheet_rows(workbook, chosen):
                break
        else:
            raise StudyError(f"{name} holds no filled sheet.")
        below = _fill_merged(rows, merged_cells(workbook, chosen))
    notes = [f"Sheet {chosen!r} was read."]
    if below:
        notes.append(f"The name above was used for {counted(below, 'row')}, merged in the file.")
    others = [one for one in names if one != chosen] if sheet else names[names.index(chosen) + 1 :]
    if others:
        notes.append(f"Other sheets were not read: {', '.join(others)}.")
    if workbook.error_cells:
        what = "Cells with a spreadsheet error such as #DIV/0! in the workbook, read as empty"
        notes.append(f"{what}: {workbook.error_cells}.")
    return rows, notes


def _text(content: bytes, name: str) -> tuple[list[list[str]], list[str]]:
    if content.startswith(_OLD_WORKBOOK):
        raise StudyError(f"{name} is an old .xls workbook or has a password; save it as .xlsx without one.")
    text, encoding = decode(content, name)
    rows, delimiter = text_rows(text, name, MAX_COLUMNS, MAX_ROWS, MAX_CELLS)
    return rows, [f"The file was read as {encoding} text with {delimiter_words(delimiter)} between the cells."]


def table_of_rows(
    rows: list[list[str]],
    name: str,
    notes: Sequence[str] = (),
    *,
    keep_empty: bool = False,
    max_cells: int = MAX_CELLS,
) -> RawTable:
    """Return rows of texts as a table whose header is the first filled line.

    Empty lines are left out; `keep_empty` keeps those above the last filled line, so that rows can be counted.

    Raises
    ------
    StudyError
        If nothing is filled, two columns have the same name, a row is longer than the header, or there is too much.
    """
    filled = {line: row for line, row in enumerate(rows, start=1) if any(row) and any(map(str.strip, row))}
    if not filled:
        raise StudyError(f"{name} holds no table.")
    header_line, last_line = min(filled), max(filled)
    first = filled.pop(header_line)
    if keep_empty:
        filled = {line: rows[line - 1] for line in range(header_line + 1, last_line + 1)}
    if len(first) * len(filled) > max_cells:
        raise StudyError(f"{name} has {len(filled)} rows of {len(first)} columns, more than can be read; split it.")
    _refuse_long_rows(filled, len(first), name)
    header, places, unnamed = _header(first, filled, name)
    width = places[-1] + 1
    short = [line for line, row in filled.items() if len(row) < width]
    body = [row + [""] * (width - len(row)) if len(row) < width else row for row in filled.values()]
    columns = list(zip(*body, strict=False)) if body else [()] * width
    found = list(notes)
    if changed := [cell.strip() for cell in first if cell != cell.strip()]:
        found.append(f"Blanks round these column names were taken off: {', '.join(changed)}.")
    if unnamed:
        found.append(f"Columns without a name were called {', '.join(unnamed)}.")
    if short:
        found.append(f"Rows shorter than the header were filled up with empty cells: line {_first_of(short)}.")
    return RawTable(name, header, tuple(columns[i] for i in places), tuple(filled), tuple(found), unnamed)


def _refuse_long_rows(filled: dict[int, list[str]], width: int, name: str) -> None:
    """Raise StudyError if a row has more cells than the header, for then nobody knows which cell belongs where."""
    long = [line for line, row in filled.items() if len(row) > width and any(map(str.strip, row[width:]))]
    if long:
        raise StudyError(
            f"{name} has rows with more cells than the header: line {_first_of(long)}. If the cells hold decimal "
            "commas or texts with commas, put semicolons between the cells or the cells in quotation marks."
        )


def _header(
    first: list[str], filled: dict[int, list[str]], name: str
) -> tuple[tuple[str, ...], list[int], tuple[str, ...]]:
    """Return the names of the columns, the places of those that hold anything, and the names we had to give."""
    names = [cell.strip() for cell in first]
    unnamed = []
    for place in [place for place, cell in enumerate(names) if not cell]:
        if any(len(row) > place and row[place].strip() for row in filled.values()):
            names[place] = f"column {place + 1}"
            unnamed.append(names[place])
    places = [place for place, cell in enumerate(names) if cell]
    repeated = [cell for cell, times in Counter(names).items() if cell and times > 1]
    if repeated:
        raise StudyError(f"{name} has more than one column called {repeated[0]!r}; give each its own name.")
    return tuple(names[place] for place in places), places, tuple(unnamed)


def _first_of(lines: list[int]) -> str:
    shown = ", ".join(str(line) for line in lines[:_SHOWN])
    return shown if len(lines) <= _SHOWN else f"{shown} ... ({len(lines)} in all)"


# What stands in a text file of a table (comma, semicolon, tab or bar between the cells), and how was it written?


_DELIMITERS = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars"}
_SAMPLE = 100_000  # characters looked at to find the delimiter
_CONTROL = re.compile("[\x00-\x08\x0e-\x1f]")
_STATED_DELIMITER = re.compile(r"sep=([,;|\t])\r?\n", re.IGNORECASE)
_LINE = re.compile(r"[^\r\n]*(?:\r\n|\r|\n)|[^\r\n]+")
_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


def holds_control_signs(text: str) -> bool:
    """Return True if a text holds control characters that belong in no table (tab and line ends are fine)."""
    return _CONTROL.search(text) is not None


def decode(content: bytes, name: str) -> tuple[str, str]:
    """Return the text of a file and the name of its encoding.

    Raises
    ------
    StudyError
        If the bytes are no text: a picture, a program, a damaged file.
    """
    for encoding in _likely_encodings(content):
        try:
            text = content.decode(encoding)
        except UnicodeDecodeError:
            continue
        if not holds_control_signs(text):
            return text.removeprefix("\ufeff"), encoding
    raise StudyError(f"{name} is not a text file with a table; give a .csv, .tsv or .xlsx file.")


def _likely_encodings(content: bytes) -> tuple[str, ...]:
    for mark, encoding in _MARKS:
        if content.startswith(mark):
            return (encoding,)
    start = content[:1000]
    if start.count(0) * 4 > len(start):  # Latin letters in two bytes each: every second byte is zero
        return ("utf-16-be",) if start[:1] == b"\0" else ("utf-16-le",)
    return ("utf-8", "cp1252")


def text_rows(
    text: str, name: str, max_columns: int, max_rows: int, max_cells: int, delimiter: str = ""
) -> tuple[list[list[str]], str]:
    """Return the cells of a table in a text, line by line (an empty line is an empty list), and the delimiter.

    Parameters
    ----------
    text, name
        The text and the name of the file, for messages.
    max_columns, max_rows, max_cells
        What is read at most; reading stops there.
    delimiter
        The sign between the cells where it is known; else the file's first line may state it, or it is found.

    Raises
    ------
    StudyError
        If a quotation mark is not closed, or there are more rows, columns or cells than allowed.
    """
    stated = None if delimiter else _STATED_DELIMITER.match(text)
    delimiter = delimiter or (stated[1] if stated else find_delimiter(text))
    # spreadsheet programs write the line that states the delimiter, and hide it
    reader = csv.reader(_lines(text, stated.end() if stated else 0), delimiter=delimiter, strict=True)
    rows: list[list[str]] = []
    cells = 0
    try:
        for row in reader:
            if len(row) > max_columns:
                raise StudyError(
                    f"{name} has {len(row)} columns in line {len(rows) + 1}; at most {max_columns} are read."
                )
            if len(rows) > max_rows:
                raise StudyError(f"{name} has more than {max_rows} rows; split it.")
            cells += len(row)
            if cells > max_cells + max_columns:  # the header is not counted
                raise StudyError(f"{name} has more than {max_cells} cells; split it.")
            rows.append(row)
    except csv.Error as error:
        where = f"line {reader.line_num}"
        raise StudyError(f"{name} has a quotation mark or cell that does not end properly near {where}.") from error
    return rows, delimiter


def declared_delimiter(text: str, declared: str, columns: Collection[str]) -> str:
    """Return the declared sign between the cells, unless the header says that somebody saved the file with another.

    Parameters
    ----------
    text
        A table whose columns are known, such as one that a study describes.
    declared
        The sign that its description gives.
    columns
        Names of which at least one must be in its header. A sign that gives none is not taken, so a name that
        holds another sign is not cut in two.

    Returns
    -------
    str
        The sign; the empty text if the first line states it, as spreadsheet programs write it.
    """
    known = {column.casefold() for column in columns}
    stated = _STATED_DELIMITER.match(text)
    for delimiter in (declared, *(sign for sign in _DELIMITERS if sign != declared)):
        if known & _first_cells(text, delimiter, 0):
            return delimiter
    return "" if stated and known & _first_cells(text, stated[1], stated.end()) else declared


def _first_cells(text: str, delimiter: str, start: int) -> set[str]:
    """Return the cells of the first filled line, small letters."""
    try:
        for row in csv.reader(_lines(text, start), delimiter=delimiter):
            if any(map(str.strip, row)):
                return {cell.strip().casefold() for cell in row}
    except csv.Error:
        pass
    return set()


def _lines(text: str, start: int) -> Iterator[str]:
    """Yield the lines of a text with their ends, one at a time: `io.StringIO` would hold four bytes for each sign."""
    return (found[0] for found in _LINE.finditer(text, start))


def find_delimiter(text: str) -> str:
    """Return the sign between the cells: the one that gives most lines as many cells as the header has.

    A single column, which needs no sign, gives a comma.
    """
    sample = text[:_SAMPLE]
    if len(text) > _SAMPLE:  # the last line may be cut in two
        sample = sample[: max(sample.rfind("\n"), sample.rfind("\r")) + 1] or sample
    best = (0.0, 0, ",")
    for delimiter in _DELIMITERS:
        counts = _cells_per_line(sample, delimiter)
        if not counts or counts[0] < 2:
            continue
        share = counts.count(counts[0]) / len(counts)
        if (share, counts[0]) > best[:2]:
            best = (share, counts[0], delimiter)
    return best[2]


def delimiter_words(delimiter: str) -> str:
    """Return what stands between the cells, in words."""
    return _DELIMITERS[delimiter]


def _cells_per_line(sample: str, delimiter: str) -> list[int]:
    reader = csv.reader(io.StringIO(sample, newline=""), delimiter=delimiter)
    counts = []
    try:
        for row in reader:
            if any(row):
                counts.append(len(row))
    except csv.Error:
        return counts
    return counts


# What stands in the sheets of a workbook, every cell as text?


@dataclass(frozen=True, eq=False, slots=True)
class Workbook:
    """An open workbook, and how many of its cells hold a spreadsheet error such as `#DIV/0!`; those read as empty."""

    reader: python_calamine.CalamineWorkbook
    error_cells: int


@contextmanager
def open_workbook(content: bytes, name: str) -> Iterator[Workbook]:
    """Open a workbook held in memory once it is known to fit into memory.

    Raises
    ------
    StudyError
        If it is no .xlsx workbook, is damaged, or claims an area or an amount of text that would not fit.
    """
    parts, error_cells = workbook_parts(content, name)
    try:
        with python_calamine.load_workbook(io.BytesIO(parts)) as reader:
            yield Workbook(reader, error_cells)
    except python_calamine.CalamineError as error:
        raise StudyError(f"{name} cannot be read as a workbook; open it, save it as .xlsx and retry.") from error


def sheet_names(workbook: Workbook) -> list[str]:
    """Return the names of the worksheets a person sees, in their order."""
    work, visible = python_calamine.SheetTypeEnum.WorkSheet, python_calamine.SheetVisibleEnum.Visible
    return [sheet.name for sheet in workbook.reader.sheets_metadata if sheet.typ == work and sheet.visible == visible]


def sheet_rows(workbook: Workbook, sheet: str) -> list[list[str]]:
    """Return the rows of one sheet from its first line on, each cell as text."""
    rows = workbook.reader.get_sheet_by_name(sheet).to_python(skip_empty_area=False)
    return [[value if type(value) is str else cell_text(value) for value in row] for row in rows]


def merged_cells(workbook: Workbook, sheet: str) -> list[tuple[int, int, int]]:
    """Return the cells merged over several rows of a sheet: first row, last row and column, counted from 0."""
    ranges = workbook.reader.get_sheet_by_name(sheet).merged_cell_ranges or []
    return [(top, bottom, left) for (top, left), (bottom, _) in ranges if bottom > top]


def _fill_merged(rows: list[list[str]], merged: list[tuple[int, int, int]]) -> int:
    """Write what stands in cells merged over several rows into each of them; return how many rows that concerned.

    A spreadsheet shows a merged cell over all its rows and keeps its value in the first of them only.
    """
    filled = set()
    for top, bottom, column in merged:
        value = rows[top][column] if top < len(rows) and column < len(rows[top]) else ""
        for row in range(top + 1, min(bottom + 1, len(rows))) if value.strip() else ():
            rows[row].extend([""] * (column + 1 - len(rows[row])))
            if any(cell.strip() for cell in rows[row]):
                rows[row][column] = value
                filled.add(row)
    return len(filled)


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
