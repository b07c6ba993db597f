"""What stands in a file somebody hands in? Any text table or workbook becomes one grid of texts with a header."""

from __future__ import annotations

import codecs
import csv
import datetime
import hashlib
import io
import lzma
import re
import struct
import zipfile
import zlib
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import islice
from pathlib import Path, PurePosixPath
from typing import Any

import python_calamine

from panel.errors import StudyError
from panel.study.study import RawFile

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


def _sheet(content: bytes, name: str, sheet: str) -> tuple[list[list[str]], list[str]]:
    """Return the rows of the sheet asked for, or of the first one that holds anything."""
    with open_workbook(content, name) as workbook:
        names = sheet_names(workbook)
        if sheet and sheet not in names:
            raise StudyError(f"{name} has no sheet {sheet!r}; its sheets are {', '.join(names)}.")
        filled = {one: rows for one in ([sheet] if sheet else names) if (rows := sheet_rows(workbook, one))}
    if not filled:
        raise StudyError(f"{name} holds no filled sheet.")
    chosen, rows = next(iter(filled.items()))
    notes = [f"Sheet {chosen!r} was read."]
    if len(filled) > 1:
        notes.append(f"Other filled sheets were not read: {', '.join(one for one in filled if one != chosen)}.")
    errors = error_cells(content, name)
    if errors:
        notes.append(f"Cells with a spreadsheet error such as #DIV/0! in the workbook, read as empty: {errors}.")
    return rows, notes


def _text(content: bytes, name: str) -> tuple[list[list[str]], list[str]]:
    if content.startswith(_OLD_WORKBOOK):
        raise StudyError(f"{name} is an old .xls workbook or has a password; save it as .xlsx without one.")
    text, encoding = decode(content, name)
    rows, delimiter = text_rows(text, name, MAX_COLUMNS, MAX_ROWS)
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


def text_rows(text: str, name: str, max_columns: int, max_rows: int) -> tuple[list[list[str]], str]:
    """Return the cells of a table in a text, line by line (an empty line is an empty list), and the delimiter.

    Raises
    ------
    StudyError
        If a quotation mark is not closed, or there are more rows or columns than allowed.
    """
    stated = _STATED_DELIMITER.match(text)
    if stated:  # spreadsheet programs write this line and hide it
        text = text[stated.end() :]
    delimiter = stated[1] if stated else find_delimiter(text)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    rows: list[list[str]] = []
    try:
        for row in reader:
            if len(row) > max_columns:
                raise StudyError(
                    f"{name} has {len(row)} columns in line {len(rows) + 1}; at most {max_columns} are read."
                )
            if len(rows) > max_rows:
                raise StudyError(f"{name} has more than {max_rows} rows; split it.")
            rows.append(row)
    except csv.Error as error:
        where = f"line {reader.line_num}"
        raise StudyError(f"{name} has a quotation mark or cell that does not end properly near {where}.") from error
    return rows, delimiter


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


MOST_UNPACKED_WORKBOOK = 100_000_000  # bytes of all parts together
MAX_AREA = 8_000_000  # bound on the cells a sheet is laid out as; four times the cells of the largest dense table
MAX_TEXT = 500_000_000  # bytes of text once every cell has its own copy

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
    archive = open_archive(content, name, MOST_UNPACKED_WORKBOOK)
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


# May this zip archive (a zipped study, a workbook) be opened? Checked before anything in it is unpacked.


MAX_MEMBERS = 2_000
MAX_UNPACKED = 200_000_000  # bytes; ten times the largest file that may be imported

_BROKEN = (
    zipfile.BadZipFile,
    zlib.error,
    lzma.LZMAError,
    struct.error,
    OSError,
    EOFError,
    RuntimeError,  # zipfile raises it for an encrypted member
    NotImplementedError,  # and this for a way of packing it does not know
    ValueError,
    IndexError,
    OverflowError,
)
_ENCRYPTED = 0x1
_LINK, _KIND = 0o120000, 0o170000


def stays_inside(name: str) -> bool:
    """Return True if a path out of a file stays below the folder it is meant for, on any operating system."""
    if not name or "\\" in name or ":" in name or any(ord(sign) < 32 for sign in name):
        return False
    parts = PurePosixPath(name).parts
    return bool(parts) and not name.startswith("/") and ".." not in parts


def open_archive(content: bytes, name: str, max_unpacked: int = MAX_UNPACKED) -> zipfile.ZipFile:
    """Open a zip archive held in memory, having looked at what it claims to hold.

    Parameters
    ----------
    content
        The bytes of the archive.
    name
        Its name, for messages.
    max_unpacked
        Most bytes that all its files together may have.

    Raises
    ------
    StudyError
        If it is no zip archive, is encrypted, holds too much, or a name in it leads out of its folder.
    """
    try:
        archive = zipfile.ZipFile(io.BytesIO(content))
        members = archive.infolist()
    except _BROKEN as error:
        raise StudyError(f"{name} is not a whole zip archive or workbook; save it again and retry.") from error
    if len(members) > MAX_MEMBERS:
        raise StudyError(f"{name} holds {len(members)} files; at most {MAX_MEMBERS} are read.")
    unpacked = sum(member.file_size for member in members)
    if unpacked > max_unpacked:
        raise StudyError(f"{name} would unpack to {unpacked} bytes; at most {max_unpacked} are read.")
    for member in members:
        if not stays_inside(member.filename) or (member.external_attr >> 16) & _KIND == _LINK:
            raise StudyError(f"{name} holds {member.filename!r}, which leads out of it; nothing was read.")
        if member.flag_bits & _ENCRYPTED:
            raise StudyError(f"{name} is protected by a password; save it without one.")
    repeated = [member for member, times in Counter(archive.namelist()).items() if times > 1]
    if repeated:
        raise StudyError(f"{name} holds {repeated[0]!r} more than once; pack it again.")
    return archive


def read_member(archive: zipfile.ZipFile, member: str, name: str) -> bytes:
    """Return one file of an archive, never more bytes than it declares.

    Raises
    ------
    StudyError
        If the file is damaged or is not what the archive says.
    """
    try:
        return archive.read(member)
    except _BROKEN as error:
        raise StudyError(f"{member!r} in {name} is damaged; pack or save the file again.") from error
