"""Predictions of rows that were not made: against statsmodels, leaving out by hand, and coverage in simulation."""

import numpy as np
import pytest
import statsmodels.api as sm

from panel.stats.formulas.mixtures import cautious_variance, fit_linear, pooled_variance, predict_rows

AGREES = 1e-9
FACTORIAL = np.column_stack([np.ones(8), *(np.arange(8) >> swap & 1 for swap in range(3))]).astype(float)


def example(seed=1, q=3):
    return np.random.default_rng(seed).normal(size=(8, q)) * 5 + 40


def test_coefficients_variance_and_intervals_are_those_of_statsmodels():
    Y, new = example(), np.array([[1, 0.5, 0.5, 0.25]])
    fit = fit_linear(FACTORIAL, Y)
    found = predict_rows(fit, new, fit.residual_variance, np.full(3, float(fit.df)))
    for column in range(3):
        theirs = sm.OLS(Y[:, column], FACTORIAL).fit()
        frame = theirs.get_prediction(new).summary_frame(alpha=0.05)
        assert fit.coefficients[:, column] == pytest.approx(theirs.params, rel=AGREES, abs=AGREES)
        assert fit.residual_variance[column] == pytest.approx(theirs.mse_resid, rel=AGREES)
        assert found.interval(0.95)[0][0, column] == pytest.approx(frame["obs_ci_lower"].iloc[0], rel=AGREES)
        assert found.interval(0.95)[1][0, column] == pytest.approx(frame["obs_ci_upper"].iloc[0], rel=AGREES)


def test_left_out_predictions_are_those_of_fitting_without_the_row():
    Y = example(2)
    fit = fit_linear(FACTORIAL, Y)
    for row in range(8):
        kept = np.arange(8) != row
        without = np.linalg.lstsq(FACTORIAL[kept], Y[kept], rcond=None)[0]
        assert fit.left_out[row] == pytest.approx(FACTORIAL[row] @ without)


def test_a_row_that_nothing_else_predicts_has_no_left_out_prediction():
    X = np.column_stack([np.ones(4), np.eye(4)[:, 1:]])[:, :3]
    fit = fit_linear(X, example()[:4])
    assert np.isnan(fit.left_out[[1, 2]]).all()
    assert np.isfinite(fit.left_out[[0, 3]]).all()


def test_a_saturated_model_has_no_variance():
    fit = fit_linear(np.column_stack([np.ones(3), np.eye(3)[:, 1:]]), example()[:3])
    assert fit.df == 0
    assert np.isnan(fit.residual_variance).all()


@pytest.mark.parametrize("X", [np.ones((5, 2)), np.ones((2, 3)), np.column_stack([np.ones(4), np.zeros(4)])])
def test_columns_that_say_the_same_are_refused(X):
    with pytest.raises(ValueError, match="not independent"):
        fit_linear(X, np.zeros((len(X), 1)))


def test_a_residual_below_the_panels_own_error_is_pooled_with_it():
    fit = fit_linear(FACTORIAL, example(3, q=2))
    panel = np.array([2 * fit.residual_variance[0], 0.5 * fit.residual_variance[1]])
    variance, df = pooled_variance(fit, panel, np.array([63.0, 63.0]))
    assert variance[0] == pytest.approx((4 * fit.residual_variance[0] + 63 * panel[0]) / 67)
    assert df.tolist() == [67, 4]
    assert variance[1] == fit.residual_variance[1]
    cautious, few = cautious_variance(fit, panel)
    assert cautious.tolist() == [panel[0], fit.residual_variance[1]]
    assert few.tolist() == [4, 4]


def test_the_chance_to_be_in_a_window_is_that_of_the_t_distribution():
    from scipy.stats import t

    fit = fit_linear(FACTORIAL, example(4, q=1))
    found = predict_rows(fit, FACTORIAL[[0]], fit.residual_variance, np.array([4.0]))
    mean, error = found.estimate[0, 0], found.std_error[0, 0]
    expected = t.cdf((38 - mean) / error, 4) - t.cdf((30 - mean) / error, 4)
    assert found.chance_between(30, 38)[0, 0] == pytest.approx(expected)
    assert found.chance_between(np.nan, 38)[0, 0] == pytest.approx(t.cdf((38 - mean) / error, 4))
    assert found.chance_between(np.nan, np.nan)[0, 0] == pytest.approx(1)
    low, high = found.interval(0.95)
    inside = found.chance_between(low[0, 0], high[0, 0])
    assert inside[0, 0] == pytest.approx(0.95)


@pytest.mark.parametrize("batches", [0.0, 1.0, 3.0])
def test_intervals_hold_new_prototypes_as_often_as_they_say(batches):
    # 6000 attributes of eight prototypes; the panel's own error has variance 4 and is known on 63 df
    rng = np.random.default_rng(5)
    q, panel = 6000, 4.0
    beta = rng.normal(0, 5, (4, q))
    Y = FACTORIAL @ beta + rng.normal(0, 1, (8, q)) * np.sqrt(panel + batches**2)
    known = panel * rng.chisquare(63, q) / 63
    fit = fit_linear(FACTORIAL, Y)
    new = np.array([[1, 1, 1, 0.5]])
    found = predict_rows(fit, new, *pooled_variance(fit, known, np.full(q, 63.0)))
    outcome = new @ beta + rng.normal(0, 1, (1, q)) * np.sqrt(panel + batches**2)
    low, high = found.interval(0.95)
    covered = ((outcome >= low) & (outcome <= high)).mean()
    assert 0.93 < covered < 0.98


@pytest.mark.parametrize("batches", [0.0, 1.0, 3.0])
@pytest.mark.parametrize("rows", [8, 6])
def test_tests_with_the_cautious_variance_are_never_too_eager(batches, rows):
    from scipy.special import stdtr

    rng = np.random.default_rng(6)
    q, panel = 8000, 4.0
    X = FACTORIAL[:rows]
    fit = fit_linear(X, rng.normal(0, 1, (rows, q)) * np.sqrt(panel + batches**2))
    variance, df = cautious_variance(fit, panel * rng.chisquare(63, q) / 63)
    t = fit.coefficients[1] / np.sqrt(fit.inverse[1, 1] * variance)
    assert (2 * stdtr(df, -np.abs(t)) < 0.05).mean() < 0.05 + 4 * np.sqrt(0.05 * 0.95 / q)
