"""Numbers typed into a field: both decimal signs, and never a silent factor of ten."""

import pytest

from panel.errors import StudyError
from panel.study.numbers_read import typed_number


@pytest.mark.parametrize(
    ("text", "value"),
    [("7.5", 7.5), ("7,5", 7.5), (" 48,7 ", 48.7), ("330", 330.0), ("-2", -2.0), ("\u22122,5", -2.5), ("1.234", 1.234)],
)
def test_both_decimal_signs_are_read(text: str, value: float):
    assert typed_number(text, "The margin") == value


@pytest.mark.parametrize("text", ["", "  ", "-", "n/a"])
def test_nothing_is_no_number(text: str):
    assert typed_number(text, "The margin") is None


def test_a_text_says_what_to_write():
    with pytest.raises(StudyError, match=r"The margin cannot be read: 'about 7' is not a number. Write it with digits"):
        typed_number("about 7", "The margin")


def test_two_readings_are_not_chosen_from():
    with pytest.raises(StudyError, match=r"'1,234' could be 1234 or 1.234. Write it one of these two ways"):
        typed_number("1,234", "The margin")
