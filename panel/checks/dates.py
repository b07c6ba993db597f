"""Dates and times of the study's tables as values that can be compared."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import pandas as pd

WIDEST_OFFSET = np.timedelta64(14 * 3600, "s")
"""Largest difference between the clocks of two places (UTC+14 is the largest offset in use)."""

_OFFSET = re.compile(r":.*(?:Z|[+-]\d\d:?\d\d)$")


@dataclass(frozen=True, eq=False, slots=True)
class Dates:
    """Dates, or dates and times, read from ISO 8601 text.

    Parameters
    ----------
    values
        datetime64[s]; NaT where the cell is empty or no date.
    has_time
        True where the cell gives a time of day as well.
    has_offset
        True where the time carries its distance from UTC.
    """

    values: np.ndarray
    has_time: np.ndarray
    has_offset: np.ndarray

    @property
    def days(self) -> np.ndarray:
        """The calendar days, datetime64[D]."""
        return self.values.astype("datetime64[D]")


def read_dates(text: pd.Series) -> Dates:
    """Return the dates of a column of text; one without time counts from its midnight."""
    codes, different = pd.factorize(text)
    cells = [str(cell).strip() for cell in different]
    moments = pd.to_datetime(pd.Index(cells, dtype="str"), format="ISO8601", errors="coerce", utc=True)
    has_time = np.array([":" in cell for cell in cells], dtype=bool)
    has_offset = np.array([_OFFSET.search(cell) is not None for cell in cells], dtype=bool)
    values = moments.tz_localize(None).to_numpy().astype("datetime64[s]")
    return Dates(values[codes], has_time[codes], has_offset[codes])


def told_date(moment: np.datetime64, *, with_time: bool) -> str:
    """Return a moment as `2025-03-10 16:00`, or only its day."""
    return np.datetime_as_string(moment, unit="m").replace("T", " ") if with_time else str(moment.astype("M8[D]"))
