"""Numbers as a person reads them."""

import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import panel
from panel.words import (
    DOWN,
    NEAREST,
    UP,
    all_of,
    format_change,
    format_interval,
    format_list,
    format_number,
    format_p,
    format_share,
    format_shares,
    format_typed,
    format_window,
    p_after_holm,
    p_words,
    typed_share,
)

NOTHING = "\N{EN DASH}"
MINUS = "\N{MINUS SIGN}"


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (3.14159, 1, "3.1"),
        (-3.14159, 2, f"{MINUS}3.14"),
        (-0.04, 1, "0.0"),
        (0.0, 0, "0"),
        (12, 1, "12.0"),
        (None, 1, NOTHING),
        (float("nan"), 1, NOTHING),
        (np.float64("nan"), 1, NOTHING),
        (float("inf"), 1, "∞"),
        (float("-inf"), 1, f"{MINUS}∞"),
    ],
)
def test_numbers(value, digits, text):
    assert format_number(value, digits) == text


@given(st.floats(allow_nan=True, allow_infinity=True), st.integers(0, 4))
def test_no_number_shows_nan_or_a_hyphen(value, digits):
    for text in (format_number(value, digits), format_change(value, digits), format_interval(value, 1.0)):
        assert "nan" not in text.lower()
        assert "-" not in text


@pytest.mark.parametrize(
    ("value", "text"), [(2.34, "+2.3"), (-2.34, f"{MINUS}2.3"), (0.01, "0.0"), (-0.01, "0.0"), (None, NOTHING)]
)
def test_changes_carry_their_sign(value, text):
    assert format_change(value) == text


@pytest.mark.parametrize(
    ("p_value", "text"),
    [
        (0.0009, "< 0.001"),
        (0.001, "0.001"),
        (0.0496, "0.0496"),
        (0.0504, "0.0504"),
        (0.05, "0.050"),
        (0.5, "0.500"),
        (0.9999, "> 0.999"),
        (1.0, "> 0.999"),
        (0.0, "< 0.001"),
        (float("nan"), NOTHING),
        (None, NOTHING),
    ],
)
def test_p_values(p_value, text):
    assert format_p(p_value) == text


@given(st.floats(0, 1))
def test_a_p_value_is_never_written_on_the_other_side_of_five_per_cent(p_value):
    text = format_p(p_value)
    if text[0] not in "<>":
        assert (float(text) < 0.05) == (p_value < 0.05) or text in ("0.0500", "0.050")


def test_p_values_in_sentences():
    assert p_words(0.0001) == "p < 0.001"
    assert p_words(0.0123) == "p = 0.012"
    assert p_words(float("nan")) == f"p = {NOTHING}"


def test_intervals():
    assert format_interval(-1.24, 3.0) == f"{MINUS}1.2 to 3.0"
    assert format_interval(float("nan"), 3.0) == NOTHING
    assert format_interval(1.0, None) == NOTHING
    assert format_interval(-5610.12, 5629.3) == f"{MINUS}5610 to 5629"  # nothing is known to a decimal


@pytest.mark.parametrize(
    ("low", "high", "digits", "unit", "words"),
    [
        (np.nan, 38, None, "", "38 or less"),
        (55.5, np.nan, None, "", "55.5 or more"),
        (-5, 50, None, "", f"{MINUS}5 to 50"),
        (np.nan, 90, None, " s", "90 s or less"),
        (np.nan, np.nan, None, " s", NOTHING),
        (-12.345, np.nan, 1, "", f"{MINUS}12.3 or more"),
        (np.nan, 14.0, 1, " %", "14 % or less"),
    ],
)
def test_limits_are_told_in_one_way(low, high, digits, unit, words):
    assert format_window(low, high, digits, unit) == words


@pytest.mark.parametrize(("value", "words"), [(-0.5, f"{MINUS}0.5"), (-3, f"{MINUS}3"), (330.0, "330"), ("P-1", "P-1")])
def test_what_was_typed_keeps_its_digits_and_has_the_minus_sign_of_tables(value, words):
    assert format_typed(value) == words


@pytest.mark.parametrize(
    ("share", "digits", "rounding", "text"),
    [
        (0.797, 0, NEAREST, "80 %"),
        (0.797, 0, DOWN, "79 %"),
        (0.9999, 0, DOWN, "99 %"),
        (0.6667, 1, DOWN, "66.6 %"),
        (0.1379, 0, UP, "14 %"),
        (0.1301, 0, UP, "14 %"),
        (0.1301, 0, NEAREST, "13 %"),
        (0.29, 0, DOWN, "29 %"),
        (0.29, 0, UP, "29 %"),
    ],
)
def test_shares_are_rounded_as_asked(share, digits, rounding, text):
    assert format_share(share, digits, rounding) == text


@given(st.floats(0, 1), st.integers(0, 2))
def test_no_share_is_rounded_to_the_wrong_side(share, digits):
    down, up = (float(format_share(share, digits, way)[:-2]) for way in (DOWN, UP))
    assert down <= 100 * share + 1e-9 <= up + 2e-9  # what is stored as 28.999... counts as 29
    assert up - down < 1.5 * 10.0**-digits


def test_an_end_that_rounding_puts_at_zero_says_on_which_side_it_lies():
    assert format_interval(0.004, 1.2) == "above 0.0 to 1.2"
    assert format_interval(-1.2, -0.04) == "−1.2 to below 0.0"
    assert format_interval(-0.04, 0.04) == "below 0.0 to above 0.0"
    assert format_interval(0.0, 0.1) == "0.0 to 0.1"
    assert format_interval(0.0, 2000.0) == "0 to 2000"
    assert format_shares(1e-9, 0.4, 1) == "above 0.0 to 40.0 %"
    assert format_shares(0.0, 0.4, 1) == "0.0 to 40.0 %"


@given(st.floats(0, 1), st.floats(0, 1))
def test_an_interval_of_shares_is_never_made_narrower(one, other):
    low, high = sorted((one, other))
    told = format_shares(low, high, 1)[:-2].removeprefix("above ")
    first, last = (float(end) for end in told.split(" to "))
    assert first <= 100 * low + 1e-9
    assert last >= 100 * high - 1e-9


@given(st.integers(0, 1000))
def test_a_share_that_is_a_whole_percentage_stays_one(count):
    assert format_share(count / 1000, 1) == f"{count / 10:.1f} %"


def test_missing_share():
    assert format_share(None) == NOTHING


@pytest.mark.parametrize(
    ("names", "text"), [([], NOTHING), (["a"], "a"), (["a", "b"], "a and b"), (("a", "b", "c"), "a, b and c")]
)
def test_lists(names, text):
    assert format_list(names) == text


def test_a_p_value_after_holm_is_never_called_p():
    assert p_after_holm(0.0001) == "p after Holm < 0.001"
    assert p_after_holm(0.0123) == "p after Holm = 0.012"
    # a column adjusted by Holm, written by the words of a plain p-value, would show here
    holm = re.compile(r"[^_]p_words\([^()]*p_adjusted")
    at = [
        f"{path.name}: {line.strip()}"
        for path in sorted((Path(panel.__file__).parent / "views").rglob("*.py"))
        for line in path.read_text(encoding="utf-8").splitlines()
        if holm.search(line) and "after adjusting" not in line  # those are Benjamini and Hochberg's
    ]
    assert at == []


@pytest.mark.parametrize(("share", "words"), [(0.8, "80 %"), (0.58, "58 %"), (0.125, "12.5 %"), (1, "100 %")])
def test_a_share_that_was_set_is_written_as_it_was_typed(share, words):
    assert typed_share(share) == words


def test_all_of_some_things_as_in_speech():
    assert all_of(1, "attribute") == "the attribute"
    assert all_of(2, "attribute") == "both attributes"
    assert all_of(14, "batch", "batches") == "all 14 batches"
