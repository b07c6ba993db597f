"""Balanced incomplete blocks: the published parameter lists, the identities, and what is impossible."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from panel.errors import ModelError
from panel.stats.orders.block_designs import (
    _fewest_blocks,
    _is_balanced,
    _is_possible,
    _meetings,
    nearly_balanced_blocks,
)

# t k b r lambda: Cochran and Cox (1957), Experimental Designs, plans of balanced incomplete blocks; from memory
LISTED = [
    (4, 2, 6, 3, 1),
    (4, 3, 4, 3, 2),
    (5, 2, 10, 4, 1),
    (5, 3, 10, 6, 3),
    (5, 4, 5, 4, 3),
    (6, 3, 10, 5, 2),
    (6, 4, 15, 10, 6),
    (6, 5, 6, 5, 4),
    (7, 3, 7, 3, 1),
    (7, 4, 7, 4, 2),
    (8, 4, 14, 7, 3),
    (9, 3, 12, 4, 1),
    (9, 4, 18, 8, 3),
    (9, 6, 12, 8, 5),
    (10, 4, 15, 6, 2),
    (11, 5, 11, 5, 2),
    (13, 4, 13, 4, 1),
]


def drawn(t, k, b):
    return nearly_balanced_blocks(t, k, b, np.random.default_rng(1))


@pytest.mark.parametrize(("t", "k", "b", "r", "lam"), LISTED)
def test_the_listed_designs_are_found_and_balanced(t, k, b, r, lam):
    blocks = drawn(t, k, b)
    assert blocks.shape == (b, k)
    assert all(len(set(block)) == k for block in blocks.tolist())
    met = _meetings(blocks, t)
    assert (np.diagonal(met) == r).all()
    assert (met[~np.eye(t, dtype=bool)] == lam).all()
    assert _fewest_blocks(t, k) == b


def test_multiples_repeat_the_design():
    blocks = drawn(8, 4, 28)
    assert len(blocks) == 28
    assert _is_balanced(blocks, 8)


@given(t=st.integers(3, 12), data=st.data())
def test_the_identities_hold_for_all_numbers_that_are_accepted(t, data):
    k = data.draw(st.integers(2, t - 1))
    b = data.draw(st.integers(1, 60))
    if not _is_possible(t, k, b):
        return
    r = b * k // t
    assert b * k == t * r
    assert r * (k - 1) % (t - 1) == 0
    assert b >= t


@pytest.mark.parametrize(
    ("t", "k", "b"),
    [
        (6, 4, 5),  # every sample in a whole number of blocks
        (8, 5, 8),  # every pair in a whole number of blocks
        (16, 6, 8),  # Fisher (1940), Ann. Eugen. 10:52
        (22, 7, 22),  # Bruck and Ryser (1949), Canad. J. Math. 1:88
    ],
)
def test_impossible_numbers_are_known(t, k, b):
    assert not _is_possible(t, k, b)


@pytest.mark.parametrize("k", [1, 5, 6])
def test_blocks_of_everything_or_of_one_are_none(k):
    with pytest.raises(ModelError, match="at least 2, and fewer than all"):
        drawn(5, k, 5)


def test_numbers_that_are_possible_but_have_no_design_give_a_nearly_balanced_one():
    # 15 samples in 21 blocks of 5 fulfil all the identities, but no such design exists: Hall and Connor (1954)
    assert _is_possible(15, 5, 21)
    met = _meetings(drawn(15, 5, 21), 15)
    assert (np.diagonal(met) == 7).all()
    assert not _is_balanced(drawn(15, 5, 21), 15)


def test_an_uneven_design_is_not_called_balanced():
    assert not _is_balanced(np.array([[0, 1], [0, 2], [0, 3]]), 4)
    assert not _is_balanced(np.array([[0, 1], [2, 3]]), 4)
