"""What stands in a file somebody hands in? Any text table or workbook becomes one grid of texts with a header."""

from __future__ import annotations

import codecs
import csv
import hashlib
import io
import re
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from panel.errors import StudyError
from panel.study.archives import open_workbook, rows_with_merged, sheet_names
from panel.study.study import RawFile
from panel.words import as_seen, counted, first_few

if TYPE_CHECKING:
    import pyarrow as pa

_MAX_BYTES = 20_000_000  # of a workbook, and of what is uploaded
_MAX_CELLS = 2_000_000
LARGEST_BYTES = 2_000_000_000


class Limits(NamedTuple):
    """How much of a text is read: bytes, columns, rows and cells.

    `even_bytes` and `even_cells` are the limits where every line has as many cells as the first: such a text is read
    ten times quicker and in a quarter of the memory.
    """

    bytes: int
    columns: int
    rows: int
    cells: int
    even_bytes: int
    even_cells: int


UPLOADED = Limits(_MAX_BYTES, 2_000, 500_000, _MAX_CELLS, _MAX_BYTES, _MAX_CELLS)
OWN_FILE = Limits(100_000_000, 2_000, 2_000_000, 40_000_000, LARGEST_BYTES, 1_000_000_000)

NOT_READ = "Other sheets were not read"
READ_AS_SEEN = "Blanks round or doubled, line ends and invisible signs were taken off"
UNNAMED = re.compile(r"column \d+")  # what a column without a name is called
_NO_TABLES = {  # how a file begins, to what it is
    b"\xd0\xcf\x11\xe0": "an old .xls workbook or has a password; save it as .xlsx without one",
    b"<": "a web page or XML, whatever its name says; open it in a spreadsheet program and save it as .xlsx",
    b"%PDF": "a PDF; copy its table into a spreadsheet and save that as .xlsx",
    b"{": "no table but JSON or a formatted text; save the table as .csv or .xlsx",
    b"[{": "no table but JSON; save the table as .csv or .xlsx",
}
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
        The cells of each column, in the order of the header: a tuple, or pandas' array of texts.
    lines
        For each row the line it stands on in the file or sheet; the first line is 1.
    notes
        What was noticed while reading, one plain sentence each.
    unnamed
        The columns that have no name in the file.
    scale
        The scale that a line beside the table states.
    renamed
        Headings of the file that are read as others, such as `Absorbed (min:s)`, each to that.
    """

    name: str
    header: tuple[str, ...]
    columns: tuple[Sequence[str], ...]
    lines: Sequence[int]
    notes: tuple[str, ...] = ()
    unnamed: tuple[str, ...] = ()
    scale: tuple[int, int] | None = None
    renamed: Mapping[str, str] = field(default_factory=dict)

    def column(self, name: str) -> Sequence[str]:
        """Return the cells of the column called `name`; StudyError if there is none."""
        if name not in self.header:
            own = {read: written for written, read in self.renamed.items()}
            named = ", ".join(own.get(head, head) for head in self.header)
            raise StudyError(f"{self.name} has no column {name!r}; its columns are {named}.")
        return self.columns[self.header.index(name)]


def raw_file(name: str, content: bytes) -> RawFile:
    """Return a file that came in as bytes (an upload) together with its SHA-256."""
    return RawFile(name, hashlib.sha256(content).hexdigest(), content)


def read_raw_file(path: str | Path) -> RawFile:
    """Read a file from disk, unchanged; StudyError if it is no file, cannot be read or is larger than 2 GB."""
    path = Path(path)
    try:
        if path.is_dir():
            raise StudyError(f"{path} is a folder; give one file with the scores.")
        if not path.is_file():
            raise StudyError(f"There is no file {path}.")
        if path.stat().st_size > LARGEST_BYTES:
            raise StudyError(f"{path} is larger than {LARGEST_BYTES} bytes; keep only the table of scores.")
        return raw_file(path.name, path.read_bytes())
    except (OSError, ValueError) as error:
        raise StudyError(f"{path} cannot be read: {error}.") from error


def is_workbook(file: RawFile) -> bool:
    """Return True if a file is packed, as workbooks are."""
    return file.content[:2] == b"PK"


def raw_table(file: RawFile, sheet: str = "", limits: Limits = UPLOADED) -> RawTable:
    """Return the table in a text file (any usual delimiter and encoding) or an .xlsx workbook as a grid of texts.

    Parameters
    ----------
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
    if is_workbook(file):
        if len(content) > _MAX_BYTES:
            raise StudyError(f"{name} is larger than {_MAX_BYTES} bytes; keep only the table of scores.")
        sheets, told = rows_of_file(file, sheet)
        if not sheets:
            raise StudyError(f"{name} holds no filled sheet.")
        (chosen, rows), *others = sheets
        notes = [f"Sheet {chosen!r} was read.", *told]
        if others:
            notes.append(f"{NOT_READ}: {', '.join(each for each, _ in others)}.")
        table = table_of_rows(rows, name, notes)
    elif other := _no_table(content):
        raise StudyError(f"{name} is {other}.")
    else:
        table = table_of_text(content, name, limits, told=True)
    if not table.lines:
        raise StudyError(f"{name} has a header but no rows below it.")
    return table


def rows_of_file(
    file: RawFile, sheet: str = "", heading: int = 0
) -> tuple[list[tuple[str, list[list[str]]]], tuple[str, ...]]:
    """Return each filled sheet of a workbook with its name, or the one text table, as rows of cells; and notes.

    Names merged over several rows stand in each of them. The sign between the cells of a text is the one that most
    lines agree on, from the line `heading` on if it is known, so that a title above them does not hide it.
    """
    content, name = file.content, file.name
    if not content or len(content) > _MAX_BYTES:
        return [], ()
    if is_workbook(file):
        with open_workbook(content, name) as (workbook, told):
            names = sheet_names(workbook)
            if sheet and sheet not in names:
                raise StudyError(f"{name} has no sheet {sheet!r}; its sheets are {', '.join(names)}.")
            read = [(each, *rows_with_merged(workbook, each)) for each in ([sheet] if sheet else names)]
            found = [(each, rows) for each, rows, _ in read if rows]
            where = [f"{counted(below, 'row')} of the sheet {each!r}" for each, _, below in read if below]
            filled = (f"The name above was used for {first_few(where)}, merged in the file.",) if where else ()
            hidden = sheet_names(workbook, hidden=True)
            unseen = (f"Hidden sheets were not read: {', '.join(hidden)}.",) if hidden else ()
            other = [each for each in names if sheet and each != sheet]
            rest = (f"{NOT_READ}: {', '.join(other)}.",) if other else ()
            return found, (*filled, *told, *unseen, *rest)
    if _no_table(content):
        return [], ()
    text = decode(content, name)[0]
    return [("", _text_rows(text, name, UPLOADED, likely_delimiter(text, heading))[0])], ()


def likely_delimiter(text: str, heading: int = 0) -> str:
    """Return the sign between the cells of a text, from the line `heading` on, or from below what may be titles."""
    lines = [line for line in text[:_SAMPLE].splitlines()[max(heading - 1, 0) :] if line.strip()]
    start = 0 if heading else min(len(lines) // 2, _TITLES)
    whole = (place for place in range(start, len(lines)) if "".join(lines[:place]).count('"') % 2 == 0)
    text = "\n".join(lines[next(whole, start) :])  # not from within a cell in quotation marks
    return _most_even(text) if not heading else _find_delimiter(text)


def _most_even(text: str) -> str:
    """Return the sign that gives most lines equally many cells, whatever the first line is: titles stand between."""
    best = (0.0, 0, ",")
    for delimiter in _DELIMITERS:
        counts = Counter(_cells_per_line(text, delimiter))
        cells, times = max(counts.items(), key=lambda each: (each[0] > 1, each[1]), default=(1, 0))
        if cells > 1:
            best = max(best, (times / counts.total(), cells, delimiter), key=lambda each: each[:2])
    return best[2]


def filled_rows(rows: Iterable[Sequence[str]], seen: Callable[[str], str] = as_seen) -> dict[int, list[str]]:
    """Return the rows that hold anything by their line, from 1 on, with their cells as `seen` and equally many."""
    filled = {line: list(map(seen, row)) for line, row in enumerate(rows, start=1) if any(map(str.strip, row))}
    width = max(map(len, filled.values()), default=0)
    return {line: row + [""] * (width - len(row)) for line, row in filled.items()}


def _no_table(content: bytes) -> str:
    """Return what a file is that holds no table of text, with advice; empty if it may hold one."""
    start = b"".join(content[:100].removeprefix(codecs.BOM_UTF8).split())
    return next((what for begins, what in _NO_TABLES.items() if start.startswith(begins)), "")


_TITLES = 12  # lines that may stand above the headings


def table_of_rows(
    rows: list[list[str]],
    name: str,
    notes: Sequence[str] = (),
    *,
    keep_empty: bool = False,
    max_cells: int = _MAX_CELLS,
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
    header, places, unnamed = _header(
        first, lambda place: any(len(row) > place and row[place].strip() for row in filled.values()), name
    )
    width = places[-1] + 1
    short = [line for line, row in filled.items() if len(row) < width]
    body = [row + [""] * (width - len(row)) if len(row) < width else row for row in filled.values()]
    columns = list(zip(*body, strict=False)) if body else [()] * width
    found = [*notes, *_notes_on_names(first, unnamed)]
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
    first: list[str], holds: Callable[[int], bool], name: str
) -> tuple[tuple[str, ...], list[int], tuple[str, ...]]:
    """Return the names of the columns, the places of those that hold anything, and the names we had to give."""
    names = [as_seen(cell) for cell in first]
    unnamed = []
    for place in [place for place, cell in enumerate(names) if not cell]:
        if holds(place):
            names[place] = f"column {place + 1}"
            unnamed.append(names[place])
    places = [place for place, cell in enumerate(names) if cell]
    repeated = [cell for cell, times in Counter(names).items() if cell and times > 1]
    if repeated:
        raise StudyError(f"{name} has more than one column called {repeated[0]!r}; give each its own name.")
    return tuple(names[place] for place in places), places, tuple(unnamed)


def _notes_on_names(first: list[str], unnamed: Sequence[str]) -> Iterator[str]:
    if changed := [as_seen(cell) for cell in first if cell != as_seen(cell)]:
        yield f"{READ_AS_SEEN} in the headings: {first_few(changed)}."
    if unnamed:
        yield f"Columns without a name were called {', '.join(unnamed)}."


def _first_of(lines: list[int]) -> str:
    shown = ", ".join(str(line) for line in lines[:_SHOWN])
    return shown if len(lines) <= _SHOWN else f"{shown} ... ({len(lines)} in all)"


# What stands in a text file of a table (comma, semicolon, tab or bar between the cells), and how was it written?


_DELIMITERS = {";": "semicolons", "\t": "tabs", "|": "bars", ",": "commas"}  # a comma may be a decimal sign
_SAMPLE = 100_000  # characters looked at to find the delimiter
_CONTROL = re.compile("[\x00-\x08\x0e-\x1f]")
_STATED_DELIMITER = re.compile(r"sep=([,;|\t])\r?\n", re.IGNORECASE)
_LINE = re.compile(r"[^\r\n]*(?:\r\n|\r|\n)|[^\r\n]+")
_MARKS = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))


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
    found = {}
    for encoding in _likely_encodings(content):
        with suppress(UnicodeDecodeError):
            text = content.decode(encoding)
            if not holds_control_signs(text):
                found[encoding] = text.lstrip("\ufeff")
        if encoding in found and encoding not in _EIGHT_BITS:
            break
    if found:
        first, *others = found
        if others:
            first = max(found, key=lambda each: _likely_signs(found[each]) + _ONE_SIGN * (each == first))
        return found[first], first
    raise StudyError(
        f"{name} is not a text file with a table that can be read; give a .csv (UTF-8), .tsv or .xlsx file."
    )


def _likely_encodings(content: bytes) -> tuple[str, ...]:
    for mark, encoding in _MARKS:
        if content.startswith(mark):
            return (encoding,)
    start = content[:1000]
    if start.count(0) * 4 > len(start):  # Latin letters in two bytes each: every second byte is zero
        return ("utf-16-be",) if start[:1] == b"\0" else ("utf-16-le",)
    return ("utf-8", *_EIGHT_BITS)


_EIGHT_BITS = ("cp1252", "mac_roman", "cp850")  # as Windows, an old Mac and DOS wrote; the likelier first
_ONE_SIGN = 2  # what one sign weighs, which may be a slip: it takes two to tell the letters of another machine
_USUAL = frozenset("äöüßàâçéèêëîïôùûœæáíñóúìòåøõãÄÖÜÉÈÀÂÇÑÁÍÓÚÊÔÅØ°µ²³½±×·€")
_PUNCTUATION = frozenset("–—‘“”„«»…\u00a0")


def _likely_signs(text: str) -> int:
    """Return how many signs beyond ASCII stand where people write them, less those that do not."""
    likely = 0
    for before, sign, after in re.findall(r"(?<=(.))([^\x00-\x7f])(?=(.?))", f" {text[:_SAMPLE]}", re.DOTALL):
        within, alone = before.isalpha() and after.isalpha(), not (before.isalpha() or after.isalpha())
        odd = sign.isalpha() and (alone or (sign.isupper() and before.islower()))  # a letter stands in a word
        usual = (sign in _USUAL and not odd) or (sign in _PUNCTUATION and not within)
        likely += 1 if usual or sign == "’" else -1
    return likely


def table_of_text(
    content: bytes, name: str, limits: Limits, columns: Collection[str] = (), declared: str = ",", *, told: bool = False
) -> RawTable:
    """Return the table in a text file, whose header is the first filled line.

    Parameters
    ----------
    columns, declared
        Names of columns that the table should have and its sign between the cells, where a study describes it. Then
        empty lines above the last filled one are kept, so that rows can be counted.
    told
        True if a note is to say how the text was read.

    Raises
    ------
    StudyError
        If it is no text, a quotation mark is not closed, or there are more rows, columns or cells than allowed.
    """
    if len(content) > limits.even_bytes:
        raise StudyError(f"{name} is larger than {limits.even_bytes} bytes; keep only the table of scores.")
    text = _start_of(content)
    encoding = "utf-8-sig" if content.startswith(codecs.BOM_UTF8) else "utf-8"
    delimiter = _delimiter(text, columns, declared) if text else ""
    table = _even_table(content, text, name, delimiter, limits, keep_empty=bool(columns)) if delimiter else None
    if table is None:
        if len(content) > limits.bytes:
            what = (
                f"{name} is larger than {limits.bytes} bytes, and its lines do not all have as many cells as the first"
            )
            raise StudyError(f"{what}; fill them up, or keep only the table of scores.")
        text, encoding = decode(content, name)
        del content  # a large table is not held twice
        rows, delimiter = _text_rows(text, name, limits, _delimiter(text, columns, declared))
        table = table_of_rows(rows, name, keep_empty=bool(columns), max_cells=limits.cells)
    if not told:
        return table
    how = f"The file was read as {encoding.removesuffix('-sig')} text with {_DELIMITERS[delimiter]} between the cells."
    return replace(table, notes=(how, *table.notes))


def _start_of(content: bytes) -> str:
    """Return the beginning of a UTF-8 text; the empty text if it is none, or states its delimiter."""
    start = content[: 4 * _SAMPLE + 4].removeprefix(codecs.BOM_UTF8)
    try:
        text = codecs.getincrementaldecoder("utf-8")().decode(start)
    except UnicodeDecodeError:
        return ""
    return "" if _STATED_DELIMITER.match(text) else text


def _delimiter(text: str, columns: Collection[str], declared: str) -> str:
    if columns:
        return _declared_delimiter(text, declared, columns)
    return "" if _STATED_DELIMITER.match(text) else _find_delimiter(text)


def _declared_delimiter(text: str, declared: str, columns: Collection[str]) -> str:
    """Return the declared sign between the cells, unless the header says that somebody saved the file with another.

    A sign that gives none of the columns is not taken, so that a name which holds another sign is not cut in two. Empty
    if the first line states the sign, as spreadsheet programs write it.
    """
    known = {column.casefold() for column in columns}
    stated = _STATED_DELIMITER.match(text)
    for delimiter in (declared, *(sign for sign in _DELIMITERS if sign != declared)):
        if known & _first_cells(text, delimiter, 0):
            return delimiter
    return "" if stated and known & _first_cells(text, stated[1], stated.end()) else declared


_CONTROL_BYTES = bytes([*range(9), *range(14, 32)])


def _even_table(
    content: bytes, text: str, name: str, delimiter: str, limits: Limits, *, keep_empty: bool
) -> RawTable | None:
    """Return the table in a UTF-8 text whose lines all have as many cells, read at once.

    None if a line is longer or shorter, a quotation mark stands inside a cell, or anything else asks for a careful
    reader: `_text_rows` then says what it is.
    """
    first = next(csv.reader(_lines(text, 0), delimiter=delimiter), [])
    if not any(map(str.strip, first)) or len(first) > limits.columns or not _is_regular(content, delimiter):
        return None
    cells = _even_columns(content, len(first), delimiter)
    if not cells or [str(column[0]) for column in cells] != first:
        return None
    if len(first) * (len(cells[0]) - 1) > limits.even_cells:
        return None
    cells = [column.slice(1) for column in cells]
    filled = np.zeros(len(cells[0]), dtype=bool)
    for column in cells:
        if not filled.all():
            filled |= _holds_something(column)
    last = int(filled.nonzero()[0].max(initial=-1)) + 1
    kept = np.arange(last) if keep_empty else filled.nonzero()[0]
    if len(kept) < len(filled):
        cells = [column.take(kept) for column in cells]
    header, places, unnamed = _header(first, lambda place: bool(_holds_something(cells[place]).any()), name)
    texts = pd.StringDtype(na_value=np.nan)  # the word "str" would be looked up for each column
    columns = tuple(pd.array(cells[place], dtype=texts) for place in places)
    lines = range(2, last + 2) if len(kept) == last else (kept + 2).tolist()
    return RawTable(name, header, columns, lines, tuple(_notes_on_names(first, unnamed)), unnamed)


def _even_columns(content: bytes, width: int, delimiter: str) -> list[pa.ChunkedArray]:
    """Return the columns of a text, the header in them; none if a line has more or fewer cells, or it is no UTF-8.

    None without Arrow too, which a command on a small study does not load.
    """
    try:
        import pyarrow as pa
        from pyarrow import csv as csv_of_arrow
    except ImportError:
        return []
    names = [str(place) for place in range(width)]
    try:
        return csv_of_arrow.read_csv(
            pa.BufferReader(pa.py_buffer(content)),
            csv_of_arrow.ReadOptions(column_names=names, use_threads=False),
            csv_of_arrow.ParseOptions(
                delimiter=delimiter, newlines_in_values=b'"' in content, ignore_empty_lines=False
            ),
            csv_of_arrow.ConvertOptions(column_types=dict.fromkeys(names, pa.string())),
        ).columns
    except pa.ArrowInvalid:
        return []


def _holds_something(column: pa.ChunkedArray) -> np.ndarray:
    from pyarrow import compute

    return compute.not_equal(compute.utf8_trim_whitespace(column), "").to_numpy()


def _is_regular(content: bytes, delimiter: str) -> bool:
    """Return True if there are no control characters, no odd ends of lines, and quotation marks only round cells."""
    if len(content.translate(None, _CONTROL_BYTES)) < len(content) or content.count(b"\r") > content.count(b"\r\n"):
        return False
    if b'"' not in content:
        return True
    sign = re.escape(delimiter.encode())
    quoted = rb'(?:\A|(?<=[%b\n]))"[^"]*(?:""[^"]*)*"(?=[%b\r\n]|\Z)' % (sign, sign)
    return b'"' not in re.sub(quoted, b"", content)


def _text_rows(text: str, name: str, limits: Limits, delimiter: str = "") -> tuple[list[list[str]], str]:
    """Return the cells of a table in a text, line by line (an empty line is an empty list), and the delimiter.

    StudyError if a quotation mark is not closed, or there are more rows, columns or cells than the limits allow.
    """
    stated = None if delimiter else _STATED_DELIMITER.match(text)
    delimiter = delimiter or (stated[1] if stated else _find_delimiter(text))
    # spreadsheet programs write the line that states the delimiter, and hide it
    reader = csv.reader(_lines(text, stated.end() if stated else 0), delimiter=delimiter, strict=True)
    rows: list[list[str]] = []
    cells = 0
    too_many = StudyError(f"{name} has more than {limits.rows} rows; split it.")
    if '"' not in text and text.count("\n") > limits.rows + 1:
        raise too_many
    try:
        for row in reader:
            if len(row) > limits.columns:
                where = f"in line {len(rows) + 1}; at most {limits.columns} are read"
                raise StudyError(f"{name} has {len(row)} columns {where}.")
            if len(rows) > limits.rows:
                raise too_many
            cells += len(row)
            if cells > limits.cells + limits.columns:  # the header is not counted
                raise StudyError(f"{name} has more than {limits.cells} cells; split it.")
            rows.append(row)
    except csv.Error as error:
        where = f"line {reader.line_num}"
        raise StudyError(f"{name} has a quotation mark or cell that does not end properly near {where}.") from error
    return rows, delimiter


def _first_cells(text: str, delimiter: str, start: int) -> set[str]:
    """Return the cells of the first filled line, small letters, as far as they tell which sign stands between them."""
    try:
        for row in csv.reader(_lines(text[: start + _SAMPLE], start), delimiter=delimiter):
            if any(map(str.strip, row)):
                return {cell.strip().casefold() for cell in row}
    except csv.Error:
        pass
    return set()


def _lines(text: str, start: int) -> Iterator[str]:
    """Yield the lines of a text with their ends, one at a time: `io.StringIO` would hold four bytes for each sign."""
    return (found[0] for found in _LINE.finditer(text, start))


def _find_delimiter(text: str) -> str:
    """Return the sign between the cells: the one that gives most lines as many cells as the header has.

    A single column, which needs no sign, gives a comma.
    """
    sample = text[:_SAMPLE]
    if len(text) > _SAMPLE:  # the last line may be cut in two
        sample = sample[: max(sample.rfind("\n"), sample.rfind("\r")) + 1] or sample
    best = (0.0, 0, ",")
    for delimiter in _DELIMITERS:
        counts = _cells_per_line(sample, delimiter)
        if counts and counts[0] > 1:
            best = max(best, (counts.count(counts[0]) / len(counts), counts[0], delimiter), key=lambda each: each[:2])
    return best[2]


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
