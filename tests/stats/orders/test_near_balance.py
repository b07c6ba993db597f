"""Nearly balanced blocks, sittings and orders: how even they come out, and that known balanced designs are found."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panel.errors import ModelError
from panel.stats.orders.block_designs import (
    _is_balanced,
    _meetings,
    nearly_balanced_blocks,
    ordered_blocks,
    split_into_sittings,
)
from tests.stats.orders.test_block_precision import mean_pair_variance

NEARLY_AS_GOOD = 0.95  # of the upper bound of the efficiency


def pairs_of(blocks, t):
    met = _meetings(np.asarray(blocks), t)
    return met[~np.eye(t, dtype=bool)]


def sittings_of(rows, sizes):
    return [part for row in rows for part in np.split(row, np.cumsum(sizes)[:-1])]


@given(t=st.integers(4, 9), k=st.integers(2, 5), b=st.integers(3, 20), seed=st.integers(0, 20))
@settings(max_examples=25, deadline=None)
def test_every_sample_comes_equally_often_or_once_more(t, k, b, seed):
    if k >= t:
        return
    blocks = nearly_balanced_blocks(t, k, b, np.random.default_rng(seed))
    assert blocks.shape == (b, k)
    assert all(len(set(block)) == k for block in blocks.tolist())
    assert np.ptp(np.diagonal(_meetings(blocks, t))) <= 1


@pytest.mark.parametrize(("t", "k", "b"), [(8, 4, 10), (8, 4, 24), (9, 4, 12), (12, 4, 24), (8, 5, 30)])
def test_differences_are_nearly_as_precise_as_any_design_can_make_them(t, k, b):
    blocks = nearly_balanced_blocks(t, k, b, np.random.default_rng(1))
    incidence = np.zeros((b, t))
    np.put_along_axis(incidence, blocks, 1, axis=1)
    reached = 2 / (b * k / t) / mean_pair_variance(incidence)
    # no design exceeds t(k - 1) / (k(t - 1)): John and Williams (1995), Cyclic and Computer Generated Designs
    best = t * (k - 1) / (k * (t - 1))
    assert NEARLY_AS_GOOD * best < reached <= best + 1e-9


def test_where_a_balanced_design_fits_it_is_taken():
    assert _is_balanced(nearly_balanced_blocks(8, 4, 28, np.random.default_rng(1)), 8)
    blocks = nearly_balanced_blocks(7, 3, 8, np.random.default_rng(1))
    assert np.ptp(pairs_of(blocks, 7)) <= 1  # one design of seven blocks and one block more


def test_the_affine_plane_is_found_for_nine_samples_in_three_sittings():
    # four people, three sittings of three: every pair meets once, the affine plane of order 3
    rows = split_into_sittings(np.tile(np.arange(9), (4, 1)), (3, 3, 3), np.random.default_rng(1))
    assert (pairs_of(sittings_of(rows, (3, 3, 3)), 9) == 1).all()


def test_the_resolvable_design_is_found_for_eight_samples_in_two_sittings():
    rows = split_into_sittings(np.tile(np.arange(8), (7, 1)), (4, 4), np.random.default_rng(2))
    assert (pairs_of(sittings_of(rows, (4, 4)), 8) == 3).all()
    assert _is_balanced(nearly_balanced_blocks(8, 4, 14, np.random.default_rng(1)), 8)  # its numbers


@pytest.mark.parametrize(("n", "t", "sizes"), [(10, 8, (4, 4)), (10, 10, (4, 3, 3)), (30, 8, (4, 4))])
def test_sittings_hold_everything_once_and_pairs_meet_about_equally_often(n, t, sizes):
    rows = split_into_sittings(np.tile(np.arange(t), (n, 1)), sizes, np.random.default_rng(3))
    assert (np.sort(rows, axis=1) == np.arange(t)).all()
    met = np.zeros((t, t))
    for part in sittings_of(rows, sizes):
        met[np.ix_(part, part)] += 1
    assert np.ptp(met[~np.eye(t, dtype=bool)]) <= 2


@pytest.mark.parametrize(("t", "k", "b"), [(8, 4, 14), (7, 3, 14), (6, 3, 20), (9, 4, 18)])
def test_places_within_blocks_are_even(t, k, b):
    orders = ordered_blocks(
        nearly_balanced_blocks(t, k, b, np.random.default_rng(1)).tolist(), t, np.random.default_rng(2)
    )
    places = np.zeros((t, k))
    for order in orders:
        places[order, range(k)] += 1
    assert np.ptp(places) <= 1


def test_the_same_seed_gives_the_same_result():
    one, other = (nearly_balanced_blocks(8, 3, 10, np.random.default_rng(4)) for _ in range(2))
    assert (one == other).all()
    rows = np.tile(np.arange(8), (6, 1))
    first, again = (split_into_sittings(rows, (4, 4), np.random.default_rng(4)) for _ in range(2))
    assert (first == again).all()
    assert ordered_blocks([[0, 1, 2], [1, 2, 3]], 4, np.random.default_rng(1)) == ordered_blocks(
        [[0, 1, 2], [1, 2, 3]], 4, np.random.default_rng(1)
    )


def test_sittings_that_do_not_add_up_are_refused():
    with pytest.raises(ModelError, match="Sittings of 4, 3 samples do not add up to 8"):
        split_into_sittings(np.tile(np.arange(8), (3, 1)), (4, 3), np.random.default_rng(1))
    with pytest.raises(ModelError, match="fewer than all"):
        nearly_balanced_blocks(4, 4, 5, np.random.default_rng(1))
