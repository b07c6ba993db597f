"""Peaks and areas of force curves, by hand, against scipy, and under changes that must not matter.

The definitions (firmness, work, stickiness, work of adhesion) are common usage in texture analysis; from memory.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, trapezoid

from panel.errors import ModelError
from panel.stats.curves.over_time import _signed_areas, read_force_curve, zero_crossings

ROUNDING = 1e-12
# Constructed so that the crossings of zero are points: areas by the trapezoid rule, on paper.
TIMES = [0, 1, 2, 3, 3.5, 4, 5]
FORCES = [0, 2, 6, 10, 0, -3, 0]


def test_the_constructed_curve_by_hand():
    found = read_force_curve(TIMES, FORCES, time=True)
    assert (found["peak_force"], found["peak_at"]) == (10, 3)
    assert (found["pull_force"], found["pull_at"]) == (3, 4)
    assert found["area_above"] == pytest.approx(15.5, rel=ROUNDING)
    assert found["area_to_peak"] == pytest.approx(13, rel=ROUNDING)
    assert found["area_below"] == pytest.approx(2.25, rel=ROUNDING)
    assert found["crossings"].tolist() == [3.5]
    assert found["start_share"] == 0


def test_a_crossing_between_two_points_is_found():
    # 10 to -10 within 1: the area above zero is 2.5; cutting off below zero first would make it 5.
    above, below = _signed_areas([0, 1], [10, -10])
    assert (above.tolist(), below.tolist()) == ([2.5], [2.5])
    assert zero_crossings([0, 1], [10, -10]).tolist() == [0.5]
    np.testing.assert_allclose(zero_crossings([0, 1, 2], [3, -1, 1]), [0.75, 1.5])
    assert zero_crossings([0, 1, 2, 3], [1, 0, 0, -1]).tolist() == [1]
    assert zero_crossings([0, 1, 2], [1, 0, 1]).size == 0


# No force is smaller than an instrument tells: areas of less would be rounded at the end of what floats can hold.
forces = st.floats(-50, 50).map(lambda force: force if abs(force) > 1e-9 else 0.0)
curves = st.lists(st.tuples(st.floats(0.01, 5), forces), min_size=3, max_size=25).filter(
    lambda points: max(force for _, force in points) > 0.1
)


@settings(max_examples=60, deadline=None)
@given(curves)
def test_areas_equal_scipy_with_the_crossings_put_in(points):
    x, F = np.cumsum([width for width, _ in points]), np.array([force for _, force in points])
    above, below = _signed_areas(x, F)
    np.testing.assert_allclose(above.sum() - below.sum(), trapezoid(F, x), atol=1e-9)
    crossings = zero_crossings(x, F)
    everything = np.sort(np.concatenate([x, crossings]))
    np.testing.assert_allclose(
        above.sum(), trapezoid(np.maximum(np.interp(everything, x, F), 0), everything), atol=1e-9
    )
    assert (above >= 0).all()
    assert (below >= 0).all()


@settings(max_examples=30, deadline=None)
@given(curves, st.floats(0.1, 10), st.floats(0.1, 10))
def test_other_units_only_scale(points, force_unit, along_unit):
    x, F = np.cumsum([width for width, _ in points]), np.array([force for _, force in points])
    one, other = read_force_curve(x, F), read_force_curve(x * along_unit, F * force_unit)
    for name, factor in (("peak_force", force_unit), ("pull_force", force_unit), ("peak_at", along_unit)):
        np.testing.assert_allclose(other[name], factor * one[name], rtol=1e-9)
    for name in ("area_to_peak", "area_above", "area_below"):
        np.testing.assert_allclose(other[name], force_unit * along_unit * one[name], rtol=1e-9)


def test_points_put_between_change_nothing():
    fine = np.linspace(0, 5, 501)
    one, other = read_force_curve(TIMES, FORCES), read_force_curve(fine, np.interp(fine, TIMES, FORCES))
    for name in ("peak_force", "area_to_peak", "area_above", "pull_force", "area_below"):
        np.testing.assert_allclose(other[name], one[name], rtol=1e-9)


def test_a_smooth_curve_approaches_its_integral():
    # Force 10 sin(x): scipy integrates the halves above and below zero.
    x = np.linspace(0, 2 * np.pi, 2001)
    found = read_force_curve(x, 10 * np.sin(x))
    np.testing.assert_allclose(found["area_above"], quad(lambda t: 10 * np.sin(t), 0, np.pi)[0], rtol=1e-5)
    np.testing.assert_allclose(found["area_to_peak"], quad(lambda t: 10 * np.sin(t), 0, np.pi / 2)[0], rtol=1e-4)
    np.testing.assert_allclose(found["area_below"], 20, rtol=1e-5)
    np.testing.assert_allclose(found["crossings"], [np.pi], rtol=1e-6)


def test_the_way_back_counts_as_way():
    # The probe goes 10 mm in and comes back: positions fall, but pulling out is work as well.
    forth = read_force_curve([0, 5, 10, 5, 0], [0, 4, 8, -2, 0])
    straight = read_force_curve([0, 5, 10, 15, 20], [0, 4, 8, -2, 0])
    assert forth["along"].tolist() == straight["along"].tolist()
    assert (forth["area_above"], forth["area_below"]) == (straight["area_above"], straight["area_below"])


def test_what_lies_below_zero_before_the_peak_is_no_adhesion():
    found = read_force_curve([0, 1, 2, 3], [-1, -1, 5, 0])
    assert (found["pull_force"], found["area_below"]) == (0, 0)
    assert np.isnan(found["pull_at"])
    assert found["start_share"] == -0.2


def test_a_plateau_is_a_peak_where_it_begins():
    assert read_force_curve([0, 1, 2, 3], [0, 5, 5, 0])["peak_at"] == 1


def test_what_is_no_force_curve_is_refused():
    with pytest.raises(ModelError, match="at least 3 points"):
        read_force_curve([0, 1], [0, 1])
    with pytest.raises(ModelError, match="at least 3 points"):
        read_force_curve([0, 1, np.nan], [0, 1, 2])
    with pytest.raises(ModelError, match="times of a force curve run backwards"):
        read_force_curve([0, 2, 1], [0, 1, 2], time=True)
    with pytest.raises(ModelError, match="turn the sign of the force round"):
        read_force_curve([0, 1, 2], [0, -1, -2])
