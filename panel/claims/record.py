"""What does the study record about the test behind a claim: who took part, when, for how long?"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from panel.checks.moments_recorded import days_stated
from panel.errors import StudyError
from panel.plan.codes import moment
from panel.study.study import Study

_KINDS = (("home", "Home-use test"), ("hall", "Hall test"), ("central", "Hall test"))
_OTHER = "Consumer test"
MONTHS = (
    *("January", "February", "March", "April", "May", "June", "July"),
    *("August", "September", "October", "November", "December"),
)


@dataclass(frozen=True, slots=True)
class TestRecord:
    """What is recorded: empty text and 0 where it is not.

    `who`, `ages`, `sex`, `skin`, `staff` come from the study's fact `users`; `staff` says whether they work for the
    maker (`yes`, `no`).
    """

    kind: str
    first_day: str
    last_day: str
    days: int
    month: str
    who: str
    ages: str
    sex: str
    skin: str
    staff: str


def test_record(study: Study, sessions: tuple[str, ...]) -> TestRecord:
    """Return what is recorded about the consumer test with these sessions."""
    users = study.facts.get("users", {})
    users = users if isinstance(users, Mapping) else {}
    label = sessions[0] if sessions else ""
    first, last = days_of(study, label)
    told = {name: str(users.get(name, "")).strip() for name in ("who", "ages", "sex", "skin", "staff")}
    kind = next((words for start, words in _KINDS if label.casefold().startswith(start)), _OTHER)
    start, end = (_moment(day) for day in (first, last))
    days = (end.date() - start.date()).days + 1 if start and end else 0
    month = f"{MONTHS[start.month - 1]} {start.year}" if start else ""
    return TestRecord(kind, first, last, days, month, **told)


test_record.__test__ = False  # type: ignore[attr-defined]  # a function about tests of products, not a test of pytest


def panel_days(study: Study) -> str:
    """Return the month in which the trained panel scored; empty if no score carries a time."""
    entered = [when for when in study.scores["recorded_at"] if when]
    first = _moment(min(entered)) if entered else None
    return f"{MONTHS[first.month - 1]} {first.year}" if first else ""


def minutes_between(study: Study, before: str, after: str) -> float:
    """Return the time between the first days of two sittings in minutes; NaN where they are not recorded."""
    first, second = (_moment(days_of(study, label)[0]) for label in (before, after))
    return (second.date() - first.date()).days * 1440.0 if first and second else float("nan")


def days_of(study: Study, label: str) -> tuple[str, str]:
    """Return the first and the last day of the sessions with this label, as recorded in the fact `dates`."""
    start = re.sub(r"[\d\s]+$", "", label).casefold()
    if not start:
        return "", ""
    found = next((days for name, days in days_stated(study).items() if name.casefold().startswith(start)), ("",))
    return found[0], found[-1]


def _moment(text: str) -> datetime | None:
    try:
        return moment(text, "A day of the test") if text else None
    except StudyError:
        return None
