"""One descriptor at a time: against scipy, tables of critical values, a printed example, and simulation."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import linregress

from panel.stats.maps.links import _williams_test, needed_correlation, single_links

AGREES = 1e-9  # sums of squares in another order


def example(seed=1, n=8, d=3, q=2):
    rng = np.random.default_rng(seed)
    return rng.normal(size=(n, d)) * 50 + 200, rng.normal(size=(n, q)) * 7 + 40


def test_each_pair_is_the_simple_regression_of_scipy():
    X, Y = example()
    found = single_links(X, Y)
    for d in range(3):
        for q in range(2):
            theirs = linregress(X[:, d], Y[:, q])
            assert found["r"][d, q] == pytest.approx(theirs.rvalue, rel=AGREES)
            assert found["slope"][d, q] == pytest.approx(theirs.slope, rel=AGREES)
            assert found["std_error"][d, q] == pytest.approx(theirs.stderr, rel=AGREES)
            assert found["p_value"][d, q] == pytest.approx(theirs.pvalue, rel=1e-7)


def test_the_range_of_the_slope_leaves_out_each_row_in_turn():
    X, Y = example(2)
    slopes = [linregress(np.delete(X[:, 0], row), np.delete(Y[:, 1], row)).slope for row in range(8)]
    found = single_links(X, Y)
    assert found["slope_low"][0, 1] == pytest.approx(min(slopes))
    assert found["slope_high"][0, 1] == pytest.approx(max(slopes))


def test_what_does_not_vary_has_no_correlation():
    X, Y = example()
    X[:, 1], Y[:, 0] = 100 / 3, 5.0
    found = single_links(X, Y)
    assert np.isnan(found["r"][1]).all()
    assert np.isnan(found["r"][:, 0]).all()
    assert np.isnan(found["p_value"][1, 1])
    assert np.isfinite(found["r"][0, 1])


def test_a_slope_that_hangs_on_one_row_is_seen():
    # only the first row has the descriptor: without it nothing varies, so there is no slope
    X = np.r_[1.0, np.zeros(7)][:, None]
    found = single_links(X, np.random.default_rng(1).normal(size=(8, 1)))
    assert np.isnan(found["slope_low"][0, 0])


@pytest.mark.parametrize(("n", "r"), [(6, 0.811), (8, 0.707), (10, 0.632), (12, 0.576)])
def test_the_correlation_that_is_needed_is_that_of_the_tables(n, r):
    # critical values of r, two-sided 5 %: Fisher and Yates, Statistical Tables, as reprinted in every handbook
    assert needed_correlation(n) == pytest.approx(r, abs=5e-4)


@pytest.mark.parametrize("n", [6, 8, 12])
@pytest.mark.parametrize("descriptors", [5, 20])
def test_the_best_of_noise_is_what_simulation_gives(n, descriptors):
    rng = np.random.default_rng(n * descriptors)
    X, y = rng.normal(size=(4000, n, descriptors)), rng.normal(size=(4000, n))
    X, y = X - X.mean(axis=1, keepdims=True), y - y.mean(axis=1, keepdims=True)
    r = np.einsum("snd,sn->sd", X, y) / np.linalg.norm(X, axis=1) / np.linalg.norm(y, axis=1)[:, None]
    best = np.abs(r).max(axis=1)
    # median of 4000 draws: four standard errors of its rank are 3.2 %
    low, high = np.quantile(best, [0.5 - 0.032, 0.5 + 0.032])
    assert low < needed_correlation(n, 0.5 ** (1 / descriptors)) < high
    assert (best > needed_correlation(n, 0.95 ** (1 / descriptors))).mean() == pytest.approx(0.05, abs=0.014)


def test_williams_equals_the_printed_example():
    # Howell, Statistical Methods for Psychology, 6th ed., p. 262, as printed with Weaver's program (2012):
    # r12 .80, r13 .72, r23 .89, n 26 gives t(23) = 1.361, p = .187
    t, p = _williams_test(0.80, 0.72, 0.89, 26)
    assert t == pytest.approx(1.361, abs=5e-4)
    assert p == pytest.approx(0.187, abs=5e-4)


def test_williams_holds_its_level_when_two_columns_explain_alike():
    # y leans on both columns equally; 4000 studies of 12 rows, columns that correlate by about a half
    rng = np.random.default_rng(3)
    shared = rng.normal(size=(4000, 12, 1))
    X = shared + rng.normal(size=(4000, 12, 2))
    y = X.sum(axis=2) + 2 * rng.normal(size=(4000, 12))
    table = np.dstack([y, X])
    table = table - table.mean(axis=1, keepdims=True)
    table /= np.linalg.norm(table, axis=1, keepdims=True)
    r = np.einsum("snj,snk->sjk", table, table)
    _, p = _williams_test(r[:, 0, 1], r[:, 0, 2], r[:, 1, 2], 12)
    assert (p < 0.05).mean() < 0.05 + 4 * np.sqrt(0.05 * 0.95 / 4000)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000))
def test_swapping_the_columns_turns_the_sign(seed):
    r12, r13, r23 = np.random.default_rng(seed).uniform(-0.5, 0.5, 3)
    one, other = _williams_test(r12, r13, r23, 20), _williams_test(r13, r12, r23, 20)
    assert one[0] == pytest.approx(-other[0])
    assert one[1] == pytest.approx(other[1])
