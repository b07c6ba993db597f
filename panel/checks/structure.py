"""Is the study whole: are its tables, columns and cells there, readable, and do they refer to one another?"""

from __future__ import annotations

import hashlib
import re
import shlex
from collections.abc import Callable, Iterable, Iterator
from difflib import get_close_matches
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd

from panel.checks.finding import Finding, Names, Proposal, by_text, distinct, gathered, grouped, or_none, read_dates
from panel.checks.sound_study import REFERENCES, SCALE_FACTS, scales, scales_stated, slips, sound_study, under_two_names
from panel.errors import StudyError
from panel.study.facts import fact_advice, likely_day
from panel.study.folder import read_journal
from panel.study.journal import FACTS, JOURNAL, read_lines
from panel.study.knowledge import is_counted
from panel.study.naming import folded_name
from panel.study.numbers_read import proposed_number
from panel.study.people import names_of_people
from panel.study.saving import journal_faults, open_elsewhere
from panel.study.scores_used import rows_corrected
from panel.study.study import RawFile, Study
from panel.study.table_cells import nearest_column, nearest_table, number_text
from panel.study.tables import TABLES, Column
from panel.words import FEW, counted, first_few, format_typed

_SHOWN = 60  # characters of a fact in a message
_READ_ELSEWHERE = {("scores", "score"), ("formulas", "percent")}
"""Cells whose blanks are the business of `panel.checks.scores` and `panel.checks.formulas`."""

NO_SCORES = "no_scores"  # kind of the finding that there are none


def check_structure(study: Study, sound: Study | None = None) -> list[Finding]:
    """Return what is missing, unreadable, repeated or refers to nothing in the tables of `study`.

    `sound` is the same study in the form its tables promise, where the caller has it already.
    """
    sound = sound or sound_study(study)
    return [
        *_tables_not_known(study),
        *_columns_missing(study),
        *_columns_not_known(study),
        *_named_people(study),
        *_no_scores(study, sound),
        *_cells_not_read(study, sound),
        *_dates_not_understood(study, sound),
        *_cells_missing(study, sound),
        *_check_references(sound),
        *_scale(study, sound),
        *_margins(sound),
    ]


def _lacks_required(study: Study, table: str) -> list[str]:
    """Return the required columns that the study's table has not; none for a table that the study does not have."""
    frame = study.tables.get(table)
    if frame is None or frame.empty:
        return []
    return [c.name for c in TABLES[table].columns if c.required and c.name not in frame.columns]


def _tables_not_known(study: Study) -> list[Finding]:
    return [
        Finding(
            "warning",
            "table_not_known",
            name,
            f"{name!r} is not one of the tables of a study; nothing reads it.",
            _meant(nearest_table(name)) + f"The tables are {', '.join(TABLES)}. If it is none, leave it where it is.",
        )
        for name in dict.fromkeys((*study.tables, *study.unread.loc[study.unread["column"] == "", "table"]))
        if name not in TABLES
    ]


def _meant(near: str) -> str:
    return f"Perhaps {near} is meant: give it that name. " if near else ""


def _columns_not_known(study: Study) -> Iterator[Finding]:
    """Return a finding for each column that no rule reads and that may mean a known one, one note for the others."""
    for name, frame in study.tables.items():
        known = set(TABLES[name].column_names) if name in TABLES else set()
        unknown = [str(column) for column in frame if column not in known] if known & set(frame) else []
        near = {column: nearest_column(name, column, map(str, frame)) for column in unknown}
        for column in [column for column in unknown if near[column]]:
            message = f"The table {name} has no column {column!r}; it is kept, and nothing reads it."
            yield Finding(
                "warning", "column_not_known", f"{name}, column {column}", message, _meant(near[column]).strip()
            )
        if others := [column for column in unknown if not near[column]]:
            message = f"Columns of {name} that nothing reads: {first_few(others)}."
            advice = f"They are kept. What the table knows: {', '.join(TABLES[name].column_names)}."
            yield Finding("note", "column_not_known", name, message, advice)


def _named_people(study: Study) -> list[Finding]:
    if not (named := names_of_people(study)):
        return []
    shown = first_few([repr(name) for name in named])
    message = f"{shown}: these look like names of people, and whoever gets the study reads them."
    first, code = next(iter(named.items()))
    advice = (
        f"Call people by a code, such as {code} for {first}: rename them in the table assessors. The journal and "
        "imported files keep the names (afterfeel set STUDY codes forget takes them out); give the study away without "
        "people."
    )
    return [Finding("note", "people_by_name", "assessors, column assessor", message, advice)]


def _columns_missing(study: Study) -> Iterator[Finding]:
    for name, frame in study.tables.items():
        if name not in TABLES or frame.empty:
            continue
        known, absent = TABLES[name].column_names, _lacks_required(study, name)
        if not set(known) & set(frame.columns):
            yield Finding(
                "stop",
                "table_not_understood",
                name,
                f"None of the columns of {name} is known: {first_few(list(frame.columns), 6)}.",
                f"Name the columns as a study does: {', '.join(known)}.",
            )
            continue
        yield from [
            Finding(
                "stop",
                "column_missing",
                f"{name}, column {column}",
                f"The table {name} has no column {column}; without it no row of the table can be used.",
                f"Add the column {column}: {TABLES[name].column(column).meaning}.",
            )
            for column in absent
        ]


def _no_scores(study: Study, sound: Study) -> list[Finding]:
    scores = sound.scores
    if _lacks_required(study, "scores") or np.isfinite(scores["score"]).any():
        return []
    if len(sound.table("answers")):
        message = "The study has no scores of trained assessors, only consumer answers."
        return [Finding("note", "no_scores", "scores", message, "Only the consumer questions can be answered.")]
    if len(sound.table("courses")) or len(sound.table("dominances")):
        message = "The study has no scores, only what was recorded over time."
        return [Finding("note", "no_scores", "scores", message, "Only the page Over time can be answered.")]
    reason = f"none of its {counted(len(scores), 'row')} holds a number" if len(scores) else "the table is empty"
    advice = "Import the scores or type them into the table scores: assessor, prototype, attribute, score."
    return [Finding("stop", "no_scores", "scores", f"The study has no scores: {reason}.", advice)]


def _cells_not_read(study: Study, sound: Study) -> list[Finding]:
    findings: list[Finding] = []
    if study.unread.empty:
        return findings
    unread = study.unread.reset_index(drop=True).astype("str")
    unread = unread.loc[unread["column"] != ""]  # a whole sheet: `_tables_not_known` names it
    of_facts = unread["table"] == FACTS
    for _, fact in unread.loc[of_facts].iterrows():
        message = f"The fact {fact['column']} could not be read: {_shortened(fact['text'])} ({fact['reason']})."
        findings.append(
            Finding("warning", "fact_not_read", f"facts, {fact['column']}", message, fact_advice(fact["column"]))
        )
    corrected = {str(row + 2) for row in rows_corrected(sound)}
    scores = (unread["table"] == "scores") & (unread["column"] == "score")
    unread = unread.loc[~of_facts & ~(scores & unread["row"].isin(corrected))]
    for (table, column, reason), cells in unread.groupby(["table", "column", "reason"], sort=False, dropna=False):
        rows, texts = cells["row"].tolist(), cells["text"].tolist()

        def where(case: int, table: str = str(table), column: str = str(column), rows: list = rows) -> str:
            return f"{table}, row {rows[case]}, column {column}"

        for place, cases, shown in by_text(texts, where):
            message = f"{counted(len(cases), 'cell')} could not be read: {shown} ({reason})."
            advice = "Correct the cell. Until then it counts as empty."
            likely = [(rows[case], texts[case], _likely(sound, str(table), rows[case], texts[case])) for case in cases]
            proposed = tuple(
                Proposal(str(table), int(row), str(column), text, value)
                for row, text, value in likely
                if row.isdecimal() and (value or table == "scores")
            )
            findings.append(Finding("warning", "cell_not_read", place, message, advice, proposed))
    return findings


def _likely(study: Study, table: str, row: str, text: str) -> str:
    """Return what a cell that could not be read most likely stands for; a score has to be on its scale."""
    if table != "scores" or not row.isdecimal() or not 0 <= int(row) - 2 < len(study.scores):
        return _likely_text(text)
    limits = study.scale(str(study.scores["attribute"].iloc[int(row) - 2]))
    return _likely_text(text, *limits) if limits else _likely_text(text)


def _likely_text(text: str, low: float = np.nan, high: float = np.nan) -> str:
    """Return the number that a text most likely stands for, if it is on the scale; empty if none is likely."""
    number = proposed_number(text)
    return "" if number is None or number < low or number > high else number_text(number)


def _shortened(text: str) -> str:
    return text if len(text) <= _SHOWN else f"{text[:_SHOWN]} ..."


def _dates_not_understood(study: Study, sound: Study) -> Iterator[Finding]:
    unread = unread_rows(study)
    for name, column in _columns(sound):
        if column.kind != "date":
            continue
        text = sound.table(name)[column.name]
        given = (text != "").to_numpy(dtype=bool)
        if not given.any():
            continue
        bad = _apart_from(given & np.isnat(read_dates(text).values), unread.get((name, column.name)))
        rows = np.flatnonzero(bad)
        for place, cases, shown in by_text(text.iloc[rows].tolist(), _cell_place(name, column.name, rows)):
            different = text.iloc[rows[cases]].unique()
            alike = len({re.sub(r"\d", "0", each) for each in different}) == 1 < len(different)
            message = f"{counted(len(cases), 'date')}{', all written alike,' * alike} cannot be understood: {shown}."
            advice = "Write dates as 2025-03-10 or 2025-03-10 16:30. Until then the cell counts as empty."
            cells = [(int(rows[case]) + 2, str(text.iloc[rows[case]])) for case in cases]
            proposed = tuple(Proposal(name, row, column.name, c, day) for row, c in cells if (day := likely_day(c)))
            yield Finding("warning", "date_not_understood", place, message, advice, proposed)


def _cells_missing(study: Study, sound: Study) -> Iterator[Finding]:
    unread = unread_rows(study)
    for name, column in _columns(sound):
        there = column.name in study.tables[name].columns
        if not there or not column.required or (name, column.name) in _READ_ELSEWHERE:
            continue
        values = sound.table(name)[column.name]
        blank = [each for each in values.unique() if not each.strip()] if values.dtype != "float64" else [np.nan]
        missing = values.isin(blank).to_numpy(dtype=bool)
        rows = np.flatnonzero(_apart_from(missing, unread.get((name, column.name))))
        for place, cases in gathered(np.zeros(len(rows)), _cell_place(name, column.name, rows)):
            message = f"{counted(len(cases), 'cell')} of {name} left empty where {column.name} is needed."
            advice = f"Fill it in: {column.meaning}. A row without it is not used."
            grave = "stop" if name == "scores" else "warning"  # whose score it is decides every analysis
            yield Finding(grave, "cell_missing", place, message, advice)


def _columns(study: Study) -> Iterator[tuple[str, Column]]:
    for name in study.tables:
        for column in TABLES[name].columns:
            yield name, column


def _apart_from(found: np.ndarray, rows: np.ndarray | None) -> np.ndarray:
    """Return the cells that were found, without those of the rows."""
    if rows is None:
        return found
    found = found.copy()
    found[rows[(rows >= 0) & (rows < len(found))]] = False
    return found


def _scale(study: Study, sound: Study) -> Iterator[Finding]:
    """Return whether the scale of the scores is known: it decides what is out of range and what a step means."""
    names = pd.concat([sound.table("attributes")["attribute"], sound.scores["attribute"]])
    used = pd.Index(names[names != ""].unique())
    lowest, _ = scales(sound, used)
    without = used[np.isnan(lowest)]
    if not len(without) or not len(sound.scores):
        return
    stated = scales_stated(sound)
    by_facts = all(name in study.facts for name in SCALE_FACTS)
    wrong = [name for name in without if name in stated or (by_facts and name not in sound.in_units)]
    missing = [name for name in without if name not in {*wrong, *sound.in_units} and not is_counted(name)]
    if wrong:
        given = ", ".join(f"{name} {study.facts[name]}" for name in SCALE_FACTS) if by_facts else "see attributes"
        message = (
            f"The scale of {first_few(wrong)} makes no sense: its lowest value must be below its highest ({given})."
        )
        advice = "Correct scale_min and scale_max. Until then no score is checked against the scale."
        yield Finding("warning", "scale_not_usable", "attributes, scale_min and scale_max", message, advice)
    if missing:
        message = f"The study does not say which scores are possible for {first_few(missing)}."
        advice = "Add scale_min and scale_max to the table attributes or to the facts of the study."
        yield Finding("note", "scale_missing", "attributes, scale_min and scale_max", message, advice)


def _margins(sound: Study) -> Iterator[Finding]:
    """Return the attributes whose smallest difference that matters cannot be one."""
    table = sound.table("attributes")
    wrong = table.loc[table["margin"] <= 0, "attribute"].tolist()
    if wrong:
        message = f"The smallest difference that matters on {first_few(wrong)} is not above zero, so it is passed over."
        advice = "Correct the column margin of the table attributes, or leave it empty."
        yield Finding("warning", "margin_not_usable", "attributes, margin", message, advice)


def _cell_place(table: str, column: str, rows: np.ndarray) -> Callable[[int], str]:
    return lambda case: f"{table}, row {rows[case] + 2}, column {column}"


# Do the tables agree: is a row named once, does every name exist, is every word allowed, is every code clear?


def _check_references(study: Study) -> list[Finding]:
    """Return rows named twice, names that are listed nowhere, words not allowed, and ambiguous blind codes."""
    return [
        *_keys_repeated(study),
        *_names_not_listed(study),
        *_names_alike(study),
        *_sessions_alike(study),
        *_benchmark_not_listed(study),
        *_words_not_allowed(study),
        *_codes_used_twice(study),
    ]


def _keys_repeated(study: Study) -> Iterator[Finding]:
    for name in study.tables:
        key = list(TABLES[name].key)
        if not key:
            continue
        cells = study.table(name)[key]
        if not cells.duplicated().any():
            continue
        whole = cells[(cells.notna() & (cells != "")).all(axis=1)]
        again = whole[whole.duplicated()]

        def where(case: int, name: str = name, again: pd.DataFrame = again) -> str:
            return f"{name}, row {again.index[case] + 2}: {', '.join(format_typed(cell) for cell in again.iloc[case])}"

        for place, cases in gathered(np.zeros(len(again)), where):
            message = f"{counted(len(cases), 'row')} of {name} named like an earlier one (same {', '.join(key)})."
            advice = "Keep one row for each, or give the other its own name. The first one counts until then."
            yield Finding("warning", "row_named_twice", place, message, advice)


def _names_not_listed(study: Study) -> Iterator[Finding]:
    for target, column, tables in REFERENCES:
        known = set(study.table(target)[column].unique()) - {""} if target in study.tables else set()
        for table, name in tables:
            if known and table in study.tables:
                yield from _not_listed(study.table(table)[name], known, table, target)


def _names_alike(study: Study) -> Iterator[Finding]:
    """Return names of a list that are most likely a slip of another one, which is used more often."""
    for target, column, name, other, how in slips(study):
        tables = [(target, column), *next(tables for held, _, tables in REFERENCES if held == target)]
        places = [
            (table, at) for table, at in tables if table in study.tables and (study.table(table)[at] == name).any()
        ]
        proposed = tuple(Proposal(table, 0, at, name, other) for table, at in places)
        names = study.table(target)[column]
        where = f"{target}, row {int(names.index[names == name][0]) + 2}, column {column}"
        as_words = " ".join(map(shlex.quote, (column, name, other)))
        advice = (
            f"If both are the same {column}, rename {name} to {other} and say why, which joins them (afterfeel "
            f"set STUDY rename {as_words} --why REASON); else give one another name."
        )
        yield Finding("warning", "names_alike", where, f"{name!r} and {other!r} {how}.", advice, proposed)


def _sessions_alike(study: Study) -> Iterator[Finding]:
    names = under_two_names(study)
    if not names:
        return
    told = first_few([f"{name!r} seems to be {other!r}" for name, other in names.items()])
    rows = int(study.scores["session"].isin(list(names)).sum())
    message = f"Sessions stand under two names: {told} ({counted(rows, 'score')})."
    one = next(iter(names))
    advice = (
        "If they are the same, write one name for both, which is proposed (afterfeel set STUDY proposal "
        f"{shlex.quote(one)} --who NAME); until then each name counts as a session of its own."
    )
    proposed = tuple(Proposal("scores", 0, "session", name, other) for name, other in names.items())
    yield Finding("warning", "sessions_under_two_names", "scores, column session", message, advice, proposed)


def _not_listed(used: pd.Series, known: set[str], table: str, target: str) -> Iterator[Finding]:
    """Return a finding for each name that is used but not listed."""
    unknown = set(used.unique()) - known - {""}
    if not unknown:
        return
    strange = used[used.isin(unknown)]
    codes, names = pd.factorize(strange)
    rows, counts = strange.index.to_numpy(), np.bincount(codes)
    first = rows[np.unique(codes, return_index=True)[1]]
    noun = target[:-1] if target != "batches" else "batch"
    alike = {folded_name(name): name for name in sorted(known)}

    def where(case: int) -> str:
        return f"{table}, row {first[case] + 2}: {names[case]}"

    for place, cases in gathered(np.arange(len(names)), where):
        shown = first_few([repr(names[case]) for case in cases])
        message = f"{shown}: no such {noun} in {target} ({counted(int(counts[cases].sum()), 'row')} of {table})."
        likely = [(names[case], alike.get(folded_name(names[case]))) for case in cases[:FEW]]
        meant = [f"{name} as '{known_name}'" for name, known_name in likely if known_name]
        advice = f"Perhaps meant: {first_few(meant)}. " if meant else ""
        advice += f"Correct the name, or add the {noun} to {target}."
        proposed = tuple(
            Proposal(table, 0, str(used.name), str(name), near)
            for name in names[cases]
            if (near := alike.get(folded_name(name)) or next(iter(get_close_matches(name, sorted(known), 1)), ""))
        )
        yield Finding("warning", f"{noun}_not_listed", place, message, advice, proposed)


def _benchmark_not_listed(study: Study) -> list[Finding]:
    benchmark = study.benchmark
    tables = [name for name in ("prototypes", "formulas", "scores") if name in study.tables]
    if benchmark is None or any((study.table(name)["prototype"] == benchmark).any() for name in tables):
        return []
    message = f"The benchmark {benchmark!r} is none of the prototypes."
    advice = "Correct the benchmark in the facts of the study, or set the role in the table prototypes."
    return [Finding("warning", "benchmark_not_listed", "facts, benchmark", message, advice)]


def _words_not_allowed(study: Study) -> Iterator[Finding]:
    for name in study.tables:
        for column in TABLES[name].columns:
            if not column.choices:
                continue
            words = study.table(name)[column.name]
            strange = set(words.unique()) - {"", *column.choices}
            if strange:
                place = f"{name}, column {column.name}"
                yield from _wrong_words(words[words.isin(strange)], place, column.choices)


def _wrong_words(wrong: pd.Series, place: str, choices: tuple[str, ...]) -> Iterator[Finding]:
    codes, words = pd.factorize(wrong)
    rows, counts = wrong.index.to_numpy(), np.bincount(codes)
    first = rows[np.unique(codes, return_index=True)[1]]
    table, _, column = place.partition(", column ")
    for where, cases in gathered(
        np.arange(len(words)), lambda case: f"{table}, row {first[case] + 2}, column {column}"
    ):
        shown = first_few([repr(words[case]) for case in cases])
        message = f"{shown}: not a word allowed there ({counted(int(counts[cases].sum()), 'cell')})."
        advice = f"Use one of: {', '.join(choices)}."
        near = {
            str(word): next(iter(get_close_matches(word.strip().casefold(), choices, 1)), "") for word in words[cases]
        }
        proposed = tuple(Proposal(table, 0, column, word, meant) for word, meant in near.items() if meant)
        yield Finding("warning", "word_not_allowed", where, message, advice, proposed)


def _codes_used_twice(study: Study) -> Iterator[Finding]:
    """Return blind codes that stand for two prototypes in a session, or for two servings of one person."""
    if "servings" not in study.tables:
        return
    servings = study.table("servings")
    servings = servings[((servings["code"] != "") & (servings["prototype"] != "")).to_numpy(dtype=bool)]
    use, first = grouped(Names.read(servings["session"]).code, Names.read(servings["code"]).code)
    twice = _used_twice(servings, use)
    session, code = servings["session"].to_numpy()[first[twice]], servings["code"].to_numpy()[first[twice]]

    def place(case: int) -> str:
        return f"servings, session {session[case]}, code {code[case]}"

    for where, cases in gathered(np.arange(len(twice)), place):
        meant = servings["prototype"].to_numpy()[use == twice[cases[0]]]
        names = list(dict.fromkeys(meant.tolist()))
        stands_for = " and ".join(names[:3]) if len(names) > 1 else f"two servings of {names[0]} to one person"
        message = f"A code used twice in a session cannot tell samples apart: it stands for {stands_for}."
        if len(cases) > 1:
            message = f"{len(cases):,} codes cannot tell samples apart. The first stands for {stands_for}."
        advice = "Give every prototype its own code in each session, and every serving of a person its own."
        yield Finding("warning", "code_used_twice", where, message, advice)


def _used_twice(servings: pd.DataFrame, use: np.ndarray) -> np.ndarray:
    """Return the uses (session and code) that have two prototypes, or two positions for one person."""
    prototype, assessor = Names.read(servings["prototype"]).code, Names.read(servings["assessor"]).code
    prototypes_of_use = np.bincount(distinct(use, prototype)[0])
    person, use_of_place, _ = distinct(assessor, use, or_none(servings["position"].to_numpy(dtype=float)))
    places, first = grouped(person, use_of_place)
    of_one_person = use_of_place[first[np.bincount(places) > 1]] if len(places) else use_of_place
    return np.union1d(np.flatnonzero(prototypes_of_use > 1), of_one_person)


# Which cells hold something that could not be read?


def unread_rows(study: Study) -> dict[tuple[str, str], np.ndarray]:
    """Return, by table and column, the rows (counted from 0) whose cell could not be read."""
    if study.unread.empty:
        return {}
    row = pd.to_numeric(study.unread["row"], errors="coerce").rename("row")
    cells = study.unread[["table", "column"]].assign(row=row).dropna()
    found = cells.groupby(["table", "column"], sort=False)["row"]
    return {(str(table), str(column)): rows.to_numpy(dtype=int) - 2 for (table, column), rows in found}


# Are the files a study was imported from still what they were?


def check_raw_files(study: Study) -> list[Finding]:
    """Return a finding for each imported file that is missing or no longer has its recorded SHA-256."""
    return [
        Finding(
            "warning",
            "raw_file_changed",
            f"raw files, {name}",
            f"{name} is missing, or is not the file that was imported: its SHA-256 is another one.",
            "Put the file back as it was. The scores of the study are unchanged, but they can no longer be followed "
            "back to it.",
        )
        for name in _changed_raw_files(study.raw_files)
    ]


def _changed_raw_files(files: Iterable[RawFile]) -> tuple[str, ...]:
    """Return the names of imported files that are missing or no longer what was imported."""
    return tuple(file.name for file in files if hashlib.sha256(file.content).hexdigest() != file.sha256)


# What only the folder of a study tells: its journal, the clocks of those who wrote it, and who has a file open.


def check_folder(folder: str | Path) -> list[Finding]:
    """Return what is wrong with the journal of a study folder or its files; none for a study that is no folder."""
    if not Path(folder).is_dir():
        return []
    try:
        faults, back, opened = journal_faults(folder), _dated_back(folder), open_elsewhere(folder)
    except StudyError as error:
        faults, back, opened = (str(error),), (), ()
    advice = "Ask who changed it, and put the journal back from a copy; it cannot be relied on."
    found = [Finding("warning", "journal_edited", JOURNAL, fault, advice) for fault in faults]
    if back:
        what = f"Change {back[0]} is dated before the one that was written before it: a clock had gone back."
        advice = "Set the clock of that computer right. The order of the changes holds; their times may not."
        found.append(Finding("warning", "clock_went_back", f"{JOURNAL}, change {back[0]}", what, advice))
    advice = "Close it there before anything is changed here: what that program saves replaces what was written since."
    found += [Finding("note", "file_open_elsewhere", f, f"{f} is open in another program.", advice) for f in opened]
    return found


def _dated_back(folder: str | Path) -> tuple[int, ...]:
    """Return the changes of a study folder that are dated before the one that was written before them."""
    entries = read_lines(read_journal(folder)[0] or b"")
    return tuple(b["change"] for a, b in pairwise(entries) if b["when"] < a["when"])  # both UTC, so that text sorts
