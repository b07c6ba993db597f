"""Percentiles and their distribution-free intervals against scipy, and what must always hold."""

import numpy as np
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from panel.errors import ModelError
from panel.stats.answers.binomial import percentile_interval

values_lists = st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=60)


@pytest.mark.parametrize("n", [1, 5, 8, 20, 36, 58, 100])
@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
@pytest.mark.parametrize("level", [0.90, 0.95])
def test_the_interval_is_that_of_scipy(n, share, level):
    # scipy.stats.quantile_test: Conover (1999), Practical Nonparametric Statistics, section 3.2; ends NaN where open
    values = np.random.default_rng(n).exponential(size=n)
    _, low, high = percentile_interval(values, share, level)
    judge = scipy.stats.quantile_test(values, p=share).confidence_interval(confidence_level=level)
    np.testing.assert_array_equal(
        [low, high],
        [-np.inf if np.isnan(judge.low) else judge.low, np.inf if np.isnan(judge.high) else judge.high],
    )


def test_the_median_of_ten_values_lies_between_the_second_and_the_ninth():
    # P(2 <= X <= 8) = 0.9785 for a binomial count of 10 at 1/2: the table of the sign test
    found = percentile_interval(np.arange(1, 11), 0.5)
    assert found == (5.5, 2.0, 9.0)


def test_a_90th_percentile_has_no_upper_limit_below_36_values():
    # 0.9**n falls below 2.5 % from n = 36
    assert percentile_interval(np.arange(35), 0.9)[2] == np.inf
    assert percentile_interval(np.arange(36), 0.9)[2] == 35


def test_the_true_percentile_is_held_at_least_as_often_as_said():
    rng = np.random.default_rng(20250311)
    draws = rng.exponential(size=(4000, 40))
    found = [percentile_interval(row, 0.5) for row in draws]
    held = np.mean([low <= np.log(2) <= high for _, low, high in found])
    assert held >= 0.95 - 4 * np.sqrt(0.95 * 0.05 / 4000)


@given(values_lists, st.floats(0.05, 0.95))
def test_ends_are_values_around_the_estimate_and_do_not_depend_on_the_order(values, share):
    found = percentile_interval(values, share)
    assert found == percentile_interval(values[::-1], share)
    estimate, low, high = found
    assert low <= estimate <= high
    for end in (low, high):
        assert end in values or np.isinf(end)


@pytest.mark.parametrize(("values", "share"), [([], 0.5), ([1.0], 0.0), ([1.0], 1.0)])
def test_what_gives_no_percentile_is_refused(values, share):
    with pytest.raises(ModelError, match="A percentile needs at least one value"):
        percentile_interval(values, share)
