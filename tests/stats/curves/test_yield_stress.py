"""When a flow curve tells a yield stress, how sure, and when it must say that it does not."""

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import f

from panel.stats.curves.flow import _fit_flow, _highest_useful_rate, _yield_stress_interval
from tests.stats.flow_points import casson, herschel_bulkley, noisy

# Between 0.1 and 1000 1/s, the range of a usual sweep.
SWEEP = np.geomspace(0.1, 1000, 16)


def test_the_rate_below_which_a_yield_stress_shows():
    # There, what flows is three times the yield stress: 3 sigma0 / K for n = 1 and for Casson's model.
    assert _highest_useful_rate("casson", np.array([14.28, 1.863])) == pytest.approx(3 * 14.28 / 1.863)
    assert _highest_useful_rate("herschel_bulkley", np.array([20.0, 5.0, 1.0])) == pytest.approx(12)
    rate = _highest_useful_rate("herschel_bulkley", np.array([20.0, 5.0, 0.45]))
    assert 5 * rate**0.45 == pytest.approx(60)
    assert _highest_useful_rate("casson", np.array([0.0, 1.0])) == 0
    assert _highest_useful_rate("casson", np.array([1.0, 0.0])) == np.inf


@pytest.mark.parametrize(("model", "curve"), [("herschel_bulkley", herschel_bulkley), ("casson", casson)])
def test_the_ends_of_the_interval_are_where_the_f_test_says(model, curve):
    # An independent second computation: the smallest sum of squares with the yield stress held, by a general
    # minimiser, must lie at minimum x (1 + F / df), F with 1 and df degrees of freedom.
    stress = noisy(np.random.default_rng(4), curve(SWEEP), 0.05)
    weights = stress**-2.0
    fit = _fit_flow(SWEEP, stress, model)
    ends = _yield_stress_interval(model, SWEEP, stress, weights, fit.parameters, fit.residual_sum, 0.9)
    for end in ends:

        def held(rest, end=end):
            told = curve(SWEEP, end, *np.exp(rest))
            return weights @ (stress - told) ** 2

        smallest = minimize(held, np.log(fit.parameters[1:]), method="Nelder-Mead", options={"fatol": 1e-14}).fun
        np.testing.assert_allclose(smallest, fit.residual_sum * (1 + f.ppf(0.9, 1, fit.df) / fit.df), rtol=1e-5)
    assert ends[0] < fit.parameters[0] < ends[1]


def test_the_interval_holds_the_true_yield_stress_as_often_as_it_says():
    # 300 simulated curves with 3 % scatter; 95 % +- 4 standard errors of a share (1.26 %).
    rng = np.random.default_rng(20250311)
    held = 0
    for _ in range(300):
        stress = noisy(rng, herschel_bulkley(SWEEP), 0.03)
        fit = _fit_flow(SWEEP, stress, "herschel_bulkley")
        held += fit.ci_low[0] <= 20 <= fit.ci_high[0]
    assert held / 300 == pytest.approx(0.95, abs=4 * np.sqrt(0.95 * 0.05 / 300))


def test_without_low_rates_the_interval_is_wide_and_the_yield_stress_is_not_told():
    rng = np.random.default_rng(1)
    low = _fit_flow(SWEEP, noisy(rng, herschel_bulkley(SWEEP)), "herschel_bulkley")
    high_rates = np.geomspace(300, 3000, 16)  # the yield stress shows below 250 1/s
    high = _fit_flow(high_rates, noisy(rng, herschel_bulkley(high_rates)), "herschel_bulkley")
    assert low.yield_stress_seen
    assert not high.yield_stress_seen
    assert high.ci_high[0] - high.ci_low[0] > 10 * (low.ci_high[0] - low.ci_low[0])
    assert high.ci_low[0] == 0


@pytest.mark.parametrize(("model", "curve"), [("herschel_bulkley", herschel_bulkley), ("casson", casson)])
def test_exact_points_without_low_rates_are_not_believed(model, curve):
    # Without scatter the fit itself is perfect; the interval becomes what holds without a model.
    rates = np.geomspace(400, 4000, 9)
    fit = _fit_flow(rates, curve(rates), model)
    assert not fit.yield_stress_seen
    assert fit.ci_low[0] == 0
    assert fit.ci_high[0] == pytest.approx(curve(rates)[0], rel=1e-6)
