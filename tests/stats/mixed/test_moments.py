"""The moments by blocks and in one pass against their definitions by dense algebra."""

import numpy as np
import pytest

from panel.stats.mixed.moments import block_design, intercept_design, nested_design

DENSE = 1e-9  # relative; both are exact algebra


def problem(seed=0, missing=0.1):
    rng = np.random.default_rng(seed)
    person, product, sitting = (grid.ravel() for grid in np.indices((5, 3, 2)))
    kept = rng.random(len(person)) > missing
    person, product, sitting = person[kept], product[kept], sitting[kept]
    response = rng.normal(size=(len(person), 3))
    response[rng.random(response.shape) < missing] = np.nan
    return response, np.eye(3)[product], [person, person * 3 + product, sitting, person * 2 + sitting]


def dense(y, fixed, groups, gamma):
    rows = np.isfinite(y)
    w = np.column_stack([fixed[rows], y[rows]])
    g = [(group[rows][:, None] == group[rows][None, :]).astype(float) for group in groups]
    v = np.eye(rows.sum()) + sum(ratio * part for ratio, part in zip(gamma, g, strict=True))
    i = np.linalg.inv(v)
    return {
        "log_det": np.linalg.slogdet(v)[1],
        "cross": w.T @ i @ w,
        "cross_k": np.stack([w.T @ i @ part @ i @ w for part in g]),
        "cross_kl": np.stack([np.stack([w.T @ i @ a @ i @ b @ i @ w for b in g]) for a in g]),
        "trace_k": np.array([np.trace(i @ part) for part in g]),
        "trace_kl": np.array([[np.trace(i @ a @ i @ b) for b in g] for a in g]),
    }


@pytest.mark.parametrize("n_terms", [1, 2, 4])
@pytest.mark.parametrize("gamma", [0.0, 0.3, 7.0])
def test_blocks_equal_the_definition(n_terms, gamma):
    response, fixed, groups = problem(n_terms)
    groups = groups[:n_terms]
    ratios = np.full((3, n_terms), gamma) * np.arange(1, n_terms + 1)
    found = block_design(response, fixed, groups).moments(ratios)
    for column in range(3):
        for name, expected in dense(response[:, column], fixed, groups, ratios[column]).items():
            np.testing.assert_allclose(getattr(found, name)[column], expected, rtol=DENSE, atol=DENSE, err_msg=name)


@pytest.mark.parametrize("missing", [0.0, 0.1, 0.5])
@pytest.mark.parametrize("gamma", [(0.0, 0.0), (0.3, 0.0), (0.0, 0.6), (7.0, 2.0)])
def test_cells_within_groups_equal_the_definition(missing, gamma):
    response, fixed, groups = problem(4, missing)
    ratios = np.full((3, 2), gamma) * np.arange(1, 4)[:, None]
    found = nested_design(response, fixed, groups[:2]).moments(ratios)
    for column in range(3):
        for name, expected in dense(response[:, column], fixed, groups[:2], ratios[column]).items():
            np.testing.assert_allclose(getattr(found, name)[column], expected, rtol=DENSE, atol=DENSE, err_msg=name)


def test_one_pass_equals_the_definition():
    response, fixed, groups = problem(9)
    ratios = np.array([[0.0], [0.4], [5.0]])
    found = intercept_design(response, fixed, groups[0]).moments(ratios)
    for column in range(3):
        for name, expected in dense(response[:, column], fixed, groups[:1], ratios[column]).items():
            np.testing.assert_allclose(getattr(found, name)[column], expected, rtol=DENSE, atol=DENSE, err_msg=name)


def test_selecting_responses_keeps_their_moments():
    response, fixed, groups = problem(2)
    chosen, ratios = np.array([True, False, True]), np.full((3, 2), 0.7)
    for design in (block_design(response, fixed, groups[:2]), intercept_design(response, fixed, groups[0])):
        own = ratios[:, : 2 if len(groups[:2]) == 2 and hasattr(design, "z_e") else 1]
        whole, part = design.moments(own), design.select(chosen).moments(own[chosen])
        np.testing.assert_allclose(part.cross, whole.cross[chosen])
        np.testing.assert_allclose(part.trace_kl, whole.trace_kl[chosen])
