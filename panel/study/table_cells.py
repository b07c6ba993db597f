"""How does a table of a study turn into texts and back, and which of its columns does a heading mean?"""

from __future__ import annotations

import difflib
import math
import re
import unicodedata
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from fnmatch import fnmatchcase
from functools import cache, lru_cache
from itertools import chain, product
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from panel.errors import StudyError
from panel.study.facts import fact_text, facts_with_unread
from panel.study.journal import FACTS, IMPORTED, RowChange, row_changes
from panel.study.knowledge import shared_table
from panel.study.numbers_read import read_number_columns, read_numbers
from panel.study.raw_table import RawTable, holds_control_signs
from panel.study.study import UNREAD_COLUMNS, Study
from panel.study.tables import TABLES, Column, Table
from panel.words import as_seen, first_few

_Rows = dict[str, list[dict[str, str]]]
"""Name of a table to its rows as texts; cells without text are left out."""

NOT_WHOLE = "not a whole number"
_NUMBER_KINDS = ("number", "integer")
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
    numbers = read_number_columns({n: cells for n, cells in texts.items() if kinds.get(n) in _NUMBER_KINDS})
    unread: list[tuple[str, ...]] = []
    columns: dict[str, pd.Series] = {}
    for name, cells in texts.items():
        if name not in numbers:
            columns[name] = pd.Series(cells, dtype="str")
            continue
        values, reasons = numbers[name].values, dict(numbers[name].reasons)
        if kinds[name] == "integer":
            for place in [i for i, value in enumerate(values) if not (math.isnan(value) or value.is_integer())]:
                values[place], reasons[place] = math.nan, NOT_WHOLE
        columns[name] = pd.Series(values)
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


ENTRIES = MappingProxyType(
    {
        "questions": (
            Column("question", "text", "short name of the question", True),
            Column(
                "kind",
                "text",
                "kind of question",
                False,
                tuple(TABLES["answers"].column("kind").choices),
            ),
            Column("words", "text", "what is asked, in full"),
            Column("low_end", "text", "words at the low end of the scale"),
            Column("high_end", "text", "words at the high end of the scale"),
            Column("attribute", "text", "the panel's attribute that goes with it"),
        ),
        "planned_differences": (
            Column("prototype", "text", "short name of the prototype", True),
            Column("versus", "text", "what it is compared with", True),
            Column("attribute", "text", "on which attribute; empty for all"),
        ),
    }
)
"""Facts that are lists of entries, and the columns of each entry."""


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


def heading(column: Column) -> str:
    """Return the heading of a column as people write it: `Viscosity in mPa s`, `Batch size in g`."""
    words = _HEADINGS.get(column.name) or column.name.replace("_", " ")
    return words if words == "pH" else words[0].upper() + words[1:]


_HEADINGS = MappingProxyType(
    {
        "viscosity_mpa_s": "viscosity (mPa s)",
        "size_g": "batch size (g)",
        "temperature_c": "temperature (\u00b0C)",
        "ph": "pH",
        "percent": "per cent",
        "ingredient": "ingredient (INCI)",
        "low_end": "words at the low end",
        "high_end": "words at the high end",
        "scale_min": "lowest score",
        "scale_max": "highest score",
        "direction": "wanted",
        "versus": "compared with",
        "target_low": "target from",
        "target_high": "target to",
    }
)


def with_headings(text: str) -> str:
    """Return a sentence in which columns are called by their headings: “target from” where it says `target_low`."""
    return _COMPOUND.sub(lambda found: _compound_columns().get(found[0], found[0]), text)


_COMPOUND = re.compile(r"\b[a-z0-9]+(?:_[a-z0-9]+)+\b")


@cache
def _compound_columns() -> Mapping[str, str]:
    """Return every column whose name nobody would say, to its heading in small letters and quotation marks."""
    columns = (column for table in TABLES.values() for column in table.columns if "_" in column.name)
    return {column.name: f"“{_HEADINGS.get(column.name) or column.name.replace('_', ' ')}”" for column in columns}


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
    return next((role for role in called if is_called(words.replace("%", " percent "), role)), "")


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
    named = any(_fits(name, heading_words(bare), _plain_names(bare)) for name in _headings(role)[0])
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


# Which column of a table of scores does a heading name, in one of the languages of `shared/headings.csv`?

ROLES = ("assessor", "prototype", "attribute", "score", "replicate", "session", "position", "batch", "recorded_at")
_FILLERS = frozenset(("id", "no", "nr", "n", "num", "number", "nummer", "numero", "name", "code"))


def is_called(column: str, role: str) -> bool:
    """Return True if a heading is one of those that columns of a role have, in any of the languages known."""
    words, spellings = heading_words(column), _plain_names(column)
    return any(_fits(name, words, spellings) for names in _headings(role) for name in names)


@cache
def _headings(role: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the headings that people give a column of one kind, the surest first, and those that are less sure.

    Small letters without accents, words parted by blanks; `*` stands for any letters and words.
    """
    rows = shared_table("headings")
    own = rows[rows["role"] == role]
    sure, unsure = ("; ".join(own.loc[own["sure"] == word, "headings"]) for word in ("yes", "no"))
    return tuple(filter(None, sure.split("; "))), tuple(filter(None, unsure.split("; ")))


def _fits(name: str, words: str, spellings: Collection[str]) -> bool:
    return fnmatchcase(words, name) if "*" in name else name.replace(" ", "") in spellings


def is_reckoned(name: str) -> bool:
    """Return True if a name says mean, total or spread: nobody is called so, and nothing that was scored."""
    each = heading_words(name.replace("-", "")).split()
    words, reckoned, beside = set(each), set(_headings("reckoned")[0]), set(_headings("beside_reckoned")[0])
    of = len(each) > 2 and each[0] in reckoned and each[1] in _OF  # `mean of three`
    return of or (bool(words & reckoned) and words <= reckoned | beside)


_OF = frozenset(("of", "der", "des", "aus", "von", "du", "des", "de", "del", "della", "dei", "over"))


def _named(header: Iterable[str], role: str, numeric: Collection[str] | None = None) -> str:
    """Return the column with the surest name for a role, or the empty text; a score is a column of numbers."""
    columns = [column for column in header if role != "score" or numeric is None or column in numeric]
    words = {column: heading_words(column) for column in columns}
    whole = {column: {words[column].replace(" ", "")} for column in columns}
    loose = {column: _plain_names(column) for column in columns}
    for names in _headings(role):
        for spellings in (whole, loose):
            for name in names:
                for column in columns:
                    if _fits(name, words[column], spellings[column]):
                        return column
    return ""


def named_columns(header: Iterable[str], numeric: Collection[str] | None = None) -> dict[str, str]:
    """Return role to column for the columns whose names say what they hold; `numeric` those that hold numbers."""
    names = list(header)
    found: dict[str, str] = {}
    for role in ROLES:
        if column := _named([name for name in names if name not in found.values()], role, numeric):
            found[role] = column
    return found


def _plain_names(column: str) -> set[str]:
    """Return the spellings of a column's name to compare: lower case, no signs; also singular, also without `id`."""
    words = heading_words(column).split()
    kept = [word for word in words if word not in _FILLERS] or words
    spellings = {"".join(words), "".join(kept)}
    return spellings | {spelling[:-1] for spelling in spellings if spelling.endswith("s")}


@lru_cache(maxsize=10_000)
def heading_words(heading: str) -> str:
    """Return the words of a heading in small letters, without accents and signs, parted by blanks."""
    plain = unicodedata.normalize("NFKD", re.sub(r"(?<=[a-z])(?=[A-Z])", " ", heading))
    letters = "".join(sign for sign in plain if not unicodedata.combining(sign))
    return " ".join(re.findall(r"[^\W_]+", letters.casefold()))


def stated_scale(heading: str) -> tuple[str, tuple[int, int] | None]:
    """Return the words of a heading, and the ends of the scale in the brackets behind them: `Slip (0-10)`.

    None where there is no scale; figures with a unit, such as `(5-10 min)`, are none.
    """
    found = _BRACKET.fullmatch(heading.strip())
    if found is None:
        return heading, None
    span = _SPAN.fullmatch(found[2])
    ends = sorted({int(end) for end in (span.groups() if span else re.findall(r"(\d+)\s*=", found[2]))})
    return (found[1], (ends[0], ends[-1])) if len(ends) > 1 else (heading, None)


_BRACKET = re.compile(r"(.*\S)\s*[(\[]([^()\[\]]*)[)\]]")
_SPAN = re.compile(
    r"\D*?(\d{1,4})\s*(?:-|\u2013|to|bis|\u00e0|a|\.\.+)\s*(\d{1,4})[\s,;-]*"
    r"(?:(?:point|punkt)\w*|pts?|scale|skala|[e\u00e9]chelle|escala|scala|vas|\D*[,;/].*)?",
    re.IGNORECASE,
)


def is_of_means(cell: str, known: Collection[str]) -> str:
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


# Which rows of a table of scores hold none?


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
        means = np.array([is_of_means(text, known) for text in texts], dtype=object)
        reckoned |= (means == "surely")[code]
        blank = nameless - empty[name] == len(cells) - 1
        reckoned |= (means == "if alone")[code] & blank & (len(cells) > 1)
    for column in table.columns if (nameless == len(cells)).any() else ():
        code, texts = _stripped(column)
        reckoned |= np.array([text.startswith("=") for text in texts], dtype=bool)[code] & (nameless == len(cells))
    told = f"Rows with means or totals were left out: line {first_few(np.asarray(table.lines)[reckoned].tolist())}."
    return _rows_of(table, ~reckoned, (*table.notes, told))


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
    table = _without_titles(table)
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


def _without_titles(table: RawTable) -> RawTable:
    """Return a table below titles, which fill fewer than half of the columns, with its headings."""
    rows = list(zip(*table.columns, strict=True)) if 2 * len(table.unnamed) > len(table.header) else []
    place = next((n for n, row in enumerate(rows) if 2 * sum(map(bool, map(str.strip, row))) > len(row)), None)
    heads = [as_seen(cell) for cell in rows[place]] if place is not None else []
    if place is None or len({*heads}) < len(heads) or "" in heads:
        return table
    title = [name for name in table.header if name not in table.unnamed]
    notes = (*table.notes, f"Above the headings in line {table.lines[place]} stands: {first_few(title)}.")
    columns = tuple(column[place + 1 :] for column in table.columns)
    return RawTable(table.name, tuple(heads), columns, table.lines[place + 1 :], notes)


# How much an answer such as `much too thick` is of what was asked.


_SIDE = re.compile(
    r"(?:(?P<how>.+) )?(?:too|zu|trop|troppo|demasiado) (?P<too>\w+)(?: .*)?|(?:not|nicht|pas|non|no) (?P<far>nearly )?"
    r"(?:quite )?(?:(?P<lacks>\w+) (?:enough|genug)|(?:assez|abbastanza|(?:lo )?bastante) (?P<manca>\w+))"
)
_FAR = frozenset(
    heading_words("much far way very extremely viel weit beaucoup vraiment molto decisamente mucho").split()
)


@cache
def sided(question: str, plain: tuple[str, ...]) -> Mapping[str, str]:
    """Return which side of just right answers such as `much too thick` are: too much is what the question is named for.

    If its name does not say, the opposites of `shared/answer_words.csv` do; empty where neither does.
    """
    found = {cell: match for cell in plain if (match := _SIDE.fullmatch(cell))}
    of = {cell: match["too"] or match["lacks"] or match["manca"] for cell, match in found.items()}
    much = {each: _is_much(each, question, {*of.values()}) for each in of.values()}
    if len(much) == 1 and len({bool(match["too"]) for match in found.values()}) == 2:
        much = {each: is_much is not False for each, is_much in much.items()}  # too sticky, not sticky enough
    elif len(much) > 1 and len({*much.values()}) == 1:
        much = dict.fromkeys(much)
    sides = {}
    for cell, match in found.items():
        far = bool(match["far"] or _FAR & {*(match["how"] or "").split()})
        up, is_much = bool(match["too"]), much[of[cell]]
        sides[cell] = "" if is_much is None else "2145"[2 * (up == is_much) + far]
    return sides


def _is_much(word: str, question: str, beside: Collection[str]) -> bool | None:
    """Return whether `too` much of an adjective is too much of what is asked; None if that cannot be told."""
    pairs = _opposites()
    others = {less for more, less in pairs if more == word} | {more for more, less in pairs if less == word}
    asked = heading_words(question).split()
    named = {one for one in {word, *others, *beside} if _is_in(one, asked)}
    if named and not (word in named and named & others):
        return word in named
    return any(more == word for more, _ in pairs) if others else None


def _is_in(word: str, asked: Sequence[str]) -> bool:
    """Return True if a word of a question has the stem of an adjective: oily, oiliness."""
    stem = re.sub(r"[yeaos]+$", "", word)
    return any(each.startswith(word) or (len(stem) > 2 and each.startswith(stem)) for each in asked)


@cache
def _opposites() -> frozenset[tuple[str, str]]:
    """Return adjectives with their opposites, the more of the two first."""
    rows = shared_table("answer_words")
    own = rows.loc[rows["kind"] == "opposite", ["answer", "words"]]
    each = (product(more.split("; "), less.split("; ")) for more, less in own.itertuples(index=False))
    return frozenset((heading_words(more), heading_words(less)) for more, less in chain(*each))
