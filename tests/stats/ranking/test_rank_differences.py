"""Differences of rank sums against Conover's example, the formulas of the standard, tables and simulation."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from panel.stats.ranking.ranks import (
    least_difference,
    least_difference_all_pairs,
    least_difference_conover,
    rank_sum_differences,
    ranks_within_blocks,
)
from tests.stats.ranking.test_ranks import GRASSES


def untied(n, k, seed=0):
    return np.random.default_rng(seed).random((n, k))


def test_conovers_least_significant_difference():
    # Conover (1999), p. 372: 11.48 for rank sums of 12 homeowners and 4 grasses (data as in test_ranks.py)
    assert least_difference_conover(GRASSES) == pytest.approx(11.48168, abs=5e-6)


@pytest.mark.parametrize(("level", "expected"), [(0.95, 12.3959), (0.99, 16.2910)])
def test_normal_theory_least_difference_of_12_assessors_and_4_samples(level, expected):
    # z sqrt(n k (k + 1) / 6), the formula of ISO 8587 for complete blocks without ties
    assert least_difference(untied(12, 4), level) == pytest.approx(expected, abs=5e-5)


@settings(deadline=None)
@given(st.integers(2, 15), st.integers(2, 6), st.floats(0.5, 0.999))
def test_without_ties_it_is_the_formula_of_the_standard(n, k, level):
    expected = norm.ppf((1 + level) / 2) * np.sqrt(n * k * (k + 1) / 6)
    assert least_difference(untied(n, k), level) == pytest.approx(expected)


# studentized range, infinite df, 5 %: Pearson & Hartley (1966), Biometrika Tables, table 29, three decimals
@pytest.mark.parametrize(
    ("k", "q"), [(2, 2.772), (3, 3.314), (4, 3.633), (5, 3.858), (6, 4.030), (8, 4.286), (10, 4.474)]
)
def test_all_pairs_use_the_range_of_k_means(k, q):
    # Nemenyi's difference of mean ranks, q sqrt(k (k + 1) / (12 n)) (Hollander & Wolfe 1973, section 7.3)
    n = 9
    found = least_difference_all_pairs(untied(n, k)) / n
    assert found == pytest.approx(q * np.sqrt(k * (k + 1) / (12 * n)), abs=5e-4 * np.sqrt(k * (k + 1) / (12 * n)))


def test_ties_lower_the_standard_error_to_that_of_their_permutations():
    ranks = ranks_within_blocks(GRASSES)
    rng = np.random.default_rng(3)
    sums = np.array([rng.permuted(ranks, axis=1).sum(axis=0) for _ in range(20_000)])
    found = rank_sum_differences(GRASSES)
    assert found.std_error == pytest.approx((sums[:, 1] - sums[:, 0]).std(), rel=0.02)  # 4 SE of a simulated SD
    assert found.std_error < np.sqrt(12 * 4 * 5 / 6)


def test_pairs_are_later_minus_earlier_and_p_values_are_ordered():
    found = rank_sum_differences(GRASSES)
    np.testing.assert_allclose(found.difference, [-14.5, -13.5, -4.0, 1.0, 10.5, 9.5], atol=1e-9)
    assert list(zip(found.second, found.first, strict=True)) == [(0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3)]
    assert (found.p_adjusted >= found.p_value).all()
    np.testing.assert_allclose(found.p_value, 2 * norm.sf(np.abs(found.difference) / found.std_error), rtol=1e-10)
    assert ((np.abs(found.difference) > least_difference_all_pairs(GRASSES)) == (found.p_adjusted < 0.05)).all()


@pytest.mark.parametrize(("n", "k"), [(6, 4), (10, 6)])
def test_false_alarms_over_all_pairs_stay_below_nominal(n, k):
    rng = np.random.default_rng(17)
    smallest = np.array([rank_sum_differences(rng.random((n, k))).p_adjusted.min() for _ in range(2000)])
    assert (smallest <= 0.05).mean() <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 2000)
