"""How sentences write numbers: cut, never rounded up; a minus is a minus. Common practice, no source."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panel.claims.claim import counted, interval, listed, number, p_value, percent


@pytest.mark.parametrize(("value", "text"), [(8.0, "8"), (-14.06, "−14.1"), (-0.01, "0"), (0.25, "0.2"), (100, "100")])
def test_numbers(value, text):
    assert number(value) == text


@pytest.mark.parametrize(("share", "text"), [(0.797, "79 %"), (0.29, "29 %"), (1.0, "100 %"), (0.9999, "99 %")])
def test_shares_are_cut(share, text):
    assert percent(share) == text


@given(st.integers(0, 500), st.integers(1, 500))
def test_a_share_is_never_above_the_count(x, n):
    assert int(percent(min(x, n) / n).split()[0]) * n <= 100 * min(x, n)


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.0004, "p < 0.001"), (0.0496, "p = 0.0496"), (0.0503, "p = 0.0503"), (0.05, "p = 0.050"), (1.0, "p > 0.999")],
)
def test_p_values_are_never_moved_onto_the_level(value, text):
    assert p_value(value) == text


def test_open_ends_counts_and_lists():
    assert interval(-math.inf, 3) == "no lower limit to 3"
    assert interval(2, math.inf) == "2 to no upper limit"
    assert (counted(1, "person", "people"), counted(2, "person", "people"), counted(3, "day")) == (
        "1 person",
        "2 people",
        "3 days",
    )
    assert (listed([]), listed(["a"]), listed(["a", "b"]), listed(["a", "b", "c"])) == (
        "",
        "a",
        "a and b",
        "a, b and c",
    )
