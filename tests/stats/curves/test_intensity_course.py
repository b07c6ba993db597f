"""A course of intensity: one constructed by hand with every quantity, and what must hold of any."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import trapezoid

from panel.errors import ModelError
from panel.stats.curves.over_time import course_at, intensity_course

CLOSED_FORM = 1e-9
# Constructed, exact by arithmetic; terms of ASTM E1909.
T, Y = [0, 5, 10, 20, 30, 60], [0, 4, 8, 8, 5, 0]


def test_every_quantity_of_a_course_made_by_hand():
    found = intensity_course(T, Y)
    assert (found["largest"], found["time_to_largest"], found["plateau"], found["duration"]) == (8, 10, 10, 60)
    assert (found["area"], found["area_before"], found["area_after"]) == (260, 40, 220)
    assert (found["rate_up"], found["rate_down"]) == (pytest.approx(0.8), pytest.approx(-0.2))
    assert found["ended"]


def test_a_course_that_does_not_come_back():
    found = intensity_course([0, 10, 20], [0, 6, 4])
    assert not found["ended"]
    assert (found["duration"], found["rate_down"]) == (20, pytest.approx(-0.2))


def test_a_peak_at_the_start_has_no_rate_of_increase():
    found = intensity_course([0, 10, 20], [9, 4, 0])
    assert np.isnan(found["rate_up"])
    assert (found["area_before"], found["time_to_largest"]) == (0, 0)


def test_nothing_felt():
    found = intensity_course([0, 10], [0, 0])
    assert (found["largest"], found["duration"], found["area"], found["ended"]) == (0, 0, 0, True)
    assert np.isnan([found["time_to_largest"], found["plateau"], found["rate_up"], found["rate_down"]]).all()


def test_waiting_before_and_after_is_not_duration():
    found = intensity_course([0, 30, 40, 50, 90], [0, 0, 5, 0, 0])
    assert (found["duration"], found["time_to_largest"]) == (20, 40)
    assert (found["rate_up"], found["rate_down"]) == (0.5, -0.5)


def test_a_second_peak_of_the_same_height_is_no_plateau():
    found = intensity_course([0, 1, 2, 3, 4], [0, 5, 1, 5, 0])
    assert (found["time_to_largest"], found["plateau"]) == (1, 0)


courses = st.lists(st.integers(0, 100), min_size=2, max_size=12)


@given(courses, st.floats(0.1, 10), st.floats(0.1, 10), st.floats(-50, 50))
def test_units_and_a_later_start_change_nothing_else(values, second, point, start):
    t, y = np.arange(len(values), dtype=float), np.array(values, dtype=float)
    one, other = intensity_course(t, y), intensity_course(start + second * t, point * y)
    assert other["largest"] == pytest.approx(point * one["largest"])
    assert other["area"] == pytest.approx(second * point * one["area"], abs=1e-6)
    assert other["duration"] == pytest.approx(second * one["duration"], abs=1e-6)
    assert other["rate_up"] == pytest.approx(one["rate_up"] * point / second, abs=1e-6, nan_ok=True)
    assert one["area"] == pytest.approx(trapezoid(y, t) if y.any() else 0, abs=CLOSED_FORM)
    assert one["area_before"] + one["area_after"] == pytest.approx(one["area"])


def test_the_intensity_in_between_and_outside():
    assert course_at(T, Y, [2.5, 15, 45, 90]).tolist() == [2, 8, 2.5, 0]
    assert np.isnan(course_at([5, 10], [3, 3], [0, 20])).all()


@pytest.mark.parametrize(
    ("time", "intensity", "message"),
    [
        ([0], [1], "needs two points or more"),
        ([0, np.nan], [1, 2], "needs two points or more"),
        ([0, 0], [1, 2], "two points of a course have the same time"),
        ([0, 1], [1, -2], "an intensity lies below zero"),
    ],
)
def test_messages(time, intensity, message):
    with pytest.raises(ModelError, match=message):
        intensity_course(time, intensity)
