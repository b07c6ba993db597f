"""How sentences write numbers: cut, never rounded up; a minus is a minus. Common practice, no source."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panel.claims.claim import interval, number, percent


@pytest.mark.parametrize(("value", "text"), [(8.0, "8"), (-14.06, "−14.1"), (-0.01, "0"), (0.25, "0.2"), (100, "100")])
def test_numbers(value, text):
    assert number(value) == text


@pytest.mark.parametrize(("share", "text"), [(0.797, "79 %"), (0.29, "29 %"), (1.0, "100 %"), (0.9999, "99 %")])
def test_shares_are_cut(share, text):
    assert percent(share) == text


@given(st.integers(0, 500), st.integers(1, 500))
def test_a_share_is_never_above_the_count(x, n):
    assert int(percent(min(x, n) / n).split()[0]) * n <= 100 * min(x, n)


def test_open_ends():
    assert interval(-math.inf, 3) == "no lower limit to 3"
    assert interval(2, math.inf) == "2 to no upper limit"
