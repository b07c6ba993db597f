"""Leaving groups out by subtraction against fitting the rows of the others anew."""

import numpy as np
import pytest

from panel.stats.mixed import residuals
from panel.stats.mixed.reml import fit_mixed_model
from panel.stats.mixed.residuals import fits_without_groups

SAME_OPTIMUM = 1e-7  # relative; both fits start alike and stop within this of one optimum


def panel(terms, missing, seed=3):
    """Scores of 6 assessors, 4 prototypes, 3 sessions on 5 attributes, with the prototype and session columns."""
    rng = np.random.default_rng(seed)
    a, p, s = (grid.ravel() for grid in np.indices((6, 4, 3)))
    groups = {"a": a, "ap": a * 4 + p, "as": a * 3 + s, "batch": p * 3 + s}
    y = 4 * rng.normal(size=(len(a), 5)) + 3 * rng.normal(size=(4, 5))[p]
    for name in terms:
        y += 3 * rng.normal(size=(groups[name].max() + 1, 5))[groups[name]]
    y[rng.random(y.shape) < missing] = np.nan
    each = np.eye(3)[s]
    return y, np.hstack([np.eye(4)[p], each[:, :2] - each[:, 2:]]), [groups[name] for name in terms]


@pytest.mark.parametrize(
    "terms", [("a",), ("a", "ap"), ("a", "as"), ("a", "ap", "as"), ("a", "batch"), ("a", "ap", "batch")]
)
@pytest.mark.parametrize("missing", [0.0, 0.15])
@pytest.mark.parametrize("at_once", [1, 10**6])
def test_equals_the_fit_to_the_rows_of_the_others(terms, missing, at_once, monkeypatch):
    monkeypatch.setattr(residuals, "_AT_ONCE", at_once)
    response, fixed, groups = panel(terms, missing)
    start = np.full((6, 5, len(terms)), 0.7)
    seen = np.zeros((6, 5), dtype=int)
    for left_out, column, fit in fits_without_groups(response, fixed, groups, start):
        for place, (out, attribute) in enumerate(zip(left_out, column, strict=True)):
            kept = groups[0] != out
            rows = [group[kept] for group in groups]
            alone = fit_mixed_model(response[kept][:, [attribute]], fixed[kept], rows, start[out, [attribute]])
            for name in ("variances", "coefficients", "covariance", "deviance", "parameter_covariance", "n_scores"):
                ours, expected = getattr(fit, name)[place], getattr(alone, name)[0]
                np.testing.assert_allclose(
                    ours, expected, rtol=SAME_OPTIMUM, atol=SAME_OPTIMUM * np.abs(expected).max(), err_msg=name
                )
            seen[out, attribute] += 1
    assert (seen == 1).all()


def test_what_cannot_be_fitted_without_a_group_is_not_there():
    response, fixed, groups = panel(("a", "ap"), 0.1)
    response[(fixed[:, 2] == 1) & (groups[0] != 4), 1] = np.nan  # only the fifth scored the third prototype
    found = list(fits_without_groups(response, fixed, groups, np.ones((6, 5, 2))))
    pairs = {(int(out), int(k)) for each in found for out, k in zip(each[0], each[1], strict=True)}
    assert {(out, k) for out in range(6) for k in range(5)} - pairs == {(4, 1)}


@pytest.mark.parametrize("seed", range(5))
def test_without_the_one_who_had_another_order_place_and_prototype_are_one(seed):
    """All others had the prototypes in one order: without the sixth nothing is left to tell the two apart."""
    response, _, groups = panel(("a", "ap"), 0.0, seed)
    assessor, prototype = groups[0], groups[1] % 4
    place = np.where(assessor == 5, (prototype + 1) % 4, prototype)
    fixed = np.hstack([np.eye(4)[prototype], np.eye(4)[place][:, :3] - np.eye(4)[place][:, 3:]])
    assert np.linalg.matrix_rank(fixed) == 7
    assert np.linalg.matrix_rank(fixed[assessor != 5]) == 4
    found = list(fits_without_groups(response, fixed, groups, np.ones((6, 5, 2))))
    assert {int(out) for each in found for out in each[0]} == set(range(5))


@pytest.mark.parametrize("terms", [("a", "ap"), ("a", "ap", "as"), ("a", "batch")])
@pytest.mark.parametrize("missing", [0.0, 0.15])
def test_scores_far_from_zero_have_the_same_variances_and_means(terms, missing):
    response, fixed, groups = panel(terms, missing)
    far = 1e7
    start = np.full((6, 5, len(terms)), 0.7)
    near, away = (list(fits_without_groups(y, fixed, groups, start)) for y in (response, response + far))
    for (*_, one), (*_, other) in zip(near, away, strict=True):
        np.testing.assert_allclose(other.variances, one.variances, rtol=SAME_OPTIMUM, atol=SAME_OPTIMUM)
        np.testing.assert_allclose(other.coefficients[:, :4] - far, one.coefficients[:, :4], atol=1e-6)
        np.testing.assert_allclose(other.coefficients[:, 4:], one.coefficients[:, 4:], atol=1e-6)
