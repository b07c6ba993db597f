"""Dunnett's distribution against the exact tables, R's multcomp and scipy's multivariate t."""

import numpy as np
import pytest
import scipy.stats

from panel.stats.comparing.multiplicity import many_to_one

TABLE = 5e-4  # the exact two-sided values are given to three decimals
QMC = 2e-4  # scipy's multivariate t integrates by quasi-Monte Carlo


def equicorrelated(k):
    return np.full((k, k), 0.5) + 0.5 * np.eye(k)


@pytest.mark.parametrize(
    ("df", "expected"),
    [
        # two-sided 5 %, exact; Dunnett 1964, Biometrics 20:482 (from memory) prints the same to two decimals
        (10, [2.228, 2.568, 2.759, 2.890, 2.990, 3.070, 3.137]),
        (20, [2.086, 2.379, 2.540, 2.651, 2.735, 2.802, 2.857]),
        (30, [2.042, 2.321, 2.474, 2.578, 2.657, 2.720, 2.772]),
        (60, [2.000, 2.265, 2.410, 2.508, 2.582, 2.642, 2.691]),
    ],
)
def test_exact_two_sided_values(df, expected):
    ours = [many_to_one(equicorrelated(k))[0].isf(0.05, np.array([float(df)]))[0] for k in range(1, 8)]
    np.testing.assert_allclose(ours, expected, atol=TABLE)


def test_worked_example_with_unequal_numbers():
    # Dunnett 1955, J. Am. Stat. Assoc. 50:1096, example; R multcomp values kept in scipy's tests of dunnett
    control = [7.40, 8.50, 7.20, 8.24, 9.84, 8.32]
    a, b = [9.76, 8.80, 7.68, 9.36], [12.80, 9.68, 12.16, 9.20, 10.55]
    groups = [control, a, b]
    df = sum(len(g) - 1 for g in groups)
    mse = sum(((np.array(g) - np.mean(g)) ** 2).sum() for g in groups) / df
    v = [mse / len(g) for g in groups]
    family, _ = many_to_one(np.array([[v[1] + v[0], v[0]], [v[0], v[2] + v[0]]]))
    error = np.sqrt([v[1] + v[0], v[2] + v[0]])
    difference = np.array([np.mean(a), np.mean(b)]) - np.mean(control)
    np.testing.assert_allclose(difference / error, [0.85703, 3.69375], atol=1e-5)
    dfs = np.full(2, float(df))
    np.testing.assert_allclose(family.sf(np.abs(difference / error), dfs), [0.6201020, 0.0058254], atol=QMC)
    half = family.isf(0.05, dfs) * error
    np.testing.assert_allclose(difference - half, [-1.25641, 0.83963], atol=2e-3)
    np.testing.assert_allclose(difference + half, [2.55641, 4.41637], atol=2e-3)


def test_unequal_correlations_agree_with_the_multivariate_t():
    rng = np.random.default_rng(5)
    v = rng.uniform(0.5, 2.0, size=6)
    covariance = np.diag(v[1:]) + v[0]
    correlation = covariance / np.sqrt(np.outer(np.diagonal(covariance), np.diagonal(covariance)))
    family, misfit = many_to_one(covariance)
    assert misfit < 1e-9
    t = scipy.stats.multivariate_t(np.zeros(5), correlation, df=17, seed=7)
    for c in (1.5, 2.5, 3.5):
        inside = t.cdf(np.full(5, c), lower_limit=np.full(5, -c))
        assert family.sf(np.array([c]), np.array([17.0]))[0] == pytest.approx(1 - inside, abs=QMC)


def test_correlations_that_one_factor_misses_say_so_and_stay_close():
    correlation = np.array([[1, 0.7, 0.4], [0.7, 1, 0.5], [0.4, 0.5, 1.0]])
    correlation[0, 2] = correlation[2, 0] = 0.2
    family, misfit = many_to_one(correlation)
    assert misfit > 0.001
    t = scipy.stats.multivariate_t(np.zeros(3), correlation, df=30, seed=7)
    inside = t.cdf(np.full(3, 2.4), lower_limit=np.full(3, -2.4))
    assert family.sf(np.array([2.4]), np.array([30.0]))[0] == pytest.approx(1 - inside, abs=2e-3)
