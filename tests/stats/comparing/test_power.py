"""Chances of planned tests: values of R and Cohen, statsmodels, scipy, and simulated panels with known truth."""

import numpy as np
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import nctdtr, stdtrit
from statsmodels.stats.power import FTestAnovaPower, TTestIndPower, TTestPower

from panel.stats.comparing.power import detection_power, equivalence_power, f_power, sample_noncentrality

PRINTED = 5e-8  # half a unit of the last digit printed
OTHER_LIBRARY = 1e-6  # quadrature and root finding of the other library
STANDARD_ERRORS = 4  # of a simulation


def anova_power(k, n, f, alpha=0.05):
    return f_power(k - 1, k * (n - 1), f**2 * k * n, alpha)


def first_n(power, wanted=0.8):
    n = np.arange(2, 2000)
    return int(n[power(n) >= wanted][0])


def test_r_examples():
    # help page of R's power.anova.test: 4 groups, between variance 1, within 3, power 0.80 needs n = 11.92613
    assert f_power(3, 4 * (11.92613 - 1), 3 * 11.92613 / 3) == pytest.approx(0.8, abs=1e-6)
    # help page of R's power.t.test: delta 1, sd 1; n = 20 gives 0.8689528, power 0.90 needs n = 22.02110
    for n, power, tolerance in ((20, 0.8689528, PRINTED), (22.02110, 0.90, 1e-6)):
        df = 2 * n - 2
        critical = stdtrit(df, 0.975)
        far_tail = nctdtr(df, np.sqrt(n / 2), -critical)  # which R leaves out
        found = detection_power(1.0, np.sqrt(2 / n), df, critical) - far_tail
        assert found == pytest.approx(power, abs=tolerance)


@pytest.mark.parametrize(
    ("k", "expected"),
    [  # n per group for f = 0.10, 0.25, 0.40, exact; Cohen (1992), Psychol. Bull. 112:155, agrees within 1 (memory)
        (3, (323, 53, 22)),
        (4, (274, 45, 19)),
        (5, (240, 40, 16)),
        (6, (215, 36, 15)),
    ],
)
def test_cohens_numbers_for_the_analysis_of_variance(k, expected):
    cohen = {3: (322, 52, 21), 4: (274, 45, 18), 5: (240, 39, 16), 6: (215, 35, 14)}[k]
    found = tuple(first_n(lambda n, f=f: anova_power(k, n, f)) for f in (0.10, 0.25, 0.40))
    assert found == expected
    assert max(abs(one - other) for one, other in zip(found, cohen, strict=True)) <= 1


def test_cohens_numbers_for_two_groups():
    def power(n, d):
        return detection_power(d, np.sqrt(2 / n), 2 * n - 2, stdtrit(2 * n - 2, 0.975))

    assert [first_n(lambda n, d=d: power(n, d)) for d in (0.2, 0.5, 0.8)] == [394, 64, 26]


@pytest.mark.parametrize(("effect", "n", "k"), [(0.1, 20, 3), (0.25, 45, 4), (0.4, 8, 6)])
def test_statsmodels_gives_the_same_chance(effect, n, k):
    assert anova_power(k, n, effect) == pytest.approx(
        FTestAnovaPower().power(effect, k * n, 0.05, k_groups=k), abs=OTHER_LIBRARY
    )
    two = detection_power(effect, np.sqrt(2 / n), 2 * n - 2, stdtrit(2 * n - 2, 0.975))
    assert two == pytest.approx(TTestIndPower().power(effect, n, 0.05), abs=OTHER_LIBRARY)
    one = detection_power(effect, np.sqrt(1 / n), n - 1, stdtrit(n - 1, 0.975))
    assert one == pytest.approx(TTestPower().power(effect, n, 0.05), abs=OTHER_LIBRARY)


@given(df=st.integers(1, 12), df_error=st.integers(2, 300), noncentrality=st.floats(0.01, 60))
def test_scipy_gives_the_same_noncentral_f(df, df_error, noncentrality):
    critical = scipy.stats.f.isf(0.05, df, df_error)
    expected = scipy.stats.ncf.sf(critical, df, df_error, noncentrality)
    assert f_power(df, df_error, noncentrality) == pytest.approx(expected, abs=1e-9)


def test_without_a_difference_the_chance_is_the_level():
    assert f_power([1, 3, 7], [9, 27, 63], 0.0, 0.05) == pytest.approx(0.05, abs=1e-9)


def test_the_panel_test_by_formula():
    # I = 10 assessors, J = 4, K = 2, tau = +-0.5, s2_AP = 0.5, s2 = 1: lambda 10, power 0.6922389; computed with R
    noncentrality = sample_noncentrality(10, 2, 1.0, 0.5, 1.0)
    assert noncentrality == pytest.approx(10)
    assert f_power(3, 27, noncentrality) == pytest.approx(0.6922389, abs=PRINTED)


def test_the_panel_test_by_simulation():
    rng = np.random.default_rng(20250311)
    assessors, samples, replicates, runs = 10, 4, 2, 4000
    tau = np.array([-0.5, -0.5, 0.5, 0.5])
    cells = tau + rng.normal(0, np.sqrt(0.5), (runs, assessors, samples)) + rng.normal(0, 3, (runs, assessors, 1))
    cells = cells + rng.normal(0, 1, (runs, assessors, samples, replicates)).mean(axis=-1)
    means = cells.mean(axis=1)
    centred = cells - cells.mean(axis=2, keepdims=True) - means[:, None] + cells.mean(axis=(1, 2))[:, None, None]
    df = samples - 1, (assessors - 1) * (samples - 1)
    F = assessors * means.var(axis=1, ddof=1) / ((centred**2).sum(axis=(1, 2)) / df[1])
    share = (scipy.stats.f.isf(0.05, *df) < F).mean()
    power = f_power(3, 27, 10.0)
    assert share == pytest.approx(power, abs=STANDARD_ERRORS * np.sqrt(power * (1 - power) / runs))


def test_more_replicates_help_less_and_less():
    replicates = np.array([1, 2, 3, 5, 10, 100, 100_000])
    noncentrality = sample_noncentrality(10, replicates, 1.0, 0.5, 1.0)
    assert (np.diff(noncentrality) > 0).all()
    assert noncentrality[-1] == pytest.approx(10 * 1.0 / 0.5, rel=1e-4)  # I sum tau^2 / s2_AP


@pytest.mark.parametrize("true", [0.0, 0.3, -0.3])
def test_equivalence_by_simulation(true):
    rng = np.random.default_rng(7)
    n, sd, margin, runs = 30, 2.0, 1.0, 200_000
    std_error = sd / np.sqrt(n)
    mean = rng.normal(true, std_error, runs)
    estimated = std_error * np.sqrt(rng.chisquare(n - 1, runs) / (n - 1))
    share = (np.abs(mean) + stdtrit(n - 1, 0.95) * estimated < margin).mean()
    power = float(equivalence_power(margin, std_error, n - 1, true))
    assert power == pytest.approx(share, abs=STANDARD_ERRORS * np.sqrt(share * (1 - share) / runs))


def test_equivalence_at_the_limits():
    assert equivalence_power(5.0, 0.1, 4) == pytest.approx(1, abs=1e-9)
    assert equivalence_power(0.1, 5.0, 4) == pytest.approx(0, abs=1e-9)
    # a true difference at the margin is taken for alike in no more than 5 %
    assert equivalence_power(1.0, 0.1, 20, 1.0) == pytest.approx(0.05, abs=1e-6)
    # with many degrees of freedom the standard error is known, and the chance is a normal probability
    known = 2 * scipy.stats.norm.cdf(1 / 0.3 - scipy.stats.norm.isf(0.05)) - 1
    assert equivalence_power(1.0, 0.3, 1e7) == pytest.approx(known, abs=1e-5)
