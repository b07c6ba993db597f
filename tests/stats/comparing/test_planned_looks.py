"""Looks on the way: every way to get there counted one by one, drawn plans, and the exact tests of scipy."""

from itertools import product

import numpy as np
import pytest
from scipy.stats import binom, chi2_contingency, fisher_exact

from panel.errors import ModelError
from panel.stats.comparing.power import planned_looks_p, same_share_p

CLOSED_FORM = 1e-12


def counted(numbers, needed, guess, look, right):
    """The same by going through every row of right and wrong answers."""
    p_value = alarm = 0.0
    for row in product((0, 1), repeat=numbers[-1]):
        chance = guess ** sum(row) * (1 - guess) ** (len(row) - sum(row))
        sums = [sum(row[:number]) for number in numbers]
        stop = next((place for place, total in enumerate(sums) if total >= needed[place]), None)
        alarm += chance * (stop is not None)
        earlier = stop is not None and stop < look
        p_value += chance * (earlier or (stop is None or stop >= look) * (sums[look] >= right))
    return p_value, alarm


@pytest.mark.parametrize(
    ("numbers", "needed", "look", "right"),
    [([6, 12], [5, 8], 1, 7), ([6, 12], [5, 8], 0, 5), ([4, 8, 12], [4, 6, 8], 2, 8), ([12], [8], 0, 6)],
)
def test_every_way_counted_one_by_one(numbers, needed, look, right):
    found = planned_looks_p(numbers, needed, 1 / 3, look, right)
    assert found == pytest.approx(counted(numbers, needed, 1 / 3, look, right), abs=CLOSED_FORM)


def test_a_first_look_that_can_stop_nothing_changes_nothing():
    p_value, alarm = planned_looks_p([12, 24], [13, 13], 1 / 3, 1, 11)
    assert p_value == pytest.approx(binom.sf(10, 24, 1 / 3), abs=CLOSED_FORM)
    assert alarm == pytest.approx(binom.sf(12, 24, 1 / 3), abs=CLOSED_FORM)


def test_the_count_just_enough_has_the_chance_of_the_plan():
    numbers, needed = [24, 48], [14, 23]
    p_value, alarm = planned_looks_p(numbers, needed, 1 / 3, 1, 23)
    assert p_value == pytest.approx(alarm, abs=CLOSED_FORM)
    # looking twice with the counts of a single look costs more than 5 %: the reason for the correction
    _, naive = planned_looks_p([24, 48], [13, 22], 1 / 3, 0, 13)
    assert naive > 0.05


def test_drawn_plans_raise_the_alarm_as_often_as_computed():
    rng, draws = np.random.default_rng(5), 200_000
    first = rng.binomial(24, 1 / 3, draws)
    both = first + rng.binomial(24, 1 / 3, draws)
    alarm = planned_looks_p([24, 48], [13, 22], 1 / 3, 0, 13)[1]
    assert np.mean((first >= 13) | (both >= 22)) == pytest.approx(alarm, abs=4 * np.sqrt(alarm / draws))


@pytest.mark.parametrize(("right", "n"), [((10, 4), (18, 18)), ((3, 9), (12, 24)), ((0, 5), (6, 6))])
def test_two_sessions_are_fishers_test(right, n):
    wrong = np.subtract(n, right)
    assert same_share_p(right, n) == (pytest.approx(fisher_exact([right, wrong]).pvalue, abs=1e-10), True)


def test_many_sessions_go_by_chi_square():
    right, n = np.array([30, 41, 36, 50]), np.array([80, 90, 85, 100])
    p_value, exact = same_share_p(right, n)
    assert not exact
    assert p_value == pytest.approx(chi2_contingency([right, n - right], correction=False).pvalue, rel=1e-10)


def test_nothing_to_compare():
    assert same_share_p([5], [12]) == (1.0, True)
    assert same_share_p([0, 0], [12, 12]) == (1.0, True)
    assert same_share_p([6, 6], [12, 12])[0] == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("numbers", "needed", "look", "right", "message"),
    [
        ([24, 24], [13, 13], 0, 5, "A plan of looks needs growing numbers"),
        ([24], [13, 14], 0, 5, "A plan of looks needs growing numbers"),
        ([24, 48], [13, 22], 0, 25, "25 right answers do not fit look 1"),
        ([24, 48], [13, 22], 2, 20, "20 right answers do not fit look 3"),
    ],
)
def test_messages(numbers, needed, look, right, message):
    with pytest.raises(ModelError, match=message):
        planned_looks_p(numbers, needed, 1 / 3, look, right)
