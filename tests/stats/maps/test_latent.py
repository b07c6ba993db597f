"""Partial least squares: against scikit-learn, a published example, what must not matter, and what chance gives."""

from math import factorial
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sklearn.cross_decomposition import PLSRegression
from sklearn.datasets import load_linnerud

from panel.stats.maps import links
from panel.stats.maps.links import (
    _arrangements,
    _leave_one_out,
    _predictions,
    _standardised,
    permutation_test,
    q_squared,
    row_orders,
)

REFERENCE = Path(__file__).resolve().parents[2] / "reference" / "latent"
# scikit-learn stops iterating at the tolerance asked for, 1e-12; both lose a few digits in products of sums.
AGREES = 1e-9


def _predict_new(X, Y, X_new, components, scale=True):
    """Predictions of new rows from the products between rows, standardised by the rows of `X` alone."""
    rows, new = _standardised(X, X_new, scale, 1)
    return _predictions(rows @ rows.T, new @ rows.T, Y, components)


def by_library(X, Y, X_new, components, scale=True):
    """Predictions of scikit-learn, one response at a time (its kernel for one response is the one meant here)."""
    columns = [
        PLSRegression(components, scale=scale, tol=1e-12).fit(X, y).predict(X_new).ravel() for y in np.asarray(Y).T
    ]
    return np.column_stack(columns)


@pytest.mark.parametrize("components", [1, 2, 3])
@pytest.mark.parametrize("scale", [True, False])
def test_predictions_equal_those_of_scikit_learn(components, scale):
    rng = np.random.default_rng(2)
    X, Y, X_new = rng.normal(size=(9, 14)) * np.arange(1, 15), rng.normal(size=(9, 6)), rng.normal(size=(4, 14))
    ours = _predict_new(X, Y, X_new, components, scale=scale)
    for step in range(components):
        assert ours[step] == pytest.approx(by_library(X, Y, X_new, step + 1, scale), abs=AGREES)


def test_a_public_data_set_is_predicted_as_scikit_learn_does():
    # the Linnerud data (20 men, three exercises, three measures), which scikit-learn carries; Tenenhaus (1998)
    data = load_linnerud()
    ours = _leave_one_out(data.data, data.target, 2)
    for left in range(len(data.data)):
        kept = np.arange(len(data.data)) != left
        for step in (0, 1):
            theirs = by_library(data.data[kept], data.target[kept], data.data[[left]], step + 1)
            assert ours[step, left] == pytest.approx(theirs[0], rel=AGREES)


def test_leave_one_out_errors_of_the_gasoline_example():
    # Mevik and Wehrens (2007), J Stat Softw 18(2): 50 gasolines, octane from 401 wavelengths, centred and not scaled,
    # leave-one-out; root mean squared errors as R's package pls gives them for 0 to 10 components.
    table = np.genfromtxt(REFERENCE / "gasoline.csv", delimiter=",", skip_header=1)
    octane, spectra = table[:, :1], table[:, 1:]
    expected = np.genfromtxt(REFERENCE / "rmsep.csv", delimiter=",", skip_header=1)[:, 1]
    assert expected[:4] == pytest.approx([1.545076, 1.356951, 0.296620, 0.252408], abs=5e-7)
    predicted = _leave_one_out(spectra, octane, 10, scale=False)
    found = np.sqrt(((octane - predicted) ** 2).mean(axis=1)).ravel()
    assert found == pytest.approx(expected[1:], rel=AGREES)


@pytest.mark.parametrize("n", [6, 8, 12])
def test_predicting_by_the_mean_of_the_others_has_a_known_q_squared(n):
    # each row against the mean of the others is off by n / (n - 1) of its distance from the mean of all
    Y = np.random.default_rng(n).normal(size=(n, 3))
    others = (Y.sum(axis=0) - Y) / (n - 1)
    assert q_squared(Y, others) == pytest.approx(np.full(3, 1 - (n / (n - 1)) ** 2))


def test_descriptors_that_do_not_vary_predict_the_mean():
    Y = np.random.default_rng(1).normal(size=(8, 2))
    flat = np.full((8, 3), 100 / 3)
    assert q_squared(Y, _leave_one_out(flat, Y, 2)) == pytest.approx(np.full((2, 2), 1 - (8 / 7) ** 2))


def test_a_response_that_a_descriptor_makes_is_predicted_exactly():
    X = np.random.default_rng(3).normal(size=(8, 1))
    Y = np.column_stack([2 * X[:, 0] + 1, -X[:, 0]])
    assert q_squared(Y, _leave_one_out(X, Y, 2)) == pytest.approx(np.ones((2, 2)))


def test_a_response_that_does_not_vary_has_no_q_squared():
    X = np.random.default_rng(3).normal(size=(8, 3))
    Y = np.column_stack([np.full(8, 0.1), X[:, 0]])
    found = permutation_test(X, Y, 2, row_orders(8, 20, np.random.default_rng(1)))
    assert np.isnan(found["best"][0])
    assert np.isnan(found["p_value"][0])
    assert found["n_components"][0] == 0
    assert found["p_value"][1] > 0


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000))
def test_shift_scale_and_order_of_descriptors_and_scale_of_responses_do_not_matter(seed):
    rng = np.random.default_rng(seed)
    X, Y = rng.normal(size=(7, 5)), rng.normal(size=(7, 3))
    moved = (X * rng.uniform(0.5, 2000, 5) * rng.choice([-1, 1], 5) + rng.normal(size=5) * 30)[:, rng.permutation(5)]
    plain = q_squared(Y, _leave_one_out(X, Y, 2))
    assert q_squared(Y * 3 - 7, _leave_one_out(moved, Y * 3 - 7, 2)) == pytest.approx(plain, abs=1e-7)


def test_the_scaling_is_done_anew_in_each_fold():
    # a column that varies only by the row left out is flat in that fold, and so cannot help to predict it
    X = np.column_stack([np.r_[1.0, np.zeros(7)], np.arange(8.0)])
    Y = np.r_[10.0, np.zeros(7)][:, None]
    without = _leave_one_out(X[:, 1:], Y, 1)
    assert _leave_one_out(X, Y, 1)[0, 0] == pytest.approx(without[0, 0])


def test_permuted_q_squared_is_that_of_each_order_by_itself():
    rng = np.random.default_rng(4)
    X, Y = rng.normal(size=(8, 6)), rng.normal(size=(8, 3))
    orders = row_orders(8, 30, rng)
    found = permutation_test(X, Y, 2, orders)
    alone = np.stack([q_squared(Y[order], _leave_one_out(X, Y[order], 2)).max(axis=0) for order in orders])
    assert found["best"] == pytest.approx(alone[0])
    assert found["p_value"] == pytest.approx((alone >= alone[0] - 1e-9).mean(axis=0))
    assert found["q2"] == pytest.approx(q_squared(Y, _leave_one_out(X, Y, 2)))
    assert found["orders"] == 31


def test_all_orders_are_taken_where_they_are_few():
    orders = row_orders(5, 120, np.random.default_rng(1))
    assert len(orders) == factorial(5)
    assert len(np.unique(orders, axis=0)) == 120
    assert orders[0].tolist() == [0, 1, 2, 3, 4]
    assert len(row_orders(8, 500, np.random.default_rng(1))) == 501


@pytest.mark.parametrize(("n", "ways", "floor"), [(8, 70, 2 / 70), (6, 20, 2 / 20)])
def test_the_floor_of_two_equal_groups(n, ways, floor):
    # 4 against 4 of 8 can be given in 70 ways and the groups can change places, so no p-value is below 2/70 = 0.029;
    # 3 against 3 of 6: 2/20 = 0.10
    X = np.repeat([0.0, 1.0], n // 2)[:, None]
    Y = X + np.random.default_rng(1).normal(0, 0.01, (n, 1))
    found = permutation_test(X, Y, 1, row_orders(n, factorial(n), np.random.default_rng(1)))
    assert found["arrangements"] == ways
    assert found["floor"][0] == pytest.approx(floor)
    assert found["p_value"][0] == pytest.approx(floor)


def test_arrangements_count_rows_that_are_alike_once():
    assert _arrangements(np.arange(6.0)[:, None]) == factorial(6)
    assert _arrangements(np.zeros((6, 2))) == 1
    assert _arrangements(np.repeat([[0, 1], [1, 0]], [1, 7], axis=0)) == 8


def test_noise_alone_gives_small_p_values_no_more_often_than_it_may():
    # exact by construction; 400 responses that have nothing to do with 10 descriptors
    rng = np.random.default_rng(11)
    p_values = np.concatenate(
        [
            permutation_test(rng.normal(size=(8, 10)), rng.normal(size=(8, 20)), 2, row_orders(8, 199, rng))["p_value"]
            for _ in range(20)
        ]
    )
    allowed = 0.05 + 4 * np.sqrt(0.05 * 0.95 / 400)  # four standard errors
    assert (p_values <= 0.05).mean() < allowed
    assert 0.4 < p_values.mean() < 0.6


def test_fitted_r_squared_says_nothing_but_q_squared_does():
    # 12 pure-noise descriptors over 8 rows: one component fits about three quarters, and predicts worse than the mean
    rng = np.random.default_rng(12)
    fitted, held_out = [], []
    for _ in range(200):
        X, Y = rng.normal(size=(8, 12)), rng.normal(size=(8, 1))
        fitted.append(q_squared(Y, _predict_new(X, Y, X, 1)[0])[0])
        held_out.append(q_squared(Y, _leave_one_out(X, Y, 1))[0, 0])
    assert 0.65 < np.median(fitted) < 0.85
    assert np.median(held_out) < -0.3


def test_blocks_of_responses_change_nothing(monkeypatch):
    rng = np.random.default_rng(8)
    X, Y = rng.normal(size=(9, 5)), rng.normal(size=(9, 23))
    together = _leave_one_out(X, Y, 3)
    monkeypatch.setattr(links, "_TOGETHER", 4)
    np.testing.assert_allclose(_leave_one_out(X, Y, 3), together, rtol=1e-12)
