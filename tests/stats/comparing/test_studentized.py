"""A studentized maximum whose distribution is known: the half-normal, whose studentized form is |t|."""

import numpy as np
import pytest
import scipy.stats

from panel.stats.comparing.multiplicity import _studentized_maximum

STEP = 0.025
INTEGRATION = 1e-9  # absolute; quintic interpolation and the trapezoid sum
ONE_DF = 2e-6  # with one degree of freedom the density is too wide for the nodes of the sum


@pytest.fixture(scope="module")
def absolute_t():
    x = np.arange(0, 38, STEP)
    return _studentized_maximum(STEP, np.minimum(np.log(2) + scipy.stats.norm.logsf(x), 0.0))


@pytest.mark.parametrize("df", [1.0, 2.0, 4.5, 12.0, 63.0, 1e4, 1e9])
def test_survival_is_that_of_t(absolute_t, df):
    q = np.array([0.1, 0.7, 2.0, 3.5, 6.0])
    np.testing.assert_allclose(
        absolute_t.sf(q, df), 2 * scipy.stats.t.sf(q, df), atol=ONE_DF if df == 1 else INTEGRATION
    )


def test_quantiles_are_those_of_t(absolute_t):
    df = np.array([2.0, 5.0, 9.3, 40.0, 1e9])
    np.testing.assert_allclose(absolute_t.isf(0.05, df), scipy.stats.t.isf(0.025, df), rtol=1e-7)
    many = np.geomspace(4, 2000, 80)
    np.testing.assert_allclose(absolute_t.isf(0.01, many), scipy.stats.t.isf(0.005, many), rtol=1e-7)


def test_shapes_are_kept(absolute_t):
    assert absolute_t.isf(0.05, np.full((3, 2), 7.0)).shape == (3, 2)
    assert absolute_t.sf(np.zeros((2, 4)), 5.0).shape == (2, 4)
    np.testing.assert_allclose(absolute_t.sf(np.zeros(2), 5.0), 1.0)


def test_a_fraction_of_a_degree_of_freedom_reaches_far_and_overflows_nowhere(absolute_t):
    half = absolute_t.isf(0.05, np.array([0.5]))
    np.testing.assert_allclose(half, scipy.stats.t.isf(0.025, 0.5), rtol=1e-3)
    assert absolute_t.isf(0.05, np.array([0.05]))[0] > 1e20
