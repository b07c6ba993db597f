"""Does every row say whose it is and of what, and which names did the import fill in?"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from panel.checks.finding import Finding
from panel.checks.places import counted, gathered
from panel.study.blank_names import FILLED, MERGED
from panel.study.named_rows import NEEDED, SESSION, lacking_names
from panel.study.study import Study

_VALUE = {"scores": "score", "answers": "answer", "courses": "score", "dominances": "seconds"}


def check_names_given(study: Study, sound: Study) -> list[Finding]:
    """Return rows that lack a name and are therefore in no analysis, and names filled in at import.

    A whole column that is not there (in `study`, whose `sound` form has it) is told by `panel.checks.structure`.
    """
    found = [
        finding
        for table, frame in study.tables.items()
        if table in NEEDED
        for finding in _lacking(sound, table, set(frame.columns))
    ]
    return [*found, *_filled(study)]


def _lacking(study: Study, table: str, there: set[str]) -> list[Finding]:
    frame = study.table(table)
    held = frame[_VALUE[table]]
    filled = (held.notna() if held.dtype == "float64" else held.str.strip() != "").to_numpy(dtype=bool)
    findings = []
    for column, blank in lacking_names(frame, table).items():
        rows = np.flatnonzero(blank.to_numpy(dtype=bool) & filled) if column in there else np.empty(0, dtype=int)
        for where, cases in gathered(np.zeros(len(rows)), _place(table, column, rows)):
            is_one = len(cases) == 1
            message = f"{counted(len(cases), 'row')} of {table} {'names' if is_one else 'name'} no {column}"
            message += ", where others name one" if column == SESSION else ""
            message += f": {'it is' if is_one else 'they are'} in no analysis."
            advice = (
                "If the name stands once above its rows (merged cells, or a list with gaps), fill it down in the file "
                f"and read it again. Otherwise look up the ballot and write the {column} in."
            )
            findings.append(Finding("stop", "name_missing", where, message, advice))
    return findings


def _place(table: str, column: str, rows: np.ndarray) -> Callable[[int], str]:
    return lambda case: f"{table}, row {rows[case] + 2}, column {column}"


def _filled(study: Study) -> list[Finding]:
    record = study.facts.get("import")
    filled = record.get(FILLED) if isinstance(record, dict) else None
    findings = []
    for entry in filled if isinstance(filled, list) else ():
        if not isinstance(entry, dict) or not {"role", "rows", "why", "words"} <= set(entry):
            continue
        advice = "Look through the names once: a score under the wrong name changes the result."
        if entry["why"] == MERGED:
            advice = "Nothing to do if the merged cells were meant so. " + advice
        findings.append(Finding("note", "names_filled_down", f"scores, {entry['role']}", str(entry["words"]), advice))
    return findings
