"""Viscosity at a shear rate: the curve itself, intervals against independent computations, and what is beyond."""

import numpy as np
import pytest
import statsmodels.api as sm

from panel.stats.curves.flow import _fit_flow, apparent_viscosity
from tests.stats.flow_points import RATES, casson, herschel_bulkley, noisy

SWEEP = np.geomspace(0.1, 1000, 16)
USE = np.array([10.0, 500.0, 5000.0])
EXACT = 1e-6  # asked of constructed curves


@pytest.mark.parametrize(("model", "curve"), [("herschel_bulkley", herschel_bulkley), ("casson", casson)])
def test_constructed_curves_and_what_is_beyond_them(model, curve):
    found = apparent_viscosity(_fit_flow(RATES, curve(RATES), model), USE)
    np.testing.assert_allclose(found["estimate"], curve(USE) / USE, rtol=EXACT)
    np.testing.assert_allclose(found["ci_low"], found["estimate"], rtol=EXACT)
    assert found["extrapolated"].tolist() == [False, False, True]


def test_the_ends_of_what_was_measured_are_not_beyond():
    found = apparent_viscosity(_fit_flow(RATES, herschel_bulkley(RATES), "power_law"), [0.0998, 0.1, 1000.2, 1002])
    assert found["extrapolated"].tolist() == [True, False, False, True]


def test_the_interval_of_a_power_law_equals_a_straight_line_where_scatter_is_small():
    # With little scatter relative least squares is the line through the logarithms, whose interval statsmodels gives.
    stress = noisy(np.random.default_rng(1), 12 * SWEEP**0.4, 1e-4)
    found = apparent_viscosity(_fit_flow(SWEEP, stress, "power_law"), USE, level=0.9)
    judge = sm.OLS(np.log(stress), sm.add_constant(np.log(SWEEP))).fit()
    low, high = np.exp(judge.get_prediction(sm.add_constant(np.log(USE))).conf_int(alpha=0.1)).T / USE
    np.testing.assert_allclose(
        np.log(found["ci_low"] / found["estimate"]),
        np.log(low * USE / np.exp(judge.predict(sm.add_constant(np.log(USE))))),
        rtol=1e-3,
    )
    np.testing.assert_allclose(found["ci_high"], high, rtol=1e-6)


@pytest.mark.parametrize(("model", "curve"), [("herschel_bulkley", herschel_bulkley), ("casson", casson)])
def test_the_interval_holds_the_truth_as_often_as_it_says(model, curve):
    # 250 simulated sweeps with 3 % scatter at three rates; 95 % +- 4 standard errors of a share (1.38 %).
    rng = np.random.default_rng(5)
    runs, held = 250, np.zeros(3)
    for _ in range(runs):
        found = apparent_viscosity(_fit_flow(SWEEP, noisy(rng, curve(SWEEP), 0.03), model), USE)
        held += (found["ci_low"] <= curve(USE) / USE) & (curve(USE) / USE <= found["ci_high"])
    np.testing.assert_allclose(held / runs, 0.95, atol=4 * np.sqrt(0.95 * 0.05 / runs))


def test_a_yield_stress_at_zero_takes_no_part():
    stress = noisy(np.random.default_rng(2), casson(SWEEP, 0.0, 3.0) ** 1.2, 0.05)
    with_bound = apparent_viscosity(_fit_flow(SWEEP, stress, "herschel_bulkley"), USE)
    without = apparent_viscosity(_fit_flow(SWEEP, stress, "power_law"), USE)
    np.testing.assert_allclose(with_bound["estimate"], without["estimate"], rtol=EXACT)
    assert (with_bound["ci_high"] > without["ci_high"]).all()
    newton = apparent_viscosity(_fit_flow(SWEEP, noisy(np.random.default_rng(2), 3 * SWEEP**1.02), "casson"), USE)
    assert np.isfinite(newton["ci_low"]).all()
