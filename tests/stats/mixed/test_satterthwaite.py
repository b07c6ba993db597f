"""Satterthwaite's degrees of freedom in special cases that have a known answer."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.stats import chi2, norm, t

from panel.stats.mixed.inference import FTest, estimate_contrasts, test_contrasts, widened, with_few_groups
from panel.stats.mixed.reml import fit_mixed_model

EXACT = 1e-6  # relative; the variances are iterated


def balanced(seed=0, a=6, p=4, r=3):
    rng = np.random.default_rng(seed)
    person, product, _ = (grid.ravel() for grid in np.indices((a, p, r)))
    pair = person * p + product
    y = rng.normal(size=len(person)) + 2 * rng.normal(size=a)[person] + rng.normal(size=a * p)[pair]
    return fit_mixed_model(y[:, None], np.eye(p)[product], [person, pair]), p


def test_balanced_differences_have_the_degrees_of_freedom_of_their_stratum():
    fit, p = balanced()
    contrasts = np.hstack([-np.ones((p - 1, 1)), np.eye(p - 1)])
    np.testing.assert_allclose(estimate_contrasts(fit, contrasts).df, 15, rtol=EXACT)
    assert test_contrasts(fit, contrasts).df_error[0] == pytest.approx(15, rel=EXACT)


def test_one_contrast_as_t_and_as_f():
    fit, p = balanced(1)
    contrast = np.zeros((1, p))
    contrast[0, :2] = 1, -1
    one, f = estimate_contrasts(fit, contrast), test_contrasts(fit, contrast)
    assert f.statistic[0] == pytest.approx(one.statistic[0, 0] ** 2)
    assert f.p_value[0] == pytest.approx(one.p_value[0, 0])
    assert f.df_error[0] == pytest.approx(one.df[0, 0])


def test_the_test_does_not_depend_on_which_differences_state_the_hypothesis():
    fit, p = balanced(2)
    from_first = np.hstack([-np.ones((p - 1, 1)), np.eye(p - 1)])
    rng = np.random.default_rng(0)
    mixed = rng.normal(size=(p - 1, p - 1)) @ from_first
    assert test_contrasts(fit, mixed).statistic[0] == pytest.approx(test_contrasts(fit, from_first).statistic[0])


def test_few_degrees_of_freedom_pool_as_fai_and_cornelius_do():
    # with q directions of nu each the pooled value is nu; with any nu of 2 or less it is 2
    from panel.stats.mixed.inference import _pooled_df

    assert _pooled_df(np.array([[7.0, 7.0, 7.0]]))[0] == pytest.approx(7)
    expected = sum(v / (v - 2) for v in (5.0, 9.0, 20.0))
    assert _pooled_df(np.array([[5.0, 9.0, 20.0]]))[0] == pytest.approx(2 * expected / (expected - 3))
    assert _pooled_df(np.array([[1.5, 9.0, 20.0]]))[0] == 2


def test_an_error_of_few_groups_alone_has_their_degrees_of_freedom_and_never_more_than_before():
    few = with_few_groups(FTest(np.ones(2), 5, np.array([6.0, 4.0])), 6)
    assert few.df_error == pytest.approx([6.0, 4.0], rel=1e-3)  # the exact test of a nested design


def test_a_variance_is_added_with_its_own_degrees_of_freedom():
    # Welch's two variances: (v1 + v2)^2 / (v1^2 / df1 + v2^2 / df2) (Welch 1938, Satterthwaite 1946)
    error, df = widened(np.array([2.0]), np.array([9.0]), np.array([0.05]), 4.0)
    assert error[0] == pytest.approx(np.sqrt(4.05))
    assert df[0] == pytest.approx(4.05**2 / (16 / 9 + 0.05**2 / 4))
    # where few batches bring much of it, fewer: those of t with the 5 % point of z / sqrt(s 4 / chi2 + 1 - s), s = 5/9
    error, df = widened(np.array([2.0]), np.array([9.0]), np.array([5.0]), 4.0)
    assert error[0] == pytest.approx(3.0)
    part = 5 / 9

    def beyond(point):
        return quad(lambda c: 2 * norm.sf(point / np.sqrt(part * 4 / c + 1 - part)) * chi2.pdf(c, 4), 0, np.inf)[0]

    point = brentq(lambda x: beyond(x) - 0.05, 1, 20)
    assert df[0] == pytest.approx(brentq(lambda nu: t.isf(0.025, nu) - point, 1, 100), rel=0.02)  # 200 shares of chi2
    assert df[0] < 81 / (16 / 9 + 25 / 4)
    same, untouched = widened(np.array([2.0]), np.array([9.0]), 0.0, np.inf)
    assert (same[0], untouched[0]) == (2.0, 9.0)
