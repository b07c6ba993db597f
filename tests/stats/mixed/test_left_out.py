"""F without each score, the variances held, against solving anew; least squares against statsmodels."""

import numpy as np
import pytest
import statsmodels.api as sm

from panel.stats.mixed.residuals import f_without_each, residual_maker
from tests.stats.mixed.test_mixed_residuals import crossed, indicators

SAME = 1e-8  # relative


@pytest.mark.parametrize("seed", range(3))
def test_equals_solving_anew_without_the_score(seed):
    y, fixed, groups = crossed(seed)
    gamma = np.array([1.5, 0.7, 0.2])
    v = np.eye(len(y)) + sum(
        g * indicators(group) @ indicators(group).T for g, group in zip(gamma, groups, strict=True)
    )
    contrasts = np.zeros((3, fixed.shape[1]))
    contrasts[:, 0], contrasts[range(3), range(1, 4)] = -1, 1
    found = f_without_each(residual_maker(fixed, groups, gamma), y, contrasts)
    for row in range(0, len(y), 4):
        rest = np.delete(np.arange(len(y)), row)
        x, own, inverse = fixed[rest], y[rest], np.linalg.inv(v[np.ix_(rest, rest)])
        a = np.linalg.inv(x.T @ inverse @ x)
        b = a @ x.T @ inverse @ own
        left = own - x @ b
        s2 = left @ inverse @ left / (len(rest) - x.shape[1])
        f = (contrasts @ b) @ np.linalg.solve(contrasts @ a @ contrasts.T, contrasts @ b) / 3 / s2
        assert found[row] == pytest.approx(f, rel=SAME)


def test_without_random_terms_it_is_least_squares():
    y, fixed, groups = crossed(4)
    contrasts = np.zeros((3, fixed.shape[1]))
    contrasts[:, 0], contrasts[range(3), range(1, 4)] = -1, 1
    found = f_without_each(residual_maker(fixed, groups, np.zeros(3)), y, contrasts)
    for row in (0, 7, 20):
        rest = np.delete(np.arange(len(y)), row)
        theirs = sm.OLS(y[rest], fixed[rest]).fit().f_test(contrasts)
        assert found[row] == pytest.approx(float(theirs.fvalue), rel=SAME)


def test_a_score_nothing_else_stands_for_gives_no_number():
    y, fixed, groups = crossed(0)
    lonely = np.zeros((len(y), 1))
    lonely[0] = 1.0
    wider = np.hstack([fixed, lonely])
    found = f_without_each(residual_maker(wider, groups, np.ones(3)), y, np.eye(1, wider.shape[1]))
    assert np.isnan(found[0])
    assert np.isfinite(found[1:]).all()
