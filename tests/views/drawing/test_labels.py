"""Labels that do not cover each other."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from panel.views.pictures import place_labels, shortened, spread_apart, text_width


def test_text_width_grows_with_words_and_size():
    assert text_width("", 9) == 0
    assert text_width("grease", 18) == pytest.approx(2 * text_width("grease", 9), rel=0.05)
    assert text_width("greasy film", 9) > text_width("greasy", 9)


def test_long_words_are_cut_to_the_width():
    assert shortened("greasy film", 9, 500) == "greasy film"
    cut = shortened("an attribute with a very long name", 9, 80)
    assert cut.endswith("…")
    assert text_width(cut, 9) <= 80
    assert "an attribute with a very long name".startswith(cut[:-1])


places = st.lists(st.floats(-1, 1), min_size=1, max_size=12).map(np.array)


@settings(max_examples=60, deadline=None)
@given(places)
def test_spread_labels_do_not_overlap_keep_their_order_and_stay_inside(wished):
    heights = np.full(len(wished), 0.15)
    found = spread_apart(wished, heights, -1, 1)
    order = np.argsort(wished, kind="stable")
    assert (np.diff(found[order]) >= 0.15 - 1e-9).all()
    assert (found >= -1 + 0.075 - 1e-9).all()
    assert (found <= 1 - 0.075 + 1e-9).all()


def test_labels_with_room_stay_where_they_are():
    wished = np.array([0.5, -0.5, 0.0])
    np.testing.assert_allclose(spread_apart(wished, np.full(3, 0.2), -1, 1), wished)


def test_spreading_moves_least():
    # The same problem given to a general optimiser (SLSQP of scipy) with the distances as constraints.
    wished, gap = np.array([-0.2, -0.1, 0.0, 0.02, 0.6]), 0.25
    constraints = [{"type": "ineq", "fun": lambda x, i=i: x[i + 1] - x[i] - gap} for i in range(4)]
    judge = minimize(lambda x: np.sum((x - wished) ** 2), np.linspace(-1, 1, 5), constraints=constraints, tol=1e-14)
    np.testing.assert_allclose(spread_apart(wished, np.full(5, gap), -2, 2), judge.x, atol=1e-5)


def test_too_many_labels_are_squeezed_evenly():
    found = spread_apart(np.zeros(10), np.full(10, 1.0), -1, 1)
    np.testing.assert_allclose(np.diff(found), 0.2)


def overlaps(centres: np.ndarray, sizes: np.ndarray) -> int:
    reach = (sizes[:, None] + sizes[None]) / 2
    covered = (np.abs(centres[:, None] - centres[None]) < reach - 1e-9).all(axis=2)
    return int(np.triu(covered, 1).sum())


def test_labels_of_a_crowd_of_points_do_not_cover_each_other():
    points = np.array([(100, 100), (104, 103), (98, 108), (110, 99), (395, 200), (2, 2)], dtype=float)
    sizes = np.tile((20.0, 12.0), (6, 1))
    found = place_labels(points, [(20.0, 12.0)] * 6, (400, 300), 5.0)
    assert overlaps(found, sizes) == 0
    assert (found - sizes / 2 >= 0).all()
    assert (found + sizes / 2 <= (400, 300)).all()


def test_a_lone_point_has_its_label_at_the_right():
    found = place_labels(np.array([[50.0, 50.0]]), [(20, 10)], (200, 100), 5)
    np.testing.assert_allclose(found, [[65, 50]])
