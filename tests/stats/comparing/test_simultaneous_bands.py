"""Simultaneous bands: against the studentized range, and what holds for draws of any shape."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import studentized_range

from panel.stats.comparing.multiplicity import simultaneous_bands

DRAWS = 40_000
TAIL = 0.12  # four standard errors of a quantile so far out, from 40,000 draws, in standard deviations


@pytest.mark.parametrize("k", [3, 5])
def test_all_pairs_of_normal_means_need_tukeys_width(k):
    drawn = np.random.default_rng(k).standard_normal((DRAWS, k))
    apart = np.stack([drawn[:, i] - drawn[:, j] for i, j in combinations(range(k), 2)], axis=1)
    low, high = simultaneous_bands(apart, 0.95)
    tukey = studentized_range.ppf(0.95, k, np.inf)  # of the range of standard normals
    assert high == pytest.approx(tukey, abs=TAIL)
    assert low == pytest.approx(-tukey, abs=TAIL)


@given(st.integers(20, 200), st.integers(1, 5), st.floats(0.5, 0.99), st.integers(0, 10**6))
def test_the_share_of_whole_draws_inside_is_the_level_and_hardly_more(n, m, level, seed):
    drawn = np.random.default_rng(seed).exponential(size=(n, m))
    low, high = simultaneous_bands(drawn, level)
    inside = ((drawn >= low) & (drawn <= high)).all(axis=1).mean()
    assert inside >= level - 1e-12
    # one step closer on all sides would leave too many out; a step takes away two draws a quantity at the most
    assert inside <= level + (2 * m + 1) / n


@given(st.integers(0, 10**6))
def test_a_monotone_transform_moves_the_ends_with_it(seed):
    drawn = np.random.default_rng(seed).normal(size=(60, 3))
    for plain, bent in zip(simultaneous_bands(drawn, 0.9), simultaneous_bands(np.exp(drawn), 0.9), strict=True):
        assert bent == pytest.approx(np.exp(plain))


def test_one_quantity_alone_has_its_plain_quantiles():
    drawn = np.arange(1001.0)[:, None]
    low, high = simultaneous_bands(drawn, 0.9)
    assert (low[0], high[0]) == (50.0, 950.0)  # 901 of 1001 values; 51 to 949 would be 899, less than 0.9


def test_what_is_missing_counts_for_nothing():
    drawn = np.random.default_rng(1).normal(size=(500, 3))
    gap = drawn.copy()
    gap[0, 1] = np.nan
    low, high = simultaneous_bands(gap, 0.95)
    assert np.isnan([low[1], high[1]]).all()
    assert low[[0, 2]] == pytest.approx(simultaneous_bands(drawn[:, [0, 2]], 0.95)[0])
    assert np.isnan(simultaneous_bands(np.full((5, 2), np.nan), 0.95)[0]).all()
