"""How is a change saved into a study that others may be changing too, looked up afterwards, and taken back?

A change is made on the study as it is in the folder at that moment, not as it was when somebody opened it. What is on
record only grows; other changes go together where they touch different rows; the rest is refused with both sides shown.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from panel.errors import StudyError
from panel.study.facts import read_facts
from panel.study.folder import put_study, put_without_past, read_folder, read_journal, version_of
from panel.study.journal import (
    FACTS,
    IMPORTED,
    RowChange,
    _refuse_collisions,
    chain_faults,
    changed_rows,
    journal_table,
    listed_changes,
    only_grows,
    read_lines,
)
from panel.study.people import files_naming, people_in, without_person
from panel.study.raw_table import RawTable
from panel.study.renaming import people_by_code
from panel.study.safe_write import finish_interrupted, one_writer
from panel.study.study import Study
from panel.study.table_cells import frame_of_texts, rows_of_study, study_changes, unread_frame
from panel.study.tables import TABLES

_NUMBERED = ("reactions", "unblindings", "decisions")
"""Tables whose rows carry a number or a seal made from the rows before: two that are made apart do not go together."""


def save(
    folder: str | Path, seen: Study, change: Study | Callable[[Study], Study], *, who: str = "", what: str = ""
) -> Study:
    """Save a change into the study in a folder, and return the study that is there now.

    Parameters
    ----------
    seen
        The study as it was read before the change was made.
    change
        What makes the changed study from the one that is in the folder now; or the changed study itself, of which the
        rows that differ from `seen` are taken over.
    who, what
        For the journal: who made the change, and a sentence about it.

    Raises
    ------
    StudyError
        If somebody else changed the same rows meanwhile, the change cannot be made, or nothing can be written. The
        study in the folder is then as it was.
    """
    folder = Path(folder)
    try:
        finish_interrupted(folder)
        if not folder.is_dir():
            raise StudyError(f"There is no folder {folder}.")
        with one_writer(folder):
            now = read_folder(folder)
            after = change(now) if callable(change) else _merged(seen, change, now)
            after = _margin_dated(now, _order_dated(now, after))
            if callable(change) and (theirs := study_changes(seen, now)):
                _refuse_collisions(_touched_since(study_changes(now, after), theirs))
            put_study(folder, now, after, who=who, what=what)
    except (OSError, ValueError) as error:
        raise StudyError(f"{folder} cannot be written: {error}.") from error
    return after


def _order_dated(now: Study, after: Study) -> Study:
    """Return the changed study with the moment at which the place of each attribute in the order of testing was fixed.

    StudyError where scores are there already and a place that was fixed is changed or taken away.
    """
    new = after.tables.get("attributes")
    if new is None or "test_order" not in new:
        return after
    old = now.table("attributes").drop_duplicates("attribute").set_index("attribute")
    when = datetime.now().astimezone().isoformat(timespec="seconds")
    gone = old.loc[~old.index.isin(new["attribute"])]  # a new name with the place and moment of one that went
    moments = []
    for name, place, at in (
        new[["attribute", "test_order"]].assign(at=new.get("test_order_at", "")).itertuples(index=False)
    ):
        before = old.loc[name, "test_order"] if name in old.index else float("nan")
        if name in old.index and (before == place or (pd.isna(before) and pd.isna(place))):
            moments.append(str(old.loc[name, "test_order_at"]))
        elif name not in old.index and ((gone["test_order"] == place) & (gone["test_order_at"] == at)).any():
            moments.append(str(at))
        elif pd.notna(before) and len(now.scores):
            raise StudyError(
                f"{name} has place {before:g} in the order of testing, and there are scores: that place stays. "
                f"Put {before:g} back."
            )
        else:
            moments.append(when if pd.notna(place) else "")
    return replace(
        after, tables={**after.tables, "attributes": new.assign(test_order_at=pd.array(moments, dtype="str"))}
    )


def _margin_dated(now: Study, after: Study) -> Study:
    """Return the changed study with the moment at which a margin was last changed while scores were there."""
    old, new = _margins(now), _margins(after)
    kept = {name: fact for name, fact in after.facts.items() if name != "margin_changed_at"}
    before = {"margin_changed_at": at} if (at := now.facts.get("margin_changed_at")) else {}
    if now.scores.empty or all(old[name] == new[name] for name in old.keys() & new.keys()):
        return replace(after, facts=kept | before)
    when = datetime.now().astimezone().isoformat(timespec="seconds")
    return replace(after, facts={**kept, "margin_changed_at": when})


def _margins(study: Study) -> dict[str, float | None]:
    """Return attribute to its own margin, None without, and nothing's name to that of the study."""
    table = study.table("attributes")
    own = zip(table["attribute"], table["margin"].astype(float), strict=True)
    return {"": study.facts.get("margin"), **{name: None if np.isnan(size) else size for name, size in own}}


def undo(folder: str | Path, number: int, *, who: str, why: str) -> Study:
    """Take back one change of the journal, as a new change, and return the study that is there now.

    Raises
    ------
    StudyError
        If nobody or no reason is named, there is no such change, its rows were changed since, or it put something on
        record: that stays, and a new entry says what is true now.
    """
    if not who.strip() or not why.strip():
        raise StudyError("Taking a change back needs a name and a reason. Write who takes it back, and why.")
    back = _back(read_lines(read_journal(folder)[0] or b""), number)
    what = f"Change {number} taken back: {why.strip()}"
    return save(folder, read_folder(folder), lambda now: _applied(now, back), who=who, what=what)


def replayed(study: Study, script: bytes) -> Study:
    """Return a study with the changes made in it that the journal of another copy lists.

    Parameters
    ----------
    script
        Lines of a journal. Where the study is at a version that they name, the changes after it are made, else all.

    Raises
    ------
    StudyError
        If a line does not hold all of its change, or the rows that it changes are not there.
    """
    entries, version = read_lines(script), version_of(study)
    if entries and entries[-1]["version"]["after"] == version:
        return study
    begins = [place for place, entry in enumerate(entries) if entry["version"]["before"] == version]
    if not begins and _holds(study, entries):
        return study
    for entry in entries[begins[-1] if begins else 0 :]:
        changes = listed_changes(entry)
        lost = sorted({change.table for change in changes if change.table not in (*TABLES, FACTS)})
        if lost or entry["not_listed"]:
            what = f"it changed {', '.join(lost)}" if lost else f"{entry['not_listed']} of its rows are not listed"
            raise StudyError(
                f"Change {entry['change']} of the script cannot be made again: {what}. Begin with a copy of the study "
                "from after that change."
            )
        study = _applied(study, changes)
    return study


def _holds(study: Study, entries: Sequence[Mapping[str, Any]]) -> bool:
    """Return True if a study holds what a journal ends with, whatever moment the clock stamped on a margin."""
    rows = rows_of_study(study)
    last = {(change.table, change.key): change for entry in entries for change in listed_changes(entry)}
    last.pop((FACTS, "fact=margin_changed_at"), None)
    held = [
        change.after in rows.get(change.table, ()) if change.after else change.before not in rows.get(change.table, ())
        for change in last.values()
    ]
    return bool(held) and all(held) and not any(entry["not_listed"] for entry in entries)


def last_change(folder: str | Path) -> tuple[int, str]:
    """Return the number of the last change of the journal, and why it cannot be taken back; empty if it can."""
    entries = read_lines(read_journal(folder)[0] or b"")
    try:
        _applied(read_folder(folder), _back(entries, len(entries)))
    except StudyError as error:
        return len(entries), str(error)
    return len(entries), ""


def _back(entries: Sequence[Mapping[str, Any]], number: int) -> list[RowChange]:
    """Return the changes that take a change of the journal back; StudyError if it has to stay."""
    if not 1 <= number <= len(entries):
        raise StudyError(f"The journal has no change {number}; it has {len(entries)}.")
    entry = entries[number - 1]
    changes = listed_changes(entry)
    kept = sorted({change.table for change in changes if only_grows(change.table) or change.table == IMPORTED})
    if kept:
        raise StudyError(
            f"Change {number} put something on record ({', '.join(kept)}), and that stays. Write a new entry that says "
            "what is true now."
        )
    if entry["not_listed"] or not changes:
        raise StudyError(f"The journal does not hold all rows of change {number}; it cannot be taken back from it.")
    return [RowChange(change.table, change.key, change.after, change.before) for change in changes]


def remove_person(folder: str | Path, person: str, *, who: str, why: str) -> tuple[dict[str, int], list[str]]:
    """Remove all that a study folder knows of one person; its journal begins anew, and says so.

    Returns how many rows were taken out of each table, and the names of the imported files taken out.

    Raises
    ------
    StudyError
        As `panel.study.people.without_person`, or if nothing can be written; the folder is then as it was.
    """
    folder = Path(folder)
    when = datetime.now().astimezone().isoformat(timespec="seconds")
    try:
        with one_writer(folder):
            left, rows, files = without_person(read_folder(folder), person, who=who, why=why, when=when)
            lines = len((read_journal(folder)[0] or b"").splitlines())
            what = (
                f"The data of one person were removed on request, and with them the journal of {lines} changes before."
            )
            put_without_past(folder, left, who=who, what=what)
    except (OSError, ValueError) as error:
        raise StudyError(f"{folder} cannot be written: {error}.") from error
    return rows, files


def forget_names(folder: str | Path, *, who: str, why: str) -> tuple[int, list[str]]:
    """Give everybody a code, and take out what else holds a name: the journal, which begins anew, and imported files.

    Returns how many changes the journal held, and the names of the imported files taken out.

    Raises
    ------
    StudyError
        If nobody or no reason is named, two names may be one person, or nothing can be written.
    """
    if not who.strip() or not why.strip():
        raise StudyError("Names are taken out by somebody, for a reason. Write who takes them out, and why.")
    folder = Path(folder)
    try:
        with one_writer(folder):
            now = read_folder(folder)
            after, entries = people_by_code(now), read_lines(read_journal(folder)[0] or b"")
            rows = [
                row
                for entry in entries
                for change in listed_changes(entry)
                for row in (change.before, change.after)
                if row
            ]
            named = {*people_in(now), *(str(row["assessor"]) for row in rows if "assessor" in row)} - {
                *people_in(after)
            }
            gone = files_naming(after, named)
            files = [file.name for file in gone]
            without = f" and the imported files {', '.join(files)}" if files else ""
            what = (
                f"Names of people were taken out, and with them the journal of {len(entries)} changes before{without}: "
            )
            left = replace(after, raw_files=tuple(file for file in after.raw_files if file not in gone))
            put_without_past(folder, left, who=who, what=f"{what}{why.strip()}.")
    except (OSError, ValueError) as error:
        raise StudyError(f"{folder} cannot be written: {error}.") from error
    return len(entries), files


def journal_rows(folder: str | Path) -> pd.DataFrame:
    """Return what was changed in a study folder, the last change first: the table for a page.

    Returns
    -------
    table
        Columns `change when who what table key before after`, all words but the first.
    """
    journal, _ = read_journal(folder)
    return journal_table(read_lines(journal or b""), version_of(read_folder(folder)))


def journal_faults(folder: str | Path) -> tuple[str, ...]:
    """Return what shows that the journal of a study folder was edited, one sentence each; none if it was not."""
    return chain_faults(*read_journal(folder))


def open_elsewhere(folder: str | Path) -> tuple[str, ...]:
    """Return the files of a study folder that an office program has open, by the files that it puts beside them."""
    there = {place.name for place in Path(folder).iterdir()}
    marks = {name: (f".~lock.{name}#", f"~${name}", f"~${name[2:]}") for name in there if name[:2] != "~$"}
    return tuple(sorted(name for name, own in marks.items() if there.intersection(own)))


# Do two changes go together?


def _touched_since(mine: Iterable[RowChange], theirs: Iterable[RowChange]) -> list[tuple[RowChange, RowChange]]:
    """Return my changes of rows that somebody else changed since they were seen, each with theirs."""
    return [
        (my, other)
        for my in mine
        for other in theirs
        if my.table == other.table and not _grows(my) and my.before is not None and my.before == other.after
    ]


def _merged(seen: Study, mine: Study, now: Study) -> Study:
    """Return the study in the folder with the rows that differ between what was seen and mine."""
    theirs, own = study_changes(seen, now), study_changes(seen, mine)
    if not theirs:
        return mine
    own = tuple(change for change in own if change not in theirs or (change.before is None and not change.named))
    own = tuple(_after_theirs(change, theirs) for change in own)
    _refuse_collisions([(my, other) for my in own for other in theirs if _collide(my, other)])
    merged = _applied(now, own)
    files = {(file.name, file.sha256): file for file in (*now.raw_files, *mine.raw_files)}
    named = [(row["name"], row["sha256"]) for row in changed_rows(rows_of_study(now, ())[IMPORTED], IMPORTED, own)]
    return replace(merged, raw_files=tuple(files[name] for name in named))


def _collide(my: RowChange, other: RowChange) -> bool:
    """Return True if two changes of what was seen are about the same row, or about the next number of a record."""
    if my.table != other.table:
        return False
    if my.before is None and other.before is None:
        return my.table in _NUMBERED or (my.named and my.key == other.key)
    if my.named and my.key == other.key:
        return not _grows(my)
    return my.before is not None and my.before == other.before


def _after_theirs(my: RowChange, theirs: Iterable[RowChange]) -> RowChange:
    """Return my change of a list among the facts so that it stands after theirs; both lists only got longer."""
    other = next((each for each in theirs if each.table == my.table == FACTS and each.key == my.key), None)
    if other is None or not (_grows(my) and _grows(other)):
        return my
    seen, own, there = (json.loads(row["value"]) if row else [] for row in (my.before, my.after, other.after))
    value = json.dumps([*there, *own[len(seen) :]], ensure_ascii=False)
    return RowChange(FACTS, my.key, other.after, {"fact": (my.after or {})["fact"], "value": value})


def _grows(change: RowChange) -> bool:
    """Return True if a change is a list among the facts that only got longer."""
    if change.table != FACTS or change.after is None:
        return False
    before = json.loads(change.before["value"]) if change.before else []
    after = json.loads(change.after["value"])
    return isinstance(before, list) and isinstance(after, list) and after[: len(before)] == before


# Putting changed rows into a study.


def _applied(now: Study, changes: Sequence[RowChange]) -> Study:
    """Return the study with the changes made; StudyError if a row that is to be changed is no longer there."""
    names = dict.fromkeys(change.table for change in changes)
    rows, tables = rows_of_study(now, names), dict(now.tables)
    facts: Mapping[str, Any] = now.facts
    unread = [tuple(cell) for cell in now.unread.astype("str").itertuples(index=False, name=None)]
    for name in names:
        new = changed_rows(rows.get(name, []), name, changes)
        if name == FACTS:
            facts, cells = read_facts({row["fact"]: json.loads(row["value"]) for row in new})
            unread = [cell for cell in unread if cell[0] != FACTS] + cells
        elif name in TABLES:
            frame, cells = _table_of_texts(name, new)
            tables[name] = _with_columns_of(frame, now.tables.get(name))
            unread = [cell for cell in unread if cell[0] != name] + cells
    return replace(now, tables=tables, facts=facts, unread=unread_frame(unread))


def _table_of_texts(name: str, rows: Sequence[Mapping[str, str]]) -> tuple[pd.DataFrame, list[tuple[str, ...]]]:
    """Return rows of texts as a table of a study, and the cells that could not be read, as if read from a file."""
    known = TABLES[name].column_names
    held = dict.fromkeys(column for row in rows for column in row)
    header = (*(column for column in known if column in held), *(column for column in held if column not in known))
    columns = tuple(tuple(row.get(column, "") for row in rows) for column in header)
    return frame_of_texts(TABLES[name], RawTable(name, header, columns, tuple(range(2, len(rows) + 2))))


def _with_columns_of(frame: pd.DataFrame, old: pd.DataFrame | None) -> pd.DataFrame:
    """Return a table with the columns that it had before, in their order, empty where no row holds anything."""
    if old is None:
        return frame
    lost = [str(name) for name in old if name not in frame]
    empty = {name: "" if isinstance(old[name].dtype, pd.StringDtype) else float("nan") for name in lost}
    return frame.assign(**empty)[list(dict.fromkeys((*old.columns, *frame.columns)))]
