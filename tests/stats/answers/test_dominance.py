"""Dominance: the line above chance against worked numbers and exact counts, and time made alike for everybody."""

import numpy as np
import pytest
from scipy.stats import binom

from panel.errors import ModelError
from panel.stats.curves.over_time import significance_line, standardised

PRINTED = 5.1e-7


@pytest.mark.parametrize(
    ("k", "n", "line"),
    # Pineau et al. 2009 (formula from memory), z = 1.645; computed with R
    [(5, 45, 0.298089), (5, 60, 0.284947), (8, 60, 0.195234), (10, 60, 0.163711)],
)
def test_the_normal_line(k, n, line):
    found, exact = significance_line(n, k)
    assert not exact
    # the 0.95 quantile is 1.644854; with 1.645 in its place the line moves by less than 1e-5
    assert float(found) == pytest.approx(line, abs=1.2e-5)
    chance = 1 / k
    assert float(found) - chance == pytest.approx((line - chance) * 1.6448536269514722 / 1.645, abs=PRINTED)


def test_few_evaluations_need_the_exact_count():
    found, exact = significance_line(20, 8)  # n P0 (1 - P0) = 2.19; the formula would give 0.246649
    assert exact
    assert float(found) == pytest.approx(6 / 20)


@pytest.mark.parametrize(("k", "n"), [(4, 5), (8, 20), (12, 30), (3, 10)])
def test_the_exact_count_is_the_fewest_that_chance_reaches_rarely(k, n):
    found, exact = significance_line(n, k)
    count = round(float(found) * n)
    assert exact
    assert binom.sf(count - 1, n, 1 / k) <= 0.05 < binom.sf(count - 2, n, 1 / k)


def test_two_evaluations_are_never_enough_of_two():
    assert float(significance_line(2, 2)[0]) > 1


def test_time_runs_from_the_first_choice_to_the_stop():
    grid = np.linspace(0, 1, 11)
    found = standardised([4, 8, 12], [2, 0, 1], 14.0, grid)
    assert found.tolist() == [2, 2, 2, 2, 0, 0, 0, 0, 1, 1, 1]


def test_of_two_choices_at_one_moment_the_later_counts():
    assert standardised([0, 5, 5], [0, 1, 2], 10.0, [0, 0.5, 1]).tolist() == [0, 2, 2]


def test_slow_and_fast_people_become_alike():
    grid = np.linspace(0, 1, 101)
    one = standardised([0, 4, 8], [0, 1, 2], 16.0, grid)
    assert (one == standardised([10, 22, 34], [0, 1, 2], 58.0, grid)).all()


@pytest.mark.parametrize(
    ("times", "codes", "end", "message"),
    [
        ([], [], 5, "no sensation was chosen"),
        ([3, 2], [0, 1], 5, "out of order"),
        ([3, 4], [0, 1], 3, "does not end after the first"),
        ([3, 7], [0, 1], 6, "does not end after the first"),
    ],
)
def test_messages(times, codes, end, message):
    with pytest.raises(ModelError, match=message):
        standardised(times, codes, end, [0, 1])
