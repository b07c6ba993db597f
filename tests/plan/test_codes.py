"""Blind codes: what they may not be, that they differ, that there are enough."""

from itertools import combinations
from operator import ne

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panel.errors import ModelError
from panel.plan.codes import _blind_codes, _usable_codes, session_codes


def test_codes_that_tell_something_are_left_out():
    # skipped in common practice: 100, three equal digits, runs, 666 and local lucky or unlucky numbers; no source
    codes = set(_usable_codes())
    telling = {"100", "666", "123", "321", "789", "987", "210", *(3 * digit for digit in "123456789")}
    assert not codes & telling
    assert not any("13" in code for code in codes)
    # 100, equal digits (666 among them), rising runs, falling runs, and 130 to 139 with 213 to 913
    assert len(codes) == 900 - 1 - 9 - 7 - 8 - 10 - 9
    assert all(len(code) == 3 and code.isdigit() for code in codes)


@given(number=st.integers(0, 30), seed=st.integers(0, 200))
@settings(max_examples=40, deadline=None)
def test_codes_of_a_session_differ_in_at_least_two_digits(number, seed):
    codes = _blind_codes(number, np.random.default_rng(seed))
    assert len(set(codes)) == number
    assert all(sum(map(ne, one, other)) >= 2 for one, other in combinations(codes, 2))
    assert set(codes) <= set(_usable_codes())


def test_more_codes_than_there_are_is_said_clearly():
    # no more than 90 codes can differ in two digits: two digits determine the third
    with pytest.raises(ModelError, match=r"91 codes are needed in one session, but only \d\d were found"):
        _blind_codes(91, np.random.default_rng(1))
    with pytest.raises(ModelError, match="2 codes are needed in one session, but only 1 were found"):
        _blind_codes(2, np.random.default_rng(1), [c for c in _usable_codes() if c != "417"])


def test_each_session_has_new_codes():
    codes = session_codes([f"P{n}" for n in range(8)], ["1", "2", "3"], np.random.default_rng(1))
    assert len(codes) == 24
    assert codes["code"].is_unique
    assert codes.groupby("session")["prototype"].nunique().tolist() == [8, 8, 8]


def test_the_same_seed_gives_the_same_codes():
    first, again = (_blind_codes(8, np.random.default_rng(9)) for _ in range(2))
    assert first == again
    assert first != _blind_codes(8, np.random.default_rng(10))


def test_codes_are_spread_over_all_numbers():
    # 200 sessions of 8: the mean of 1600 nearly uniform codes from 101 to 999 lies near 550 (standard error 6.5)
    rng = np.random.default_rng(2)
    drawn = [int(code) for _ in range(200) for code in _blind_codes(8, rng)]
    assert np.mean(drawn) == pytest.approx(np.mean([int(code) for code in _usable_codes()]), abs=4 * 6.5)
