"""The front: a brute-force second computation and the invariances that define it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from panel.stats.formulas.desirability import beats

TABLES = arrays(float, st.tuples(st.integers(1, 8), st.integers(1, 4)), elements=st.integers(-3, 3).map(float))


def on_front(values):
    """Which rows no other row beats."""
    return ~beats(values).any(axis=-2)


def by_hand(values):
    """The definition, row by row."""
    return [
        not any((other >= row).all() and (other > row).any() for j, other in enumerate(values) if j != i)
        for i, row in enumerate(values)
    ]


def test_a_front_that_can_be_seen():
    values = [(1, 5), (3, 3), (5, 1), (2, 2), (3, 2)]
    assert on_front(values).tolist() == [True, True, True, False, False]
    assert np.argwhere(beats(values)).tolist() == [[1, 3], [1, 4], [4, 3]]


@given(TABLES)
def test_it_is_what_the_definition_says(values):
    assert on_front(values).tolist() == by_hand(values)


@given(TABLES)
def test_somebody_is_always_on_it(values):
    assert on_front(values).any()


@given(TABLES)
def test_monotone_transforms_change_nothing(values):
    assert (on_front(np.exp(values) + 2) == on_front(values)).all()
    assert (on_front(values**3) == on_front(values)).all()


@given(TABLES, st.randoms(use_true_random=False))
def test_the_order_of_rows_and_columns_changes_nothing(values, random):
    rows, columns = list(range(values.shape[0])), list(range(values.shape[1]))
    random.shuffle(rows)
    random.shuffle(columns)
    assert (on_front(values[np.ix_(rows, columns)]) == on_front(values)[rows]).all()


@given(TABLES)
def test_a_duplicate_shares_the_place_of_its_twin_and_moves_nobody(values):
    twice = np.vstack([values, values[:1]])
    assert (on_front(twice)[:-1] == on_front(values)).all()
    assert on_front(twice)[-1] == on_front(values)[0]


def test_many_tables_at_once():
    values = np.random.default_rng(1).normal(size=(5, 6, 3))
    assert (on_front(values) == np.stack([on_front(each) for each in values])).all()


def test_a_row_that_is_not_known_is_refused():
    with pytest.raises(ValueError, match="missing"):
        on_front([(1, np.nan)])
