"""The flow models and where their fits start, against numpy, scipy and constructed curves."""

import numpy as np
import pytest
from scipy.optimize import brute

from panel.stats.curves.flow import _STRESS, _best_index, _casson_start, _log_log_line, _power_law
from tests.stats.curves.test_least_squares import DANWOOD_X, DANWOOD_Y
from tests.stats.flow_points import (
    CASSON,
    CASSON_STRESS,
    HERSCHEL_BULKLEY,
    HERSCHEL_BULKLEY_STRESS,
    RATES,
    casson,
    herschel_bulkley,
    noisy,
)

PRINTED = 5e-7  # the constructed curves are written down with six decimals
EXACT = 1e-6  # asked of constructed curves


def test_models_give_the_constructed_curves():
    found = _STRESS["herschel_bulkley"](RATES, np.array(HERSCHEL_BULKLEY))
    np.testing.assert_allclose(found, HERSCHEL_BULKLEY_STRESS, atol=PRINTED)
    np.testing.assert_allclose(_STRESS["casson"](RATES, np.array(CASSON)), CASSON_STRESS, atol=PRINTED)
    np.testing.assert_allclose(_power_law(RATES, np.array([2.0, 1.0])), 2 * RATES)


def test_without_yield_stress_herschel_bulkley_is_a_power_law_and_casson_is_newtons():
    np.testing.assert_array_equal(_STRESS["herschel_bulkley"](RATES, np.array([0, 3, 0.6])), 3 * RATES**0.6)
    np.testing.assert_allclose(_STRESS["casson"](RATES, np.array([0, 3])), 3 * RATES)


def test_the_line_through_logarithms_is_another_estimator():
    # NIST's DanWood data: 3.8604056 by least squares on y, 3.9172056 by the line through the logarithms (numpy).
    K, n = _log_log_line(np.array(DANWOOD_X), np.array(DANWOOD_Y))
    slope, intercept = np.polyfit(np.log(DANWOOD_X), np.log(DANWOOD_Y), 1)
    np.testing.assert_allclose([n, np.log(K)], [slope, intercept], rtol=1e-9)
    assert round(n, 7) == 3.9172056


def test_the_line_through_square_roots_is_exact_for_casson():
    np.testing.assert_allclose(np.square(_casson_start(RATES, casson(RATES))), CASSON, rtol=EXACT)


def test_a_casson_start_never_goes_below_zero():
    assert _casson_start(RATES, 2 * RATES**1.5)[0] == 0
    falling = _casson_start(RATES, 10 / RATES**0.1)
    assert falling[1] == 0
    assert falling[0] > 0


@pytest.mark.parametrize("parameters", [(20.0, 5.0, 0.45), (0.5, 30.0, 0.2), (100.0, 0.01, 1.4), (0.0, 3.0, 0.6)])
def test_the_best_index_finds_constructed_curves(parameters):
    stress = herschel_bulkley(RATES, *parameters)
    residual_sum, found = _best_index(RATES, stress, stress**-2.0)
    np.testing.assert_allclose(found, parameters, rtol=EXACT, atol=1e-6)
    assert residual_sum < 1e-10


@pytest.mark.parametrize("held", [None, 12.0])
def test_the_best_index_is_the_best_anywhere(held):
    # scipy's search over a grid of all parameters, without any of the algebra.
    stress = noisy(np.random.default_rng(5), herschel_bulkley(RATES), 0.1)
    weights = stress**-2.0

    def criterion(parameters):
        yield_stress = held if held is not None else parameters[2]
        return weights @ (stress - yield_stress - np.exp(parameters[0]) * RATES ** parameters[1]) ** 2

    ranges = [(-1, 4), (0.1, 1.2), (0, 30)][: 2 if held is not None else 3]
    judge = brute(criterion, ranges, Ns=25, full_output=True)
    residual_sum, found = _best_index(RATES, stress, weights, held)
    np.testing.assert_allclose(residual_sum, judge[1], rtol=1e-4)  # the judge stops at about five digits
    assert residual_sum <= judge[1] * (1 + 1e-9)
    np.testing.assert_allclose(found[2], judge[0][1], atol=5e-3)


def test_stresses_that_fall_are_told_as_constant():
    _, (yield_stress, K, _) = _best_index(RATES, 50 / RATES**0.2, np.ones(7))
    assert K == 0
    assert yield_stress > 0
