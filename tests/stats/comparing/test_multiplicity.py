"""Adjusted p-values against a published example, two general-purpose libraries and what must always hold."""

import itertools
from unittest.mock import patch

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import false_discovery_control
from statsmodels.stats.multitest import multipletests

from panel.stats.comparing.multiplicity import below, benjamini_hochberg, holm, serial_gatekeeping

# Benjamini and Hochberg (1995), JRSS-B 57, 289-300: 15 p-values of a heart study, of which their procedure
# rejects 4 at 0.05. The p-values and the "4" are printed (also in scipy's documentation).
HEART_STUDY = [
    *(0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344),
    *(0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0),
]
# Not printed there: computed separately with a general-purpose statistics tool.
HEART_STUDY_BH = [
    *(0.0015, 0.003, 0.0095, 0.035625, 0.0603, 0.06385714, 0.06385714, 0.0645),
    *(0.0765, 0.486, 0.58118182, 0.714875, 0.75323077, 0.81321429, 1.0),
]
HEART_STUDY_HOLM = [0.0015, 0.0056, 0.0247, 0.114, 0.2211, 0.278, 0.278, 0.278, 0.3213, 1, 1, 1, 1, 1, 1]
PRINTED = 5e-9  # half a unit of the last printed digit
EXACT = 1e-12  # a handful of float operations

p_values = st.lists(st.floats(0, 1), min_size=1, max_size=30)


def test_benjamini_hochberg_gives_the_published_four_rejections():
    adjusted = benjamini_hochberg(HEART_STUDY)
    assert np.count_nonzero(adjusted <= 0.05) == 4
    np.testing.assert_allclose(adjusted, HEART_STUDY_BH, rtol=0, atol=PRINTED)


def test_holm_gives_the_published_example():
    adjusted = holm(HEART_STUDY)
    assert np.count_nonzero(adjusted <= 0.05) == 3
    np.testing.assert_allclose(adjusted, HEART_STUDY_HOLM, rtol=0, atol=PRINTED)


@given(p_values)
def test_both_equal_the_libraries(p):
    np.testing.assert_allclose(benjamini_hochberg(p), false_discovery_control(p), rtol=EXACT, atol=EXACT)
    with patch("gc.collect"):  # the library collects garbage at each call: seconds in a process of many tests
        theirs = multipletests(p, method="holm")[1]
    np.testing.assert_allclose(holm(p), theirs, rtol=EXACT, atol=EXACT)


@pytest.mark.parametrize("adjust", [holm, benjamini_hochberg])
@given(p=p_values, n_missing=st.integers(1, 5), seed=st.integers(0, 1000))
def test_a_missing_p_value_stays_missing_and_is_not_counted(adjust, p, n_missing, seed):
    mixed = np.random.default_rng(seed).permutation([*p, *[np.nan] * n_missing])
    adjusted = adjust(mixed)
    assert np.array_equal(np.isnan(adjusted), np.isnan(mixed))
    np.testing.assert_array_equal(adjusted[~np.isnan(mixed)], adjust(mixed[~np.isnan(mixed)]))


@given(p_values)
def test_order_of_size_and_strictness(p):
    raw = np.asarray(p)
    strict, mild = holm(raw), benjamini_hochberg(raw)
    assert np.all(raw <= mild + EXACT)
    assert np.all(mild <= strict + EXACT)
    order = np.argsort(raw)
    assert np.all(np.diff(strict[order]) >= 0)
    assert np.all(np.diff(mild[order]) >= 0)


@pytest.mark.parametrize("adjust", [holm, benjamini_hochberg])
def test_shape_is_kept_and_nothing_is_allowed(adjust):
    table = np.array([[0.01, np.nan], [0.04, 0.5]])
    assert adjust(table).shape == (2, 2)
    assert adjust([]).size == 0
    assert np.isnan(adjust([np.nan])).all()
    assert adjust([0.03]) == pytest.approx(0.03)


@pytest.mark.parametrize("adjust", [holm, benjamini_hochberg])
@pytest.mark.parametrize("wrong", [[-0.1], [1.1], [0.5, np.inf]])
def test_a_number_that_is_no_probability_is_refused(adjust, wrong):
    with pytest.raises(ValueError, match="between 0 and 1"):
        adjust(wrong)


def test_a_p_value_at_the_limit_is_not_below_it():
    assert below([0.0499999, 0.05, 0.051, float("nan")], 1 - 0.95).tolist() == [True, False, False, False]
    assert 0.05 < 1 - 0.95  # why it is rounded
    assert not below(0.01, 1 - 0.99)


def closed_test(p, family):
    """Return adjusted p-values by testing every intersection: Holm's within the first family that takes part.

    Marcus, Peritz and Gabriel (1976), Biometrika 63, 655-660; a serial gatekeeper tests an intersection by its first
    family alone (Dmitrienko and Tamhane 2007, Pharmaceutical Statistics 6, 171-180).
    """
    adjusted = np.zeros(len(p))
    for size in range(1, len(p) + 1):
        for chosen in itertools.combinations(range(len(p)), size):
            first = [place for place in chosen if family[place] == min(family[each] for each in chosen)]
            value = min(1.0, len(first) * min(p[place] for place in first))
            adjusted[list(chosen)] = np.maximum(adjusted[list(chosen)], value)
    return adjusted


@given(st.lists(st.tuples(st.floats(0, 1), st.integers(1, 3)), min_size=1, max_size=7))
def test_serial_gatekeeping_is_the_closed_test(each):
    p, family = (list(values) for values in zip(*each, strict=True))
    np.testing.assert_allclose(serial_gatekeeping(p, family), closed_test(p, family), rtol=EXACT, atol=EXACT)


def test_serial_gatekeeping_by_hand_fixed_sequence_and_holm():
    # worked through by the definition with the p-values of the heart study printed in Benjamini and Hochberg (1995):
    # the four smallest are primary, by Holm 0.0004 0.0012 0.0038 0.0095; then one after another
    family = [1, 1, 1, 1, 2, 3, 4, 5, *[6] * 7]
    adjusted = serial_gatekeeping(HEART_STUDY, family)
    np.testing.assert_allclose(adjusted[:8], [0.0004, 0.0012, 0.0038, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344])
    np.testing.assert_allclose(adjusted[8], 7 * 0.0459)
    assert np.count_nonzero(adjusted <= 0.05) == 8  # Holm over all of them finds 3
    np.testing.assert_allclose(serial_gatekeeping(HEART_STUDY, [1] * 15), HEART_STUDY_HOLM, rtol=0, atol=PRINTED)
    np.testing.assert_array_equal(serial_gatekeeping([0.2, np.nan, 0.01], [1, 2, 3]), [0.2, np.nan, 0.2])
