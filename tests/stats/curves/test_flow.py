"""Flow curves: certified and constructed parameters, the choice of a model, invariances, and what is refused."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import curve_fit
from scipy.stats import t
from statsmodels.tools.eval_measures import aicc

from panel.errors import ModelError
from panel.stats.curves.flow import (
    CLEARLY_WORSE,
    FLOW_MODELS,
    _fit_flow,
    akaike_weights,
    fit_flow_models,
    needs_yield_stress,
)
from tests.stats.curves.test_least_squares import DANWOOD_X, DANWOOD_Y
from tests.stats.flow_points import CASSON, HERSCHEL_BULKLEY, RATES, casson, herschel_bulkley, noisy

CERTIFIED = 1e-6  # as in test_least_squares
EXACT = 1e-6  # asked of constructed curves
SCALED = 1e-6  # a numerical optimum before and after a change of units
SWEEP = np.geomspace(0.1, 1000, 16)
TRUTH = {"casson": (casson, CASSON), "herschel_bulkley": (herschel_bulkley, HERSCHEL_BULKLEY)}


def test_the_power_law_of_danwood_is_certified():
    # NIST StRD, DanWood: y = b1 x^b2.
    fit = _fit_flow(DANWOOD_X, DANWOOD_Y, "power_law", "equal")
    np.testing.assert_allclose(fit.parameters, [0.76886226176, 3.8604055871], rtol=CERTIFIED)
    np.testing.assert_allclose(fit.std_errors, [0.018281973860, 0.051726610913], rtol=CERTIFIED)
    np.testing.assert_allclose(fit.residual_sum, 0.0043173084083, rtol=CERTIFIED)
    assert fit.names == ("consistency", "flow_index")
    assert not fit.yield_stress_seen
    assert np.isnan(fit.highest_useful_rate)


@pytest.mark.parametrize("weighting", ["equal", "relative"])
@pytest.mark.parametrize("model", list(TRUTH))
def test_constructed_curves_are_recovered(model, weighting):
    curve, truth = TRUTH[model]
    fits = fit_flow_models(RATES, curve(RATES), weighting)
    assert fits[0].model == model
    np.testing.assert_allclose(fits[0].parameters, truth, rtol=EXACT)
    np.testing.assert_allclose(fits[0].stress(RATES), curve(RATES), rtol=EXACT)
    np.testing.assert_allclose(fits[0].ci_low, truth, rtol=EXACT)
    np.testing.assert_allclose(fits[0].ci_high, truth, rtol=EXACT)
    assert fits[0].yield_stress_seen
    assert (fits[0].lowest_rate, fits[0].highest_rate, fits[0].n) == (0.1, 1000, 7)
    assert [fit.aicc for fit in fits] == sorted(fit.aicc for fit in fits)
    assert needs_yield_stress(fits, model)


def test_aicc_equals_statsmodels():
    # From the log-likelihood of normal residuals; the residual variance counts as a parameter.
    stress = noisy(np.random.default_rng(1), herschel_bulkley(SWEEP), 0.1)
    fits = fit_flow_models(SWEEP, stress, "equal")
    for fit in fits:
        n = fit.n
        log_likelihood = -n / 2 * (np.log(2 * np.pi * fit.residual_sum / n) + 1)
        judge = aicc(log_likelihood, n, len(fit.parameters) + 1)
        np.testing.assert_allclose(fit.aicc, judge - n * (np.log(2 * np.pi) + 1), rtol=1e-12)


def test_too_few_points_for_a_model_take_it_out_of_the_choice():
    fits = fit_flow_models(RATES[:5], herschel_bulkley(RATES[:5]))
    assert fits[-1].model == "herschel_bulkley"
    assert np.isinf(fits[-1].aicc)
    difference, weights = akaike_weights([fit.aicc for fit in fits])
    assert difference[0] == 0
    assert weights.sum() == pytest.approx(1)
    assert weights[-1] == 0


def test_akaike_weights_by_hand():
    difference, weights = akaike_weights([100.0, 102.0, 110.0])
    np.testing.assert_allclose(difference, [0, 2, 10])
    np.testing.assert_allclose(weights, np.exp([0, -1, -5]) / np.exp([0, -1, -5]).sum(), rtol=1e-12)
    assert np.isnan(akaike_weights([np.inf, np.inf])[1]).all()


@settings(max_examples=15, deadline=None)
@given(st.sampled_from(FLOW_MODELS), st.floats(1e-3, 1e3), st.floats(1e-2, 1e2), st.sampled_from(["equal", "relative"]))
def test_other_units_give_the_same_curve(model, stress_unit, rate_unit, weighting):
    stress = noisy(np.random.default_rng(3), herschel_bulkley(SWEEP), 0.02)
    one = _fit_flow(SWEEP, stress, model, weighting)
    other = _fit_flow(SWEEP * rate_unit, stress * stress_unit, model, weighting)
    np.testing.assert_allclose(other.stress(SWEEP * rate_unit), stress_unit * one.stress(SWEEP), rtol=SCALED)
    if model == "power_law":
        np.testing.assert_allclose(other.parameters[1], one.parameters[1], rtol=SCALED)
    else:
        scale = stress_unit * np.array([one.parameters[0], one.ci_low[0], one.ci_high[0]])
        np.testing.assert_allclose([other.parameters[0], other.ci_low[0], other.ci_high[0]], scale, rtol=1e-5)


def test_intervals_are_those_of_the_logarithms_of_the_parameters():
    stress = noisy(np.random.default_rng(3), herschel_bulkley(SWEEP), 0.02)
    fit = _fit_flow(SWEEP, stress, "power_law", "equal")
    logs, errors = curve_fit(lambda x, K, n: np.exp(K) * x ** np.exp(n), SWEEP, stress, np.log(fit.parameters))
    half = t.ppf(0.975, SWEEP.size - 2) * np.sqrt(np.diag(errors))
    np.testing.assert_allclose([fit.ci_low, fit.ci_high], np.exp([logs - half, logs + half]), rtol=1e-4)


@pytest.mark.parametrize("model", FLOW_MODELS)
def test_the_order_of_the_points_does_not_matter(model):
    stress = noisy(np.random.default_rng(3), herschel_bulkley(SWEEP), 0.02)
    order = np.random.default_rng(0).permutation(SWEEP.size)
    one, other = _fit_flow(SWEEP, stress, model), _fit_flow(SWEEP[order], stress[order], model)
    np.testing.assert_allclose(other.parameters, one.parameters, rtol=SCALED)
    np.testing.assert_allclose(other.ci_low, one.ci_low, rtol=1e-5)


def test_relative_weighting_holds_the_small_stresses_dear():
    # Simulation with known truth: where scatter is relative, equal weights lose the yield stress in the large stresses.
    rng = np.random.default_rng(8)
    curves = [noisy(rng, casson(SWEEP), 0.03) for _ in range(40)]
    off = {
        way: np.sqrt(np.mean([(_fit_flow(SWEEP, curve, "casson", way).parameters[0] - 14.28) ** 2 for curve in curves]))
        for way in ("equal", "relative")
    }
    assert off["relative"] < off["equal"] / 2


@pytest.mark.parametrize("model", list(TRUTH))
def test_the_model_that_made_the_curve_is_chosen(model):
    # Simulation with known truth: 60 sweeps with 2 % scatter; the two models lie far apart over four decades.
    rng = np.random.default_rng(7)
    chosen = [fit_flow_models(SWEEP, noisy(rng, TRUTH[model][0](SWEEP)))[0].model for _ in range(60)]
    assert chosen.count(model) == 60


def test_a_power_law_seldom_gets_a_yield_stress():
    # Simulation with known truth: no yield stress; it may be told in one curve of twenty at most.
    rng = np.random.default_rng(11)
    runs = 150
    told = 0
    for _ in range(runs):
        fits = fit_flow_models(SWEEP, noisy(rng, 8 * SWEEP**0.4, 0.03))
        told += any(needs_yield_stress(fits, model) for model in TRUTH)
    assert told / runs < 0.05


def test_a_yield_stress_a_power_law_does_without_is_not_told():
    # Casson fits these points from 300 1/s on as well as a power law; its yield stress would be twice the true one.
    rates = np.geomspace(300, 1000, 16)
    fits = fit_flow_models(rates, noisy(np.random.default_rng(1), herschel_bulkley(rates)))
    by_model = {fit.model: fit for fit in fits}
    assert by_model["power_law"].aicc - by_model["casson"].aicc < CLEARLY_WORSE
    assert by_model["casson"].ci_low[0] > 20
    assert not needs_yield_stress(fits, "casson")
    assert not needs_yield_stress(fits, "power_law")


def test_a_yield_stress_at_zero_leaves_a_power_law():
    stress = noisy(np.random.default_rng(2), casson(SWEEP, 0.0, 3.0) ** 1.2, 0.05)
    fit = _fit_flow(SWEEP, stress, "herschel_bulkley")
    power = _fit_flow(SWEEP, stress, "power_law")
    assert fit.parameters[0] == 0
    np.testing.assert_allclose(fit.parameters[1:], power.parameters, rtol=EXACT)
    assert np.isnan(fit.std_errors[0])
    assert fit.ci_low[0] == 0
    assert fit.ci_high[0] > 0
    assert fit.df == power.df - 1
    assert not fit.yield_stress_seen
    assert (fit.std_errors[1:] > power.std_errors).all()


@pytest.mark.parametrize("model", FLOW_MODELS)
def test_stresses_that_fall_do_not_stop_the_fit(model):
    fit = _fit_flow(SWEEP, noisy(np.random.default_rng(2), 50 / SWEEP**0.1), model)
    assert np.isfinite(fit.parameters).all()
    assert np.isfinite(fit.residual_sum)


def test_what_is_no_flow_curve_is_refused():
    with pytest.raises(ModelError, match="at least 5 different shear rates; there are 4"):
        _fit_flow([1, 2, 3, 4, 4], [1, 2, 3, 4, 4.1], "casson")
    for rate, stress in (([0, 1, 2, 3, 4], [1, 2, 3, 4, 5]), ([1, 2, 3, 4, 5], [1, 2, -3, 4, 5])):
        with pytest.raises(ModelError, match="shear rates and stresses above zero"):
            _fit_flow(rate, stress, "power_law")
