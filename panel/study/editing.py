"""How is a study changed by hand: its tables, its facts, the names of its prototypes, attributes and people?

Every function takes a study and texts as somebody typed them, and returns the changed study. What cannot be read stays
as it was typed, with its place and its reason; nothing is dropped.
"""

from __future__ import annotations

import difflib
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any

import pandas as pd

from panel.errors import StudyError
from panel.study.facts import KINDS, STATED, entry_example, likely_day, read_facts
from panel.study.journal import FACTS, changed_rows, row_changes, sides
from panel.study.numbers_read import NOT_A_NUMBER, typed_number
from panel.study.raw_table import RawTable
from panel.study.scores_used import rows_corrected
from panel.study.study import Study
from panel.study.table_cells import (
    ENTRIES,
    bare_words,
    frame_of_texts,
    known_table,
    number_text,
    study_changes,
    texts_of_frame,
    unread_frame,
)
from panel.study.tables import TABLES, Column
from panel.words import counted, first_few

_FIRST_ROW = 2  # the header is line 1
_NUMBERS = ("number", "integer")


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong with one cell: its table, its row (from 1) and column, what is wrong, what to do."""

    table: str
    row: int
    column: str
    message: str
    advice: str

    @property
    def line(self) -> int:
        """The row as the check numbers it: of a table the headings are the first."""
        return self.row + (self.table in TABLES)

    @property
    def sentence(self) -> str:
        """The place and what is wrong there, as one line."""
        return f"Row {self.row}, {self.column}: {self.message} {self.advice}".strip()


# A table as texts, and back: rows replaced, typed, and what is wrong with each cell.


def texts_of_table(study: Study, name: str) -> pd.DataFrame:
    """Return a table, or a fact of entries, as texts with all its columns; what is not read stays as typed."""
    if name in ENTRIES:
        return _texts_of_entries(study, name)
    frame = study.table(name)
    known = [column for column in TABLES[name].column_names if column in frame]
    order = [*known, *(str(column) for column in frame if column not in known)]
    header, columns = texts_of_frame(name, frame[order], study.unread)
    return pd.DataFrame(dict(zip(header, columns, strict=True)), columns=header, dtype="str")


def put_table(study: Study, name: str, texts: pd.DataFrame) -> Study:
    """Return the study with the rows of one table replaced.

    Numbers are read as in a file: with a decimal point or comma, decided for the cells that are new. A cell that
    cannot be read stays as it was typed; `table_problems` names it.

    Parameters
    ----------
    texts
        The rows as texts; columns that the table does not know are kept.

    Raises
    ------
    StudyError
        If there is no such table, two columns have one name, or rows that are on record would change.
    """
    if name in ENTRIES:
        return _put_entries(study, name, texts)
    given = _given(name, texts)
    own = study.unread[study.unread["table"] == name]
    exact: dict[tuple[int, str], float] = {}
    kept: dict[tuple[int, str], str] = {}
    fresh = given.copy()
    for column in [column.name for column in TABLES[name].columns if column.kind in _NUMBERS and column.name in given]:
        known, cells = known_numbers(study, name, column), own[own["column"] == column]
        wrong = dict(zip(cells["text"], cells["reason"], strict=True))
        exact |= {(place, column): known[cell] for place, cell in enumerate(given[column]) if cell in known}
        kept |= {(place, column): wrong[cell] for place, cell in enumerate(given[column]) if cell in wrong}
        fresh[column] = [cell if cell not in known and cell not in wrong else "" for cell in given[column]]
    frame, unread = frame_of_texts(TABLES[name], _raw(name, fresh))
    for (place, column), value in exact.items():
        frame.loc[place, column] = value
    unread += [
        (name, str(place + _FIRST_ROW), column, given[column].iloc[place], why) for (place, column), why in kept.items()
    ]
    return _with_table(study, name, frame, unread)


def put_block(study: Study, name: str, block: pd.DataFrame, *, whole: bool = False) -> Study:
    """Return the study with rows from elsewhere put into a table: a pasted block, a file, a sheet.

    The block is read by itself, so that its decimal commas say nothing about numbers that are there already. A row
    with the same key is changed where the block says something; other rows come last, none is doubled. A formula that
    the block holds replaces the one that the prototype had.

    Parameters
    ----------
    whole
        The block is the whole table: rows that it does not hold go.

    Raises
    ------
    StudyError
        As `put_table`.
    """
    if name in ENTRIES:
        merged = block if whole else _entries_merged(_texts_of_entries(study, name), block)
        return _put_entries(study, name, merged)
    frame, wrong = frame_of_texts(known_table(name), _raw(name, _given(name, block)))
    frame = _with_known_lines(study, frame) if name == "scores" and "raw_line" in frame else frame
    if timed := [cell for *_, column, cell, _ in wrong if column == "score" and re.fullmatch(r"\d{1,3}:[0-5]\d", cell)]:
        told = f"{counted(len(timed), 'cell')} of score with a time such as {timed[0]}"
        raise StudyError(f"{told}: nothing was put in. Write the times in seconds (1:37 is 97).")
    if whole or name not in study.tables:
        return _with_table(study, name, frame, wrong)
    own = _own_unread(study, name)
    rows, new = _rows(study.tables[name], own), _rows(frame, wrong)
    if name == "formulas":
        replaced = {row.get("prototype") for row in new}
        rows = [row for row in rows if row.get("prototype") not in replaced]
    columns = list(dict.fromkeys((*study.tables[name].columns, *frame.columns)))
    reasons = {(cell[2], cell[3]): cell[4] for cell in (*own, *wrong)}
    return _with_table(study, name, *_frame(name, _merged(rows, new, TABLES[name].key), columns, reasons))


def _with_known_lines(study: Study, scores: pd.DataFrame) -> pd.DataFrame:
    """Return scores from elsewhere without lines of a file that the study does not keep, or that they do not name."""
    kept, now = {file.name for file in study.raw_files}, study.scores
    about = [column for column in _OF_A_SCORE if column in scores]
    there = pd.MultiIndex.from_frame(scores[about]).isin(pd.MultiIndex.from_frame(now[about]))
    named = scores["source"].isin(kept) if "source" in scores else False
    return scores.assign(raw_line=scores["raw_line"].where(there | named))


_OF_A_SCORE = ("assessor", "session", "replicate", "prototype", "attribute", "raw_line")


def rebased(now: Study, name: str, before: Study, after: Study) -> Study:
    """Return a study with what differs in one table between two others; rows that somebody else changed stay theirs.

    Raises
    ------
    StudyError
        If a row that differs was changed or is gone meanwhile.
    """
    if name in ENTRIES:
        if now.facts.get(name) != before.facts.get(name):
            raise StudyError(
                f"Somebody else changed {name} meanwhile. Look at what is there now, then change it again."
            )
        return put_fact(now, name, after.facts[name]) if name in after.facts else _without_fact(now, name)
    frames = [study.tables.get(name, study.table(name)) for study in (now, before, after)]
    own = [_own_unread(study, name) for study in (now, before, after)]
    rows = [_rows(frame, unread) for frame, unread in zip(frames, own, strict=True)]
    if rows[0] == rows[1]:
        return _with_table(now, name, frames[2], own[2])
    new = changed_rows(rows[0], name, row_changes({name: rows[1]}, {name: rows[2]}))
    columns = list(dict.fromkeys(str(column) for frame in frames for column in frame))
    reasons = {(cell[2], cell[3]): cell[4] for unread in own for cell in unread}
    return _with_table(now, name, *_frame(name, [dict(row) for row in new], columns, reasons))


def _own_unread(study: Study, name: str) -> list[tuple[str, ...]]:
    return [tuple(cell) for cell in study.unread.astype("str").itertuples(index=False, name=None) if cell[0] == name]


def known_numbers(study: Study, name: str, column: str) -> dict[str, float]:
    """Return the numbers that stand in a column already, by the text they are shown as: they are not read anew."""
    frame = study.tables.get(name)
    if frame is None or column not in frame or not pd.api.types.is_numeric_dtype(frame[column]):
        return {}
    return {number_text(value): value for value in frame[column].dropna().tolist()}


def _given(name: str, texts: pd.DataFrame) -> pd.DataFrame:
    known_table(name)
    given = texts.fillna("").astype("str").reset_index(drop=True)
    days = {column.name for column in TABLES[name].columns if column.kind == "date"}
    for at in [at for at, column in enumerate(given) if column in days]:  # as it is typed, like a decimal comma
        given.isetitem(at, [likely_day(cell) or cell for cell in given.iloc[:, at]])
    return given.set_axis([str(column) for column in given.columns], axis=1)


def _raw(name: str, given: pd.DataFrame) -> RawTable:
    columns = tuple(tuple(given.iloc[:, place]) for place in range(given.shape[1]))
    return RawTable(name, tuple(given.columns), columns, tuple(range(_FIRST_ROW, len(given) + _FIRST_ROW)))


_Row = dict[str, Any]
"""One row: a number for a number, otherwise a text; cells without anything are left out."""


def _rows(frame: pd.DataFrame, unread: Iterable[tuple[str, ...]]) -> list[_Row]:
    names = [str(column) for column in frame.columns]
    rows = [
        {name: cell for name, cell in zip(names, cells, strict=True) if cell != "" and not pd.isna(cell)}
        for cells in frame.itertuples(index=False, name=None)
    ]
    for _, row, column, text, _ in unread:
        if str(row).isdecimal() and 0 <= int(row) - _FIRST_ROW < len(rows):
            rows[int(row) - _FIRST_ROW][str(column)] = str(text)
    return rows


def _merged(rows: list[_Row], new: Iterable[_Row], key: Sequence[str]) -> list[_Row]:
    """Return the rows with the new ones put in: by their key, or, without one, each that is not there yet."""
    merged = [dict(row) for row in rows]
    places = {tuple(row.get(name) for name in key): place for place, row in enumerate(merged)} if key else {}
    there = Counter(frozenset(row.items()) for row in merged)
    for row in new:
        named = tuple(row.get(name) for name in key)
        if key and named in places:
            merged[places[named]] |= row
        elif not key and there[frozenset(row.items())] > 0:
            there[frozenset(row.items())] -= 1
        else:
            merged.append(dict(row))
            places[named] = len(merged) - 1
    return merged


def _frame(
    name: str, rows: Sequence[_Row], columns: Sequence[str], reasons: Mapping[tuple[str, str], str]
) -> tuple[pd.DataFrame, list[tuple[str, ...]]]:
    """Return rows as a frame of the study, and the cells of numbers that hold a text instead."""
    numbers = {column.name for column in TABLES[name].columns if column.kind in _NUMBERS}
    unread: list[tuple[str, ...]] = [
        (name, str(place + _FIRST_ROW), column, row[column], reasons.get((column, row[column]), NOT_A_NUMBER))
        for place, row in enumerate(rows)
        for column in row
        if column in numbers and isinstance(row[column], str)
    ]
    cells = {
        column: pd.Series(
            [float("nan") if isinstance(row.get(column), str) else row.get(column, float("nan")) for row in rows],
            dtype="float64",
        )
        if column in numbers
        else pd.Series([row.get(column, "") for row in rows], dtype="str")
        for column in columns
    }
    return pd.DataFrame(cells, columns=list(columns)), unread


def _with_table(study: Study, name: str, frame: pd.DataFrame, unread: Sequence[tuple[str, ...]]) -> Study:
    """Return the study with one table replaced; StudyError if rows that are on record would be changed or gone."""
    if TABLES[name].grows:
        _refuse_loss(study, name, Study({name: frame}, {}, unread_frame(unread)))
    others = [tuple(cell) for cell in study.unread.astype("str").itertuples(index=False, name=None) if cell[0] != name]
    return replace(study, tables={**study.tables, name: frame}, unread=unread_frame(_in_order([*others, *unread])))


def _in_order(cells: Sequence[tuple[str, ...]]) -> list[tuple[str, ...]]:
    """Return unread cells in the order in which a folder is read."""
    places = {name: place for place, name in enumerate(TABLES)}
    return sorted(cells, key=lambda cell: places.get(cell[0], len(places)))


def _refuse_loss(study: Study, name: str, after: Study) -> None:
    """Raise StudyError if a row that is on record would be changed or be gone."""
    lost = [change for change in study_changes(_only(study, name), after) if change.before is not None]
    if lost:
        raise StudyError(
            f"What is on record in {name} stays as it is ({counted(len(lost), 'row')} would change or go: "
            f"{first_few([change.key for change in lost])}). Write a new row that says what is true now."
        )


def _only(study: Study, name: str) -> Study:
    tables = {name: study.tables[name]} if name in study.tables else {}
    return Study(tables, {}, study.unread[study.unread["table"] == name].reset_index(drop=True))


def table_problems(study: Study, name: str) -> tuple[Problem, ...]:
    """Return what is wrong with the cells of one table, or fact of entries, in the order of its rows.

    A score that was corrected is no longer wrong where it could not be read.
    """
    if name in ENTRIES:
        return _entry_problems(study, name)
    frame, texts = study.table(name), texts_of_table(study, name)
    own = study.unread[study.unread["table"] == name].astype("str")
    unread = {(int(str(cell.row)) - 1, str(cell.column)): str(cell.reason) for cell in own.itertuples()}
    corrected = {(row + 1, "score") for row in rows_corrected(study)} if name == "scores" and unread else set()
    found = [
        *_cells_unread(name, texts, {place: why for place, why in unread.items() if place not in corrected}),
        *_cells_wrong(study, name, frame, texts, unread),
        *_keys_twice(name, frame),
    ]
    return tuple(sorted(found, key=lambda problem: problem.row))


def _cells_unread(name: str, texts: pd.DataFrame, unread: Mapping[tuple[int, str], str]) -> Iterator[Problem]:
    for (row, column), reason in unread.items():
        text = texts[column].iloc[row - 1] if column in texts and 0 < row <= len(texts) else ""
        advice = "Write it with digits, such as 7.5 or 7,5. Until then the cell counts as empty."
        if reason.startswith("could be "):
            readings = reason.removeprefix("could be ").partition(":")[0]
            reason, advice = f"could be {readings}", "Write it one of these two ways."
        yield Problem(name, row, column, f"{text!r} is not read: {reason}.", advice)


def _cells_wrong(
    study: Study, name: str, frame: pd.DataFrame, texts: pd.DataFrame, unread: Mapping[tuple[int, str], str]
) -> Iterator[Problem]:
    """Yield the cells that are empty and needed, words that are not allowed, dates and names that are not known."""
    blank = (texts == "").all(axis=1).to_numpy()
    for column in TABLES[name].columns:
        listed = _listed(study, name, column.name)
        for place, cell in enumerate(texts[column.name]):
            if blank[place] or (place + 1, column.name) in unread:
                continue
            message, advice = _why_wrong(column, cell, listed, (name, column.name) in _MAY_BE_EMPTY)
            if message:
                yield Problem(name, place + 1, column.name, message, advice)


_MAY_BE_EMPTY = frozenset({("scores", "score"), ("answers", "answer"), ("formulas", "percent")})
"""Cells that are needed, but whose blank says something: no score was given, an amount is still to be found."""


def _why_wrong(column: Column, cell: str, listed: Sequence[str], may_be_empty: bool) -> tuple[str, str]:
    """Return what is wrong with a cell and what to do; both empty if nothing is."""
    if not cell:
        needed = column.required and not may_be_empty
        return ("it is empty and is needed.", f"Fill in: {column.meaning}.") if needed else ("", "")
    if column.choices and cell not in column.choices:
        near = difflib.get_close_matches(cell.casefold(), column.choices, 1)
        meant = f" Perhaps {near[0]} is meant." if near else ""
        return f"{cell!r} is not a word allowed there.", f"Use one of: {', '.join(column.choices)}.{meant}"
    if column.kind == "date" and pd.isna(pd.to_datetime(cell, format="ISO8601", errors="coerce", utc=True)):
        return f"{cell!r} is no date.", "Write it as 2025-03-10 or 2025-03-10 16:30."
    if listed and cell not in listed:
        alike = [name for name in listed if bare_words(name) == bare_words(cell)]
        near = alike or difflib.get_close_matches(cell, listed, 1)
        meant = f"Perhaps {near[0]} is meant. " if near else ""
        return f"{_LISTS_NO} {column.name} {cell!r}.", f"{meant}Correct it, or add it there."
    return "", ""


_LISTS_NO = "the study lists no"
LISTS = MappingProxyType(
    {"prototype": "prototypes", "attribute": "attributes", "assessor": "assessors", "batch": "batches"}
)
"""What a row is called to the table that lists it."""
_NOT_LISTED_THERE = {("safety", "batch"), ("dominances", "attribute"), ("courses", "attribute")}


def _listed(study: Study, table: str, column: str) -> Sequence[str]:
    """Return the names that may stand in a column; none if any may."""
    name = "prototype" if column == "versus" else column
    listing = LISTS.get(name, "")
    if not listing or listing == table or (table, column) in _NOT_LISTED_THERE or listing not in study.tables:
        return ()
    return [str(word) for word in study.table(listing)[name].unique() if word]


def _keys_twice(name: str, frame: pd.DataFrame) -> Iterator[Problem]:
    key = list(TABLES[name].key)
    if not key:
        return
    cells = frame[key].reset_index(drop=True)
    whole = cells[(cells.notna() & (cells != "")).all(axis=1)]
    for place in whole.index[whole.duplicated()]:
        yield Problem(
            name,
            int(place) + 1,
            key[-1],
            f"a row above has the same {', '.join(key)}.",
            "Keep one of the two, or give the other its own name.",
        )


def new_problems(before: Study, after: Study, names: Iterable[str], whole: str = "") -> list[Problem]:
    """Return what is wrong with tables and was not before a change, wherever it stood; all of the table `whole`."""
    found = []
    for name in names:
        known = Counter((each.column, each.message) for each in table_problems(before, name) if name != whole)
        for problem in table_problems(after, name):
            place = (problem.column, problem.message)
            found += [] if known[place] > 0 else [problem]
            known[place] -= 1
    return found


def told_together(problems: Sequence[Problem]) -> list[str]:
    """Return what is wrong as sentences, one for all the names of a column if many are not listed by the study yet."""
    absent: dict[tuple[str, str], list[str]] = {}
    for each in problems:
        if each.message.startswith(_LISTS_NO):
            name = each.message.removeprefix(f"{_LISTS_NO} {each.column} ").removesuffix(".")
            absent.setdefault((each.table, each.column), []).append(name)
    many = {place: names for place, names in absent.items() if len(names) > _FEW}
    told = []
    for (table, column), names in many.items():
        listing = LISTS["prototype" if column == "versus" else column]
        told.append(
            f"{table}: {counted(len(names), 'row')} name {first_few(list(dict.fromkeys(names)))}, and {_LISTS_NO} such "
            f"{column}. Add what is new to the table {listing} first (afterfeel set STUDY {listing} FILE.csv), or "
            "correct the names."
        )
    rest = (p for p in problems if not (p.message.startswith(_LISTS_NO) and (p.table, p.column) in many))
    return [*told, *(f"{each.table}: {replace(each, row=each.line).sentence}" for each in rest)]


_FEW = 6  # rows with a name that is not listed, told one by one


def changes_between(before: Study, after: Study) -> pd.DataFrame:
    """Return what differs between two studies: columns `table key before after`, one row for each changed row."""
    found = [(change.table, change.key, *sides(change)) for change in study_changes(before, after)]
    return pd.DataFrame(found, columns=["table", "key", "before", "after"], dtype="str")


# Facts: read by the kind that is declared for each.


_FACT_KIND = MappingProxyType({fact.name: fact.kind for fact in STATED})


def put_fact(study: Study, name: str, value: Any) -> Study:
    """Return the study with one fact stated. What is of the wrong kind is kept as it was given, and not read."""
    without = _without_fact(study, name)
    read, wrong = read_facts({name: value})
    kept = [tuple(cell) for cell in without.unread.astype("str").itertuples(index=False, name=None)]
    return replace(without, facts={**without.facts, **read}, unread=unread_frame(_in_order([*kept, *wrong])))


def _without_fact(study: Study, name: str) -> Study:
    """Return the study without one of its facts."""
    own = (study.unread["table"] == FACTS) & (study.unread["column"] == name)
    facts = {other: stated for other, stated in study.facts.items() if other != name}
    return replace(study, facts=facts, unread=study.unread[~own].reset_index(drop=True))


def with_facts(study: Study, values: Mapping[str, Any]) -> Study:
    """Return the study with facts stated; those that are None are taken out."""
    for name, value in values.items():
        study = _without_fact(study, name) if value is None else put_fact(study, name, value)
    return study


def with_benchmark(study: Study, name: str) -> Study:
    """Return the study with another prototype as the one that the others are compared with; none if it is empty."""
    texts = texts_of_table(study, "prototypes")
    if len(texts):
        texts.loc[texts["role"] == "benchmark", "role"] = "prototype"
        texts.loc[texts["prototype"] == name, "role"] = "benchmark"
        study = put_table(study, "prototypes", texts)
    listed = bool((texts["prototype"] == name).any())
    return _without_fact(study, "benchmark") if not name or listed else put_fact(study, "benchmark", name)


def typed_fact(name: str, text: str, label: str = "") -> Any:
    """Return what somebody typed for a fact, in the kind that is declared for it; None if it is empty.

    `label` is what the field is called that it was typed into.

    Raises
    ------
    StudyError
        If it cannot be read so, or the fact is made of several entries, which have their own form.
    """
    kind = _FACT_KIND.get(name, "text")
    words = text.strip()
    if not words:
        return None
    if kind in ("number", "number or object"):
        return typed_number(words, label or f"The fact {name}")
    if kind == "list":
        return [line.strip() for line in re.split(r"[\n;]", words) if line.strip()]
    if kind == "words":
        lines = [line.strip() for line in words.splitlines() if line.strip()]
        return lines if len(lines) > 1 else words
    if kind == "text" or name not in _FACT_KIND:
        return words
    raise StudyError(
        f"The fact {name} is {KINDS[kind]}; it has its own form in the app and cannot be typed as one text. By command "
        f"it is written so: '{entry_example(name)}'."
    )


# A table inside a fact: questions, planned differences.


def _texts_of_entries(study: Study, name: str) -> pd.DataFrame:
    """Return a fact that is a list of entries as a table of texts; further keys of an entry are columns too."""
    stated = study.facts.get(name)
    if isinstance(stated, Mapping):
        stated = [
            {ENTRIES[name][0].name: key, **(about if isinstance(about, Mapping) else {})}
            for key, about in stated.items()
        ]
    entries = [entry for entry in stated if isinstance(entry, Mapping)] if isinstance(stated, list) else []
    known = [column.name for column in ENTRIES[name]]
    columns = list(dict.fromkeys([*known, *(str(key) for entry in entries for key in entry)]))
    rows = [{column: _cell(entry.get(column)) for column in columns} for entry in entries]
    return pd.DataFrame(rows, columns=columns, dtype="str")


def _entries_merged(now: pd.DataFrame, block: pd.DataFrame) -> pd.DataFrame:
    """Return the entries of a fact with others: a question that is there is changed, another one comes last."""
    rows: list[_Row] = []
    for row in (*_rows(now, ()), *_rows(block.fillna("").astype("str"), ())):
        mine = [r for r in rows if "question" in row and r.get("question") == row["question"]]
        mine = [r for r in mine if row.get("kind", r.get("kind")) == r.get("kind", row.get("kind"))]
        if mine:
            mine[0] |= row
        elif row not in rows:
            rows.append(row)
    return pd.DataFrame(rows, columns=list(dict.fromkeys((*now.columns, *map(str, block.columns)))), dtype="str")


def _put_entries(study: Study, name: str, texts: pd.DataFrame) -> Study:
    """Return the study with a fact that is a list of entries replaced; a cell that was not touched keeps its value."""
    stated = study.facts.get(name)
    listed: list[Any] = stated if isinstance(stated, list) else []
    known = [entry for entry in listed if isinstance(entry, Mapping)]
    before = {(column, _cell(value)): value for entry in known for column, value in entry.items()}
    entries: list[Any] = [entry for entry in listed if not isinstance(entry, Mapping)]  # kept
    for row in texts.fillna("").astype("str").to_dict("records"):
        entry = {
            str(c): before.get((str(c), str(text)), str(text).strip()) for c, text in row.items() if str(text).strip()
        }
        if entry:
            entries.append(entry)
    return put_fact(study, name, entries) if entries else _without_fact(study, name)


def _entry_problems(study: Study, name: str) -> tuple[Problem, ...]:
    """Return what is wrong with the entries of a fact, in the order of its rows."""
    found = []
    texts = _texts_of_entries(study, name)
    for column in ENTRIES[name]:
        listed = list(study.prototypes) if column.name in ("prototype", "versus") else ()
        listed = list(study.attributes) if column.name == "attribute" else listed
        for place, cell in enumerate(texts[column.name]):
            message, advice = _why_wrong(column, cell, listed, may_be_empty=False)
            if message:
                found.append(Problem(name, place + 1, column.name, message, advice))
    return tuple(sorted(found, key=lambda problem: problem.row))


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return number_text(float(value))
    return value if isinstance(value, str) else "; ".join(map(str, value)) if isinstance(value, list) else str(value)
