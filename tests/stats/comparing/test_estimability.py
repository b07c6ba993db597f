"""What a factor leaves of a contrast: against ranks and least squares of the whole design matrix, row by row."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from panel.stats.comparing.multiplicity import below
from panel.stats.orders.block_designs import both_sets, information_left, joined, pairs_left, sets_told

TABLES = arrays(np.int64, st.tuples(st.integers(2, 6), st.integers(2, 5)), elements=st.integers(0, 2))


def rows_of(table):
    """Return one row of indicators per score: groups, then levels of the factor."""
    group, level = (np.repeat(grid.ravel(), table.ravel()) for grid in np.indices(table.shape))
    return np.eye(table.shape[0])[group], np.eye(table.shape[1])[level]


def has_estimate(columns, contrast):
    """Return whether a contrast lies in the row space, by the rank with and without it (Searle 1971, ch. 5)."""
    return np.linalg.matrix_rank(np.vstack([columns, contrast])) == np.linalg.matrix_rank(columns)


@given(TABLES)
def test_estimable_exactly_where_the_rank_says_so(table):
    groups, levels = rows_of(table)
    contrast = np.zeros(table.shape[0])
    contrast[0], contrast[1] = 1, -1
    alone = has_estimate(groups, contrast)
    beside = has_estimate(np.hstack([groups, levels]), np.r_[contrast, np.zeros(table.shape[1])])
    for left in (information_left(table, contrast[None, :])[0], pairs_left(table)[0, 1], pairs_left(table)[1, 0]):
        assert np.isnan(left) == (not alone)
        if alone:
            assert (left > 0) == beside


@given(TABLES)
def test_the_share_left_is_the_ratio_of_least_squares_variances(table):
    groups, levels = rows_of(table)
    contrast = np.r_[1.0, -1.0, np.zeros(table.shape[0] - 2)]
    (left,) = information_left(table, contrast[None, :])
    if not left > 0:
        return
    both = np.hstack([groups, levels])
    wide = np.r_[contrast, np.zeros(table.shape[1])]
    alone = contrast @ np.linalg.pinv(groups.T @ groups) @ contrast
    beside = wide @ np.linalg.pinv(both.T @ both) @ wide
    assert left == pytest.approx(alone / beside, rel=1e-8)
    assert pairs_left(table)[0, 1] == pytest.approx(alone / beside, rel=1e-8)


@given(TABLES)
def test_groups_of_one_set_are_those_whose_differences_have_an_estimate(table):
    table = table[table.sum(axis=1) > 0]
    if len(table) < 2:
        return
    label = joined(table)
    both = np.hstack(rows_of(table))
    for other in range(1, len(table)):
        contrast = np.zeros(both.shape[1])
        contrast[0], contrast[other] = 1, -1
        assert (label[0] == label[other]) == has_estimate(both, contrast)


def test_a_balanced_incomplete_block_design_keeps_its_efficiency():
    # 4 treatments in blocks of 3: E = t (k - 1) / (k (t - 1)) = 8/9 (Cochran and Cox 1957, ch. 11)
    table = 1 - np.eye(4)
    assert information_left(table, [[1, -1, 0, 0]])[0] == pytest.approx(8 / 9)


def test_three_pairs_of_a_swap_one_the_other_way_keep_eight_ninths():
    # days -1 and +1 against a mean of three differences: variance of the intercept 3/8 in place of 1/3
    table = np.array([[1, 0], [0, 1], [1, 0], [0, 1], [0, 1], [1, 0]])  # without and with the swap, pair by pair
    columns = np.column_stack([[0, 1, 0, 1, 0, 1], np.kron(np.eye(3), np.ones((2, 1)))])
    assert information_left(table, np.eye(1, 4), columns)[0] == pytest.approx(8 / 9)


def test_below_is_exact_at_the_level():
    assert 0.05 < 1 - 0.95  # what floating numbers make of it
    assert not below(0.05, 1 - 0.95)
    assert below(np.nextafter(0.05, 0), 1 - 0.95)
    assert list(below([0.0499, 0.05, 0.0501, np.nan], 0.05)) == [True, False, False, False]
    assert not below(0.1, 1 - 0.9)


def test_sets_of_two_divisions():
    assert both_sets([0, 0, 1, 1], [0, 1, 1, 1]).tolist() == [0, 1, 2, 2]


@given(st.integers(1, 3), st.lists(st.tuples(*[st.integers(0, 2)] * 4), min_size=4, max_size=14))
def test_sets_told_are_those_between_which_every_difference_at_one_time_has_an_estimate(times, rows):
    group, time, *factors = (np.unique(codes, return_inverse=True)[1] for codes in np.transpose(rows))
    columns = np.eye((group.max() + 1) * times)[group * times + time % times]
    columns = columns[:, : (group.max() + 1) * times]
    if (columns.sum(axis=0) == 0).any() or np.linalg.matrix_rank(columns) < columns.shape[1]:
        return
    whole = np.hstack([columns, *(np.eye(codes.max() + 1)[codes] for codes in factors), np.ones((len(rows), 1))])
    found = sets_told(columns, factors, times)
    for one in range(group.max() + 1):
        for other in range(one):
            contrasts = np.zeros((times, whole.shape[1]))
            for each in range(times):
                contrasts[each, one * times + each], contrasts[each, other * times + each] = 1, -1
            told = all(has_estimate(whole, contrast) for contrast in contrasts)
            assert (found[one] == found[other]) == told


def test_a_factor_alike_in_all_rows_but_one_sets_two_groups_apart():
    assert sets_told(np.eye(3)[[0, 0, 1, 1, 2, 2]], [[0, 0, 1, 1, 1, 0]]).tolist() == [0, 0, 0]
    assert sets_told(np.eye(3)[[0, 0, 1, 1, 2, 2]], [[0, 0, 1, 1, 1, 1]]).tolist() == [0, 1, 1]
