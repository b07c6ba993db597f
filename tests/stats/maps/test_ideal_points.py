"""Vector and ideal-point models: identities, a constructed peak, and ordinary least squares as judge."""

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial import Delaunay

from panel.stats.maps.links import direction_interval, fit_plane, inside_hull

SAME = 1e-9


def cross():
    """Eight points with uncorrelated coordinates."""
    return np.array([[-3, 1], [-1, -2], [1, 2], [3, -1], [-2, 3], [2, -3], [-3, -2], [3, 2]], dtype=float)


def orthogonal(rng, n=8):
    points = rng.normal(size=(n, 2))
    return np.linalg.qr(points - points.mean(axis=0))[0] * [3.0, 1.5]


def test_shares_of_uncorrelated_components_add_up():
    # identity of least squares: with uncorrelated centred columns, R2 is the sum of the squared correlations
    rng = np.random.default_rng(1)
    points, response = orthogonal(rng), rng.normal(size=(8, 20))
    each = [[np.corrcoef(points[:, k], own)[0, 1] ** 2 for k in (0, 1)] for own in response.T]
    assert fit_plane(points, response)["r2"] == pytest.approx(np.sum(each, axis=1), abs=SAME)


def test_as_ordinary_least_squares():
    rng = np.random.default_rng(2)
    points, response = cross(), rng.normal(size=8)
    found = fit_plane(points, response[:, None])
    vector = sm.OLS(response, sm.add_constant(points)).fit()
    circular = sm.OLS(response, sm.add_constant(np.column_stack([points, (points**2).sum(axis=1)]))).fit()
    assert found["slope"][0] == pytest.approx(vector.params[1:], abs=SAME)
    assert found["r2"][0] == pytest.approx(vector.rsquared, abs=SAME)
    assert found["p_value"][0] == pytest.approx(vector.f_pvalue, abs=SAME)
    assert found["circular_r2"][0] == pytest.approx(circular.rsquared, abs=SAME)
    assert found["curvature"][0] == pytest.approx(circular.params[3], abs=SAME)
    assert found["curvature_p_value"][0] == pytest.approx(circular.pvalues[3], abs=SAME)


@given(st.floats(-4, 4), st.floats(-4, 4), st.floats(0.05, 2))
def test_a_constructed_ideal_point_is_found(x, y, steep):
    points = cross()
    liking = 8 - steep * ((points - [x, y]) ** 2).sum(axis=1)
    found = fit_plane(points, liking[:, None])
    assert found["peak"][0] == pytest.approx([x, y], abs=1e-6)
    assert found["curvature"][0] == pytest.approx(-steep)
    assert found["circular_r2"][0] == pytest.approx(1)


@given(st.floats(-3, 3))
def test_turning_the_map_turns_the_direction(turn):
    rng = np.random.default_rng(4)
    points, response = cross(), rng.normal(size=(8, 3))
    rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    before, after = fit_plane(points, response), fit_plane(points @ rotation.T, response)
    assert after["slope"] == pytest.approx(before["slope"] @ rotation.T, abs=1e-9)
    assert after["r2"] == pytest.approx(before["r2"], abs=SAME)
    assert after["curvature"] == pytest.approx(before["curvature"], abs=SAME)


def test_directions_drawn_on_both_sides_of_the_cut_are_neighbours():
    angles = np.radians(np.linspace(170, 190, 201))
    low, high = direction_interval(np.column_stack([np.cos(angles), np.sin(angles)]), np.array([-1.0, 0.0]), 0.95)
    assert (low, high) == pytest.approx((-9.5, 9.5), abs=0.01)


def test_inside_is_what_the_triangles_of_a_second_method_hold():
    rng = np.random.default_rng(8)
    points, places = rng.normal(size=(8, 2)), 1.5 * rng.normal(size=(2000, 2))
    expected = Delaunay(points).find_simplex(places) >= 0  # scipy, the hull cut into triangles
    assert 0 < expected.sum() < len(places)
    np.testing.assert_array_equal(inside_hull(points, places), expected)
    assert inside_hull(points, points).all()


def test_inside_and_outside():
    square = np.array([[0, 0], [1, 0], [0, 1], [1, 1]], dtype=float)
    assert inside_hull(square, np.array([[0.5, 0.5], [1.1, 0.5]])).tolist() == [True, False]
    line = np.array([[0, 0], [1, 1], [2, 2], [3, 3]], dtype=float)
    assert not inside_hull(line, np.array([[1.0, 1.0]])).any()
