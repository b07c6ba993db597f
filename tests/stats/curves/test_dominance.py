"""Dominance: the line above chance and differences of courses by brute force, and time made alike for everybody."""

from itertools import permutations, product

import numpy as np
import pytest

from panel.errors import ModelError
from panel.stats.curves.over_time import chance_line, difference_p, standardised

MANY = 4000
TOLERANCE = 0.03  # of a share that 4000 draws give


def held(rng, people=3, times=4, k=3, repeats=1):
    """Return (times, k) for each person: one sensation at each time, the mean over repeats."""
    chosen = rng.integers(0, k, (people, repeats, times))
    return [(own[:, :, None] == np.arange(k)).mean(axis=0) for own in chosen]


@pytest.mark.parametrize("repeats", [1, 2])
def test_the_line_is_the_quantile_of_all_renamings(repeats):
    shares = held(np.random.default_rng(3), people=3, repeats=repeats)
    orders = list(permutations(range(3)))
    highest = [
        np.mean([own[:, list(order)] for own, order in zip(shares, names, strict=True)], axis=0).max()
        for names in product(orders, repeat=3)
    ]
    line = chance_line(shares, 0.8, np.random.default_rng(1), draws=MANY)
    below, at_most = (np.mean(np.array(highest) < line - 1e-9), np.mean(np.array(highest) <= line + 1e-9))
    assert below <= 0.8 + TOLERANCE
    assert at_most >= 0.8 - TOLERANCE


def test_renaming_the_sensations_of_everybody_changes_nothing():
    shares = held(np.random.default_rng(4), people=6)
    turned = [own[:, [2, 0, 1]] for own in shares]
    one, other = (chance_line(each, 0.95, np.random.default_rng(1), draws=MANY) for each in (shares, turned))
    assert one == pytest.approx(other, abs=1 / 6)


def test_noise_is_seldom_told_as_dominant():
    # simulation with known truth: nothing is dominant beyond chance; 120 panels, two standard errors are 4 points
    rng = np.random.default_rng(20261128)
    told = 0
    for _ in range(120):
        shares = held(rng, people=12, times=20, k=6)
        line = chance_line(shares, 0.95, rng, draws=199)
        told += np.mean(shares, axis=0).max() > line + 1e-12
    assert told <= 12  # 0.05 of 120 is 6


def test_paired_p_values_are_those_of_all_changes_of_places():
    rng = np.random.default_rng(5)
    ours, theirs = (np.stack(held(rng, people=5, times=3, k=2)) for _ in range(2))
    observed, p_value = difference_p(ours, theirs, rng, paired=True, draws=MANY)
    largest = [
        np.abs(np.tensordot(np.array(signs), ours - theirs, axes=1) / 5).max() for signs in product((-1, 1), repeat=5)
    ]
    exact = (np.array(largest)[:, None, None] >= np.abs(observed) - 1e-12).mean(axis=0)
    np.testing.assert_allclose(p_value, exact, atol=TOLERANCE)
    np.testing.assert_allclose(observed, ours.mean(axis=0) - theirs.mean(axis=0))


def test_a_true_difference_is_found_and_a_common_course_is_not():
    same = np.stack([np.eye(3)[[0, 1, 2, 2]]] * 10)
    turned = np.stack([np.eye(3)[[0, 2, 1, 2]]] * 10)
    _, p_value = difference_p(same, turned, np.random.default_rng(1), paired=True)
    assert p_value[1, 1] < 0.01
    assert p_value[0, 0] == 1
    _, p_value = difference_p(same, turned, np.random.default_rng(1), paired=False)
    assert p_value[1, 1] < 0.01


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
