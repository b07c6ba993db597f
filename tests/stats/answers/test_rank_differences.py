"""Differences of rank sums against the formula of the standard, the studentized range and simulation."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm, studentized_range

from panel.stats.answers.ranks import rank_sum_differences, ranks_within_blocks
from tests.stats.answers.test_ranks import GRASSES


def untied(n, k, seed=0):
    return np.random.default_rng(seed).random((n, k))


@settings(deadline=None)
@given(st.integers(2, 15), st.integers(2, 6))
def test_without_ties_the_error_is_that_of_the_standard(n, k):
    # sqrt(n k (k + 1) / 6), as in the least difference of ISO 8587 for complete blocks
    assert rank_sum_differences(untied(n, k))["std_error"] == pytest.approx(np.sqrt(n * k * (k + 1) / 6))


def test_ties_lower_the_standard_error_to_that_of_their_permutations():
    ranks = ranks_within_blocks(GRASSES)
    rng = np.random.default_rng(3)
    sums = np.array([rng.permuted(ranks, axis=1).sum(axis=0) for _ in range(20_000)])
    found = rank_sum_differences(GRASSES)
    assert found["std_error"] == pytest.approx((sums[:, 1] - sums[:, 0]).std(), rel=0.02)  # 4 SE of a simulated SD
    assert found["std_error"] < np.sqrt(12 * 4 * 5 / 6)


def test_pairs_are_later_minus_earlier_and_p_values_are_ordered():
    found = rank_sum_differences(GRASSES)
    np.testing.assert_allclose(found["difference"], [-14.5, -13.5, -4.0, 1.0, 10.5, 9.5], atol=1e-9)
    assert list(zip(found["second"], found["first"], strict=True)) == [(0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3)]
    assert (found["p_adjusted"] >= found["p_value"]).all()
    np.testing.assert_allclose(
        found["p_value"], 2 * norm.sf(np.abs(found["difference"]) / found["std_error"]), rtol=1e-10
    )
    z = np.abs(found["difference"]) / found["std_error"]
    # over all pairs: the studentized range of 4 with infinite df (Nemenyi; Hollander & Wolfe 1973, section 7.3)
    np.testing.assert_allclose(found["p_adjusted"], studentized_range.sf(z * np.sqrt(2), 4, np.inf), atol=1e-7)


@pytest.mark.parametrize(("n", "k"), [(6, 4), (10, 6)])
def test_false_alarms_over_all_pairs_stay_below_nominal(n, k):
    rng = np.random.default_rng(17)
    smallest = np.array([rank_sum_differences(rng.random((n, k)))["p_adjusted"].min() for _ in range(2000)])
    assert (smallest <= 0.05).mean() <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 2000)
