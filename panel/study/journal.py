"""What was changed in a study folder, by whom and when? One line for each change, chained so that an edit is found.

A line is a JSON object: number of the change, when, who, what, the study's version before and after, the rows that were
added, changed or removed, and the SHA-256 of the line before. The description of the study names the SHA-256 of the
whole journal, so that lines that are missing at its end are found too.
"""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import pandas as pd

from panel.errors import StudyError
from panel.study.tables import TABLES

JOURNAL = "journal.jsonl"
FACTS, IMPORTED = "facts", "imported files"
"""What is not a table of a study, but changes like one."""

_MOST_ROWS_LISTED = 5000
"""Rows of one change that are listed; of those that a table loses or gets beyond that only the number is."""

_COLUMNS = ("change", "when", "who", "what", "table", "key", "before", "after")
_OUTSIDE = "The files were changed outside this program."

_Row = Mapping[str, str]
"""One row as texts; cells without text are left out."""

_KEYS = {FACTS: ("fact",), IMPORTED: ("name", "sha256")}


@dataclass(frozen=True, slots=True)
class RowChange:
    """One row that was added (nothing before), removed (nothing after) or changed."""

    table: str
    key: str
    before: _Row | None
    after: _Row | None

    @property
    def named(self) -> bool:
        """True if the columns that name a row say which one it is; otherwise it is known by all that it holds."""
        return bool(_key_of(self.table))


def _key_of(table: str) -> tuple[str, ...]:
    """Return the columns that name a row of a table; none if only all its cells do."""
    return _KEYS.get(table) or (TABLES[table].key if table in TABLES else ())


def only_grows(table: str) -> bool:
    """Return True for a table in which nothing is ever changed or removed: what is on record."""
    return table in TABLES and TABLES[table].grows


# What differs between two states of a study?


def row_changes(before: Mapping[str, Sequence[_Row]], after: Mapping[str, Sequence[_Row]]) -> tuple[RowChange, ...]:
    """Return what makes one state of a study another one: table name to rows before, the same after."""
    found: list[RowChange] = []
    for table in dict.fromkeys((*after, *before)):
        old, new = before.get(table, ()), after.get(table, ())
        if list(old) != list(new):
            by_key = _by_key(table, old), _by_key(table, new)
            if by_key[0] is not None and by_key[1] is not None:
                found.extend(_changes_by_key(table, by_key[0], by_key[1]))
            else:
                found.extend(_changes_by_content(table, old, new))
    return tuple(found)


def _by_key(table: str, rows: Sequence[_Row]) -> dict[str, _Row] | None:
    """Return the key of each row to the row; None if the table has no key, or rows that share one or lack it."""
    columns = _key_of(table)
    if not columns or not all(any(row.get(name) for name in columns) for row in rows):
        return None
    found = {_words({name: row.get(name, "") for name in columns}): row for row in rows}
    return found if len(found) == len(rows) else None


def _changes_by_key(table: str, old: Mapping[str, _Row], new: Mapping[str, _Row]) -> Iterator[RowChange]:
    for key in dict.fromkeys((*old, *new)):
        if old.get(key) != new.get(key):
            yield RowChange(table, key, old.get(key), new.get(key))


def _changes_by_content(table: str, old: Sequence[_Row], new: Sequence[_Row]) -> Iterator[RowChange]:
    """Yield the changes of a table whose rows are known by what they hold; rows at one place belong together."""
    here = [(a, b) for a, b in zip(old, new, strict=False) if a != b] if len(old) == len(new) else []
    count = Counter(map(_frozen, old))
    count.subtract(map(_frozen, new))
    if here and len(here) == sum(number for number in count.values() if number > 0):
        for a, b in here:
            yield RowChange(table, _place(table, a, b), a, b)
        return
    lost, got = +count, -count
    for rows, times in ((old, lost), (new, got)):
        for row in rows:
            if times[_frozen(row)] > 0:
                times[_frozen(row)] -= 1
                before, after = (row, None) if rows is old else (None, row)
                yield RowChange(table, _place(table, row, row), before, after)


def _frozen(row: _Row) -> tuple[tuple[str, str], ...]:
    return tuple(sorted(row.items()))


def _place(table: str, before: _Row, after: _Row) -> str:
    """Return words that tell a row from others: what it holds in the columns that have to be filled with text."""
    columns = TABLES[table].columns if table in TABLES else ()
    names = [column.name for column in columns if column.kind != "number"]
    kept = {name: before[name] for name in names if name in before and before[name] == after.get(name)}
    return _words(kept or dict(before))


def _words(cells: _Row) -> str:
    return "; ".join(f"{name}={value}" for name, value in cells.items())


# The lines of the journal.


def next_line(
    journal: bytes, changes: Sequence[RowChange], *, who: str, what: str, version: tuple[str, str], broken: bool = False
) -> bytes:
    """Return a journal with one more line.

    Parameters
    ----------
    changes
        The rows that changed. What is on record is always listed, of other rows the first `_MOST_ROWS_LISTED`.
    version
        Version of the study before and after.
    broken
        The journal is not the one that the description of the study names; that is written down.
    """
    lines = journal.splitlines()
    kept = sorted(changes, key=lambda change: not only_grows(change.table))
    listed = max(_MOST_ROWS_LISTED, sum(only_grows(change.table) for change in kept))
    entry: dict[str, Any] = {
        "change": len(lines) + 1,
        "when": datetime.now(UTC).isoformat(timespec="seconds"),
        "who": who.strip(),
        "what": what.strip(),
        "version": {"before": version[0], "after": version[1]},
        "rows": [
            {"table": c.table, "key": c.key, "before": c.before and dict(c.before), "after": c.after and dict(c.after)}
            for c in kept[:listed]
        ],
        "not_listed": len(kept[listed:]),
        "previous": hashlib.sha256(lines[-1]).hexdigest() if lines else "",
    }
    if broken:
        entry["journal_was_changed"] = True
    whole = journal if journal.endswith(b"\n") or not journal else journal + b"\n"
    return whole + json.dumps(entry, ensure_ascii=False, separators=(",", ":")).encode() + b"\n"


def read_lines(journal: bytes) -> list[dict[str, Any]]:
    """Return the changes in a journal.

    Raises
    ------
    StudyError
        If a line is no change.
    """
    entries = []
    for number, line in enumerate(journal.splitlines(), start=1):
        entry = _entry(line)
        if entry is None:
            raise StudyError(f"Line {number} of {JOURNAL} cannot be read; put the journal back from a copy.")
        entries.append(entry)
    return entries


def _entry(line: bytes) -> dict[str, Any] | None:
    try:
        entry = json.loads(line)
        tables = [(row["table"], row["key"], row["before"], row["after"]) for row in entry["rows"]]
        texts = [entry[name] for name in ("when", "who", "what", "previous")]
        texts += [entry["version"]["before"], entry["version"]["after"], *(text for row in tables for text in row[:2])]
        sound = all(isinstance(text, str) for text in texts) and isinstance(entry["not_listed"], int)
        sound = sound and all(isinstance(cells, dict | None) for row in tables for cells in row[2:])
    except (ValueError, KeyError, TypeError, RecursionError):
        return None
    return entry if sound else None


def listed_changes(entry: Mapping[str, Any]) -> tuple[RowChange, ...]:
    """Return the rows that a change lists."""
    return tuple(RowChange(row["table"], row["key"], row["before"], row["after"]) for row in entry["rows"])


def chain_faults(journal: bytes | None, stated: str) -> tuple[str, ...]:
    """Return what shows that a journal was edited, one sentence each; none if every line is as it was written.

    Parameters
    ----------
    journal
        The journal; None if there is none.
    stated
        The SHA-256 of it that the description of the study names; empty if it names none.
    """
    if journal is None:
        return (f"{JOURNAL} is missing; the study names one. Put it back from a copy.",) if stated else ()
    lines, found = journal.splitlines(), []
    for number, line in enumerate(lines, start=1):
        entry = _entry(line)
        before = hashlib.sha256(lines[number - 2]).hexdigest() if number > 1 else ""
        if entry is None:
            found.append(f"Line {number} of {JOURNAL} cannot be read.")
        elif entry["change"] != number or entry["previous"] != before:
            found.append(f"{JOURNAL} was edited: line {number} does not follow from the line before it.")
        elif entry.get("journal_was_changed"):
            found.append(f"{JOURNAL} had been edited when change {number} was written.")
    if hashlib.sha256(journal).hexdigest() != stated and not found:
        found.append(f"{JOURNAL} was edited at its end: it is not the one that the study names.")
    return tuple(found)


def journal_table(entries: Iterable[Mapping[str, Any]], version: str = "") -> pd.DataFrame:
    """Return changes as a table, one row for each row of the study that changed, the last change first.

    Its columns are `change when who what table key before after`; the last two are words. `version` is that of the
    study now, a change that no line tells of being told as made outside.
    """
    rows: list[tuple[Any, ...]] = []
    last, number = "", 0
    for entry in entries:
        number = entry["change"]
        if last and entry["version"]["before"] != last:
            rows.append((entry["change"], "", "", _OUTSIDE, "", "", "", ""))
        told = (entry["change"], entry["when"], entry["who"], entry["what"])
        listed = [(row.table, _named(row), *_sides(row.before, row.after, _said)) for row in listed_changes(entry)]
        if entry["not_listed"]:
            listed.append(("", f"{entry['not_listed']} more rows", "", ""))
        rows.extend((*told, *row) for row in listed or [("", "", "", "")])
        last = entry["version"]["after"]
    if version and last and version != last:
        rows.append((number + 1, "", "", _OUTSIDE, "", "", "", ""))
    frame = pd.DataFrame(rows, columns=list(_COLUMNS))
    return frame.sort_values("change", ascending=False, kind="stable", ignore_index=True)


def _named(change: RowChange) -> str:
    """Return which row a change is about, in words."""
    cells = change.after or change.before or {}
    return _said({name: cells[name] for name in _key_of(change.table) if name in cells}) or change.key


def _said(cells: _Row) -> str:
    return ", ".join(f"{name} {value or '(empty)'}" for name, value in cells.items())


def _sides(before: _Row | None, after: _Row | None, words: Callable[[_Row], str] = _words) -> tuple[str, str]:
    """Return the two sides of a change in words: the cells that differ, or the whole row where there is only one."""
    if before is None or after is None:
        return words(before or {}), words(after or {})
    names = [name for name in dict.fromkeys((*before, *after)) if before.get(name) != after.get(name)]
    old, new = (words({name: side.get(name, "") for name in names}) for side in (before, after))
    return old, new


def sides(change: RowChange) -> tuple[str, str]:
    """Return what a row was and what it is, in words; `nothing` where there was no row."""
    before, after = _sides(change.before, change.after)
    return before or "nothing", after or "nothing"


_SHOWN = 3  # rows of which both sides are shown


def _refuse_collisions(pairs: Sequence[tuple[RowChange, RowChange]]) -> None:
    if not pairs:
        return
    told = []
    for my, other in pairs[:_SHOWN]:
        (was, yours), (_, theirs) = sides(my), sides(other)
        told.append(f"{my.table}, {my.key}: before '{was}'; yours '{yours}'; in the study now '{theirs}'.")
    more = f" And {len(pairs) - _SHOWN} more." if len(pairs) > _SHOWN else ""
    raise StudyError(
        "Somebody else changed the same rows since you opened the study; nothing was saved. "
        f"{' '.join(told)}{more} Look at what is there now, then make your change again."
    )


def changed_rows(rows: Sequence[_Row], table: str, changes: Iterable[RowChange]) -> list[_Row]:
    """Return the rows of one table with the changes made; new ones last, or in place of as many that go."""
    own = [change for change in changes if change.table == table]
    gone, come = (sum(getattr(change, side) is None for change in own) for side in ("after", "before"))
    new: list[_Row | None] = list(rows)
    free: list[int] = []
    for change in own:
        if change.before is None:
            if change.named and (same := _same_key(filter(None, new), change)) is not None:
                _refuse_collisions([(change, RowChange(table, change.key, None, same))])
            if gone == come and free:
                new[free.pop(0)] = change.after or {}
            else:
                new.append(change.after or {})
        elif change.before not in new:
            _refuse_collisions(
                [(change, RowChange(table, change.key, change.before, _same_key(filter(None, new), change)))]
            )
        elif change.after is None:
            free.append(new.index(change.before))
            new[free[-1]] = None
        else:
            new[new.index(change.before)] = change.after
    return [row for row in new if row is not None]


def _same_key(rows: Iterable[_Row], change: RowChange) -> _Row | None:
    """Return the row that has the key of a change, if its table has one."""
    columns, wanted = _key_of(change.table), change.before or change.after or {}
    if not columns:
        return None
    return next((row for row in rows if all(row.get(name) == wanted.get(name) for name in columns)), None)
