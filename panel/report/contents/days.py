"""Which days does the study itself name? The evidence file carries one of them, never the day it was written."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from panel.checks.dates import read_dates
from panel.checks.moments_recorded import days_of_scores, days_stated
from panel.plan.key import moments_opened
from panel.study.locked_sessions import locked_sessions
from panel.study.study import Study

NO_DAY = "1970-01-01"
"""Stands where a form of the file must have a date and the study names none."""

_COLUMNS = (
    ("batches", "tested_on"),
    ("scores", "recorded_at"),
    ("corrections", "when"),
    ("reactions", "when"),
    ("unblindings", "when"),
)


def report_day(study: Study) -> str:
    """Return the latest day that the study names (ISO 8601); empty if it names none."""
    return max(_days(study), default="")


def first_test_day(study: Study) -> str:
    """Return the first day on which samples were applied; empty if the study does not say."""
    days = [*_column(study, "scores", "recorded_at"), *_column(study, "batches", "tested_on")]
    return min([*days, *_read(_stated(study))], default="")


def days_told(study: Study) -> str:
    """Return the days of the test in words, as people state them or as the scores carry them; empty for none."""
    if stated := days_stated(study):
        return "; ".join(f"{label}: {_joined(days)}" if label else _joined(days) for label, days in stated.items())
    found = days_of_scores(study)
    if not found:
        return ""
    told = [f"session {name}: {', '.join(days)}" if name else ", ".join(days) for name, days in found.items()]
    return f"{'; '.join(told)} (by the times of the scores)"


def _days(study: Study) -> Iterator[str]:
    facts = [str(study.facts.get("analysed_on") or ""), *moments_opened(study), *_stated(study)]
    yield from _read([*facts, *(locked.locked_at for locked in locked_sessions(study))])
    for table, column in _COLUMNS:
        yield from _column(study, table, column)


def _column(study: Study, table: str, column: str) -> list[str]:
    return _read(list(dict.fromkeys(study.table(table)[column])))


def _read(texts: list[str]) -> list[str]:
    """Return the days among texts."""
    if not texts:
        return []
    days = read_dates(pd.Series(texts, dtype="str")).days
    return [str(day) for day in np.unique(days[~np.isnat(days)]).astype("datetime64[D]")]


def _stated(study: Study) -> list[str]:
    return [day for days in days_stated(study).values() for day in days]


def _joined(days: tuple[str, ...]) -> str:
    return " to ".join(days) if len(days) == 2 else ", ".join(days)
