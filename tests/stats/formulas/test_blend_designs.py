"""Points to make: textbook plans, and the properties they promise."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panel.stats.formulas.mixtures import (
    effect_columns,
    extreme_vertices,
    rounded_to_total,
    simplex_centroid,
    simplex_lattice,
    two_level_runs,
)


def as_set(points):
    return {tuple(row) for row in np.asarray(points).round(9).tolist()}


def test_a_full_plan_holds_every_combination_once_the_base_first():
    runs = two_level_runs(3)
    assert runs.shape == (8, 3)
    assert len(as_set(runs)) == 8
    assert runs[0].tolist() == [0, 0, 0]
    assert runs[1].tolist() == [1, 0, 0]


@pytest.mark.parametrize("k", [3, 4, 5, 6])
def test_half_a_plan_holds_the_base_and_balanced_orthogonal_columns(k):
    runs = two_level_runs(k, "half")
    assert runs.shape == (2 ** (k - 1), k)
    assert runs[0].tolist() == [0] * k
    assert (runs.sum(axis=0) == len(runs) / 2).all()
    signs = 2 * runs - 1
    assert (signs.T @ signs == len(runs) * np.eye(k)).all()
    assert (signs.prod(axis=1) == (-1) ** k).all()  # the defining word, with the sign that keeps the base in


def test_half_of_four_swaps_has_resolution_four():
    # Box, Hunter and Hunter: 2^(4-1) with I = ABCD, AB = CD, AC = BD, AD = BC, swaps clear of all of these
    effects, columns = effect_columns(two_level_runs(4, "half"))
    place = {effect: column for column, effect in enumerate(effects)}
    for one, other in (((0, 1), (2, 3)), ((0, 2), (1, 3)), ((0, 3), (1, 2))):
        assert (columns[:, place[one]] == columns[:, place[other]]).all()
    mains = columns[:, :4]
    assert (mains.T @ columns[:, 4:] == 0).all()


def test_one_at_a_time_is_the_base_and_each_alone():
    assert two_level_runs(3, "one at a time").tolist() == [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]]


@pytest.mark.parametrize(("q", "degree", "points"), [(3, 1, 3), (3, 2, 6), (3, 3, 10), (4, 2, 10)])
def test_a_lattice_has_as_many_points_as_scheffe_says(q, degree, points):
    found = simplex_lattice(q, degree)
    assert len(as_set(found)) == len(found) == points  # (q + m - 1 choose m), Scheffé (1958)
    assert found.sum(axis=1) == pytest.approx(np.ones(points))
    assert (found * degree) == pytest.approx((found * degree).round())


def test_a_centroid_holds_every_equal_blend():
    found = simplex_centroid(3)
    third = round(1 / 3, 9)
    assert as_set(found) == {
        (1.0, 0.0, 0.0),
        (0.0, 1.0, 0.0),
        (0.0, 0.0, 1.0),
        (0.5, 0.5, 0.0),
        (0.5, 0.0, 0.5),
        (0.0, 0.5, 0.5),
        (third, third, third),
    }
    assert len(simplex_centroid(4)) == 15


def test_corners_of_the_plasticiser_region():
    # Cornell (1990), p. 69: .409 <= x1 <= .849, x2 <= .252, .151 <= x3 <= .274; the corners are four of his blends
    found = extreme_vertices([0.409, 0, 0.151], [0.849, 0.252, 0.274])
    expected = {(0.849, 0.0, 0.151), (0.726, 0.0, 0.274), (0.474, 0.252, 0.274), (0.597, 0.252, 0.151)}
    assert as_set(found) == expected


def test_corners_of_the_flare_region():
    # McLean and Anderson (1966): .40-.60, .10-.50, .10-.50, .03-.08 has eight corners (their Table, from memory)
    found = extreme_vertices([0.40, 0.10, 0.10, 0.03], [0.60, 0.50, 0.50, 0.08])
    expected = {
        (0.40, 0.10, 0.47, 0.03),
        (0.40, 0.10, 0.42, 0.08),
        (0.60, 0.10, 0.27, 0.03),
        (0.60, 0.10, 0.22, 0.08),
        (0.40, 0.47, 0.10, 0.03),
        (0.40, 0.42, 0.10, 0.08),
        (0.60, 0.27, 0.10, 0.03),
        (0.60, 0.22, 0.10, 0.08),
    }
    assert as_set(found) == {tuple(round(part, 9) for part in corner) for corner in expected}


def test_a_region_without_blends_has_no_corners():
    assert extreme_vertices([0.6, 0.6], [0.9, 0.9]).shape == (0, 2)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.integers(2, 5))
def test_every_corner_keeps_the_limits_and_no_corner_lies_between_others(seed, q):
    from panel.stats.formulas.composition import hull_place

    rng = np.random.default_rng(seed)
    low = rng.uniform(0, 0.5 / q, q)
    high = low + rng.uniform(0.2, 0.9, q)
    corners = extreme_vertices(low, high)
    if not len(corners):
        assert low.sum() > 1 or high.sum() < 1
        return
    assert corners.sum(axis=1) == pytest.approx(np.ones(len(corners)))
    assert (corners >= low - 1e-9).all()
    assert (corners <= high + 1e-9).all()
    for row in range(len(corners) if len(corners) > 1 else 0):
        assert hull_place(np.delete(corners, row, axis=0), corners[row])[0] > 1e-7


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 10_000))
def test_rounding_keeps_the_total_and_moves_no_part_by_a_whole_step(seed):
    rng = np.random.default_rng(seed)
    points = rng.dirichlet(np.ones(4), 5) * 11
    found = rounded_to_total(points, 11)
    assert found.sum(axis=1) == pytest.approx(np.full(5, 11.0))
    assert found * 100 == pytest.approx((found * 100).round())
    assert np.abs(found - points).max() < 0.01
