"""What stands in a file somebody hands in? Any text table or workbook becomes one grid of texts with a header."""

from __future__ import annotations

import hashlib
from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from panel.errors import StudyError
from panel.study.sheet_grids import MergedRange, error_cells, merged_ranges, open_workbook, sheet_names, sheet_rows
from panel.study.study import RawFile
from panel.study.text_grid import decode, delimiter_words, text_rows

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
    merged
        Cells merged over several rows: column, first and last row (counted from 0 below the header); what they hold
        stands in the first. Of cells merged over several columns too it is the leftmost column.
    """

    name: str
    header: tuple[str, ...]
    columns: tuple[tuple[str, ...], ...]
    lines: tuple[int, ...]
    notes: tuple[str, ...] = ()
    unnamed: tuple[str, ...] = ()
    merged: tuple[tuple[str, int, int], ...] = ()

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
    rows, notes, merged = _sheet(content, name, sheet) if content[:2] == _ZIP else _text(content, name)
    table = table_of_rows(rows, name, notes, merged)
    if not table.lines:
        raise StudyError(f"{name} has a header but no rows below it.")
    return table


def _sheet(content: bytes, name: str, sheet: str) -> tuple[list[list[str]], list[str], list[MergedRange]]:
    """Return rows, notes and merged cells of the sheet asked for, or of the first one that holds anything."""
    with open_workbook(content, name) as workbook:
        names = sheet_names(workbook)
        if sheet and sheet not in names:
            raise StudyError(f"{name} has no sheet {sheet!r}; its sheets are {', '.join(names)}.")
        filled = {one: rows for one in ([sheet] if sheet else names) if (rows := sheet_rows(workbook, one))}
        merged = merged_ranges(workbook, next(iter(filled))) if filled else []
    if not filled:
        raise StudyError(f"{name} holds no filled sheet.")
    chosen, rows = next(iter(filled.items()))
    notes = [f"Sheet {chosen!r} was read."]
    if len(filled) > 1:
        notes.append(f"Other filled sheets were not read: {', '.join(one for one in filled if one != chosen)}.")
    errors = error_cells(content, name)
    if errors:
        notes.append(f"Cells with a spreadsheet error such as #DIV/0! in the workbook, read as empty: {errors}.")
    return rows, notes, merged


def _text(content: bytes, name: str) -> tuple[list[list[str]], list[str], list[MergedRange]]:
    if content.startswith(_OLD_WORKBOOK):
        raise StudyError(f"{name} is an old .xls workbook or has a password; save it as .xlsx without one.")
    text, encoding = decode(content, name)
    rows, delimiter = text_rows(text, name, MAX_COLUMNS, MAX_ROWS)
    return rows, [f"The file was read as {encoding} text with {delimiter_words(delimiter)} between the cells."], []


def table_of_rows(
    rows: list[list[str]],
    name: str,
    notes: Sequence[str] = (),
    merged: Sequence[MergedRange] = (),
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
    lines = tuple(filled)
    over_rows = _merged(merged, dict(zip(places, header, strict=True)), lines, name)
    return RawTable(name, header, tuple(columns[i] for i in places), lines, tuple(found), unnamed, over_rows)


def _merged(
    ranges: Sequence[MergedRange], header: dict[int, str], lines: tuple[int, ...], name: str
) -> tuple[tuple[str, int, int], ...]:
    """Return the ranges below the header that go over several rows of the table, as `RawTable.merged` keeps them."""
    found = []
    for first_row, column, last_row, _ in ranges:
        first, last = bisect_left(lines, first_row + 1), bisect_right(lines, last_row + 1) - 1
        if column in header and first < last and lines[first] == first_row + 1:
            found.append((header[column], first, last))
    if sum(last - first for _, first, last in found) > MAX_CELLS:
        raise StudyError(f"{name} has merged cells that lie over one another; take the merging off and save it again.")
    return tuple(found)


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
