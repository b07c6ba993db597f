"""Orders of serving: the properties of Williams squares, and how near to them any number of people comes."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import chi2

from panel.errors import ModelError
from panel.stats.orders.order_designs import (
    _balanced_square,
    _carry_over_counts,
    _place_counts,
    _williams_square,
    chance_by_lot,
    serving_orders,
)


def off_diagonal(counts):
    return counts[~np.eye(len(counts), dtype=bool)]


def test_the_first_squares_are_those_of_the_construction():
    # Williams (1949), Austral. J. Sci. Res. A 2:149: first row 1, 2, t, 3, t-1, ..., then add 1 modulo t; from memory
    assert (_williams_square(4) + 1).tolist() == [[1, 2, 4, 3], [2, 3, 1, 4], [3, 4, 2, 1], [4, 1, 3, 2]]
    first = ["12534", "23145", "34251", "45312", "51423"]
    assert ["".join(map(str, row)) for row in _williams_square(5)[:5] + 1] == first
    assert ["".join(map(str, row)) for row in _williams_square(5)[5:] + 1] == [row[::-1] for row in first]


@pytest.mark.parametrize("square", [_williams_square, _balanced_square])
@pytest.mark.parametrize("t", range(2, 14))
def test_every_sample_stands_and_follows_equally_often(square, t):
    # the defining property of a Williams square: once for an even t, twice for an odd one; never after itself
    rows = square(t)
    times = 1 + t % 2
    assert rows.shape == (times * t, t)
    assert (np.sort(rows, axis=1) == np.arange(t)).all()
    assert (_place_counts(rows, t) == times).all()
    after = _carry_over_counts(rows, t)
    assert (off_diagonal(after) == times).all()
    assert not np.diagonal(after).any()


@pytest.mark.parametrize("t", [5, 7, 9, 11, 13])
def test_half_a_square_of_an_odd_number_is_more_even_than_half_a_williams_square(t):
    ours, theirs = (_carry_over_counts(square(t)[:t], t) for square in (_balanced_square, _williams_square))
    # all steps different is impossible for an odd t, so one step taken twice and one left out is the best there is
    assert (off_diagonal(ours) ** 2).sum() == t * (t - 3 + 4)
    assert (off_diagonal(ours) ** 2).sum() < (off_diagonal(theirs) ** 2).sum()


@given(n=st.integers(1, 25), t=st.integers(2, 9), sittings=st.integers(1, 3), seed=st.integers(0, 100))
@settings(max_examples=40, deadline=None)
def test_places_are_even_in_every_sitting_for_any_number_of_people(n, t, sittings, seed):
    orders = serving_orders(n, t, sittings, np.random.default_rng(seed))
    assert orders.shape == (sittings, n, t)
    assert (np.sort(orders, axis=2) == np.arange(t)).all()
    for rows in orders:
        assert np.ptp(_place_counts(rows, t)) <= 1


@given(n=st.integers(1, 20), half=st.integers(1, 4), seed=st.integers(0, 50))
@settings(max_examples=25, deadline=None)
def test_an_even_number_of_samples_is_as_even_as_whole_numbers_allow(n, half, seed):
    t = 2 * half
    orders = serving_orders(n, t, 3, np.random.default_rng(seed))
    for rows in [*orders, orders.reshape(-1, t)]:
        assert np.ptp(_place_counts(rows, t)) <= 1
        assert np.ptp(off_diagonal(_carry_over_counts(rows, t))) <= 1


@pytest.mark.parametrize(("n", "t"), [(10, 5), (20, 5), (14, 7), (8, 8), (24, 8), (6, 3)])
def test_whole_squares_are_exactly_balanced(n, t):
    rows = serving_orders(n, t, 1, np.random.default_rng(1))[0]
    assert np.ptp(_place_counts(rows, t)) == 0
    assert np.ptp(off_diagonal(_carry_over_counts(rows, t))) == 0


@pytest.mark.parametrize(("n", "t"), [(7, 5), (12, 7), (10, 9), (13, 3)])
def test_carry_over_of_an_odd_number_stays_near(n, t):
    orders = serving_orders(n, t, 3, np.random.default_rng(2))
    assert max(np.ptp(off_diagonal(_carry_over_counts(rows, t))) for rows in orders) <= 2
    assert np.ptp(off_diagonal(_carry_over_counts(orders, t))) <= 3


def test_nobody_meets_a_sample_at_the_same_place_again():
    orders = serving_orders(8, 8, 3, np.random.default_rng(3))
    assert all((orders[one] != orders[other]).all() for one, other in [(0, 1), (0, 2), (1, 2)])


def test_the_same_seed_gives_the_same_orders_and_another_seed_others():
    first, again, other = (serving_orders(10, 8, 2, np.random.default_rng(seed)) for seed in (5, 5, 6))
    assert (first == again).all()
    assert (first != other).any()


def test_what_cannot_be_ordered_is_refused():
    with pytest.raises(ModelError, match="at least two samples"):
        _williams_square(1)
    with pytest.raises(ModelError, match="at least two samples"):
        serving_orders(3, 1, 1, np.random.default_rng(1))
    with pytest.raises(ModelError, match="Nobody is to be served"):
        serving_orders(0, 4, 1, np.random.default_rng(1))


def as_rows(orders):
    sitting, place = np.indices(orders.shape)
    return sitting.ravel(), orders.ravel(), place.ravel()


def test_whole_orders_are_judged_as_by_anderson():
    # Anderson (1959), Biometrics 15:582, from memory: (t - 1) / t x the usual sum over samples x places is chi-squared
    # with (t - 1)^2 degrees of freedom where n people each put all t samples in order at random
    orders = np.array([[0, 1, 2, 3]] * 5 + [[3, 2, 1, 0], [1, 0, 3, 2], [2, 0, 1, 3]])
    counts, expected = _place_counts(orders, 4), len(orders) / 4
    statistic = 3 / 4 * ((counts - expected) ** 2 / expected).sum()
    assert chance_by_lot(*as_rows(orders)) == pytest.approx(chi2.sf(statistic, 9), rel=1e-9)


def test_orders_of_some_samples_each_are_judged_as_by_drawing_them():
    # an independent second way: places drawn anew within each sitting, 4,000 times
    rng = np.random.default_rng(3)
    sitting = np.repeat(np.arange(12), 3)
    sample = np.concatenate([np.sort(rng.choice(5, 3, replace=False)) for _ in range(12)])
    place = np.tile([0, 1, 2], 12)
    place[:9] = [2, 1, 0] * 3

    def tie(place):
        table, expected = np.zeros((5, 3)), np.bincount(sample)[:, None] / 3
        np.add.at(table, (sample, place), 1)
        return (((table - expected) ** 2) / 12).sum()

    drawn = [tie(rng.permuted(place.reshape(12, 3), axis=1).ravel()) for _ in range(4000)]
    share = np.mean(np.array(drawn) >= tie(place) - 1e-9)
    assert 0.002 < share < 0.5
    assert chance_by_lot(sitting, sample, place) == pytest.approx(share, abs=0.02)


def test_even_orders_are_no_tie_and_one_sample_a_sitting_could_not_be_drawn():
    assert chance_by_lot(*as_rows(_williams_square(6))) == pytest.approx(1.0)
    assert chance_by_lot(np.arange(4), np.arange(4), np.arange(4)) == 1.0


def test_orders_drawn_by_lot_are_rarely_taken_for_tied():
    # simulation with known truth: by lot, below 0.05 in about one study in twenty (standard error 0.9 %)
    rng = np.random.default_rng(5)
    drawn = (rng.permuted(np.tile(np.arange(5), (9, 1)), axis=1) for _ in range(600))
    assert np.mean([chance_by_lot(*as_rows(orders)) < 0.05 for orders in drawn]) < 0.075
