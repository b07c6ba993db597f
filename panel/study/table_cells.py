"""How does a table of a study turn into texts and back, and which of its columns does a heading mean?"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cache
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from panel.errors import StudyError
from panel.study.facts import fact_text, facts_with_unread
from panel.study.journal import FACTS, IMPORTED, RowChange, row_changes
from panel.study.knowledge import (
    fits,
    heading_words,
    headings_called,
    is_called,
    is_counted,
    is_reckoned,
    named_columns,
    numbers_one,
    plain_names,
    stated_scale,
)
from panel.study.numbers_read import TIMES, read_number_columns, read_numbers, unit_of_heading
from panel.study.raw_table import RawTable, holds_control_signs
from panel.study.study import UNREAD_COLUMNS, Study
from panel.study.tables import ENTRIES, TABLES, Column, Table, heading, spoken
from panel.words import as_seen, first_few

_Rows = dict[str, list[dict[str, str]]]
"""Name of a table to its rows as texts; cells without text are left out."""

NOT_WHOLE = "not a whole number"
_FIRST_ROW = 2  # the header is line 1


def frame_of_texts(table: Table, raw: RawTable) -> tuple[pd.DataFrame, list[tuple[str, ...]]]:
    """Return a table of texts as a frame of the study, and the cells that could not be read.

    Known columns are recognised whatever their case; unknown ones are kept as text. Missing columns stay missing.

    Returns
    -------
    frame
        Numbers as `float` with NaN for a missing one, everything else `str`.
    unread
        One tuple per unreadable cell: table, row, column, text, reason.
    """
    known = {name.casefold(): name for name in table.column_names}
    known = {other: name for other, name in known.items() if name not in raw.header}
    names = [known.get(name.casefold(), name) for name in raw.header]
    repeated = {name for name in names if names.count(name) > 1}
    if repeated:
        raise StudyError(f"{raw.name} has more than one column for {repeated.pop()!r}; keep one of them.")
    texts = dict(zip(names, raw.columns, strict=True))
    kinds = {column.name: column.kind for column in table.columns}
    numbers = read_number_columns({n: cells for n, cells in texts.items() if kinds.get(n) in ("number", "integer")})
    unread: list[tuple[str, ...]] = []
    columns: dict[str, Any] = {}
    words = pd.StringDtype(na_value=np.nan)
    for name, cells in texts.items():
        if name not in numbers:
            columns[name] = pd.array(cells, dtype=words)
            continue
        values, reasons = numbers[name].values, dict(numbers[name].reasons)
        if kinds[name] == "integer":
            broken = np.isfinite(values) & (values != np.floor(values))
            reasons |= dict.fromkeys(broken.nonzero()[0].tolist(), NOT_WHOLE)
            values[broken] = math.nan
        columns[name] = values
        unread.extend(
            (table.name, str(i + _FIRST_ROW), name, cells[i], reason) for i, reason in sorted(reasons.items())
        )
    return pd.DataFrame(columns), unread


def unread_frame(unread: Iterable[tuple[str, ...]]) -> pd.DataFrame:
    """Return unreadable cells as the frame that a study holds."""
    return pd.DataFrame(list(unread), columns=list(UNREAD_COLUMNS), dtype="str")


def texts_of_frame(
    name: str, frame: pd.DataFrame, unread: pd.DataFrame, start: int = 0
) -> tuple[list[str], list[list[str]]]:
    """Return header and columns of a study's table as texts; a cell that could not be read gets its text back.

    `start` is the place in the table of the first row of a frame that is only a part of it.

    Raises
    ------
    StudyError
        If the study has a table with no such name, or a text holds a character that no table file can hold.
    """
    if name not in TABLES:
        raise StudyError(f"A study has no table {name!r}; its tables are {', '.join(TABLES)}.")
    header = [str(column) for column in frame.columns]
    columns = [_column_texts(frame[column]) for column in frame.columns]
    own = unread.loc[unread["table"] == name, ["row", "column", "text"]] if len(unread) else unread
    first = _FIRST_ROW + start
    for row, column, text in own.itertuples(index=False, name=None) if len(own) else ():
        place = int(row) - first if str(row).isdecimal() else -1
        if column in header and 0 <= place < len(frame) and columns[header.index(column)][place] == "":
            columns[header.index(column)][place] = str(text)
    for column, cells in zip(header, columns, strict=True):
        bad = None
        if not _can_be_written("".join(cells)):  # asked once for a column; then where in it
            bad = next(i for i, text in enumerate(cells) if not _can_be_written(text))
        if bad is not None or not _can_be_written(column):
            where = f"row {bad + first}, column {column!r}" if bad is not None else f"column name {column!r}"
            raise StudyError(f"The table {name} holds a character that no table file can hold ({where}); delete it.")
    return header, columns


def study_changes(before: Study, after: Study) -> tuple[RowChange, ...]:
    """Return the rows that differ between two studies."""
    names = dict.fromkeys((*after.tables, *before.tables))
    unread = {*before.unread["table"], *after.unread["table"]}
    other = [name for name in names if name in unread or not _same(before.tables.get(name), after.tables.get(name))]
    return row_changes(rows_of_study(before, other), rows_of_study(after, other))


def _same(before: pd.DataFrame | None, after: pd.DataFrame | None) -> bool:
    return before is after or (before is not None and after is not None and before.equals(after))


def rows_of_study(study: Study, names: Iterable[str] | None = None) -> _Rows:
    """Return tables of a study as rows of texts, all if no names are given; so are its facts and imported files."""
    rows: _Rows = {}
    for name in study.tables if names is None else [name for name in names if name in study.tables]:
        header, columns = texts_of_frame(name, study.tables[name], study.unread)
        cells = (zip(header, row, strict=True) for row in zip(*columns, strict=True))
        rows[name] = [{column: text for column, text in row if text} for row in cells]
    rows[FACTS] = [{"fact": name, "value": fact_text(value)} for name, value in facts_with_unread(study).items()]
    rows[IMPORTED] = [{"name": file.name, "sha256": file.sha256} for file in study.raw_files]
    return rows


def number_text(value: float) -> str:
    """Return the shortest text that reads back as exactly this number; the empty text for NaN."""
    if math.isnan(value):
        return ""
    return f"{value:.0f}" if value.is_integer() and abs(value) < _EXACT else repr(value)


_EXACT = 1e15  # whole numbers below it are written with all their digits
_MINUS_ZERO = np.array(-0.0).view(np.int64)


def _column_texts(column: pd.Series) -> list[str]:
    if pd.api.types.is_numeric_dtype(column) and not pd.api.types.is_bool_dtype(column):
        values = column.to_numpy(dtype=float, na_value=math.nan)
        code, bits = pd.factorize(values.view(np.int64))  # each different number is written once, and -0 is not 0
        whole = (np.floor(numbers := bits.view(float)) == numbers) & (np.abs(numbers) < _EXACT) & (bits != _MINUS_ZERO)
        texts = map(str, numbers.astype(int).tolist()) if whole.all() else map(number_text, numbers.tolist())
        return np.array(list(texts), dtype=object)[code].tolist()
    if isinstance(column.dtype, pd.StringDtype):
        return column.fillna("").tolist()
    return ["" if pd.isna(cell) else str(cell) for cell in column.tolist()]


def _can_be_written(text: str) -> bool:
    if text.isascii() and text.isprintable():
        return True
    return not holds_control_signs(text) and _HALF_A_SIGN.search(text) is None


_HALF_A_SIGN = re.compile("[\ud800-\udfff]")


def known_table(name: str) -> Table:
    """Return what is declared of a table; StudyError, with the nearest name, if there is none."""
    if name not in TABLES:
        near = nearest_table(name)
        meant = f" Perhaps {near} is meant." if near else ""
        raise StudyError(f"A study has no table {name!r}; its tables are {', '.join(TABLES)}.{meant}")
    return TABLES[name]


def nearest_table(name: str) -> str:
    """Return the table, or the fact that is a list of entries, that a name may mean; empty if none is near."""
    near = difflib.get_close_matches(name.strip().casefold(), [*TABLES, *ENTRIES], 1)
    return near[0] if near else ""


def columns_of(name: str) -> tuple[Column, ...]:
    """Return the columns of a table, or of a fact that is a list of entries."""
    return ENTRIES[name] if name in ENTRIES else tuple(known_table(name).columns)


def column_hint(column: Column) -> str:
    """Return what a column holds and what may stand in it."""
    form = {"date": ", as 2025-03-10", "integer": ", a whole number"}.get(column.kind, "")
    one_of = f"; one of {', '.join(column.choices)}" if column.choices else ""
    return f"{column.meaning}{form}{one_of}"


def with_headings(text: str) -> str:
    """Return a sentence in which columns are called by their headings: “target from” where it says `target_low`."""
    return _COMPOUND.sub(lambda found: _compound_columns().get(found[0], found[0]), text)


_COMPOUND = re.compile(r"\b[a-z0-9]+(?:_[a-z0-9]+)+\b")


@cache
def _compound_columns() -> Mapping[str, str]:
    """Return every column whose name nobody would say, to its heading in small letters and quotation marks."""
    columns = (column for table in TABLES.values() for column in table.columns if "_" in column.name)
    return {column.name: f"“{spoken(column.name)}”" for column in columns}


_UNITS = MappingProxyType({"viscosity_mpa_s": ("mpas", "cp"), "size_g": ("g",), "temperature_c": ("c", "degc")})
"""Columns that hold one unit to the ways of writing it; a heading with another unit, or none, is not taken."""


def known_column(name: str, words: str) -> str:
    """Return the column of a table that a heading names for certain; empty if it names none.

    A viscosity in another unit, or in none, is not taken for one in mPa s.
    """
    for column in columns_of(name):
        if bare_words(words) in {bare_words(column.name), bare_words(heading(column))}:
            return column.name
    bare, unit = bare_words(_without_unit(words)), bare_words(words)[len(bare_words(_without_unit(words))) :]
    for column in columns_of(name):
        units = _UNITS.get(column.name)
        same = bare and bare in {bare_words(_without_unit(heading(column))), bare_words(_without_unit(column.name))}
        if same and (units is None or unit in units):
            return column.name
    called = [column.name for column in columns_of(name) if column.name in ("ingredient", "percent")]
    if "ingredient" in called and names_inci(words):
        return "ingredient"
    return next((role for role in called if is_called(words.replace("%", " percent "), role)), "")


def names_inci(words: str) -> bool:
    """Return True if a heading says that ingredients stand below it by their INCI names: `Raw material (INCI)`."""
    said = heading_words(words.replace("%", " percent ")).split()
    return "inci" in said and not any(is_called(word, "percent") for word in said)


def known_columns(name: str, headings: Sequence[str]) -> list[str]:
    """Return the column that each heading names, as `known_column`, or that no other one names and it does elsewhere.

    That is in another language, or as people call it: `Messwert`, `Sample`.
    """
    found = [known_column(name, words) for words in headings]
    for place, words in enumerate(headings):
        free = [column.name for column in columns_of(name) if column.name not in found]
        found[place] = found[place] or next((column for column in free if _is_called_too(words, column)), "")
    return found


def _is_called_too(words: str, column: str) -> bool:
    """Return True if a heading is surely one that a column has in any of the languages known, its unit the same."""
    bare = _without_unit(words)
    unit, role = bare_words(words)[len(bare_words(bare)) :], _ROLE_OF.get(column, column)
    for own in _UNITS.get(column, ()):  # `Amount g`
        if not unit and heading_words(bare).endswith(f" {own}"):
            bare, unit = heading_words(bare).removesuffix(f" {own}"), own
    named = any(fits(name, heading_words(bare), plain_names(bare)) for name in headings_called(role)[0])
    return named and unit in _UNITS.get(column, (unit,))


_ROLE_OF = MappingProxyType({"repeat": "replicate", "note": "comment"})


def nearest_column(name: str, words: str, taken: Iterable[str] = ()) -> str:
    """Return the column of a table that a heading may mean, to be proposed; empty if none is near."""
    free = [column for column in columns_of(name) if column.name not in set(taken)]
    spellings: dict[str, str] = {}
    for column in free:
        for spelling in (column.name, heading(column), _without_unit(heading(column)), column.meaning):
            spellings.setdefault(bare_words(spelling), column.name)
    bare = bare_words(_without_unit(words)) or bare_words(words)
    begins = [found for spelling, found in spellings.items() if len(bare) > 2 and spelling.startswith(bare)]
    if begins:
        return begins[0]
    near = difflib.get_close_matches(bare, spellings, 1, cutoff=0.6)
    return spellings[near[0]] if near else ""


def bare_words(words: str) -> str:
    """Return words without capitals, blanks and signs, to compare them."""
    return "".join(sign for sign in words.casefold() if sign.isalnum())


def _without_unit(words: str) -> str:
    return re.sub(r"\s*[(\[].*?[)\]]", "", words)


def notes_beside(table: RawTable, attributes: Sequence[str], unused: Sequence[str]) -> Iterator[str]:
    """Return where a column that was not used holds a number beside an empty score, and what parts the rows."""
    blank = np.zeros(len(table.lines), dtype=bool)
    for column in attributes:
        blank |= read_numbers(table.column(column), words=True).missing
    for column in unused:
        cells = [as_seen(cell) for cell in table.column(column)]
        filled, values = set(cells) - {""}, read_numbers(cells).values
        beside = np.flatnonzero(np.isfinite(values) & blank)
        if (len(beside) and read_numbers(cells).share < _NUMBERS) or (len(beside) and is_called(column, "comment")):
            where = first_few([f"line {table.lines[row]}: {cells[row]}" for row in beside.tolist()])
            yield (
                f"A number stands in {column!r} where a score of the row is empty ({where}): were its scores moved by "
                "a column? Look at the ballot."
            )
        elif 1 < len(filled) <= _FEW and "" not in cells and not read_numbers(cells).share:
            yield f"The rows differ in {column!r} ({first_few(sorted(filled))}) and were read together."


_FEW = 4  # different words at most of a column that parts the rows
_NUMBERS = 0.8  # share of numbers from which a column is one of numbers


def remarks_beside(table: RawTable, unused: Sequence[str]) -> Iterator[dict[str, Any]]:
    """Yield what was written beside rows, in a column called so or one of words that most rows leave empty."""
    for column in unused:
        cells = [as_seen(cell) for cell in table.column(column)]
        said = dict.fromkeys(
            pair for pair in zip(map(int, table.lines), cells, strict=True) if _IN_WORDS.search(pair[1])
        )
        if is_called(column, "comment") or (2 * sum(map(bool, cells)) < len(cells) and not read_numbers(cells).share):
            yield from ({"line": line, "column": column, "text": cell} for line, cell in said)


_IN_WORDS = re.compile(r"[^\W\d]{2}")


def _is_of_means(cell: str, known: Collection[str]) -> str:
    """Return whether a name says `surely` or `if alone` (no other name in its row) that a row was reckoned."""
    if is_reckoned(cell):
        return "surely"
    words = cell.split()
    for start, end in ((0, 1), (0, len(words) - 1), (1, len(words)), (len(words) - 1, len(words))):
        rest = " ".join(words[:start] + words[end:])
        said = " ".join(words[start:end])
        if len(words) > 1 and rest in known and (is_reckoned(said) or is_called(said, "reckoned_alone")):
            return "surely"
    return "if alone" if is_called(cell, "reckoned_alone") else ""


# A line of units below the headings, and names that a sheet shows once, above blanks.


def without_units(filled: Sequence[tuple[int, list[str]]]) -> tuple[list[tuple[int, list[str]]], list[str]]:
    """Return the lines of a sheet without one of units below its headings, but of time, which joins its own; notes."""
    lines = list(filled)
    for n in range(1, min(len(lines) - 1, _MOST_HEADINGS)):
        (at, heads), (_, units), (_, below) = lines[n - 1 : n + 2]
        said = [i for i, cell in enumerate(units) if cell]
        of_heads = all(heads[i] and _is_unit(units[i]) and not _is_unit(heads[i]) for i in said)
        numbers = read_numbers([below[i] for i in said]).share if said else 0
        if len(said) > 1 and of_heads and numbers >= _NUMBERS:
            named = dict.fromkeys(units[i] for i in said)
            bare = [unit.strip("()[] ") for unit in units]
            heads = [f"{head} ({unit})" if unit in TIMES else head for head, unit in zip(heads, bare, strict=True)]
            told = f"The line below the headings was left out: {first_few(list(named))}."
            return [*lines[: n - 1], (at, heads), *lines[n + 1 :]], [told]
    return lines, []


_MOST_HEADINGS = 12  # lines of titles and headings above the first row


def _is_unit(cell: str) -> bool:
    """Return True if a cell is a unit or a scale: `mm`, `0-10`, `points`."""
    bare = cell.strip("()[] ")
    return bool(stated_scale(f"x ({bare})")[1] or unit_of_heading(f"x ({bare})") or is_called(bare, "score"))


def filled_in_order(
    header: Sequence[str], rows: Sequence[Sequence[str]]
) -> tuple[tuple[tuple[str, ...], ...], list[str]]:
    """Return rows in which a blank below a name is that name, where their own order shows it, and that said.

    It does where every row is then another one, and the names within a group come in the order in which they come in
    the others. Rows with means are no part of it, nor rows with nothing beside the names.
    """
    plain, labels = tuple(map(tuple, rows)), _label_columns(header, rows)
    if not any(row[i] == "" for row in rows for i in labels[:-1]):
        return plain, []
    found = [list(row) for row in rows]
    known = {cell for row in found for cell in row}
    used = [
        row
        for row in found
        if any(cell for i, cell in enumerate(row) if i not in labels[:-1])
        and not any(_is_of_means(row[i], known) for i in labels if row[i])
    ]
    blank = [i for n, i in enumerate(labels) if n < len(labels) - 1 and any(not row[i] for row in used)]
    if not blank:
        return plain, []
    above = [""] * len(labels)
    for row in used:
        for n, i in enumerate(labels):
            if row[i] and row[i] != above[n]:
                above[n + 1 :] = [""] * (len(labels) - n - 1)
            above[n] = row[i] = row[i] or above[n]
    keys = [tuple(row[i] for i in labels) for row in used]
    if any("" in key for key in keys) or len({*keys}) < len(keys):
        return plain, []
    for n in (labels.index(i) for i in blank):
        within: dict[tuple[str, ...], list[tuple[str, ...]]] = {}
        for key in keys:
            within.setdefault(key[: n + 1], []).append(key[n + 1 :])
        whole = max(within.values(), key=len)
        parts = [[whole.index(each) if each in whole else -1 for each in group] for group in within.values()]
        if len(within) < 2 or any(-1 in places or places != sorted(places) for places in parts):
            return plain, []
    named = first_few([repr(header[i]) for i in blank])
    return tuple(map(tuple, found)), [
        f"A blank in {named} was read as the name above it: each name has the same rows below it, in the same order."
    ]


def _label_columns(header: Sequence[str], rows: Sequence[Sequence[str]]) -> list[int]:
    """Return the places of columns that name what was scored: called so, or of words before the first scores."""
    held = {column for role, column in named_columns(header).items() if role not in ("score", "batch", "recorded_at")}
    words = [read_numbers([row[i] for row in rows], words=True).share < 0.5 for i in range(len(header))]
    last = max((i for i, head in enumerate(header) if head in held), default=-1)
    first = next((i for i, head in enumerate(header) if not words[i] and head not in held), last + 1)
    return [i for i, head in enumerate(header) if head in held or (i < first and not is_called(head, "comment"))]


# Which columns of numbers, and which rows, of a table of scores hold none?


_NO_SCORES = {  # what a heading says, to why a column so called is left out
    "comment": "is called like a comment",
    "code": "is called like a code",
    "counter": "is called like a count of rows or ballots",
    "person": "is about the person",
    "conditions": "is about the conditions of the test",
    "unsure": "may be a session, a replicate, a turn or a product",
}
_RANKS = re.compile(r"\b(?:rank(?:s|ing|ed)?|rang(?:platz|folge)?|classement|clasificacion|graduatoria)\b")


def is_mean_of(column: str, header: Iterable[str]) -> bool:
    """Return True if a heading is a word for a mean beside another heading: `Mean glide` beside `glide`."""
    words, others = heading_words(column).split(), {heading_words(other) for other in header if other != column}
    halves = [(words[:1], words[1:]), (words[-1:], words[:-1])] if len(words) > 1 else []
    return any(is_reckoned(" ".join(mean)) and " ".join(rest) in others for mean, rest in halves)


_FEWEST = 8  # rows, and
_FEWEST_EACH = 3  # rows of each name, from which the contents of a column tell that nobody scored it


def is_mean_of_others(head: str, cells: Mapping[str, Sequence[str]]) -> bool:
    """Return True if a column holds the mean of the others in each row, whatever it is called."""
    read = {name: read_numbers(column, words=True).values for name, column in cells.items()}
    mean, others = read.pop(head), list(read.values())
    if len(others) < _FEWEST_EACH or len(mean) < _FEWEST or not np.isfinite(others).all():
        return False
    return bool((np.abs(np.mean(others, axis=0) - mean) <= _ROUNDED).all())


_ROUNDED = 0.051  # a mean may be written with one decimal


def why_not_scored(table: RawTable, held: Mapping[str, str], column: str) -> str:
    """Return what the contents of a column say against its being scores: a count, dates, one value for each name."""
    words = heading_words(column)
    if _RANKS.search(words):
        return "holds ranks, 1 the best or the most: as scores they would count the wrong way round"
    if numbers_one(column):
        return "numbers sittings, people or what was tried"
    counted = is_counted(column)
    if called := next((why for role, why in _NO_SCORES.items() if is_called(column, role) and not counted), ""):
        return called
    values = read_numbers(table.column(column)).values
    whole = bool(np.isfinite(values).all()) and bool((values == np.round(values)).all())
    if len(values) < _FEWEST or len(np.unique(values[np.isfinite(values)])) < 2:
        return ""
    if whole and (np.diff(values) == 1).all():
        return "counts the rows"
    if whole and ((values >= 1_900) & (values <= 2_100)).all():
        return "holds years"
    if whole and ((values >= 19_000_101) & (values <= 21_001_231)).all():
        return "holds dates"
    for role in ("prototype", "assessor", "session"):
        if role in held:
            groups = pd.Series(values).groupby(np.array(list(map(as_seen, table.column(held[role])))))
            if (groups.count() >= _FEWEST_EACH).all() and (groups.max() == groups.min()).all():
                return f"holds one value for each {role}"
    return ""


def without_other_rows(table: RawTable) -> RawTable:
    """Return the table without means, repeated headings and notes below it, and that said."""
    table = _without_means(table)
    repeats, filled = np.ones(len(table.lines), dtype=bool), np.zeros(len(table.lines), dtype=int)
    for column, head in zip(table.columns, table.header, strict=True):
        code, texts = _stripped(column)
        repeats &= np.array([text == head for text in texts], dtype=bool)[code]
        filled += np.array(list(map(bool, texts)), dtype=bool)[code]
    rows = np.flatnonzero(filled > 1)
    below = np.arange(len(filled)) > (rows[-1] if len(rows) else len(filled))
    notes = list(table.notes)
    for which, what in (
        (repeats, "Lines that repeat the headings"),
        (below & (len(table.header) > 2), "Notes below the table"),
    ):
        if which.any():
            notes.append(f"{what} were left out: line {first_few(np.asarray(table.lines)[which].tolist())}.")
    return _rows_of(table, ~(repeats | (below & (len(table.header) > 2))), notes)


def _stripped(cells: Sequence[str]) -> tuple[np.ndarray, list[str]]:
    """Return the number of each cell's text, and the different texts, blanks round them taken off."""
    code, texts = pd.factorize(pd.Series(cells, dtype="str"))
    return code, [text.strip() for text in texts.tolist()]


def _without_means(table: RawTable) -> RawTable:
    """Return the table without rows in which a spreadsheet reckoned means, totals or counts, and that said."""
    held = named_columns(table.header)
    names = dict.fromkeys(
        (table.header[0], *(held[role] for role in ("assessor", "prototype", "session") if role in held))
    )
    cells = {name: _stripped(table.column(name)) for name in names}
    empty = {name: np.array([not text for text in texts], dtype=bool)[code] for name, (code, texts) in cells.items()}
    nameless = np.add.reduce(list(empty.values()), dtype=int)
    reckoned = np.zeros(len(table.lines), dtype=bool)
    for name, (code, texts) in cells.items():
        known = set(texts)
        means = np.array([_is_of_means(text, known) for text in texts], dtype=object)
        reckoned |= (means == "surely")[code]
        blank = nameless - empty[name] == len(cells) - 1
        reckoned |= (means == "if alone")[code] & blank & (len(cells) > 1)
    for column in table.columns if (nameless == len(cells)).any() else ():
        code, texts = _stripped(column)
        reckoned |= np.array([_reckons(text) for text in texts], dtype=bool)[code] & (nameless == len(cells))
    told = f"Rows with means or totals were left out: line {first_few(np.asarray(table.lines)[reckoned].tolist())}."
    return _rows_of(table, ~reckoned, (*table.notes, told))


def _reckons(cell: str) -> bool:
    """Return True if a cell is a formula, or a word for a mean or a total."""
    return cell.startswith("=") or (bool(cell) and not cell[0].isdigit() and is_reckoned(cell))


def _rows_of(table: RawTable, kept: np.ndarray, notes: Sequence[str]) -> RawTable:
    """Return the rows of a table that are kept; the table itself if all are, or none."""
    if kept.all() or not kept.any():
        return table
    places = kept.nonzero()[0]
    columns: tuple[Any, ...] = tuple(pd.array(cells, dtype="str").take(places) for cells in table.columns)
    return replace(table, columns=columns, lines=np.asarray(table.lines)[places].tolist(), notes=tuple(notes))


def with_questions(table: RawTable) -> RawTable:
    """Return a table whose first line says in full what the short names above it stand for, with these as headings.

    Titles above the headings are left out.
    """
    table = _without_marks(without_titles(table))
    first = [as_seen(column[0]) for column in table.columns]
    worded = len({*first} - {""}) == len(first) == len(read_numbers(first).reasons)
    longer = any(len(words.split()) > len(name.split()) for words, name in zip(first, table.header, strict=True))
    numbers = any(read_numbers(column[1:]).share == 1 for column in table.columns)
    if not (worded and longer and numbers):
        return table
    above = [name for name in table.header if name not in table.unnamed]
    note = f"The headings were read from line {table.lines[0]}, below: {first_few(above)}."
    columns, notes = tuple(column[1:] for column in table.columns), (*table.notes, note)
    return RawTable(table.name, tuple(first), columns, table.lines[1:], notes)


def _without_marks(table: RawTable) -> RawTable:
    """Return a table without the lines that a survey program writes for itself, in curly brackets."""
    cells = [pd.Series(column, dtype="str").str.strip() for column in table.columns]
    marks = np.add.reduce([cell.str.fullmatch(r"\{.*\}").to_numpy(dtype=int) for cell in cells])
    own = 2 * marks > len(cells)
    told = f"Lines of marks for programs were left out: line {first_few(np.asarray(table.lines)[own].tolist())}."
    return _rows_of(table, ~own, (*table.notes, told))


def without_titles(table: RawTable) -> RawTable:
    """Return a table below titles, which fill fewer than half of the columns, with its headings."""
    rows = list(zip(*table.columns, strict=True)) if 2 * len(table.unnamed) > len(table.header) else []
    place = next((n for n, row in enumerate(rows) if 2 * sum(map(bool, map(str.strip, row))) > len(row)), None)
    heads = [as_seen(cell) for cell in rows[place]] if place is not None else []
    if place is None or len({*heads}) < len(heads) or "" in heads:
        return table
    title = [name for name in table.header if name not in table.unnamed]
    notes = (*table.notes, f"Above the headings in line {table.lines[place]} stands: {first_few(title).rstrip('.')}.")
    columns = tuple(column[place + 1 :] for column in table.columns)
    return RawTable(table.name, tuple(heads), columns, table.lines[place + 1 :], notes)
