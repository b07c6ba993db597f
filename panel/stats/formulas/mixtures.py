"""Which blends to make, and the response as a polynomial of their shares, which always add up to the same total.

Sources: Scheffé (1958), Journal of the Royal Statistical Society B 20, 344-360; Cornell (2002), Experiments with
Mixtures, 3rd ed., Wiley. `fit_linear` and `predict_rows` predict a row that was not made, and say how far off that
may be.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, combinations_with_replacement, product
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import fdtrc

from panel.stats.arrays import Array, Whole
from panel.stats.mixed.inference import Estimates

_SAME = 1e-9


def two_level_runs(k: int, plan: str = "full") -> Whole:
    """Return runs of k factors (0 without, 1 with), the base first: `full`, `half` or `one at a time`.

    `full` are all 2^k, the first factor changing fastest. `half` are the 2^(k-1) that hold the base and an even number
    of swaps: in -1 and +1 the last factor is the product of the others, times (-1)^k so that the base is in it; for 4
    factors I = ABCD, resolution IV, so AB = CD, AC = BD, AD = BC. Source: Box, Hunter and Hunter, Statistics for
    Experimenters. `one at a time` are the base and one run for each factor alone.
    """
    if plan == "one at a time":
        return np.vstack([np.zeros((1, k), dtype=np.int64), np.eye(k, dtype=np.int64)])
    if plan == "half":
        first = two_level_runs(k - 1)
        return np.column_stack([first, first.sum(axis=1) % 2])
    return (np.arange(2**k)[:, None] >> np.arange(k)) & 1


def simplex_lattice(q: int, degree: int) -> Array:
    """Return the lattice {q, degree}: every share a multiple of 1/degree; Scheffé (1958)."""
    chosen = combinations_with_replacement(range(q), degree)
    points = [np.bincount(parts, minlength=q) / degree for parts in chosen]
    return np.array(points, dtype=float)


def simplex_centroid(q: int) -> Array:
    """Return the pure blends and the equal blends of every two, three ... q components; Scheffé (1963)."""
    points = np.zeros((2**q - 1, q))
    subsets = [subset for size in range(1, q + 1) for subset in combinations(range(q), size)]
    for row, subset in enumerate(subsets):
        points[row, list(subset)] = 1 / len(subset)
    return points


def extreme_vertices(low: ArrayLike, high: ArrayLike, total: float = 1.0) -> Array:
    """Return the corners of the region low <= x <= high, sum x = total.

    Every corner has all components but one at a limit; so all such points are tried and those kept whose last
    component fits. Source: McLean and Anderson (1966), Technometrics 8, 447-454. No rows if no blend fits.
    """
    L, U = np.asarray(low, float), np.asarray(high, float)
    q, slack = L.size, _SAME * max(1.0, abs(total))
    found: list[Array] = []
    for free in range(q):
        others = [component for component in range(q) if component != free]
        for ends in product((0, 1), repeat=q - 1):
            x = np.zeros(q)
            x[others] = np.where(np.array(ends, dtype=bool), U[others], L[others])
            x[free] = total - x.sum()
            fits = L[free] - slack <= x[free] <= U[free] + slack
            if fits and not any(np.abs(x - other).max() <= slack for other in found):
                found.append(x)
    return np.array(found).reshape(-1, q)


_STEP = 0.01  # per cent of the formula: what a formula states


def rounded_to_total(points: ArrayLike, total: float) -> Array:
    """Round each row to whole hundredths so that it keeps its sum `total`: the largest remainders are rounded up."""
    steps = np.asarray(points, float) / _STEP
    whole = np.floor(steps + _SAME)
    missing = np.rint(total / _STEP - whole.sum(axis=1)).astype(int)
    for row, count in enumerate(missing):
        whole[row, np.argsort(whole[row] - steps[row], kind="stable")[:count]] += 1
    return np.asarray((whole * _STEP).round(6))


# What a plan can tell apart, and what one more run would add to it.


_NO_INFORMATION = 1e-9


def effect_columns(runs: ArrayLike) -> tuple[list[tuple[int, ...]], Array]:
    """Return the effects of two-level factors and their interactions by two, and their columns in -1 and +1."""
    signs = 2.0 * np.asarray(runs, float) - 1.0
    k = signs.shape[1]
    effects = [subset for size in (1, 2) for subset in combinations(range(k), size)]
    return effects, np.column_stack([signs[:, list(effect)].prod(axis=1) for effect in effects])


def variance_inflation(columns: ArrayLike) -> Array:
    """Return by how much other columns inflate the variance of each coefficient; infinite where they replace it.

    The diagonal of the inverse correlation matrix; 1 for columns that have nothing in common. NaN for a column that
    does not vary.
    """
    X = np.asarray(columns, float)
    centred = X - X.mean(axis=0)
    length = np.linalg.norm(centred, axis=0)
    size = np.abs(X).max(axis=0, initial=0.0) * np.sqrt(len(X))
    varies = length > _NO_INFORMATION * size
    inflation = np.full(X.shape[1], np.nan)
    unit = centred[:, varies] / length[varies]
    told = np.empty(unit.shape[1])
    for column in range(unit.shape[1]):
        others = np.delete(unit, column, axis=1)
        found = np.linalg.lstsq(others, unit[:, column], rcond=_NO_INFORMATION)[0] if others.size else np.zeros(0)
        left = unit[:, column] - others @ found
        share = float(left @ left)
        told[column] = 1 / share if share > _NO_INFORMATION else np.inf
    inflation[varies] = told
    return inflation


def information_gain(model: ArrayLike, candidates: ArrayLike) -> tuple[NDArray[np.int64], Array]:
    """Return what each candidate row would add to the model matrix X: to its rank, and to log det X'X.

    Where X'X is singular its determinant is taken over the directions that X can tell (the product of the eigenvalues
    that are not zero), so that a row which adds a direction is told by the rank, and the logarithm only compares rows
    that add equally many. For a regular X the gain is log(1 + x' (X'X)^-1 x).
    """
    X, rows = np.asarray(model, float), np.atleast_2d(np.asarray(candidates, float))
    rank, log_det = _log_determinant(X)
    told = [_log_determinant(np.vstack([X, row])) for row in rows]
    return (
        np.array([new_rank - rank for new_rank, _ in told], dtype=np.int64),
        np.array([new_log_det - log_det for _, new_log_det in told], dtype=float),
    )


def _log_determinant(X: Array) -> tuple[int, float]:
    singular = np.linalg.svd(X, compute_uv=False)
    kept = singular[singular > _NO_INFORMATION * max(float(singular[0]), 1e-300)]
    return int(kept.size), float(2 * np.log(kept).sum())


Order = Literal["linear", "quadratic", "special cubic"]
Form = Literal["scheffe", "slack"]
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
    statistic, df, p_value
        F test that the blend makes no difference.
    """

    terms: tuple[tuple[int, ...], ...]
    coefficients: Array
    std_error: Array
    fitted: Array
    left_out: Array
    residual_ss: float
    df_error: int
    statistic: float
    df: int
    p_value: float


def mixture_terms(q: int, order: Order, form: Form = "scheffe") -> tuple[tuple[int, ...], ...]:
    """Return the terms of a model for `q` components.

    `scheffe` has no intercept; `slack` is a polynomial with intercept in all components but the last (squares
    included), the form to read when water takes up what the others leave.
    """
    products = list(combinations(range(q), 2)) if order != "linear" else []
    triples = list(combinations(range(q), 3)) if order == "special cubic" else []
    if form == "slack":
        kept = range(q - 1)
        squares = [(one, one) for one in kept] if order != "linear" else []
        pairs = [pair for pair in products if q - 1 not in pair]
        return ((), *((one,) for one in kept), *squares, *pairs, *triples)
    return (*((component,) for component in range(q)), *products, *triples)


def model_matrix(shares: ArrayLike, terms: tuple[tuple[int, ...], ...]) -> Array:
    """Return rows x terms: the product of the components of each term."""
    X = np.asarray(shares, float)
    return np.column_stack([X[:, list(term)].prod(axis=1) for term in terms])


def fit_mixture(shares: ArrayLike, y: ArrayLike, order: Order, *, form: Form = "scheffe") -> MixtureFit:
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
    terms = mixture_terms(X.shape[1], order, form)
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
        statistic=float(statistic),
        df=df,
        p_value=float(fdtrc(df, df_error, statistic)) if np.isfinite(statistic) else float("nan"),
    )


def lack_of_fit(shares: ArrayLike, y: ArrayLike, fit: MixtureFit) -> tuple[float, int, int, float]:
    """Test what the model misses against the scatter of blends that were made more than once.

    F, its degrees of freedom above and below, and p; F and p are NaN where nothing was repeated.
    """
    X, y = np.asarray(shares, float), np.asarray(y, float)
    _, blend, counts = np.unique(X.round(9), axis=0, return_inverse=True, return_counts=True)
    blend = blend.reshape(-1)
    means = np.bincount(blend, weights=y) / counts
    pure_ss, pure_df = float(((y - means[blend]) ** 2).sum()), len(y) - len(counts)
    df = fit.df_error - pure_df
    if df <= 0 or pure_df <= 0 or pure_ss <= 0:
        return float("nan"), max(df, 0), pure_df, float("nan")
    statistic = (fit.residual_ss - pure_ss) / df / (pure_ss / pure_df)
    return statistic, df, pure_df, float(fdtrc(df, pure_df, statistic))


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
    left_out
        (rows, responses) the prediction of each row from all others; NaN where a row cannot be predicted without
        itself.
    """

    coefficients: Array
    inverse: Array
    residual_variance: Array
    df: int
    left_out: Array


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
    return (np.where(smaller, pooled, fit.residual_variance), np.where(smaller, fit.df + error_df, float(fit.df)))


def cautious_variance(fit: LinearFit, error: ArrayLike) -> tuple[Array, Array]:
    """Return the variance to test effects with: the residual mean square, never less than `error`, on its own df.

    Pooling would make a test too eager where few degrees of freedom let the residuals come out small by luck; this is
    never more eager than the plain t test.
    """
    variance = np.maximum(fit.residual_variance, np.asarray(error, float))
    return variance, np.full(variance.shape, float(fit.df))


def predict_rows(fit: LinearFit, X_new: ArrayLike, variance: Array, df: Array) -> Estimates:
    """Predict the outcome of new rows: the model's own uncertainty and the variance of one row about it."""
    X_new = np.asarray(X_new, float)
    estimate = X_new @ fit.coefficients
    leverage = np.einsum("ij,jk,ik->i", X_new, fit.inverse, X_new)
    std_error = np.sqrt((1 + leverage)[:, None] * variance)
    return Estimates(estimate, std_error, np.broadcast_to(df, estimate.shape))
