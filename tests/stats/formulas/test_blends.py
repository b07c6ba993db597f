"""Averages over blends against numpy and scipy, and what unknown values must do to them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import hmean

from panel.stats.formulas.composition import (
    harmonic_mean,
    smallest_present,
    weighted_mean,
    weighted_spread,
)

EXACT = 1e-12


@given(seed=st.integers(0, 500))
def test_averages_equal_the_libraries(seed):
    rng = np.random.default_rng(seed)
    weights, values = rng.uniform(0.1, 9, (4, 5)), rng.uniform(1, 900, 5)
    mean = [np.average(values, weights=row) for row in weights]
    spread = [np.sqrt(np.cov(values, aweights=row, ddof=0)) for row in weights]
    np.testing.assert_allclose(weighted_mean(weights, values), mean, rtol=EXACT)
    np.testing.assert_allclose(weighted_spread(weights, values), spread, rtol=1e-9)
    np.testing.assert_allclose(
        harmonic_mean(weights, values), [hmean(values, weights=row) for row in weights], rtol=EXACT
    )
    np.testing.assert_allclose(smallest_present(weights, values), values.min(), rtol=EXACT)


@given(seed=st.integers(0, 500), factor=st.floats(0.01, 100))
def test_what_is_unknown_or_absent_takes_no_part_and_the_unit_of_mass_does_not_matter(seed, factor):
    rng = np.random.default_rng(seed)
    weights, values = rng.uniform(0.1, 9, (4, 5)), rng.uniform(1, 900, 5)
    wider = np.column_stack([weights, np.zeros(4), np.full(4, 7.0)])
    with_gaps = np.append(values, [0.5, np.nan])
    for average in (weighted_mean, weighted_spread, harmonic_mean, smallest_present):
        np.testing.assert_allclose(average(factor * wider, with_gaps), average(weights, values), rtol=1e-9)


def test_where_nothing_is_known_the_answer_is_missing():
    weights = np.array([[1.0, 0.0], [0.0, 1.0]])
    values = np.array([5.0, np.nan])
    for average in (weighted_mean, harmonic_mean, smallest_present):
        np.testing.assert_array_equal(average(weights, values), [5.0, np.nan])
    np.testing.assert_array_equal(weighted_spread(weights, values), [0.0, np.nan])


def test_the_share_of_some_ingredients_is_a_mean_by_hand():
    weights = np.array([[6.0, 5.0, 4.0], [0.0, 0.0, 0.0]])
    part = weighted_mean(weights, np.array([1.0, 0.0, 1.0]))
    assert part[0] == pytest.approx(10 / 15)
    assert np.isnan(part[1])
