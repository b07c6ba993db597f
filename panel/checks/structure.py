"""Is the study whole: are its tables, columns and cells there, readable, and do they refer to one another?"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
import pandas as pd

from panel.checks.dates import read_dates
from panel.checks.finding import Finding
from panel.checks.names_given import check_names_given
from panel.checks.places import counted, gathered, listed
from panel.checks.references import check_references
from panel.checks.sound_study import SCALE_FACTS, scales, scales_stated, sound_study
from panel.checks.unread import unread_rows
from panel.study.named_rows import NEEDED
from panel.study.study import Study
from panel.study.tables import TABLES, Column

_READ_ELSEWHERE = {("scores", "score"), ("formulas", "percent")}
"""Cells whose blanks are the business of `panel.checks.score_entries` and `panel.checks.formulas`; names are that of
`panel.checks.names_given`."""


def check_structure(study: Study, sound: Study | None = None) -> list[Finding]:
    """Return what is missing, unreadable, repeated or refers to nothing in the tables of `study`.

    `sound` is the same study in the form its tables promise, where the caller has it already.
    """
    sound = sound or sound_study(study)
    return [
        *_tables_not_known(study),
        *_columns_missing(study),
        *_no_scores(study, sound),
        *_cells_not_read(study),
        *_dates_not_understood(study, sound),
        *check_names_given(study, sound),
        *_cells_missing(study, sound),
        *check_references(sound),
        *_scale(study, sound),
    ]


def lacks_required(study: Study, table: str) -> list[str]:
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
            f"If it is one of them, give it its name: {', '.join(TABLES)}. If not, leave it where it is.",
        )
        for name in study.tables
        if name not in TABLES
    ]


def _columns_missing(study: Study) -> list[Finding]:
    findings = []
    for name, frame in study.tables.items():
        if name not in TABLES or frame.empty:
            continue
        known, absent = TABLES[name].column_names, lacks_required(study, name)
        if not set(known) & set(frame.columns):
            findings.append(
                Finding(
                    "stop",
                    "table_not_understood",
                    name,
                    f"None of the columns of {name} is known: {listed(list(frame.columns), 6)}.",
                    f"Name the columns as a study does: {', '.join(known)}.",
                )
            )
            continue
        findings += [
            Finding(
                "stop",
                "column_missing",
                f"{name}, column {column}",
                f"The table {name} has no column {column}; without it no row of the table can be used.",
                f"Add the column {column}: {TABLES[name].column(column).meaning}.",
            )
            for column in absent
        ]
    return findings


def _no_scores(study: Study, sound: Study) -> list[Finding]:
    scores = sound.scores
    if lacks_required(study, "scores") or np.isfinite(scores["score"]).any():
        return []
    if len(sound.table("answers")):
        message = "The study has no scores of trained assessors, only consumer answers."
        return [Finding("note", "no_scores", "scores", message, "Only the consumer questions can be answered.")]
    reason = f"none of its {counted(len(scores), 'row')} holds a number" if len(scores) else "the table is empty"
    advice = "Import the scores or type them into the table scores: assessor, prototype, attribute, score."
    return [Finding("stop", "no_scores", "scores", f"The study has no scores: {reason}.", advice)]


def _cells_not_read(study: Study) -> list[Finding]:
    findings: list[Finding] = []
    if study.unread.empty:
        return findings
    unread = study.unread.reset_index(drop=True).astype("str")
    for (table, column, reason), cells in unread.groupby(["table", "column", "reason"], sort=False, dropna=False):
        rows, texts = cells["row"].tolist(), cells["text"].tolist()

        def where(case: int, table: str = str(table), column: str = str(column), rows: list = rows) -> str:
            return f"{table}, row {rows[case]}, column {column}"

        for place, cases in gathered(np.zeros(len(cells)), where):
            shown = listed([repr(texts[case]) for case in cases])
            message = f"{counted(len(cases), 'cell')} could not be read: {shown} ({reason})."
            advice = "Correct the file and read it again. Until then the cell counts as empty."
            findings.append(Finding("warning", "cell_not_read", place, message, advice))
    return findings


def _dates_not_understood(study: Study, sound: Study) -> list[Finding]:
    findings, unread = [], unread_rows(study)
    for name, column in _columns(sound):
        if column.kind != "date":
            continue
        text = sound.table(name)[column.name]
        given = (text != "").to_numpy(dtype=bool)
        if not given.any():
            continue
        bad = _apart_from(given & np.isnat(read_dates(text).values), unread.get((name, column.name)))
        rows = np.flatnonzero(bad)
        for place, cases in gathered(np.zeros(len(rows)), _cell_place(name, column.name, rows)):
            shown = listed([repr(text.iloc[rows[case]]) for case in cases])
            message = f"{counted(len(cases), 'date')} cannot be understood: {shown}."
            advice = "Write dates as 2025-03-10 or 2025-03-10 16:30. Until then the cell counts as empty."
            findings.append(Finding("warning", "date_not_understood", place, message, advice))
    return findings


def _cells_missing(study: Study, sound: Study) -> list[Finding]:
    findings, unread = [], unread_rows(study)
    for name, column in _columns(sound):
        there = column.name in study.tables[name].columns
        elsewhere = (name, column.name) in _READ_ELSEWHERE or column.name in NEEDED.get(name, ())
        if not there or not column.required or elsewhere:
            continue
        values = sound.table(name)[column.name]
        missing = (values.isna() if values.dtype == "float64" else values == "").to_numpy(dtype=bool)
        rows = np.flatnonzero(_apart_from(missing, unread.get((name, column.name))))
        for place, cases in gathered(np.zeros(len(rows)), _cell_place(name, column.name, rows)):
            message = f"{counted(len(cases), 'cell')} of {name} left empty where {column.name} is needed."
            advice = f"Fill it in: {column.meaning}. A row without it is not used."
            findings.append(Finding("warning", "cell_missing", place, message, advice))
    return findings


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


def _scale(study: Study, sound: Study) -> list[Finding]:
    """Return whether the scale of the scores is known: it decides what is out of range and what a step means."""
    names = pd.concat([sound.table("attributes")["attribute"], sound.scores["attribute"]])
    used = pd.Index(names[names != ""].unique())
    lowest, _ = scales(sound, used)
    without = used[np.isnan(lowest)]
    if not len(without) or not len(sound.scores):
        return []
    stated = scales_stated(sound)
    by_facts = all(name in study.facts for name in SCALE_FACTS)
    wrong = [name for name in without if by_facts or name in stated]
    missing = [name for name in without if name not in set(wrong)]
    findings = []
    if wrong:
        given = ", ".join(f"{name} {study.facts[name]}" for name in SCALE_FACTS) if by_facts else "see attributes"
        message = f"The scale of {listed(wrong)} makes no sense: its lowest value must be below its highest ({given})."
        advice = "Correct scale_min and scale_max. Until then no score is checked against the scale."
        findings.append(Finding("warning", "scale_not_usable", "attributes, scale_min and scale_max", message, advice))
    if missing:
        message = f"The study does not say which scores are possible for {listed(missing)}."
        advice = "Add scale_min and scale_max to the table attributes or to the facts of the study."
        findings.append(Finding("note", "scale_missing", "attributes, scale_min and scale_max", message, advice))
    return findings


def _cell_place(table: str, column: str, rows: np.ndarray) -> Callable[[int], str]:
    return lambda case: f"{table}, row {rows[case] + 2}, column {column}"
