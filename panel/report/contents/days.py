"""Which days does the study itself name? The evidence file carries one of them, never the day it was written."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from panel.checks.dates import read_dates
from panel.study.study import Study

NO_DAY = "1970-01-01"
"""Stands where a form of the file must have a date and the study names none."""

_FACTS = ("analysed_on", "unblinded_on", "locked_on", "dates")
_COLUMNS = (("batches", "tested_on"), ("scores", "recorded_at"), ("corrections", "when"), ("reactions", "when"))


def report_day(study: Study) -> str:
    """Return the latest day that the study names (ISO 8601); empty if it names none."""
    return max(_days(study), default="")


def first_test_day(study: Study) -> str:
    """Return the first day on which samples were applied; empty if the study does not say."""
    days = [*_column(study, "scores", "recorded_at"), *_column(study, "batches", "tested_on")]
    sessions = study.facts.get("dates")
    if isinstance(sessions, dict):
        days += _read([str(day) for value in sessions.values() for day in _listed(value)])
    return min(days, default="")


def _days(study: Study) -> Iterator[str]:
    for name in _FACTS:
        value = study.facts.get(name)
        parts = list(value.values()) if isinstance(value, dict) else [value]
        yield from _read([str(day) for part in parts for day in _listed(part)])
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


def _listed(value: object) -> list[object]:
    return list(value) if isinstance(value, list | tuple) else [] if value is None else [value]
