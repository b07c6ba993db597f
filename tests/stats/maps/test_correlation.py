"""Correlations against scipy, the needed size against a printed table, and columns that cannot be correlated."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import pearsonr

from panel.stats.maps.links import correlations, needed_correlation

EXACT = 1e-10  # two computations in double precision


def tables(seed, n=8, p=3, q=4):
    rng = np.random.default_rng(seed)
    common = rng.normal(size=(n, 1))
    return rng.normal(size=(n, p)) + common, 100 + 20 * rng.normal(size=(n, q)) + 15 * common


@pytest.mark.parametrize("level", [0.95, 0.8])
def test_each_pair_equals_scipy(level):
    X, Y = tables(1)
    found = correlations(X, Y, level)
    for i in range(3):
        for j in range(4):
            judge = pearsonr(X[:, i], Y[:, j])
            low, high = judge.confidence_interval(level)
            np.testing.assert_allclose(found["estimate"][i, j], judge.statistic, rtol=EXACT)
            np.testing.assert_allclose(found["p_value"][i, j], judge.pvalue, rtol=1e-8)
            np.testing.assert_allclose([found["ci_low"][i, j], found["ci_high"][i, j]], [low, high], rtol=EXACT)
    assert (found["n"] == 8).all()


def test_gaps_cost_only_the_pairs_they_are_in():
    X, Y = tables(2)
    X[0, 1], Y[3, 2], Y[0, 2] = np.nan, np.nan, np.nan
    found, whole = correlations(X, Y), correlations(*tables(2))
    known = np.isfinite(X[:, 1]) & np.isfinite(Y[:, 2])
    np.testing.assert_allclose(found["estimate"][1, 2], pearsonr(X[known, 1], Y[known, 2]).statistic, rtol=EXACT)
    assert found["n"][1].tolist() == [7, 7, 6, 7]
    np.testing.assert_allclose(found["estimate"][0, 0], whole["estimate"][0, 0], rtol=EXACT)


def test_the_needed_size_is_that_of_the_printed_tables():
    # Fisher and Yates, Statistical Tables, table of the correlation coefficient, two-sided 5 % and 1 %.
    np.testing.assert_allclose(needed_correlation([6, 8, 10, 12]), [0.8114, 0.7067, 0.6319, 0.5760], atol=5e-5)
    np.testing.assert_allclose(needed_correlation([8, 12], 0.99), [0.8343, 0.7079], atol=5e-5)
    assert np.isnan(needed_correlation(2))


@settings(max_examples=30, deadline=None)
@given(st.integers(4, 40), st.integers(0, 10_000))
def test_the_needed_size_is_where_p_crosses(n, seed):
    rng = np.random.default_rng(seed)
    found = correlations(rng.normal(size=n), rng.normal(size=n))
    beyond = abs(found["estimate"][0, 0]) > needed_correlation(n)
    assert bool(beyond) == bool(found["p_value"][0, 0] < 0.05)


@settings(max_examples=30, deadline=None)
@given(st.floats(-1e3, 1e3), st.floats(1e-3, 1e3), st.booleans())
def test_other_units_change_nothing_but_the_sign(shift, scale, turned):
    X, Y = tables(3)
    sign = -1 if turned else 1
    one, other = correlations(X, Y), correlations(X, shift + sign * scale * Y)
    np.testing.assert_allclose(other["estimate"], sign * one["estimate"], atol=1e-8)
    np.testing.assert_allclose(other["p_value"], one["p_value"], rtol=1e-4)


def test_a_perfect_line_and_what_cannot_be_correlated():
    X = np.arange(8.0)
    perfect = correlations(X, 3 - 2 * X)
    assert perfect["estimate"][0, 0] == pytest.approx(-1)
    assert perfect["p_value"][0, 0] < 1e-12
    for second in (np.full(8, 7.3), np.where(X < 3, X, np.nan)):
        found = correlations(X, second)
        assert np.isnan(
            [found["estimate"][0, 0], found["p_value"][0, 0], found["ci_low"][0, 0], found["ci_high"][0, 0]]
        ).all()


def test_the_p_value_has_its_size():
    # Unrelated normal columns: 5 % of 20000 pairs +- 4 standard errors.
    rng = np.random.default_rng(9)
    p = np.concatenate(
        [correlations(rng.normal(size=(8, 10)), rng.normal(size=(8, 10)))["p_value"].ravel() for _ in range(200)]
    )
    assert np.mean(p < 0.05) == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / p.size))
