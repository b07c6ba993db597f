"""Shares in words: nothing is ever rounded up."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from panel.views.consumers.agreement import in_ten, share_interval, share_words


@pytest.mark.parametrize(
    ("count", "base", "words", "tens"),
    [
        (45, 58, "45 of 58 (77.5 %)", "7 in 10"),
        (44, 58, "44 of 58 (75.8 %)", "7 in 10"),
        (4, 5, "4 of 5 (80.0 %)", "8 in 10"),
        (29, 100, "29 of 100 (29.0 %)", "2 in 10"),
        (799, 1000, "799 of 1000 (79.9 %)", "7 in 10"),
        (3, 58, "3 of 58 (5.1 %)", "none"),
        (58, 58, "58 of 58 (100.0 %)", "10 in 10"),
        (0, 0, "0 of 0", "none"),
    ],
)
def test_examples(count, base, words, tens):
    assert share_words(count, base) == words
    assert in_ten(count, base) == tens


@given(st.integers(1, 3000).flatmap(lambda base: st.tuples(st.integers(0, base), st.just(base))))
def test_neither_says_more_than_was_counted(counted):
    count, base = counted
    percent = float(re.search(r"\(([\d.]+) %\)", share_words(count, base))[1])
    assert percent <= 100 * count / base + 1e-9  # the rounding of a float
    assert percent > 100 * count / base - 0.1 - 1e-9
    tens = in_ten(count, base)
    said = 0 if tens == "none" else int(tens.split()[0])
    assert 10 * count >= said * base
    assert 10 * count < (said + 1) * base


def test_intervals_are_cut_too():
    assert share_interval(0.6347, 0.85041) == "63.4 to 85.0 %"
