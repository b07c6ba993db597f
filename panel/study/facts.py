"""Which facts does a study state about itself, what kind is each, and which of those in its file cannot be read?

A fact of the wrong kind is kept as it stands in the file, like a cell that cannot be read, and counts as not stated.
The facts that decide whether a prototype passes are never passed over so: whoever asks for one that is unread is told.
"""

from __future__ import annotations

import difflib
import json
import math
import re
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import replace
from datetime import date
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import pandas as pd

from panel.errors import StudyError
from panel.study.journal import FACTS
from panel.study.numbers_read import month_called, read_numbers
from panel.study.study import LOCKED_FACT, Study
from panel.study.tables import STATED
from panel.words import as_seen, first_few

if TYPE_CHECKING:
    from panel.study.raw_table import RawTable

KINDS = MappingProxyType(
    {
        "number": "a number, such as 8",
        "text": "a text",
        "words": "a text, a list of texts, or texts with names",
        "list": "a list of texts",
        "entries": "a list of entries, each in braces",
        "object": "an entry in braces",
        "number or object": "a number, or numbers with names in braces",
        "any": "read where it is used",
    }
)
"""What a fact of each kind is, for advice."""

KEYS = MappingProxyType(
    {
        "users": MappingProxyType(
            {
                "who": "who they were, such as adults who use hand cream",
                "ages": "from which age to which, such as 19 to 65",
                "sex": "women, men, or women and men",
                "staff": "whether they work for the maker: yes or no",
            }
        )
    }
)
"""What the entry of a fact may say: key to what stands there."""

_KIND = MappingProxyType({fact.name: fact.kind for fact in STATED})
_MEANING = MappingProxyType({fact.name: fact.meaning for fact in STATED})
_TOO_LARGE = "it holds a number too large to reckon with"


def read_facts(given: Mapping[str, Any]) -> tuple[dict[str, Any], list[tuple[str, ...]]]:
    """Return the facts that can be read, and those that cannot, in the form of `Study.unread`.

    A number may be written as text, with a decimal point or comma. What is `null` is not stated.
    """
    facts: dict[str, Any] = {}
    unread: list[tuple[str, ...]] = []
    for name, value in given.items():
        kind = _KIND.get(name, "any")
        if value is None and kind != "any":
            continue
        number = _number(value) if kind in ("number", "number or object") and isinstance(value, str) else None
        if number is not None:
            facts[name] = number
        elif not _reckonable(value):
            unread.append((FACTS, "", name, fact_text(value), _TOO_LARGE))
        elif not _is(kind, value):
            unread.append((FACTS, "", name, fact_text(value), f"it has to be {KINDS[kind]}"))
        else:
            facts[name] = value
    return facts, unread


def facts_with_unread(study: Study) -> dict[str, Any]:
    """Return the facts of a study as they stand in its file, with those that cannot be read."""
    unread = study.unread
    own = unread.loc[unread["table"] == FACTS, ["column", "text"]] if len(unread) else unread
    kept = {str(name): json.loads(text) for name, text in own.itertuples(index=False, name=None)} if len(own) else {}
    return {**kept, **study.facts}


def stated_fact(study: Study, name: str, otherwise: Any = None) -> Any:
    """Return a fact of a study, `otherwise` if it is not stated.

    Raises
    ------
    StudyError
        If it is stated and cannot be read: what is not read must not count as not there.
    """
    unread = study.unread
    own = unread.loc[(unread["table"] == FACTS) & (unread["column"] == name)] if len(unread) else unread
    if len(own):
        raise StudyError(f"The fact {name!r} is not understood: {own['reason'].iloc[0]}. {fact_advice(name)}")
    return study.facts.get(name, otherwise)


def fact_advice(name: str) -> str:
    """Return what to do about a fact that cannot be read."""
    kind = KINDS[_KIND.get(name, "any")]
    meaning = f" ({_MEANING[name]})" if name in _MEANING else ""
    return f"Correct {name}{meaning}: {kind}. Until then it counts as not stated."


def strange_in(name: str, value: Any) -> list[str]:
    """Return what nothing reads of a fact: its name, or keys of its entry, with the nearest one that is known."""
    if name not in _KIND:
        return [f"Nothing reads a fact {name!r}; it is kept.{_perhaps(name, _KIND)}"]
    known: Mapping[str, str] = KEYS.get(name, MappingProxyType({}))
    strange = [str(key) for key in value if key not in known] if known and isinstance(value, Mapping) else []
    of = f"of the fact {name}; it is kept and printed. Its keys are {', '.join(known)}."
    return [f"Nothing is judged by {key!r} {of}{_perhaps(key, known)}" for key in strange]


def _perhaps(name: str, known: Iterable[str]) -> str:
    near = difflib.get_close_matches(name.casefold(), list(known), 1)
    return f" Perhaps {near[0]} is meant." if near else ""


def entry_example(name: str) -> str:
    """Return how the entry of a fact is written: `{"who": "who they were"}`."""
    return json.dumps(dict(KEYS[name])) if name in KEYS else '{"name": "what stands there"}'


def fact_text(value: Any) -> str:
    """Return a fact as JSON."""
    return json.dumps(value, ensure_ascii=False, default=str)


def _is(kind: str, value: Any) -> bool:
    """Return True if a value is of a kind; a text is also a number without a unit, such as a dose of 50."""
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    is_text = isinstance(value, str) or is_number
    if kind == "number":
        return is_number
    if kind == "text":
        return is_text
    if kind == "list":
        return isinstance(value, list) and all(isinstance(each, str) for each in value)
    if kind == "entries":
        return isinstance(value, list) and all(isinstance(each, dict) for each in value)
    if kind == "object":
        return isinstance(value, dict)
    if kind == "number or object":
        return is_number or (isinstance(value, dict) and all(_is("number", each) for each in value.values()))
    if kind == "words":
        return is_text or isinstance(value, list | dict)
    return True


def _number(text: str) -> float | None:
    """Return the number in a text; None if it is none, or could be two."""
    read = read_numbers([text])
    return None if read.reasons or math.isnan(read.values[0]) else float(read.values[0])


def _reckonable(value: Any) -> bool:
    """Return True if every number in a value is finite and can be reckoned with."""
    if isinstance(value, dict):
        return all(_reckonable(each) for each in value.values())
    if isinstance(value, list | tuple):
        return all(_reckonable(each) for each in value)
    try:
        return not isinstance(value, int | float) or math.isfinite(value)
    except OverflowError:
        return False


# Which sessions were locked: written when the record of a session is closed, read wherever their moments count.


_LOCKED_COLUMNS = ("session", "locked_at", "who", "events_sha256", "begun_at")


def locked_sessions(study: Study) -> pd.DataFrame:
    """Return the sessions that were locked, in that order: `session locked_at who events_sha256 begun_at`, texts.

    `begun_at`: the first thing in its record, with its distance from UTC; empty where it was not noted. `locked_at`: by
    the clock on the wall, as the times of the scores are.
    """
    listed = study.facts.get(LOCKED_FACT)
    entries = [entry for entry in listed if isinstance(entry, Mapping)] if isinstance(listed, list) else []
    rows = [[str(entry.get(name) or "") for name in _LOCKED_COLUMNS] for entry in entries]
    return pd.DataFrame(rows, columns=list(_LOCKED_COLUMNS), dtype="str")


# Which day, or moment, does a text mean?


_DAY_BEFORE = r"[^\W\d]{2,10}\.?,? "
_DATED = re.compile(
    r"(?P<day>(?:[^\W\d_]{3,10}\.? )?\d.*?\d)"
    r"(?:(?:, ?| +|T)(?P<time>\d\d?:\d\d(?::\d\d(?:\.\d+)?)?))?"
)
_NAMED_DAY = re.compile(
    r"(?P<d>\d{1,2})(?:\.|st|nd|rd|th)?[ -](?:de |of )?(?P<name>[^\W\d_]{3,})\.?,?[ -](?:de )?(?P<y>\d{4})"
    r"|(?P<name_first>[^\W\d_]{3,})\.? (?P<d_behind>\d{1,2})(?:st|nd|rd|th)?,? (?P<y_behind>\d{4})",
    re.IGNORECASE,
)
_NUMBERED_DAY = re.compile(r"(\d{1,2}|\d{4}(?=.\d\d?.\d\d?(?!\d)))([-/.])(\d{1,2})\2(\d{4}|\d{1,2})")
_MIDNIGHT = ("00:00:00", "0:00:00", "00:00", "0:00")


def likely_day(text: str) -> str:
    """Return a day as ISO 8601 if only one can be meant: `10.03.26`, `25/03/2026`, `10. Mar 2026`; else nothing.

    So with a time behind it: `04.11.2025 09:25:00`. Nothing for what is ISO 8601 already.
    """
    if re.match(r"\d{4}-\d\d-\d\d", text.strip()):
        return ""
    days = {*days_meant(text).values()}
    return days.pop() if len(days) == 1 else ""


def days_meant(text: str) -> dict[str, str]:
    """Return order of its numbers to the day, with the time where there is one, that a text may mean; empty for none.

    The order is empty where it is in no doubt.
    """
    lead = re.match(rf"{_DAY_BEFORE}(?=\d)", text.strip())
    found = _DATED.fullmatch(text.strip()[len(lead[0]) if lead and not month_called(lead[0]) else 0 :])
    time = f" {found['time']:0>5}" if found and found["time"] and found["time"] not in _MIDNIGHT else ""
    return {order: f"{day}{time}" for order, day in _ways_to_read(found["day"]).items()} if found else {}


@cache
def _ways_to_read(text: str) -> dict[str, str]:
    if named := _NAMED_DAY.fullmatch(text):
        d, name, y, other, d_behind, y_behind = named.groups()
        ways = {"": (y or y_behind, str(month_called(name or other)), d or d_behind)}
    elif numbered := _NUMBERED_DAY.fullmatch(text):
        first, sign, second, third = numbered.groups()
        ways = {"d m": (third, second, first), "m d": (third, first, second), "y m": (first, second, third)}
        if sign == "." or len(first) > _SHORT:
            ways = {"": ways["y m" if len(first) > _SHORT else "d m"]}
        elif len(third) > _SHORT:
            del ways["y m"]
    else:
        return {}
    real = {}
    for order, (year, month, day) in ways.items():
        with suppress(ValueError):
            real[order] = str(date(int(year) + 2000 * (len(year) <= _SHORT), int(month), int(day)))
    return real


_SHORT = 2  # digits of a year without its century


def settled_days(meant: Mapping[str, Mapping[str, str]]) -> dict[str, str]:
    """Return cell to the day it means, empty where that cannot be told."""
    sure = {day[:10] for days in meant.values() if len({*days.values()}) == 1 for day in days.values()}
    orders = {order for days in meant.values() if len(days) == 1 for order in days} - {""}
    found: dict[str, str] = {}
    for _ in range(2):  # what is settled by a day tells the order of the others
        for cell, days in meant.items():
            ways = {*days.values()}
            left = (
                {days[each] for each in orders & {*days}} if len(orders) == 1 else {d for d in ways if d[:10] in sure}
            )
            left = ways if len(ways) == 1 else left
            found[cell] = left.pop() if len(left) == 1 else ""
        orders = orders or {order for cell, day in found.items() for order, each in meant[cell].items() if each == day}
        orders -= {""}
    return found


def dates_in(text: str) -> dict[str, tuple[str, ...]]:
    """Return the dates in a text with the days each may mean (ISO 8601): two where day and month may be exchanged."""
    return {date: tuple(dict.fromkeys(ways.values())) for date, ways in _dates_read(text).items()}


def _dates_read(text: str) -> dict[str, dict[str, str]]:
    found = (date[0] for way in (_NAMED_DAY, _NUMBERED_DAY) for date in re.finditer(way.pattern, text, re.IGNORECASE))
    alone = (date for date in found if re.search(rf"(?<!\d){re.escape(date)}(?!\d|[-./]\d)", text))
    return {date: ways for date in alone if (ways := _ways_to_read(date))}


def days_in_each(texts: Iterable[str]) -> dict[str, tuple[str, ...]]:
    """Return the texts that hold one day, each with what it may mean: one where another text settles day and month."""
    read = {text: _dates_read(text) for text in texts}
    held = {text: next(iter(dates.values())) for text, dates in read.items() if len({*dates_in(text).values()}) == 1}
    settled = settled_days(held)
    return {text: (settled[text],) if settled[text] else tuple({*ways.values()}) for text, ways in held.items()}


_ISO = r"\s*|\d{4}-\d\d-\d\d(?:[ T].*)?"


def days_as_one(table: RawTable) -> RawTable:
    """Return a table in which each day of a column has one way of writing, and moments are ISO 8601, and that said.

    `12/05/25` is settled by what else stands in its column: another such date that has one order only, or the same day
    written so that there is no doubt. StudyError if it is not, beside days that are in no doubt.
    """
    columns, notes = list(table.columns), list(table.notes)
    for place, head in enumerate(table.header):
        cells = pd.Series(columns[place], dtype="str")
        first = next((cell for cell in cells if cell.strip()), "")
        if not days_meant(as_seen(first)) or cells.str.fullmatch(_ISO).all():
            continue
        meant = {cell: days_meant(as_seen(cell)) for cell in cells.unique() if cell.strip()}
        if not all(meant.values()):
            continue
        days = settled_days(meant)
        timed = any(":" in day for day in days.values())
        if not all(days.values()) and not timed and any("" in ways for ways in meant.values()):
            unsure = first_few([cell for cell, day in days.items() if not day])
            raise StudyError(
                f"{table.name}: in the column {head!r} it cannot be told which day {unsure} is. Write it as the others."
            )
        if all(days.values()) and (timed or len({*days.values()}) < len(days)):
            columns[place] = tuple(days.get(cell, "") for cell in cells)
            told = first_few([f"{cell.strip()} is {day}" for cell, day in days.items() if day != cell.strip()])
            notes.append(f"Days of {head!r} were read however they are written: {told}.")
    return replace(table, columns=tuple(columns), notes=tuple(notes)) if len(notes) > len(table.notes) else table


# What the evidence file repeats as it is stated.


FOR_REVIEW = {
    "formula_version": ("Version of the formulas", "The study does not name a version of the formulas."),
    "pack": ("Pack", "The study does not say in which pack the prototypes were kept and served."),
    "marketed_formula": (
        "The formula sold and the formula tested",
        "Nobody has stated that the formula to be sold is the formula tested, or why the answers carry over.",
    ),
    "consent": (
        "Consent",
        "The study does not name the template of the consent form. Signed forms are kept apart from the study.",
    ),
    "references": (
        "How they were bought and stored",
        "The study does not say where the references come from, how old they were and how they were stored.",
    ),
    "panel": ("Panel", "The study does not describe its panel."),
    "recruitment": ("Recruiting and screening", "How the assessors were recruited and screened is not stated."),
    "training": ("Training", "How the assessors were trained is not stated."),
    "users": ("Consumers", "Age, use and other facts about the consumers are not stated."),
    "screener": ("Screener and quotas", "The screener and the quotas of the consumers are not stated."),
    "protocol_dated": ("Date of the protocol", "No date says that the protocol was fixed before the test."),
}
"""Facts that the file repeats: what stands before each, and the gap that a missing one leaves."""
