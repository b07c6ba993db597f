"""Repeats against the others: the limit of k of ASTM E691, exact F, and its size in panels of equals."""

import numpy as np
import pytest
from scipy.stats import f as f_distribution

from panel.stats.assessors.agreement import own_tables
from panel.stats.assessors.departures import _ALLOWED, _independent_attributes, repeats


def table(cube):
    """Own tables of scores (a, p, k, q)."""
    person, product, _ = (grid.ravel() for grid in np.indices(cube.shape[:3]))
    return own_tables(cube.reshape(-1, cube.shape[3]), person, product)[0]


def test_k_at_the_limit_of_astm_e691_has_p_of_half_a_per_cent():
    # one attribute, 8 people, 1 prototype 3 times: E691 prints k = 2.06 at 0.5 per cent
    rng = np.random.default_rng(1)
    cube = rng.normal(size=(8, 1, 3, 1))
    own = cube - cube.mean(axis=2, keepdims=True)
    own /= np.sqrt((own**2).sum(axis=2, keepdims=True) / 2)  # everybody's variance is 1
    limit = np.sqrt(8 / (1 + 7 / f_distribution.ppf(0.995, 2, 14)))
    assert limit == pytest.approx(2.06, abs=0.005)
    square = 7 * limit**2 / (8 - limit**2)  # the own variance that makes k the limit
    own[0] *= np.sqrt(square)
    found = repeats(table(own))
    assert found.p_value[0, 0] == pytest.approx(0.005)
    assert found.ratio[0, 0] == pytest.approx(np.sqrt(square))


def test_ratio_and_p_value_by_plain_formulas():
    rng = np.random.default_rng(2)
    cube = rng.normal(size=(6, 5, 3, 1))
    found = repeats(table(cube))
    own = ((cube - cube.mean(axis=2, keepdims=True)) ** 2).sum(axis=(1, 2))[:, 0]
    for i in range(6):
        others = np.delete(own, i).sum() / 50
        assert found.ratio[0, i] == pytest.approx(np.sqrt(own[i] / 10 / others))
        assert found.p_value[0, i] == pytest.approx(f_distribution.sf(own[i] / 10 / others, 10, 50))


def test_who_scatters_everywhere_is_told_over_all_attributes_and_not_for_each():
    rng = np.random.default_rng(3)
    cube = rng.normal(size=(9, 8, 3, 12))
    cube[0] *= 2.2
    found = repeats(table(cube))
    assert found.overall[0] == pytest.approx(2.2, rel=0.15)
    assert found.overall_p[0] < 1e-6
    assert (found.overall_p[1:] > 0.01).all()
    assert found.p_value[:, 0].min() > 1e-3


def test_who_scatters_on_one_attribute_is_told_there():
    rng = np.random.default_rng(4)
    cube = rng.normal(size=(9, 8, 3, 12))
    cube[0, :, :, 5] *= 3
    found = repeats(table(cube))
    assert found.p_value[5, 0] < 1e-6
    assert np.delete(found.p_value[:, 0], 5).min() > 1e-3


def test_size_of_the_p_value_in_panels_of_equals():
    rng = np.random.default_rng(20250311)
    p_values = np.concatenate([repeats(table(rng.normal(size=(6, 4, 2, 1)))).p_value[0, :1] for _ in range(1500)])
    assert (p_values < 0.05).mean() == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / 1500))


def test_without_repeats_nothing_is_said():
    found = repeats(table(np.random.default_rng(5).normal(size=(4, 5, 1, 3))))
    for name in ("ratio", "p_value", "overall", "overall_p"):
        assert np.isnan(getattr(found, name)).all()


def test_attributes_that_say_the_same_count_as_one_and_unrelated_ones_as_many():
    rng = np.random.default_rng(6)
    alone = rng.normal(size=(9, 8, 3, 12))
    assert _independent_attributes(table(alone)) == pytest.approx(12, rel=0.1)
    assert _independent_attributes(table(np.repeat(alone[..., :1], 12, axis=3))) == pytest.approx(1)
    half = np.sqrt(0.5) * alone + np.sqrt(0.5) * rng.normal(size=(9, 8, 3, 1))
    assert _independent_attributes(table(half)) == pytest.approx(12 / (1 + 11 * 0.25), rel=0.2)


@pytest.mark.parametrize("shared", [0.0, 0.5, 0.9])
def test_size_over_all_attributes_however_they_go_together(shared):
    rng = np.random.default_rng(20250311)
    p_values = []
    for _ in range(600):
        cube = np.sqrt(1 - shared) * rng.normal(size=(6, 4, 2, 10)) + np.sqrt(shared) * rng.normal(size=(6, 4, 2, 1))
        cube[0] *= _ALLOWED  # as much as is nothing out of the ordinary
        p_values.append(repeats(table(cube)).overall_p[0])
    assert (np.array(p_values) < 0.05).mean() == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / 600))


def test_the_number_of_independent_attributes_allows_for_missing_scores():
    cube = np.random.default_rng(7).normal(size=(6, 5, 3, 4))
    cube[0, 0, 0, 1] = cube[2, 3, 1, 2] = np.nan
    assert _independent_attributes(table(cube)) == pytest.approx(4, rel=0.15)
