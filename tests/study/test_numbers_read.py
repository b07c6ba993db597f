"""Numbers as people type them. Outside judge: pandas' own reader with its decimal and thousands settings."""

from __future__ import annotations

import io

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panel.study.numbers_read import (
    _LONGEST_NUMBER,
    _TOO_LARGE,
    _TOO_LONG,
    NOT_A_NUMBER,
    read_number_columns,
    read_numbers,
)

FINITE = st.floats(allow_nan=False, allow_infinity=False)


def values(*texts: str, decimal: str = "") -> list[float]:
    return read_numbers(texts, decimal).values.tolist()


def test_decimal_comma_is_never_dropped():
    assert values("48,7") == [48.7]
    assert values("52,5", "48,7", "100") == [52.5, 48.7, 100]


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("7", 7),
        (" 7 ", 7),
        ("+7.50", 7.5),
        (".5", 0.5),
        ("5.", 5),
        ("1e3", 1000),
        ("1.5E-3", 0.0015),
        ("\u22125.5", -5.5),  # minus sign
        ("\u20135", -5),  # en dash
        ("45 %", 45),
        ("45%", 45),
        ("12,5 %", 12.5),
        ("1 234 567.8", 1234567.8),
        # SI Brochure, 9th edition, 5.4.4: a thin space may separate groups of three digits; the decimal sign is a
        # point or a comma.
        ("43\u2009279,168", 43279.168),
        ("43\u202f279.5", 43279.5),
        ("43\u00a0279,5", 43279.5),
        ("43'279.5", 43279.5),
        ("43\u2019279.5", 43279.5),
        ("1.234.567,8", 1234567.8),
        ("1,234,567.8", 1234567.8),
        ("0,123", 0.123),
        ("5 1/2", 5.5),  # as it is written by hand
        ("12 3/4", 12.75),
        ("5\u00bd", 5.5),
        ("\u00bc", 0.25),
        ("1234,567", 1234.567),
    ],
)
def test_numbers_as_typed(text: str, number: float):
    read = read_numbers([text])
    assert read.values.tolist() == [number]
    assert not read.missing.any()
    assert not read.reasons


@pytest.mark.parametrize(
    "text", ["", " ", "\u00a0", "n/a", "N/A", "NA", "na", "NaN", "-", "\u2013", "\u2014", "\u2212", ".", "null", "None"]
)
def test_missing_marks(text: str):
    read = read_numbers([text, "5"])
    assert read.missing.tolist() == [True, False]
    assert np.isnan(read.values[0])
    assert not read.reasons


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("4o", NOT_A_NUMBER),
        ("12 34", NOT_A_NUMBER),
        ("1 2345", NOT_A_NUMBER),
        ("3/10", NOT_A_NUMBER),
        ("1_000", NOT_A_NUMBER),
        ("inf", NOT_A_NUMBER),
        ("0x10", NOT_A_NUMBER),
        ("\u2462", NOT_A_NUMBER),  # a number in a ring
        ("5,5,5", NOT_A_NUMBER),
        ("=1+1", NOT_A_NUMBER),
        ("1e999", _TOO_LARGE),
        ("9" * (_LONGEST_NUMBER + 1), _TOO_LONG),
        ("9" * 1_000_000, _TOO_LONG),
    ],
)
def test_unreadable_cells_say_why(text: str, reason: str):
    read = read_numbers(["5", text])
    assert read.reasons == {1: reason}
    assert list(read.reasons) == [1]
    assert read.missing.tolist() == [False, False]
    assert read.values[0] == 5
    assert np.isnan(read.values[1])


def test_column_decides_what_a_comma_is():
    assert values("1,234", "48,7") == [1.234, 48.7]
    assert values("1,234", "48.7") == [1234, 48.7]
    assert values("1.234", "48,7", "1.234,5") == [1234, 48.7, 1234.5]  # here points stand between thousands
    assert values("1.234", "0.5") == [1.234, 0.5]


def test_comma_that_nothing_explains_is_left_unread_and_reported():
    read = read_numbers(["1,234", "2,500", "7"])
    assert read.ambiguous
    assert read.values[2] == 7
    assert np.isnan(read.values[:2]).all()
    expected = "could be 1234 or 1.234: the column does not tell whether the comma is a decimal sign"
    assert read.reasons[0] == expected


def test_stated_decimal_sign_settles_it():
    assert values("1,234", "2,500", decimal=",") == [1.234, 2.5]
    assert values("1,234", "2,500", decimal=".") == [1234, 2500]
    read = read_numbers(["48.7", "5"], ",")
    assert read.reasons == {0: "not a number with a decimal comma"}
    with pytest.raises(ValueError, match="decimal sign"):
        read_numbers(["1"], "!")


def test_points_with_three_digits_are_decimal_points_by_default():
    read = read_numbers(["1.234", "5.678"])
    assert read.values.tolist() == [1.234, 5.678]
    assert not read.ambiguous
    assert not read.decided


def test_mixed_decimal_signs_are_reported_and_only_the_certain_cells_are_read():
    read = read_numbers(["48,7", "48.7", "1,234"])
    assert read.values[:2].tolist() == [48.7, 48.7]
    assert read.ambiguous
    assert read.notes == ("decimal commas (1) and decimal points (1) are mixed",)
    clear = read_numbers(["48.7"] * 10 + ["48,5", "1.234"])
    assert clear.values[-2:].tolist() == [48.5, 1.234]
    assert clear.notes


def test_columns_of_a_file_help_each_other():
    read = read_number_columns({"a": ["1,234", "2,500"], "b": ["48,7", "5"], "c": ["1.500"]})
    assert read["a"].values.tolist() == [1.234, 2.5]
    assert read["c"].reasons == {
        0: "could be 1.5 or 1500: the column does not tell whether the point is a decimal sign"
    }
    apart = read_number_columns({"a": ["1,234"], "b": ["48,7"], "c": ["48.7"]})
    assert apart["a"].ambiguous


@settings(deadline=None)
@given(st.lists(FINITE, min_size=1, max_size=30))
def test_written_numbers_come_back_exactly(numbers: list[float]):
    assert values(*map(repr, numbers)) == numbers


@settings(deadline=None)
@given(st.lists(st.decimals(-99_999_999, 99_999_999, places=2), min_size=1, max_size=20), st.sampled_from(".,"))
def test_same_as_pandas_with_thousands(numbers: list, decimal: str):
    thousands = "," if decimal == "." else "."
    texts = [f"{number:,.2f}".replace(",", "_").replace(".", decimal).replace("_", thousands) for number in numbers]
    lines = "x\n" + "\n".join(f'"{text}"' for text in texts)
    outside = pd.read_csv(io.StringIO(lines), decimal=decimal, thousands=thousands, sep=";")
    # pandas may be out in the last binary digit of a number; ours is exact by Python.
    np.testing.assert_array_max_ulp(np.array(values(*texts)), outside["x"].to_numpy(dtype=float), maxulp=1)
    assert values(*texts) == [float(number) for number in numbers]


@settings(deadline=None)
@given(st.lists(st.text(max_size=12), max_size=10), st.sampled_from(["", ".", ","]))
def test_every_cell_is_read_missing_or_unreadable(texts: list[str], decimal: str):
    read = read_numbers(texts, decimal)
    states = (
        np.isfinite(read.values).astype(int) + read.missing + np.isin(np.arange(len(read.values)), list(read.reasons))
    )
    assert (states == 1).all()


@settings(deadline=None)
@given(st.lists(st.sampled_from(["48,7", "48.7", "1,234", "1.234", "7", "", "x"]), max_size=12), st.randoms())
def test_order_of_the_cells_does_not_matter(texts: list[str], random):
    shuffled = random.sample(range(len(texts)), len(texts))
    straight, mixed = read_numbers(texts).values, read_numbers([texts[i] for i in shuffled]).values
    np.testing.assert_array_equal(straight[shuffled], mixed)


@pytest.mark.parametrize("other", ["48,7", "0,5", "1,2 %"])
def test_a_point_before_three_digits_among_decimal_commas_is_asked_about(other: str):
    """1.234 may be a slip for 1,234 or stand for 1234: a factor of a thousand that nobody would see."""
    read = read_numbers(["1.234", other])
    assert read.ambiguous
    assert read.reasons == {0: "could be 1.234 or 1234: the column does not tell whether the point is a decimal sign"}


@pytest.mark.parametrize("other", ["1.234,5", "-2.345.678", "1.234.567,8 %"])
def test_points_between_thousands_are_read_once_the_column_shows_them(other: str):
    assert values("1.234", "48,7", other)[:2] == [1234, 48.7]


def test_who_says_that_the_comma_is_the_decimal_sign_has_answered():
    assert read_numbers(["1.234", "48,7"], ",").values.tolist() == [1234, 48.7]


def test_a_sign_between_thousands_is_told():
    read = read_numbers(["1,234", "48.7"])
    assert read.values.tolist() == [1234, 48.7]
    assert "the comma was read as standing between thousands: 1,234 is 1234" in read.notes
    assert "the point was read as standing between thousands: 1.234,5 is 1234.5" in read_numbers(["1.234,5"]).notes
    assert not any("thousands" in note for note in read_numbers(["48.7", "1.234"]).notes)


def test_digits_of_other_keyboards_are_digits():
    """The digits of Unicode's blocks Arabic, Extended Arabic-Indic, Devanagari and Fullwidth Forms."""
    read = read_numbers(["\u0664\u066b\u0665", "\u06f7", "\u0969", "\uff18.\uff12", "6"])
    assert read.values.tolist() == [4.5, 7, 3, 8.2, 6]
    assert not read.reasons


def test_other_units_of_the_same_kind_are_turned_into_that_of_most_cells():
    """80 mm among centimetres is 8 of them, by definition of the units; points are no length and stay unread."""
    read = read_numbers(["8.2 cm", "7.5 cm", "80 mm", "3.1 cm", "0.5 cm", "7.9 cm", "6 pts"], words=True)
    assert read.values[:6].tolist() == pytest.approx([8.2, 7.5, 8.0, 3.1, 0.5, 7.9])
    assert dict(read.reasons) == {6: NOT_A_NUMBER}
    assert read.notes == ("what stands beside the number was left out: '80 mm' is 8 and '7.9 cm' is 7.9",)
    commas = read_numbers(["8,2 cm", "7,5 cm", "85 mm", "3,1 cm", "0,5 cm"], words=True)
    assert commas.values.tolist() == pytest.approx([8.2, 7.5, 8.5, 3.1, 0.5])
    assert read_numbers(["30 s", "25 s", "1.5 min", "40 s"], words=True).values.tolist() == [30, 25, 90, 40]
