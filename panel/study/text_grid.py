"""What stands in a text file of a table (comma, semicolon, tab or bar between the cells), and how was it written?"""

from __future__ import annotations

import codecs
import csv
import io
import re

from panel.errors import StudyError

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
