"""Predicting a row that was not made from a linear model of the rows that were: how far off may it be?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtr, stdtrit

from panel.stats.arrays import Array

# A direction this small beside the largest is rounding of the arithmetic.
_NO_DIRECTION = 1e-10
# A row with this leverage is all that its own coefficient rests on: without it nothing predicts it.
_ALONE = 1 - 1e-8


@dataclass(frozen=True, eq=False, slots=True)
class LinearFit:
    """Ordinary least squares for many responses; rows are prototypes.

    Parameters
    ----------
    coefficients, inverse
        (p, responses) and (X'X)^-1.
    residual_variance, df
        Mean square of the residuals of each response on `df` degrees of freedom; NaN where there are none.
    leverage
        (rows,) the diagonal of X (X'X)^-1 X'.
    left_out
        (rows, responses) the prediction of each row from all others; NaN where a row cannot be predicted without
        itself.
    """

    coefficients: Array
    inverse: Array
    residual_variance: Array
    df: int
    leverage: Array
    left_out: Array


@dataclass(frozen=True, eq=False, slots=True)
class Predicted:
    """Predictions (new rows, responses): estimate, standard error, degrees of freedom, and interval."""

    estimate: Array
    std_error: Array
    df: Array
    ci_low: Array
    ci_high: Array

    def chance_between(self, low: ArrayLike, high: ArrayLike) -> Array:
        """Return the chance that the outcome lies between `low` and `high` (NaN: no limit on that side)."""
        low, high = np.asarray(low, float), np.asarray(high, float)
        below = stdtr(self.df, (low - self.estimate) / self.std_error)
        above = stdtr(self.df, (self.estimate - high) / self.std_error)
        return 1 - np.where(np.isnan(low), 0.0, below) - np.where(np.isnan(high), 0.0, above)


def fit_linear(X: ArrayLike, Y: ArrayLike) -> LinearFit:
    """Fit `Y` (rows x responses) by the columns of `X` (rows x p, a column of ones among or within them).

    Raises
    ------
    ValueError
        If the columns of `X` are not independent.
    """
    X, Y = np.asarray(X, float), np.asarray(Y, float)
    U, s, Vt = np.linalg.svd(X, full_matrices=False)
    if X.shape[1] > X.shape[0] or s[-1] <= _NO_DIRECTION * s[0]:
        raise ValueError("the columns of X are not independent")
    coefficients = Vt.T @ ((U.T @ Y) / s[:, None])
    residual = Y - U @ (U.T @ Y)
    leverage = (U**2).sum(axis=1)
    df = X.shape[0] - X.shape[1]
    squares = (residual**2).sum(axis=0)
    spare = np.where(leverage < _ALONE, 1 - leverage, np.nan)
    return LinearFit(
        coefficients=coefficients,
        inverse=(Vt.T / s**2) @ Vt,
        residual_variance=squares / df if df > 0 else np.full(Y.shape[1], np.nan),
        df=df,
        leverage=leverage,
        left_out=Y - residual / spare[:, None],
    )


def pooled_variance(fit: LinearFit, error: ArrayLike, error_df: ArrayLike) -> tuple[Array, Array]:
    """Return the variance of a row about the model, and its degrees of freedom.

    The residual mean square holds what the model misses and the panel's own error; it cannot truly be smaller than
    the latter (`error`, a variance per row on `error_df`). Where it comes out smaller the two are pooled, as
    restricted maximum likelihood does with a variance component at zero (Thompson 1962, Annals of Mathematical
    Statistics 33, 273-289); otherwise it stands alone.
    """
    error, error_df = np.asarray(error, float), np.asarray(error_df, float)
    pooled = (fit.df * fit.residual_variance + error_df * error) / (fit.df + error_df)
    with np.errstate(invalid="ignore"):
        smaller = fit.residual_variance < error
    return (
        np.where(smaller, pooled, fit.residual_variance),
        np.where(smaller, fit.df + error_df, float(fit.df)),
    )


def cautious_variance(fit: LinearFit, error: ArrayLike) -> tuple[Array, Array]:
    """Return the variance to test effects with: the residual mean square, never less than `error`, on its own df.

    Pooling would make a test too eager where few degrees of freedom let the residuals come out small by luck; this is
    never more eager than the plain t test.
    """
    variance = np.maximum(fit.residual_variance, np.asarray(error, float))
    return variance, np.full(variance.shape, float(fit.df))


def predict_rows(fit: LinearFit, X_new: ArrayLike, variance: Array, df: Array, level: float = 0.95) -> Predicted:
    """Predict the outcome of new rows: the model's own uncertainty and the variance of one row about it."""
    X_new = np.asarray(X_new, float)
    estimate = X_new @ fit.coefficients
    leverage = np.einsum("ij,jk,ik->i", X_new, fit.inverse, X_new)
    std_error = np.sqrt((1 + leverage)[:, None] * variance)
    half = stdtrit(df, 0.5 + level / 2) * std_error
    return Predicted(estimate, std_error, np.broadcast_to(df, estimate.shape), estimate - half, estimate + half)
