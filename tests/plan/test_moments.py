"""Moments as people write them."""

import pytest

from panel.errors import StudyError
from panel.plan.codes import moment
from panel.plan.safety import _same_day_or_before


def test_days_and_times_compare_whatever_their_offset():
    assert moment("2025-03-14", "x") < moment("2025-03-14T00:01", "x")
    assert (
        moment("2025-03-14T14:00+02:00", "x")
        == moment("2025-03-14T12:00+00:00", "x")
        == moment("2025-03-14T12:00", "x")
    )


@pytest.mark.parametrize(
    ("found", "limit", "expected"),
    [
        ("2025-03-14T16:00", "2025-03-14", True),  # a day holds until its end
        ("2025-03-14T16:00", "2025-03-14T15:00", False),
        ("2025-03-14", "2025-03-14T15:00", True),
        ("2025-03-15", "2025-03-14", False),
    ],
)
def test_a_day_holds_until_its_end(found, limit, expected):
    assert _same_day_or_before(found, limit, "x") is expected


@pytest.mark.parametrize("text", ["", "tomorrow", "14.3.2025", "2025-13-01"])
def test_what_is_no_date_is_said(text):
    with pytest.raises(StudyError, match=r"The day is '.*', which is no date. Write it like 2025-03-14"):
        moment(text, "The day")
