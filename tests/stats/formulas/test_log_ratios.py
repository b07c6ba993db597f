"""Log-ratios against printed values, and the rules of their geometry."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panel.stats.formulas.log_ratios import (
    alr,
    closed,
    clr,
    ilr,
    ilr_basis,
    ilr_inverse,
    perturbed,
    powered,
    replace_zeros,
)

PARTS = (0.1, 0.3, 0.4, 0.2)
# The printed values have eight decimals, those of the other two transforms seven.
EIGHT, SEVEN = 5e-9, 5e-8
compositions = st.lists(st.floats(0.01, 10), min_size=3, max_size=6).map(np.array)


def test_centred_log_ratios_are_those_printed_in_the_documentation_of_scikit_bio():
    expected = [-0.79451346, 0.30409883, 0.5917809, -0.10136628]
    assert clr(PARTS) == pytest.approx(np.array(expected), abs=EIGHT)


def test_isometric_and_additive_log_ratios():
    # ilr on the basis of Egozcue et al. (2003), as scikit-bio gives it; alr against the last part: log of the ratios
    assert ilr(PARTS) == pytest.approx(np.array([-0.7768362, -0.6833980, 0.1170477]), abs=SEVEN)
    assert alr(PARTS) == pytest.approx(np.log([0.5, 1.5, 2.0]), abs=EIGHT)
    assert alr(PARTS, reference=0) == pytest.approx(np.log([3, 4, 2]), abs=EIGHT)


def test_lengths_agree():
    assert np.linalg.norm(clr(PARTS)) == pytest.approx(1.0412528, abs=SEVEN)
    assert np.linalg.norm(ilr(PARTS)) == pytest.approx(np.linalg.norm(clr(PARTS)))


def test_perturbing_and_powering_by_hand():
    assert perturbed(PARTS, (1 / 6, 1 / 6, 1 / 3, 1 / 3)) == pytest.approx(np.array([0.0625, 0.1875, 0.5, 0.25]))
    assert powered(PARTS, 2) == pytest.approx(np.array([1, 9, 16, 4]) / 30)


@settings(max_examples=50, deadline=None)
@given(compositions)
def test_going_there_and_back_changes_nothing(parts):
    assert ilr_inverse(ilr(parts)) == pytest.approx(closed(parts))
    assert clr(parts).sum() == pytest.approx(0, abs=1e-12)
    assert clr(1000 * parts) == pytest.approx(clr(parts))


@settings(max_examples=50, deadline=None)
@given(compositions, st.integers(0, 1000))
def test_perturbing_adds_and_powering_multiplies(parts, seed):
    other = np.random.default_rng(seed).uniform(0.1, 5, parts.size)
    assert ilr(perturbed(parts, other)) == pytest.approx(ilr(parts) + ilr(other), abs=1e-9)
    assert ilr(powered(parts, 0.7)) == pytest.approx(0.7 * ilr(parts), abs=1e-9)


@pytest.mark.parametrize("parts", [2, 3, 7])
def test_the_basis_is_orthonormal_and_blind_to_the_total(parts):
    basis = ilr_basis(parts)
    assert basis @ basis.T == pytest.approx(np.eye(parts - 1))
    assert basis @ np.ones(parts) == pytest.approx(np.zeros(parts - 1))


def test_rows_are_taken_one_by_one():
    table = np.array([PARTS, (1, 1, 1, 1)])
    assert clr(table)[0] == pytest.approx(clr(PARTS))
    assert clr(table)[1] == pytest.approx(np.zeros(4))


@pytest.mark.parametrize("transform", [clr, alr, ilr])
def test_a_zero_is_refused_never_replaced_silently(transform):
    with pytest.raises(ValueError, match="zero has no logarithm"):
        transform((0.5, 0.0, 0.5))


def test_zeros_are_replaced_by_the_rule_that_was_stated():
    # Martín-Fernández et al. (2003): the others shrink by (1 - 0.02), so that ratios among them stay
    found = replace_zeros((0.5, 0.0, 0.3, 0.2), 0.02)
    assert found == pytest.approx(np.array([0.49, 0.02, 0.294, 0.196]))
    assert found.sum() == pytest.approx(1)
    assert found[0] / found[2] == pytest.approx(0.5 / 0.3)
    assert replace_zeros(PARTS, 0.02) == pytest.approx(np.array(PARTS))


@pytest.mark.parametrize("small", [0.0, -0.1, 0.5, 1.0])
def test_a_replacement_must_leave_mass_for_the_others(small):
    with pytest.raises(ValueError, match="zeros cannot be replaced"):
        replace_zeros((0.0, 0.0, 1.0), small)


@pytest.mark.parametrize("parts", [(0.5, -0.1), (0.5, np.nan), (np.inf, 1.0)])
def test_parts_must_be_numbers_of_zero_or_more(parts):
    with pytest.raises(ValueError, match="zero or more"):
        closed(parts)


def test_no_mass_has_no_shares():
    with pytest.raises(ValueError, match="without any mass"):
        closed((0.0, 0.0))
