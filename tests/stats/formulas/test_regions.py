"""Inside or outside the blends that were made: corners, edges, and Qhull as an independent judge."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import Delaunay

from panel.stats.formulas.composition import hull_place

SOLVER = 1e-7  # HiGHS's tolerance, in units of the points' spread
TRIANGLE = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])


@pytest.mark.parametrize("point", [(0, 0), (1, 0), (0.5, 0.5), (0.2, 0.3), (0, 0.4)])
def test_corners_edges_and_the_middle_are_inside(point):
    place = hull_place(TRIANGLE, point)
    assert place[0] == pytest.approx(0, abs=SOLVER)
    assert place[2] @ TRIANGLE == pytest.approx(np.array(point), abs=SOLVER)
    assert place[2].sum() == pytest.approx(1)
    assert (place[2] >= 0).all()


def test_a_point_outside_has_its_distance_and_nearest_point():
    place = hull_place(TRIANGLE, (1, 1))
    assert place[0] == pytest.approx(0.5, abs=SOLVER)
    assert place[1] == pytest.approx(np.array([0.5, 0.5]), abs=SOLVER)


def test_points_of_a_constant_sum_fill_only_their_plane():
    # a simplex in three components is flat: a point off the plane is outside
    corners = 15 * np.eye(3)
    assert hull_place(corners, (5, 5, 5))[0] == pytest.approx(0, abs=15 * SOLVER)
    assert hull_place(corners, (5, 5, 8))[0] == pytest.approx(1, abs=15 * SOLVER)


def test_the_unit_does_not_matter():
    assert hull_place(TRIANGLE * 1e6, np.array([1, 1]) * 1e6)[0] == pytest.approx(0.5e6, rel=1e-6)
    assert hull_place(TRIANGLE + 1e4, np.array([1, 1]) + 1e4)[0] == pytest.approx(0.5, abs=1e-6)


def test_one_point_is_its_own_hull():
    assert hull_place([[3.0, 4.0]], [3.0, 4.0])[0] == 0
    assert hull_place([[3.0, 4.0]], [5.0, 4.0])[0] == pytest.approx(2)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.integers(2, 3))
def test_inside_and_outside_are_those_of_qhull(seed, dimensions):
    rng = np.random.default_rng(seed)
    points, target = rng.normal(size=(8, dimensions)), rng.normal(size=dimensions)
    inside = Delaunay(points).find_simplex(target) >= 0
    assert (hull_place(points, target)[0] < 1e-6) == inside


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000))
def test_any_mixture_of_the_points_is_inside(seed):
    rng = np.random.default_rng(seed)
    points, weights = rng.normal(size=(8, 6)), rng.dirichlet(np.ones(8))
    assert hull_place(points, weights @ points)[0] == pytest.approx(0, abs=1e-6)
