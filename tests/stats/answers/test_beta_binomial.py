"""The beta-binomial against scipy's own, its limits, and the size of its tests by drawing people."""

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.special import gammaln
from scipy.stats import betabinom, binom

from panel.errors import ModelError
from panel.stats.answers.discrimination import _log_likelihood, fit_beta_binomial

# An invented table: twelve people with four answers each.
X = np.array([4, 4, 3, 1, 0, 4, 2, 1, 4, 0, 3, 4], dtype=float)
N = np.full(12, 4.0)
CLOSED_FORM = 1e-9
OPTIMUM = 1e-5  # two optimisers stop within this of each other


def with_coefficients(x, n, mu, rho):
    ways = gammaln(n + 1) - gammaln(x + 1) - gammaln(n - x + 1)
    return _log_likelihood(x, n, mu, rho) + ways.sum()


@pytest.mark.parametrize(("mu", "rho"), [(0.3, 0.05), (0.5, 0.4), (0.9, 0.8), (0.6, 1e-5)])
def test_the_likelihood_is_that_of_scipy(mu, rho):
    size = (1 - rho) / rho
    theirs = betabinom.logpmf(X, N, mu * size, (1 - mu) * size).sum()
    assert with_coefficients(X, N, mu, rho) == pytest.approx(theirs, abs=1e-6)


def test_without_spread_it_is_the_binomial():
    theirs = binom.logpmf(X, N, 0.6).sum()
    assert with_coefficients(X, N, 0.6, 0.0) == pytest.approx(theirs, abs=CLOSED_FORM)
    assert with_coefficients(X, N, 0.6, 1e-6) == pytest.approx(theirs, abs=1e-4)


def test_the_fit_is_the_top_of_scipys_likelihood():
    def minus(parameters):
        a, b = np.exp(parameters)
        return -betabinom.logpmf(X, N, a, b).sum()

    best = minimize(minus, [0.0, 0.0], method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-12, "maxiter": 4000})
    a, b = np.exp(best.x)
    found = fit_beta_binomial(X, N)
    assert found.mu == pytest.approx(a / (a + b), abs=OPTIMUM)
    assert found.rho == pytest.approx(1 / (a + b + 1), abs=OPTIMUM)


def test_standard_errors_are_those_of_the_curvature_in_other_parameters():
    found = fit_beta_binomial(X, N)
    size = (1 - found.rho) / found.rho
    at, step = np.array([found.mu * size, (1 - found.mu) * size]), 1e-4
    hessian = np.empty((2, 2))
    for i in range(2):
        for j in range(2):
            ends = [
                s * t * betabinom.logpmf(X, N, *(at + step * (s * np.eye(2)[i] + t * np.eye(2)[j]))).sum()
                for s in (1, -1)
                for t in (1, -1)
            ]
            hessian[i, j] = sum(ends) / (4 * step**2)
    covariance = np.linalg.inv(-hessian)
    total = at.sum()
    of_mu = np.array([at[1], -at[0]]) / total**2
    of_rho = -np.ones(2) / (total + 1) ** 2
    assert found.std_error == pytest.approx(np.sqrt(of_mu @ covariance @ of_mu), rel=1e-3)
    assert found.rho_std_error == pytest.approx(np.sqrt(of_rho @ covariance @ of_rho), rel=1e-3)


def test_the_interval_is_where_the_likelihood_has_fallen_enough():
    found = fit_beta_binomial(X, N)
    assert found.low < found.mu < found.high
    for end in (found.low, found.high):
        assert abs(found.signed_root(end)) == pytest.approx(2.200985, abs=1e-5)  # Student's t, 11 df, from tables
    assert found.p_above(found.low) == pytest.approx(0.025, abs=1e-6)
    assert found.p_below(found.high) == pytest.approx(0.025, abs=1e-6)
    assert found.p_above(found.mu) == pytest.approx(0.5)


def test_answers_without_spread_are_fitted_as_binomial():
    x, n = np.full(10, 2.0), np.full(10, 4.0)
    found = fit_beta_binomial(x, n)
    assert found.rho == 0.0
    assert found.p_no_spread == 1.0
    assert found.mu == pytest.approx(0.5, abs=1e-6)
    assert found.std_error == pytest.approx(np.sqrt(0.25 / 40))
    assert np.isnan(found.rho_std_error)
    # the likelihood interval of a plain binomial share
    p = np.array([found.low, found.high])
    fallen = 2 * (40 * np.log(0.5) - (20 * np.log(p) + 20 * np.log(1 - p)))
    assert fallen == pytest.approx([2.262157**2] * 2, abs=1e-4)  # Student's t, 9 df, from tables


def test_people_who_always_answer_alike_count_once():
    x, n = np.array([3.0, 0, 3, 3, 0, 3, 3, 0, 3, 3]), np.full(10, 3.0)
    found = fit_beta_binomial(x, n)
    assert found.rho > 0.95
    assert found.p_no_spread < 1e-4
    # ten people instead of thirty answers
    assert found.high - found.low > 0.9 * 2 * 1.96 * np.sqrt(0.7 * 0.3 / 10)


def test_right_and_wrong_may_change_places():
    one, other = fit_beta_binomial(X, N), fit_beta_binomial(N - X, N)
    assert other.mu == pytest.approx(1 - one.mu, abs=OPTIMUM)
    assert other.rho == pytest.approx(one.rho, abs=OPTIMUM)
    assert other.low == pytest.approx(1 - one.high, abs=OPTIMUM)


def test_size_when_nobody_differs():
    """Guessing in triangle tests, three each: both tests keep near their 5 %."""
    rng = np.random.default_rng(41)
    people, draws = 24, 250
    n = np.full(people, 3.0)
    fits = [fit_beta_binomial(rng.binomial(3, 1 / 3, people).astype(float), n) for _ in range(draws)]
    error = np.sqrt(0.05 * 0.95 / draws)
    spread = np.mean([fit.p_no_spread < 0.05 for fit in fits])
    above = np.mean([fit.p_above(1 / 3) < 0.05 for fit in fits])
    assert spread < 0.05 + 4 * error
    assert above < 0.05 + 4 * error
    assert 0.5 <= np.mean([fit.p_no_spread == 1.0 for fit in fits]) < 0.7  # half of large samples, more of small ones


def test_messages():
    with pytest.raises(ModelError, match="Nobody answered more than once"):
        fit_beta_binomial(np.ones(5), np.ones(5))
    with pytest.raises(ModelError, match="All answers are alike"):
        fit_beta_binomial(np.full(5, 3.0), np.full(5, 3.0))
