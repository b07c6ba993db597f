"""Clopper and Pearson's interval against printed intervals, and the share reached against the tail it comes from."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom
from statsmodels.stats.proportion import proportion_confint

from panel.stats.answers.binomial import exact_interval, share_reached

PRINTED = 5e-5  # half a unit of the last digit
CLOSED_FORM = 1e-10


@pytest.mark.parametrize(
    ("x", "n", "low", "high"),
    [  # Newcombe (1998), Stat. Med. 17:857, from memory and recomputed with R
        (81, 263, 0.2527, 0.3676),
        (15, 148, 0.0578, 0.1617),
        (0, 20, 0.0, 0.1684),
        (1, 29, 0.0009, 0.1776),
        (29, 29, 0.8806, 1.0),
        (20, 25, 0.5930, 0.9317),
    ],
)
def test_published_intervals(x, n, low, high):
    assert exact_interval(x, n) == (pytest.approx(low, abs=PRINTED), pytest.approx(high, abs=PRINTED))


def test_nist_handbook_interval():
    # NIST/SEMATECH e-Handbook 7.2.4.1: 4 of 20, 90 %
    assert exact_interval(4, 20, 0.90) == (pytest.approx(0.0713539, abs=5e-8), pytest.approx(0.4010281, abs=5e-8))


@given(n=st.integers(1, 300), data=st.data(), level=st.sampled_from([0.8, 0.9, 0.95, 0.99]))
def test_it_equals_statsmodels(n, data, level):
    x = data.draw(st.integers(0, n))
    theirs = proportion_confint(x, n, alpha=1 - level, method="beta")
    np.testing.assert_allclose(exact_interval(x, n, level), theirs, atol=CLOSED_FORM)


@pytest.mark.parametrize("true", [0.02, 0.3, 0.5, 0.77])
def test_it_covers_at_least_as_often_as_it_says(true):
    x = np.arange(41)
    low, high = exact_interval(x, 40)
    assert binom.pmf(x, 40, true)[(low <= true) & (true <= high)].sum() >= 0.95


def test_the_share_reached_gives_the_chance_asked_for():
    x, n = np.array([0, 1, 18, 36, 37]), 36
    share = share_reached(x, n, 0.8)
    np.testing.assert_allclose(binom.sf(x[1:4] - 1, n, share[1:4]), 0.8, atol=CLOSED_FORM)
    assert share[0] == 0.0
    assert np.isnan(share[4])
