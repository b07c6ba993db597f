"""What a plan tells apart: statsmodels, the determinant itself, and plans whose answer is known."""

import numpy as np
import pytest
from statsmodels.stats.outliers_influence import variance_inflation_factor

from panel.stats.formulas.mixtures import (
    effect_columns,
    information_gain,
    two_level_runs,
    variance_inflation,
)


def model(runs, effects=None):
    return np.column_stack([np.ones(len(runs)), effect_columns(runs)[1][:, :effects]])


def test_effects_are_products_of_signs():
    effects, columns = effect_columns(two_level_runs(3))
    assert effects == [(0,), (1,), (2,), (0, 1), (0, 2), (1, 2)]
    assert columns[0].tolist() == [-1, -1, -1, 1, 1, 1]
    assert (columns.T @ columns == 8 * np.eye(6)).all()


def test_variance_inflation_is_that_of_statsmodels():
    X = np.random.default_rng(1).normal(size=(20, 4))
    X[:, 3] += X[:, 0]
    with_ones = np.column_stack([np.ones(20), X])
    theirs = [variance_inflation_factor(with_ones, column) for column in range(1, 5)]
    assert variance_inflation(X) == pytest.approx(np.array(theirs))


def test_orthogonal_columns_do_not_inflate_and_one_at_a_time_does():
    assert variance_inflation(two_level_runs(3)) == pytest.approx(np.ones(3))
    # each swap in one run of k + 1: correlations -1/k between columns give 2k/(k + 1)
    assert variance_inflation(two_level_runs(3, "one at a time")) == pytest.approx(np.full(3, 1.5))


def test_columns_that_replace_each_other_inflate_without_end_and_flat_ones_have_none():
    X = np.column_stack([np.arange(6.0), 3 - 2 * np.arange(6.0), np.ones(6), [0, 1, 0, 1, 1, 0]])
    found = variance_inflation(X)
    assert np.isinf(found[:2]).all()
    assert np.isnan(found[2])
    assert np.isfinite(found[3])
    assert variance_inflation(np.arange(4.0)[:, None]) == pytest.approx(np.ones(1))


def test_gain_of_a_regular_model_is_the_gain_of_its_determinant():
    X, new = model(two_level_runs(4, "one at a time"), effects=4), np.array([[1, 1, -1, 1, 1.0]])
    before, after = (np.linalg.slogdet(M.T @ M)[1] for M in (X, np.vstack([X, new])))
    rank_gain, gain = information_gain(X, new)
    assert rank_gain.tolist() == [0]
    assert gain[0] == pytest.approx(after - before)
    assert gain[0] == pytest.approx(np.log(1 + new[0] @ np.linalg.inv(X.T @ X) @ new[0]))


def test_only_runs_outside_half_a_plan_set_an_interaction_free():
    made = {tuple(run) for run in two_level_runs(4, "half")}
    every = two_level_runs(4)
    rank_gain, _ = information_gain(model(two_level_runs(4, "half")), model(every))
    outside = np.array([tuple(run) not in made for run in every])
    assert rank_gain[outside].tolist() == [1] * 8
    assert rank_gain[~outside].tolist() == [0] * 8


def test_repeating_a_run_gains_precision_and_no_rank():
    X = model(two_level_runs(2))
    rank_gain, gain = information_gain(X, X[:1])
    assert rank_gain[0] == 0
    assert gain[0] == pytest.approx(np.log(2))  # leverage 1: log(1 + 1)
