import numpy as np
import pandas as pd
import pytest

from panel.checks.finding import read_dates
from panel.checks.score_patterns import _told_date


def one(text):
    dates = read_dates(pd.Series([text], dtype="str"))
    return dates.values[0], bool(dates.has_time[0]), bool(dates.has_offset[0])


# the ways of writing come from ISO 8601-1:2019: calendar dates, with or without time, with or without offset
@pytest.mark.parametrize(
    ("text", "moment", "has_time", "has_offset"),
    [
        ("2025-03-10", "2025-03-10T00:00", False, False),
        ("20250310", "2025-03-10T00:00", False, False),
        ("2025-03-10T16:30", "2025-03-10T16:30", True, False),
        (" 2025-03-10 16:30:20 ", "2025-03-10T16:30:20", True, False),
        ("2025-03-10T16:30Z", "2025-03-10T16:30", True, True),
        ("2025-03-10T16:30+09:00", "2025-03-10T07:30", True, True),
    ],
)
def test_iso_dates_are_read(text, moment, has_time, has_offset):
    assert one(text) == (np.datetime64(moment, "s"), has_time, has_offset)


@pytest.mark.parametrize("text", ["", "10.03.2025", "soon", "2025-02-30", "9999-99-99", "16:30", "1", "99999-01-01"])
def test_what_is_no_date_is_missing(text):
    assert np.isnat(one(text)[0])


def test_every_row_keeps_its_own_date():
    text = pd.Series(["2025-03-11", "2025-03-10", "", "2025-03-11"], dtype="str")
    days = read_dates(text).days
    assert days.dtype == np.dtype("datetime64[D]")
    assert days[:2].tolist() == [np.datetime64("2025-03-11").item(), np.datetime64("2025-03-10").item()]
    assert np.isnat(days[2])
    assert days[3] == days[0]


def test_a_column_without_rows_is_read():
    assert read_dates(pd.Series(dtype="str")).values.size == 0


def test_a_date_is_told_with_or_without_its_time():
    moment = np.datetime64("2025-03-10T16:30:20", "s")
    assert _told_date(moment, with_time=True) == "2025-03-10 16:30"
    assert _told_date(moment, with_time=False) == "2025-03-10"
