"""Statistics of residuals against scipy, and the simulated reference against what it promises."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.stats import levene, probplot, spearmanr

from panel.stats.mixed.residuals import (
    normal_plot_correlation,
    residual_maker,
    share_reaching,
    simulated_residuals,
    spread_by_group,
    spread_with_level,
)
from tests.stats.mixed.test_mixed_residuals import crossed

SAME = 1e-9


@settings(deadline=None)
@given(st.integers(0, 10_000))
def test_spread_by_group_equals_scipys_levene_about_the_median(seed):
    rng = np.random.default_rng(seed)
    group = rng.permutation(np.repeat([0, 1, 2], [5, 4, 7]))
    values = rng.normal(size=(16, 3)) * (1 + group[:, None])
    found = spread_by_group(values, group)
    for column in range(3):
        theirs = levene(*(values[group == g, column] for g in range(3)), center="median")
        assert found[column] == pytest.approx(theirs.statistic, rel=SAME)


@settings(deadline=None)
@given(arrays(float, (12, 2), elements=st.integers(-4, 4).map(float)), st.integers(0, 10_000))
def test_spread_with_level_equals_scipys_spearman_ties_included(values, seed):
    level = np.random.default_rng(seed).integers(0, 6, (12, 2)).astype(float)
    found = spread_with_level(values, level)
    for column in range(2):
        if np.ptp(np.abs(values[:, column])) == 0 or np.ptp(level[:, column]) == 0:
            assert found[column] == 0.0
        else:
            theirs = spearmanr(np.abs(values[:, column]), level[:, column]).statistic
            assert found[column] == pytest.approx(theirs, abs=SAME)


def test_values_that_only_rounding_tells_apart_are_tied():
    # scores of one assessor and prototype share their fitted value, in whatever order it was summed
    rng = np.random.default_rng(7)
    values, level = rng.normal(size=(24, 40)), np.repeat(50 + 10 * rng.normal(size=(8, 40)), 3, axis=0)
    rounded = level * (1 + 1e-15 * rng.integers(-3, 4, level.shape))
    assert (rounded != level).any()
    np.testing.assert_array_equal(spread_with_level(values, rounded), spread_with_level(values, level))


@pytest.mark.parametrize("n", [5, 24, 231])
def test_plot_correlation_equals_scipys_probability_plot(n):
    values = np.random.default_rng(n).normal(size=(n, 2)) ** 3
    found = normal_plot_correlation(values)
    for column in range(2):
        assert found[column] == pytest.approx(probplot(values[:, column])[1][2], abs=SAME)


def test_fillibens_published_points():
    # Filliben (1975), Technometrics 17:111, table 1: 5 % points .917 for n = 10 and .977 for n = 50 (from memory);
    # 20,000 draws give them to about .001
    rng = np.random.default_rng(1)
    for n, point in ((10, 0.917), (50, 0.977)):
        drawn = normal_plot_correlation(rng.normal(size=(n, 20_000)))
        assert np.quantile(drawn, 0.05) == pytest.approx(point, abs=0.002)


def test_nothing_to_compare_gives_zero():
    assert spread_by_group(np.ones((4, 2)), np.array([0, 0, 1, 1])).tolist() == [0.0, 0.0]
    assert spread_by_group(np.ones((4, 1)), np.zeros(4, dtype=int)).tolist() == [0.0]
    assert spread_by_group(np.arange(3.0)[:, None], np.arange(3)).tolist() == [0.0]


def test_simulated_residuals_have_the_covariance_of_the_models_residuals():
    y, fixed, groups = crossed(1)
    gamma = np.array([2.0, 0.5, 0.0])
    maker = residual_maker(fixed, groups, gamma)
    residual, bent = simulated_residuals(maker, groups, gamma, 6000, np.random.default_rng(2))
    expected = maker.residual(np.eye(len(y)))  # P, the covariance in units of the residual variance
    np.testing.assert_allclose(residual @ residual.T / 6000, expected, atol=5 / np.sqrt(6000))
    # residual and what is fitted add up to scores with the model's own covariance
    total = residual + bent
    v = np.eye(len(y)) + 2.0 * (groups[0][:, None] == groups[0]) + 0.5 * (groups[1][:, None] == groups[1])
    np.testing.assert_allclose(total @ total.T / 6000, v, atol=5 * 3.5 * np.sqrt(2 / 6000))


def test_the_same_seed_gives_the_same_draws():
    _, fixed, groups = crossed(1)
    maker = residual_maker(fixed, groups, np.ones(3))
    first, second = (simulated_residuals(maker, groups, np.ones(3), 5, np.random.default_rng(7))[0] for _ in range(2))
    np.testing.assert_array_equal(first, second)


def test_share_reaching_counts_the_observed_one():
    simulated = np.array([1.0, 2.0, 3.0, 4.0])
    assert share_reaching(simulated, 5.0) == pytest.approx(1 / 5)
    assert share_reaching(simulated, 3.0) == pytest.approx(3 / 5)
    assert share_reaching(simulated, 0.0) == pytest.approx(1.0)
