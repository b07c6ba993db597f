"""Correlations against scipy, the needed size against a printed table, and intervals against the density of r."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.special import gammaln, hyp2f1
from scipy.stats import pearsonr

from panel.stats.maps.links import correlation_interval, correlations, needed_correlation

EXACT = 1e-10  # two computations in double precision


def tables(seed, n=8, p=3, q=4):
    rng = np.random.default_rng(seed)
    common = rng.normal(size=(n, 1))
    return rng.normal(size=(n, p)) + common, 100 + 20 * rng.normal(size=(n, q)) + 15 * common


def test_each_pair_equals_scipy():
    X, Y = tables(1)
    found = correlations(X, Y)
    for i in range(3):
        for j in range(4):
            judge = pearsonr(X[:, i], Y[:, j])
            np.testing.assert_allclose(found["estimate"][i, j], judge.statistic, rtol=EXACT)
            np.testing.assert_allclose(found["p_value"][i, j], judge.pvalue, rtol=1e-8)
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
        assert np.isnan([found["estimate"][0, 0], found["p_value"][0, 0]]).all()
    np.testing.assert_array_equal(correlation_interval([-1, 1, np.nan], 8, 0.05), [[-1, 1, np.nan]] * 2)


def test_the_p_value_has_its_size():
    # Unrelated normal columns: 5 % of 20000 pairs +- 4 standard errors.
    rng = np.random.default_rng(9)
    p = np.concatenate(
        [correlations(rng.normal(size=(8, 10)), rng.normal(size=(8, 10)))["p_value"].ravel() for _ in range(200)]
    )
    assert np.mean(p < 0.05) == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / p.size))


def density(r, rho, n):
    # Hotelling (1953), Journal of the Royal Statistical Society B 15, 193-232, formula 25.
    log_size = np.log(n - 2) + gammaln(n - 1) - np.log(2 * np.pi) / 2 - gammaln(n - 0.5)
    shape = (1 - rho**2) ** ((n - 1) / 2) * (1 - r**2) ** ((n - 4) / 2) * (1 - rho * r) ** (1.5 - n)
    return np.exp(log_size) * shape * hyp2f1(0.5, 0.5, n - 0.5, (1 + rho * r) / 2)


@pytest.mark.parametrize("n", [4, 5, 8, 12, 30])
@pytest.mark.parametrize("r", [-0.9, -0.3, 0.0, 0.5, 0.8])
@pytest.mark.parametrize("alpha", [0.05, 0.002])
def test_at_either_end_an_r_so_far_out_has_half_of_what_is_left(n, r, alpha):
    low, high = (float(end) for end in correlation_interval(r, n, alpha))
    above, below = quad(density, r, 1, (low, n))[0], quad(density, -1, r, (high, n))[0]
    np.testing.assert_allclose([above, below], alpha / 2, rtol=1e-5)  # of the integral of a density with a steep end


def test_of_many_rows_it_is_fishers_interval():
    # Fisher's atanh(r) has a variance of 1 / (n - 3) and a bias of rho / (2 (n - 1)): with n = 20,000 and r = 0.6 the
    # ends differ by less than that bias times 1 - r^2, 1e-5.
    ends = correlation_interval(0.6, 20_000, 0.05)
    rng = np.random.default_rng(1)
    x, noise = rng.normal(size=(2, 20_000))
    noise -= x * (noise @ x) / (x @ x)
    x, noise = x - x.mean(), noise - noise.mean()
    y = 0.6 * x / np.linalg.norm(x) + 0.8 * noise / np.linalg.norm(noise)
    judge = pearsonr(x, y)
    theirs = np.array(judge.confidence_interval(0.95)) + 0.6 - judge.statistic
    np.testing.assert_allclose(ends, theirs, atol=2e-5)


def test_it_ends_at_zero_at_the_printed_limits():
    # Fisher and Yates, as above: the r that is told at 5 % and at 1 %, two-sided, to the four digits printed.
    limits = np.array([0.8114, 0.7067, 0.6319, 0.5760])
    np.testing.assert_allclose(correlation_interval(limits, [6, 8, 10, 12], 0.05)[0], 0, atol=2e-4)
    np.testing.assert_allclose(correlation_interval([-0.8343, -0.7079], [8, 12], 0.01)[1], 0, atol=2e-4)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.floats(-0.9999, 0.9999), st.integers(4, 60), st.floats(1e-4, 0.3)), min_size=1))
def test_it_leaves_out_zero_exactly_where_the_t_test_tells(rows):
    r, n, alpha = (np.array(each) for each in zip(*rows, strict=True))
    low, high = correlation_interval(r, n, alpha)
    told = np.abs(r) - needed_correlation(n, 1 - alpha)
    clear = np.abs(told) > 1e-9  # nearer, both round
    np.testing.assert_array_equal(((low > 0) | (high < 0))[clear], (told > 0)[clear])
    assert ((low < r) & (r < high)).all()
    turned = correlation_interval(-r, n, alpha)
    np.testing.assert_allclose(turned, [-high, -low], atol=1e-9)


def test_it_holds_the_truth_as_often_as_it_says():
    # 20,000 samples of 6 rows, true correlation 0.8: 90 % +- 4 standard errors.
    rng = np.random.default_rng(4)
    x, noise = rng.normal(size=(2, 20_000, 6))
    y = 0.8 * x + 0.6 * noise
    x, y = (each - each.mean(axis=1, keepdims=True) for each in (x, y))
    r = (x * y).sum(axis=1) / np.sqrt((x**2).sum(axis=1) * (y**2).sum(axis=1))
    at = np.linspace(-0.999, 0.9999, 1001)  # the ends rise with r: read off between so many of them
    low, high = correlation_interval(at, 6, 0.1)
    assert (np.diff(low) > 0).all()
    assert (np.diff(high) > 0).all()
    for misses in (np.interp(r, at, low) > 0.8, np.interp(r, at, high) < 0.8):
        assert np.mean(misses) == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / len(r)))
