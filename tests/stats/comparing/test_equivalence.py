"""Equivalence, not-worse and smallest difference against SAS, R, statsmodels, and what must always hold."""

import numpy as np
import pytest
import scipy.integrate
import scipy.special
import scipy.stats
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize.elementwise import find_root
from statsmodels.stats.power import TTestPower
from statsmodels.stats.tests.test_tost import clinic, tost_clinic_all_no_multi
from statsmodels.stats.weightstats import ttost_ind, ttost_paired

from panel.errors import ModelError
from panel.stats.comparing.multiplicity import many_to_one, tukey_critical
from panel.stats.comparing.power import detection_power, non_inferiority, smallest_difference, two_one_sided_tests

SAME = 1e-10  # values printed with all their digits
SOLVED = 1e-9

# SAS/STAT User's Guide, PROC TTEST, equivalence test of two treatments of 12 people (data also in statsmodels' tests)
SAS = np.array(
    [
        *((103.4, 90.11), (59.92, 77.71), (68.17, 77.71), (94.54, 97.51), (69.48, 58.21), (72.17, 101.3)),
        *((74.37, 79.84), (84.44, 96.06), (96.74, 89.30), (94.26, 97.22), (48.52, 61.62), (95.68, 85.80)),
    ]
)

estimates = st.floats(-5, 5)
errors = st.floats(0.05, 5)
dfs = st.floats(1.5, 200)


def by_quadrature(shift, df, critical):
    """P(|T| > critical): the normal probability given s, integrated over the density of s = chi / sqrt(df)."""

    def integrand(s):
        density = scipy.stats.chi.pdf(s * np.sqrt(df), df) * np.sqrt(df)
        return (scipy.special.ndtr(shift - critical * s) + scipy.special.ndtr(-shift - critical * s)) * density

    breaks = [shift / critical] if 0 < shift / critical < 6 else None
    return scipy.integrate.quad(integrand, 0, 6 + shift / critical, points=breaks, epsabs=1e-11, limit=200)[0]


def both_sides(*words):
    """The p-value of equivalence, then the tests against the lower and the upper margin."""
    above, under = two_one_sided_tests(*words)
    return np.maximum(above.p_value, under.p_value), above, under


def paired(difference):
    n = len(difference)
    return difference.mean(), difference.std(ddof=1) / np.sqrt(n), n - 1


def test_log_ratio_as_printed_by_sas():
    p, above, under = both_sides(*paired(np.log(SAS[:, 0] / SAS[:, 1])), np.log(0.8), np.log(1.25))
    assert above.statistic == pytest.approx(3.38, abs=0.005)
    assert -under.statistic == pytest.approx(-5.90, abs=0.005)
    assert p == pytest.approx(0.0031, abs=5e-5)
    assert p == pytest.approx(0.003059338540563, abs=SAME)  # R, in statsmodels' tests
    np.testing.assert_allclose(np.exp([above.bound, under.bound]), [0.8633735, 1.0260396], atol=5e-8)


@pytest.mark.parametrize(
    ("column", "interval", "p_value"),
    [
        (1, (-0.0744336620516462, 0.4037669953849797), 0.003166881489265175),
        (2, (0.1261653305099018, 0.999168002823431), 0.4412034046017588),
    ],
)
def test_paired_difference_as_in_r(column, interval, p_value):
    # R package equivalence, function tost, values kept in statsmodels' tests of the data `clinic`
    values = clinic[:, 1 + column]
    p, above, under = both_sides(*paired(values[:15] - values[15:]), -0.6, 0.6)
    np.testing.assert_allclose([above.bound, under.bound], interval, atol=SAME)
    assert p == pytest.approx(p_value, abs=SAME)
    assert p == pytest.approx(ttost_paired(values[:15], values[15:], -0.6, 0.6)[0], abs=SAME)


def test_several_endpoints_with_asymmetric_margins_as_in_r():
    # R package multeq, kept in statsmodels' tests: estimates, df and two-sided 90 % intervals of five endpoints
    r = tost_clinic_all_no_multi
    first, second = clinic[15:, 2:], clinic[:15, 2:]
    estimate = first.mean(axis=0) - second.mean(axis=0)
    error = np.sqrt(first.var(axis=0, ddof=1) / 15 + second.var(axis=0, ddof=1) / 15)
    p, above, under = both_sides(estimate, error, r.degr_fr, r.margin_lo, r.margin_up)
    np.testing.assert_allclose(estimate, r.estimate, atol=SAME)
    np.testing.assert_allclose(p, r.p_value, rtol=1e-8)
    np.testing.assert_allclose(above.bound, r.lower, atol=SAME)
    np.testing.assert_allclose(under.bound, r.upper, atol=SAME)
    theirs = [
        ttost_ind(first[:, k], second[:, k], r.margin_lo[k], r.margin_up[k], usevar="unequal")[0] for k in range(5)
    ]
    np.testing.assert_allclose(p, theirs, rtol=1e-8)


@pytest.mark.parametrize(("df", "p_value"), [(26.7484787582315, 0.04853083976236974), (28.0, 0.04827315100761467)])
def test_just_equivalent(df, p_value):
    # the first endpoint of `clinic`, independent groups, Welch and pooled (R, in statsmodels' tests)
    p, *_ = both_sides(0.1646666666666667, 0.2531625991083627, df, -0.6, 0.6)
    assert p == pytest.approx(p_value, abs=SAME)
    assert p < 0.05


@settings(deadline=None)
@given(estimates, errors, dfs, st.floats(-5, -0.1), st.floats(0.1, 5), st.floats(0.001, 0.2))
def test_equivalent_exactly_when_the_interval_lies_within_the_margins(estimate, error, df, low, high, alpha):
    # Schuirmann (1987), J. Pharmacokinet. Biopharm. 15:657
    p, above, under = both_sides(estimate, error, df, low, high, alpha)
    assume(abs(float(p) - alpha) > 1e-9)
    assert (p < alpha) == (above.bound > low and under.bound < high)


@settings(deadline=None)
@given(estimates, errors, dfs, st.floats(0.1, 5), st.floats(0.01, 2))
def test_wider_margins_are_easier_and_turning_the_difference_round_changes_nothing(estimate, error, df, margin, more):
    narrow = both_sides(estimate, error, df, -margin, margin)
    wide = both_sides(estimate, error, df, -margin - more, margin + more)
    turned = both_sides(-estimate, error, df, -margin, margin)
    assert wide[0] <= narrow[0]
    assert turned[0] == pytest.approx(float(narrow[0]))


@settings(deadline=None)
@given(estimates, errors, dfs, st.floats(0.1, 5), st.booleans())
def test_not_worse_is_one_half_of_equivalence(estimate, error, df, margin, more_is_better):
    found = non_inferiority(estimate, error, df, margin, more_is_better=more_is_better)
    above, under = two_one_sided_tests(estimate, error, df, -margin, margin)
    half = above if more_is_better else under
    gain = estimate if more_is_better else -estimate
    assert found.p_value == half.p_value == pytest.approx(scipy.stats.t.sf((gain + margin) / error, df), abs=1e-12)
    assert found.bound == half.bound
    worse = -margin if more_is_better else margin
    assume(abs(float(found.p_value) - 0.05) > 1e-9)
    assert (found.p_value < 0.05) == bool((found.bound > worse) if more_is_better else (found.bound < worse))


@settings(deadline=None)
@given(st.floats(-4, 4), st.floats(0.01, 2), errors, dfs)
def test_a_larger_estimate_is_less_inferior(estimate, more, error, df):
    p = [non_inferiority(value, error, df, 1.0, more_is_better=True).p_value for value in (estimate, estimate + more)]
    assert p[1] <= p[0]


@pytest.mark.parametrize("n", [3, 5, 12, 30, 200])
@pytest.mark.parametrize("power", [0.5, 0.8])
def test_smallest_difference_has_that_power_by_statsmodels(n, power):
    effect = smallest_difference(1 / np.sqrt(n), n - 1, power=power)
    # statsmodels: power of a paired t test for an effect in standard deviations, two-sided, both tails
    assert TTestPower().power(float(effect), n, 0.05) == pytest.approx(power, abs=1e-8)


@pytest.mark.parametrize(
    ("shift", "df", "critical"), [(3.08, 431.1, 15.7), (9.0, 2.0, 4.3), (49.0, 1.2, 1.1), (12, 2, 4.3)]
)
def test_power_where_scipys_noncentral_t_gives_no_number(shift, df, critical):
    assert detection_power(shift, 1.0, df, critical) == pytest.approx(by_quadrature(shift, df, critical), abs=1e-8)


def test_two_sample_sizes_of_a_textbook():
    # Cohen (1988), Statistical Power Analysis, table 2.4: d = .50, two-sided 5 %, power .80: 64 per group (exact 63.77)
    n = 63.76576
    assert smallest_difference(np.sqrt(2 / n), 2 * n - 2) == pytest.approx(0.5, abs=1e-6)


@settings(deadline=None, max_examples=30)
@given(st.floats(2, 300), st.floats(0.1, 0.95), st.sampled_from([2, 4, 8]))
def test_it_is_the_difference_with_that_power_for_tukeys_and_dunnetts_bar(df, power, k):
    correlation = np.full((k, k), 0.5) + 0.5 * np.eye(k)
    dunnett = many_to_one(correlation)[0].isf(0.05, np.array([df]))[0]
    for critical in (float(tukey_critical(k, np.array(df), 0.95)), dunnett):
        found = smallest_difference(0.7, df, power=power, critical=critical)
        assert detection_power(found, 0.7, df, critical) == pytest.approx(power, abs=SOLVED)
        assert by_quadrature(float(found) / 0.7, df, critical) == pytest.approx(power, abs=1e-7)


@settings(deadline=None)
@given(st.floats(2, 100), st.floats(0.3, 0.9), st.floats(0.01, 0.09), st.floats(0.1, 3), st.floats(1.05, 3))
def test_it_grows_with_power_and_error_and_shrinks_with_degrees_of_freedom(df, power, more, error, times):
    at = smallest_difference(error, df, power=power)
    assert smallest_difference(error, df, power=power + more) > at
    assert smallest_difference(error * times, df, power=power) == pytest.approx(float(at) * times)
    assert smallest_difference(error, df * times, power=power) < at
    assert smallest_difference(error, df, power=power, alpha=0.01) > at


def test_with_known_variance_it_is_the_sum_of_two_normal_quantiles():
    expected = scipy.stats.norm.ppf(0.975) + scipy.stats.norm.ppf(0.99)  # the other tail is below 1e-9 here
    assert smallest_difference(1.0, np.inf, power=0.99) == pytest.approx(expected, abs=1e-7)


def test_arrays_of_any_shape():
    found = smallest_difference(np.ones((2, 1)), np.array([5.0, 10.0, 1e12]))
    assert found.shape == (2, 3)
    assert smallest_difference(np.ones(0), np.ones(0)).shape == (0,)


@pytest.mark.parametrize("power", [0.0, 1.0, 0.05, -1])
def test_a_power_that_means_nothing_is_refused(power):
    with pytest.raises(ModelError, match="above the chance of a false alarm"):
        smallest_difference(1.0, 10, power=power)


def test_margins_that_mean_nothing_are_refused():
    with pytest.raises(ModelError, match="lower margin must lie below"):
        two_one_sided_tests(0.0, 1.0, 10, 1.0, -1.0)
    with pytest.raises(ModelError, match="must be above zero"):
        non_inferiority(0.0, 1.0, 10, 0.0, more_is_better=True)


@pytest.mark.parametrize("power", [0.06, 0.3, 0.8, 0.99])
def test_smallest_difference_equals_a_general_root_finder(power):
    rng = np.random.default_rng(1)
    df = np.r_[1.0, 1e8, rng.uniform(2, 300, 100)]
    critical = scipy.stats.t.isf(0.025, df) * rng.uniform(1, 2, len(df))
    expected = find_root(
        lambda shift, freedom, bar: detection_power(shift, 1.0, freedom, bar) - power,
        (np.zeros_like(df), critical * 4 + 100),
        args=(df, critical),
    ).x
    np.testing.assert_allclose(smallest_difference(1.0, df, power=power, critical=critical), expected, rtol=1e-10)
