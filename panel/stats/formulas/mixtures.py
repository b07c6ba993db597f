"""Mixture models: a response as a polynomial of the shares of a blend, which always add up to the same total.

Sources: Scheffé (1958), Journal of the Royal Statistical Society B 20, 344-360; Cornell (2002), Experiments with
Mixtures, 3rd ed., Wiley.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import fdtrc

Floats = NDArray[np.float64]
Order = Literal["linear", "quadratic", "special cubic"]
Form = Literal["scheffe", "intercept", "slack"]
_SUM = 1e-6
_NO_DIRECTION = 1e-10


@dataclass(frozen=True, eq=False, slots=True)
class MixtureFit:
    """A mixture model fitted by least squares.

    Parameters
    ----------
    terms
        For each coefficient the numbers of the components it multiplies; an empty tuple is the intercept.
    coefficients, std_error
        In the order of the terms. Where pure components lie outside the blends that were made, coefficients are
        extrapolations to blends nobody made and no effects of anything.
    fitted, left_out
        Fitted values, and the prediction of each row from all others (NaN where it cannot be predicted without
        itself).
    residual_ss, df_error
        Sum of squares of the residuals, and its degrees of freedom.
    r_squared, adjusted_r_squared
        About the mean, also where the model has no intercept.
    statistic, df, p_value
        F test that the blend makes no difference.
    """

    terms: tuple[tuple[int, ...], ...]
    coefficients: Floats
    std_error: Floats
    fitted: Floats
    left_out: Floats
    residual_ss: float
    df_error: int
    r_squared: float
    adjusted_r_squared: float
    statistic: float
    df: int
    p_value: float


@dataclass(frozen=True, eq=False, slots=True)
class LackOfFit:
    """F test of what the model misses against the scatter of repeated blends; NaN where nothing was repeated."""

    statistic: float
    df: int
    df_error: int
    p_value: float


def mixture_terms(q: int, order: Order, form: Form = "scheffe", slack: int = -1) -> tuple[tuple[int, ...], ...]:
    """Return the terms of a model for `q` components.

    `scheffe` has no intercept; `intercept` is the same model with the last component's linear term replaced by an
    intercept; `slack` is a polynomial with intercept in all components but `slack` (squares included), the form to
    read when water takes up what the others leave.
    """
    products = list(combinations(range(q), 2)) if order != "linear" else []
    triples = list(combinations(range(q), 3)) if order == "special cubic" else []
    if form == "slack":
        kept = [component for component in range(q) if component != slack % q]
        squares = [(one, one) for one in kept] if order != "linear" else []
        pairs = [pair for pair in products if slack % q not in pair]
        return ((), *((one,) for one in kept), *squares, *pairs, *triples)
    single = [(component,) for component in range(q)]
    start = [(), *single[:-1]] if form == "intercept" else single
    return (*start, *products, *triples)


def model_matrix(shares: ArrayLike, terms: tuple[tuple[int, ...], ...]) -> Floats:
    """Return rows x terms: the product of the components of each term."""
    X = np.asarray(shares, float)
    return np.column_stack([X[:, list(term)].prod(axis=1) for term in terms])


def fit_mixture(
    shares: ArrayLike, y: ArrayLike, order: Order, *, form: Form = "scheffe", slack: int = -1
) -> MixtureFit:
    """Fit `y` by the shares (rows x components) of the blends.

    Raises
    ------
    ValueError
        If the shares of the rows do not add up to one total, or the blends cannot tell the terms apart.
    """
    X, y = np.asarray(shares, float), np.asarray(y, float)
    total = X.sum(axis=1)
    if np.ptp(total) > _SUM * np.abs(total).max():
        raise ValueError("the shares of all blends must add up to the same total; give what fills up as a component")
    terms = mixture_terms(X.shape[1], order, form, slack)
    M = model_matrix(X, terms)
    size = np.linalg.norm(M, axis=0)
    U, s, Vt = np.linalg.svd(M / np.where(size > 0, size, 1.0), full_matrices=False)
    if M.shape[1] > M.shape[0] or s[-1] <= _NO_DIRECTION * s[0]:
        raise ValueError(f"{len(X)} blends cannot tell the {len(terms)} terms of the {order} model apart")
    coefficients = (Vt.T @ ((U.T @ y) / s)) / size
    fitted = U @ (U.T @ y)
    residual = y - fitted
    leverage = (U**2).sum(axis=1)
    df_error, df = len(y) - len(terms), len(terms) - 1
    residual_ss = float(residual @ residual)
    total_ss = float(((y - y.mean()) ** 2).sum())
    mean_square = residual_ss / df_error if df_error > 0 else np.nan
    variance = ((Vt.T / s) ** 2).sum(axis=1) / size**2
    statistic = (total_ss - residual_ss) / df / mean_square if df > 0 and mean_square > 0 else np.nan
    left = np.where(leverage < 1 - 1e-8, residual / np.where(leverage < 1 - 1e-8, 1 - leverage, 1.0), np.nan)
    return MixtureFit(
        terms=terms,
        coefficients=coefficients,
        std_error=np.sqrt(mean_square * variance),
        fitted=fitted,
        left_out=y - left,
        residual_ss=residual_ss,
        df_error=df_error,
        r_squared=1 - residual_ss / total_ss,
        adjusted_r_squared=1 - mean_square * (len(y) - 1) / total_ss,
        statistic=float(statistic),
        df=df,
        p_value=float(fdtrc(df, df_error, statistic)) if np.isfinite(statistic) else float("nan"),
    )


def lack_of_fit(shares: ArrayLike, y: ArrayLike, fit: MixtureFit) -> LackOfFit:
    """Test what the model misses against the scatter of blends that were made more than once."""
    X, y = np.asarray(shares, float), np.asarray(y, float)
    _, blend, counts = np.unique(X.round(9), axis=0, return_inverse=True, return_counts=True)
    blend = blend.reshape(-1)
    means = np.bincount(blend, weights=y) / counts
    pure_ss, pure_df = float(((y - means[blend]) ** 2).sum()), len(y) - len(counts)
    df = fit.df_error - pure_df
    if df <= 0 or pure_df <= 0 or pure_ss <= 0:
        return LackOfFit(float("nan"), max(df, 0), pure_df, float("nan"))
    statistic = (fit.residual_ss - pure_ss) / df / (pure_ss / pure_df)
    return LackOfFit(statistic, df, pure_df, float(fdtrc(df, pure_df, statistic)))
