"""Exact binomial counts against printed and published tables, brute force with scipy, and printed intervals."""

import numpy as np
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.proportion import proportion_confint

from panel.errors import ModelError
from panel.stats.answers.binomial import (
    chance_correct,
    lower_tail,
    maximum_count,
    minimum_count,
    parity_region,
    power_above,
    power_below,
    power_different,
    power_parity,
    upper_tail,
    wilson_interval,
)

ROUNDED = 5e-5  # half a unit of the last printed digit
CLOSED_FORM = 1e-10  # relative
THIRD, HALF = 1 / 3, 1 / 2
NONE = 10**6

# Fewest correct answers in a triangle test at 5, 1 and 0.1 %: FAO document V7180E, appendix A (= ISO 4120, table A.1)
TRIANGLE = {
    6: (5, 6, NONE), 7: (5, 6, 7), 8: (6, 7, 8), 9: (6, 7, 8), 10: (7, 8, 9), 11: (7, 8, 10), 12: (8, 9, 10),
    15: (9, 10, 12), 16: (9, 11, 12), 18: (10, 12, 13), 20: (11, 13, 14), 24: (13, 15, 16), 25: (13, 15, 17),
    30: (15, 17, 19), 36: (18, 20, 22), 42: (20, 22, 25), 48: (22, 25, 27), 54: (25, 27, 30), 60: (27, 30, 33),
    66: (29, 32, 35), 72: (32, 34, 38), 78: (34, 37, 40), 84: (36, 39, 43), 90: (38, 42, 45), 96: (41, 44, 48),
}  # fmt: skip
# The same for a guessing chance of one half (ISO 10399 duo-trio, ISO 5495 one-sided): exact binomial, computed with R
HALVES = {
    6: (6, NONE, NONE), 7: (7, 7, NONE), 8: (7, 8, NONE), 10: (9, 10, 10), 12: (10, 11, 12), 15: (12, 13, 14),
    20: (15, 16, 18), 24: (17, 19, 20), 30: (20, 22, 24), 36: (24, 26, 28), 40: (26, 28, 31), 48: (31, 33, 36),
    60: (37, 40, 43), 72: (44, 47, 50), 84: (51, 54, 57), 100: (59, 63, 66),
}  # fmt: skip
# Two-sided paired comparison (ISO 5495): exact binomial, computed with R
TWO_SIDED = {
    6: (6, NONE, NONE), 8: (8, 8, NONE), 10: (9, 10, NONE), 12: (10, 11, 12), 20: (15, 17, 18), 24: (18, 19, 21),
    30: (21, 23, 25), 40: (27, 29, 31), 60: (39, 41, 44), 100: (61, 64, 67),
}  # fmt: skip
# Most correct answers in a triangle test that show that fewer than pd0 can tell, 5 %: exact binomial, computed with R
SIMILAR = {
    18: (3, 4, 5, 6, 8), 24: (5, 6, 8, 9, 11), 30: (7, 9, 11, 13, 15), 36: (9, 11, 13, 16, 18),
    42: (11, 13, 16, 19, 22), 48: (13, 16, 19, 22, 26), 60: (17, 21, 25, 29, 33), 66: (19, 23, 28, 32, 37),
    72: (21, 26, 30, 35, 40), 96: (30, 36, 42, 49, 55),
}  # fmt: skip


def or_none(counts, n):
    return tuple(NONE if count > n else int(count) for count in counts)


@pytest.mark.parametrize(
    ("table", "guess", "sides"),
    [(TRIANGLE, THIRD, 1), (HALVES, HALF, 1), (TWO_SIDED, HALF, 2)],
    ids=["1/3", "1/2", "2"],
)
def test_the_fewest_correct_answers_are_those_of_the_tables(table, guess, sides):
    levels = np.array([0.05, 0.01, 0.001]) / sides
    assert {n: or_none(minimum_count(n, guess, levels), n) for n in table} == table


@pytest.mark.parametrize(("n", "expected"), [(24, (11, 12)), (30, (13, 14)), (60, (24, 26))])
def test_lenient_levels_of_the_triangle_test(n, expected):
    # the same FAO table at 20 and 10 %
    assert tuple(minimum_count(n, THIRD, [0.2, 0.1])) == expected


def test_small_triangle_tests():
    assert [or_none(minimum_count(n, THIRD, [0.05, 0.01, 0.001]), n) for n in (3, 4, 5)] == [
        (3, NONE, NONE),
        (4, NONE, NONE),
        (4, 5, NONE),
    ]


def test_the_most_correct_answers_that_show_similarity():
    shares = np.array([0.1, 0.2, 0.3, 0.4, 0.5])
    found = {n: tuple(maximum_count(n, chance_correct(shares, THIRD), 0.05).tolist()) for n in SIMILAR}
    assert found == SIMILAR


def test_majorities():
    # counts that show more than half, one-sided and two-sided 5 %: exact binomial, computed with R
    n = np.array([20, 30, 40, 50, 60, 80, 100, 200, 300])
    assert minimum_count(n, HALF).tolist() == [15, 20, 26, 32, 37, 48, 59, 113, 165]
    assert minimum_count(n[[0, 1, 2, 3, 4, 5, 6, 8]], HALF, 0.025).tolist() == [15, 21, 27, 33, 39, 50, 61, 168]


def test_unsurpassed_superior_and_at_parity():
    # bounds of 45 and 55 %, 5 % error each, as a technical report of 2017 sums up ASTM E1958 (abstract read);
    # counts and chances: exact binomial, computed with R
    n = np.array([100, 200, 300, 400, 500, 800, 1000])
    assert minimum_count(n, 0.45).tolist() == [54, 103, 150, 197, 244, 384, 477]
    assert minimum_count(n, 0.5).tolist() == [59, 113, 165, 217, 269, 424, 527]
    assert minimum_count(n, 0.5, 0.025).tolist() == [61, 115, 168, 221, 273, 429, 532]
    fewest, most = parity_region(n, 0.45, 0.55)
    assert (fewest > most).tolist() == [True, True, *[False] * 5]
    assert most[2:].tolist() == [150, 203, 256, 416, 523]
    np.testing.assert_allclose(
        power_above(n, 0.45, 0.5), [0.2421, 0.3619, 0.5230, 0.6368, 0.7195, 0.8783, 0.9314], atol=ROUNDED
    )
    np.testing.assert_allclose(
        power_parity(n, 0.45, 0.55, 0.5), [0, 0, 0.0460, 0.2736, 0.4390, 0.7567, 0.8628], atol=ROUNDED
    )


def test_with_very_many_answers_a_result_can_be_superior_and_at_parity():
    n = np.arange(1, 1500)
    fewest, most = parity_region(n, 0.45, 0.55)
    shown = fewest <= most
    assert n[shown][0] == 290
    assert n[~shown][-1] + 1 == 308
    assert n[minimum_count(n, 0.5) <= most][0] == 1118


@given(n=st.integers(1, 300), p=st.floats(0.02, 0.98), alpha=st.floats(0.001, 0.5))
def test_counts_are_the_first_and_last_that_keep_to_the_level(n, p, alpha):
    x = np.arange(n + 1)
    at_least, at_most = scipy.stats.binom.sf(x - 1, n, p), scipy.stats.binom.cdf(x, n, p)
    level = alpha * (1 + 1e-9)  # a tail that equals the level but for rounding keeps to it
    assert minimum_count(n, p, alpha) == int((at_least > level).sum())
    assert maximum_count(n, p, alpha) == int((at_most <= level).sum()) - 1


@given(n=st.integers(1, 200), p=st.floats(0.01, 0.99))
def test_tails_are_those_of_scipy_and_add_up(n, p):
    x = np.arange(-1, n + 2)
    np.testing.assert_allclose(upper_tail(x, n, p), scipy.stats.binom.sf(x - 1, n, p), rtol=1e-8, atol=1e-14)
    np.testing.assert_allclose(lower_tail(x, n, p), scipy.stats.binom.cdf(x, n, p), rtol=1e-8, atol=1e-14)
    np.testing.assert_allclose(upper_tail(x, n, p) + lower_tail(x - 1, n, p), 1, rtol=1e-9)


def test_a_tail_equal_to_the_level_keeps_to_it():
    assert minimum_count(3, HALF, 0.125) == 3
    assert maximum_count(3, HALF, 0.125) == 0


def test_chances_against_counting_all_outcomes():
    n, p, true = 17, 0.5, 0.7
    x = np.arange(n + 1)
    mass = scipy.stats.binom.pmf(x, n, true)
    fewest, most = minimum_count(n, p, 0.025), maximum_count(n, p, 0.025)
    assert power_above(n, p, true, 0.025) == pytest.approx(mass[x >= fewest].sum(), rel=CLOSED_FORM)
    assert power_below(n, p, true, 0.025) == pytest.approx(mass[x <= most].sum(), rel=CLOSED_FORM)
    both = mass[(x >= fewest) | (x <= most)].sum()
    assert power_different(n, p, true, 0.05) == pytest.approx(both, rel=CLOSED_FORM)


@pytest.mark.parametrize(
    ("x", "n", "low", "high"),
    [  # Newcombe (1998), Stat. Med. 17:857, table I, method 3; from memory
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
        (20, 25, 0.6087, 0.9114),
        (29, 29, 0.8830, 1.0),
    ],
)
def test_wilson_intervals_are_the_printed_ones(x, n, low, high):
    found = wilson_interval(x, n)
    np.testing.assert_allclose(found, (low, high), atol=ROUNDED)
    np.testing.assert_allclose(found, proportion_confint(x, n, 0.05, method="wilson"), atol=1e-12)


def test_what_is_no_number_of_answers_or_no_probability_is_refused():
    with pytest.raises(ModelError, match="a whole number from 1"):
        minimum_count(0, HALF)
    with pytest.raises(ModelError, match="a whole number from 1"):
        minimum_count(10.5, HALF)
    with pytest.raises(ModelError, match="must lie between 0 and 1"):
        minimum_count(10, 1.0)
    with pytest.raises(ModelError, match="must lie between 0 and 1"):
        maximum_count(10, HALF, 0.0)
