"""Estimates and tests of a fitted mixed model, by Satterthwaite's degrees of freedom or Kenward and Roger's adjustment.

Satterthwaite (1946), Biometrics Bulletin 2:110-114, for one contrast; Fai & Cornelius (1996), J. Stat. Comput.
Simul. 54:363-378, for several at once.
Kenward & Roger (1997), Biometrics 53:983-997; letters as there. The covariance of the fixed effects is widened for the
variances having been estimated, and F is scaled so that its first two moments fit. Against Satterthwaite's degrees of
freedom it changes little in balanced data and is the more careful of the two in small unbalanced panels.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtrc, chdtri, fdtrc, stdtr, stdtrit

from panel.errors import ModelError
from panel.stats.arrays import Array
from panel.stats.mixed.reml import MixedFit, inverse_information

_LARGEST_DF = 1e8  # from here on t and the normal distribution agree to eight digits
_POINT = 0.05  # the chance at which two distributions are made to agree
_SHARES = (np.arange(200) + 0.5) / 200
_HALVINGS = 50
_SAME_DF = 1e-8  # relative: degrees of freedom that differ by less are one and the same


@dataclass(frozen=True, eq=False, slots=True)
class Estimates:
    """Contrasts of a fitted model, or predictions; arrays of one shape, such as (q, m): q responses, m contrasts."""

    estimate: Array
    std_error: Array
    df: Array

    @property
    def statistic(self) -> Array:
        """Estimate over standard error."""
        return np.asarray(self.estimate / self.std_error)

    @property
    def p_value(self) -> Array:
        """Two-sided p-value, unadjusted."""
        return np.asarray(2 * stdtr(self.df, -np.abs(self.statistic)))

    def interval(self, level: float) -> tuple[Array, Array]:
        """Return lower and upper limits of the two-sided interval at `level`, unadjusted."""
        half = stdtrit(self.df, (1 + level) / 2) * self.std_error
        return self.estimate - half, self.estimate + half

    def chance_between(self, low: ArrayLike, high: ArrayLike) -> Array:
        """Return the chance that the outcome lies between `low` and `high` (NaN: no limit on that side)."""
        low, high = np.asarray(low, float), np.asarray(high, float)
        below = stdtr(self.df, (low - self.estimate) / self.std_error)
        above = stdtr(self.df, (self.estimate - high) / self.std_error)
        return 1 - np.where(np.isnan(low), 0.0, below) - np.where(np.isnan(high), 0.0, above)


@dataclass(frozen=True, eq=False, slots=True)
class FTest:
    """F tests of one hypothesis for each response, each array (q,)."""

    statistic: Array
    df: int
    df_error: Array

    @property
    def p_value(self) -> Array:
        """Upper tail probability."""
        return np.asarray(fdtrc(self.df, self.df_error, self.statistic))


def estimate_contrasts(fit: MixedFit, contrasts: Array) -> Estimates:
    """Return the estimates of `contrasts` (m, p) for each response of `fit`."""
    estimate = fit.coefficients @ contrasts.T
    variance = _forms(contrasts, fit.covariance)
    slope = np.swapaxes(_forms(contrasts, fit.covariance_slope), 1, 2)
    return Estimates(estimate, np.sqrt(variance), _df(variance, slope, fit))


def _forms(contrasts: Array, matrices: Array) -> Array:
    """Return c'M c for each row c of `contrasts` (m, p) and each of the `matrices` (..., p, p), (..., m)."""
    return np.asarray(((contrasts @ matrices) * contrasts).sum(axis=-1))


def _df(variance: Array, slope: Array, fit: MixedFit) -> Array:
    spread = np.einsum("qmk,qkl,qml->qm", slope, fit.parameter_covariance, slope)
    return np.asarray(2 * variance**2 / spread)


def test_contrasts(fit: MixedFit, contrasts: Array) -> FTest:
    """Return the F test that all `contrasts`, of full row rank, are zero, for each response.

    `contrasts` is (r, p), or (q, r, p) with rows of its own for each response. F does not depend on which rows state
    the hypothesis; the pooled degrees of freedom do, in their third or fourth digit (see `sequential_contrasts`).
    """
    contrasts = np.broadcast_to(contrasts, (len(fit.coefficients), *contrasts.shape[-2:]))
    r = contrasts.shape[1]
    estimate = np.einsum("qrp,qp->qr", contrasts, fit.coefficients)
    covariance = contrasts @ fit.covariance @ np.swapaxes(contrasts, 1, 2)
    values, vectors = np.linalg.eigh(covariance)
    rotated = np.einsum("qri,qr->qi", vectors, estimate)
    statistic = (rotated**2 / values).sum(axis=1) / r
    directions = np.swapaxes(vectors, 1, 2) @ contrasts
    slope = np.einsum("qmi,qkij,qmj->qmk", directions, fit.covariance_slope, directions)
    return FTest(statistic, r, _pooled_df(_df(values, slope, fit)))


test_contrasts.__test__ = False  # type: ignore[attr-defined]  # a function of statistics, not a test of pytest


def sequential_contrasts(counts: Array, n_fixed: int) -> Array:
    """Return the rows (q, k - 1, n_fixed) that test k means, the first columns, one after another.

    They are the rows of the unit upper triangle of X'X for the differences from the first mean, given how many
    scores each mean has (`counts`, (q, k)): the rows a sequential analysis of variance of a single factor uses
    (Goodnight 1979, Am. Stat. 33:149, Doolittle's method), as general mixed-model software does.
    """
    q, k = counts.shape
    rest = counts[:, 1:]
    reduced = rest[:, :, None] * (np.eye(k - 1) - rest[:, None, :] / counts.sum(axis=1)[:, None, None])
    lower = np.linalg.cholesky(reduced)
    rows = np.zeros((q, k - 1, n_fixed))
    rows[:, :, 1:k] = np.swapaxes(lower / np.diagonal(lower, axis1=1, axis2=2)[:, None, :], 1, 2)
    rows[:, :, 0] = -rows[:, :, 1:k].sum(axis=2)
    return rows


def _pooled_df(nu: Array) -> Array:
    """Return the denominator degrees of freedom from those of the r independent directions (Fai & Cornelius)."""
    r = nu.shape[1]
    alike = np.ptp(nu, axis=1) <= _SAME_DF * nu.mean(axis=1)
    low = (nu <= 2).any(axis=1)
    safe = np.where(nu > 2, nu, 3.0)
    expected = (safe / (safe - 2)).sum(axis=1)
    pooled = np.where(low, 2.0, 2 * expected / np.where(expected > r, expected - r, np.inf))
    return np.asarray(np.where(alike, nu.mean(axis=1), pooled))


def with_few_groups(test: FTest, df_groups: float) -> FTest:
    """Return an F test with the denominator degrees of freedom lowered for a variance known from few groups.

    Where the groups came out alike by luck, Satterthwaite's formula gives a small error and many degrees of freedom at
    once. Here the part s of the error that the groups' mean square brings is taken with its fiducial distribution, s df
    / chi2, beside the rest (a generalised test: Tsui and Weerahandi 1989, JASA 84, 602-607; Khuri, Mathew and Sinha
    1998, Statistical Tests for Mixed Linear Models, for variance components; both from memory), and the degrees of
    freedom are those of the F with the same 5 % point. The part follows from Satterthwaite's df with the groups' alone,
    nu = df / s^2.

    Parameters
    ----------
    df_groups
        Degrees of freedom of the groups, such as batches less prototypes.
    """
    share = np.sqrt(np.minimum(df_groups / test.df_error, 1.0))
    return FTest(test.statistic, test.df, np.minimum(_df_with_few(share, test.df, df_groups), test.df_error))


def _df_with_few(share: Array, df: float, df_groups: float) -> Array:
    """Return the degrees of freedom of an F with `df` above, `share` (n,) of whose error comes from the groups."""
    multiple = share[:, None] * df_groups / chdtri(df_groups, _SHARES) + 1 - share[:, None]
    point = _where_falling(lambda x: chdtrc(df, df * x / multiple).mean(axis=1, keepdims=True), share[:, None])
    return _where_falling(lambda nu: np.asarray(fdtrc(df, nu, point), dtype=float), point)[:, 0]


def _where_falling(chance: Callable[[Array], Array], like: Array) -> Array:
    """Return where a falling chance passes 5 %, by bisection of the logarithm."""
    low, high = np.full_like(like, np.log(0.1)), np.full_like(like, np.log(_LARGEST_DF))
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        above = chance(np.exp(middle)) > _POINT
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return np.asarray(np.exp((low + high) / 2))


def widened(std_error: Array, df: Array, variance: Array | float, variance_df: float) -> tuple[Array, Array]:
    """Return standard errors and degrees of freedom with a variance of its own df added (Satterthwaite 1946)."""
    own = np.asarray(std_error, dtype=float) ** 2
    total = own + variance
    below = own**2 / df + np.asarray(variance, dtype=float) ** 2 / variance_df
    with np.errstate(divide="ignore", invalid="ignore"):
        pooled = np.where(np.asarray(variance) > 0, total**2 / below, df)
    if np.isfinite(variance_df):
        few = _df_with_few(np.ravel(np.broadcast_to(variance / total, total.shape)), 1.0, variance_df)
        pooled = np.minimum(pooled, few.reshape(total.shape))
    return np.sqrt(total), np.asarray(np.minimum(pooled, _LARGEST_DF))


_NOTHING = 1e-9  # rounding of the two moments about 1


@dataclass(frozen=True, eq=False, slots=True)
class _KenwardRoger:
    """What the adjustment needs: Phi and Phi_A (q, p, p), P_i (q, K + 1, p, p), W (q, K + 1, K + 1).

    Components are the residual variance, then the random terms; a term at zero takes part.
    """

    coefficients: Array
    phi: Array
    phi_a: Array
    p_i: Array
    w: Array

    def estimate_contrasts(self, contrasts: Array) -> Estimates:
        """Return the estimates of `contrasts` (m, p), each with its own degrees of freedom."""
        found = [self.test_contrasts(contrast[None]) for contrast in contrasts]
        estimate = self.coefficients @ contrasts.T
        variance = ((contrasts @ self.phi_a) * contrasts).sum(axis=-1)
        return Estimates(estimate, np.sqrt(variance), np.stack([test.df_error for test in found], axis=1))

    def test_contrasts(self, contrasts: Array) -> FTest:
        """Return the scaled F test that all `contrasts`, (l, p) or (q, l, p), are zero."""
        q = len(self.coefficients)
        rows = np.broadcast_to(contrasts, (q, *contrasts.shape[-2:]))
        l = rows.shape[1]  # noqa: E741  # the paper's letter for the number of rows
        across = np.swapaxes(rows, 1, 2)
        theta = across @ np.linalg.inv(rows @ self.phi @ across) @ rows
        inner = (theta @ self.phi)[:, None] @ self.p_i @ self.phi[:, None]
        trace = np.trace(inner, axis1=-2, axis2=-1)
        a_1 = np.einsum("qij,qi,qj->q", self.w, trace, trace)
        a_2 = np.einsum("qij,qiab,qjba->q", self.w, inner, inner)
        m, scale = _moments_of_f(a_1, a_2, l)
        estimate = np.einsum("qlp,qp->ql", rows, self.coefficients)
        solved = np.linalg.solve(rows @ self.phi_a @ across, estimate[..., None])[..., 0]
        return FTest(scale / l * (estimate * solved).sum(axis=1), l, m)


def _moments_of_f(a_1: Array, a_2: Array, l: int) -> tuple[Array, Array]:  # noqa: E741  # the paper's letter
    """Return the denominator degrees of freedom m and the scale lambda that fit the two moments of F."""
    b = (a_1 + 6 * a_2) / (2 * l)
    g = ((l + 1) * a_1 - (l + 4) * a_2) / ((l + 2) * a_2)
    below = 3 * l + 2 * (1 - g)
    c_1, c_2, c_3 = g / below, (l - g) / below, (l + 2 - g) / below
    # V* / (2 E*^2) without the quotients: for one row, with 2 or 4 degrees of freedom, E* or V* itself is infinite
    inverse_e, of_v, last = 1 - a_2 / l, 1 - c_2 * b, 1 - c_3 * b
    ratio = _quotient(inverse_e, of_v, 1.0)
    m = 4 + (l + 2) * _quotient(last, ratio**2 * (1 + c_1 * b) - last, np.nan)
    m = np.where(m > 0, m, np.nan)  # two moments that no F has
    return m, m * _quotient(inverse_e, m - 2, 0.5)


def _quotient(above: Array, below: Array, limit: float) -> Array:
    """Return the quotient, and `limit` where both are zero but for rounding."""
    both = (np.abs(above) < _NOTHING) & (np.abs(below) < _NOTHING)
    none = ~both & (below == 0)
    quotient = np.where(both, limit, above / np.where(both | none, 1.0, below))
    return np.asarray(np.where(none, np.nan, quotient))


def _kenward_roger(fit: MixedFit) -> _KenwardRoger:
    """Return the adjustment for every response of `fit`.

    The identity I = V - sum gamma_k G_k turns every product with the residual's own matrix I into products that the
    moments hold already.
    """
    moments, p = fit.moments, fit.coefficients.shape[1]
    s2 = fit.variances[:, -1]
    gamma = fit.variances[:, :-1] / s2[:, None]
    cross, traces = _with_residual(
        gamma,
        moments.cross[:, :p, :p],
        moments.cross_k[..., :p, :p],
        moments.cross_kl[..., :p, :p],
        fit.n_scores,
        moments.trace_k,
        moments.trace_kl,
    )
    single, double = cross
    phi = fit.covariance
    p_i = -single / s2[:, None, None, None] ** 2
    q_ij = double / s2[:, None, None, None, None] ** 3
    through = phi[:, None] @ p_i
    information = (
        traces / s2[:, None, None] ** 2
        - 2 * np.einsum("qab,qijba->qij", phi, q_ij)
        + np.einsum("qiab,qjba->qij", through, through)
    )
    w = 2 * inverse_information(information)[0]
    middle = np.einsum("qij,qijab->qab", w, q_ij) - np.einsum("qij,qiab,qbc,qjcd->qad", w, p_i, phi, p_i)
    phi_a = phi + 2 * phi @ middle @ phi
    if not inverse_information(phi_a)[1].all():
        raise ModelError(
            "The method of Kenward and Roger cannot be used: there are too few scores to say how sure the variances "
            "are. Use Satterthwaite's, or score more."
        )
    return _KenwardRoger(fit.coefficients, phi, phi_a, p_i, w)


def _with_residual(
    gamma: Array, xx: Array, xx_k: Array, xx_kl: Array, n: Array, trace_k: Array, trace_kl: Array
) -> tuple[tuple[Array, Array], Array]:
    """Return X'V^-1 G_i V^-1 X, X'V^-1 G_i V^-1 G_j V^-1 X and tr(V^-1 G_i V^-1 G_j) with G_0 = I put first."""
    k = gamma.shape[1]
    first = xx - np.einsum("qk,qkab->qab", gamma, xx_k)  # X'V^-2 X
    single = np.concatenate([first[:, None], xx_k], axis=1)
    mixed = xx_k - np.einsum("ql,qklab->qkab", gamma, xx_kl)  # X'V^-1 G_k V^-2 X
    double = np.empty((len(n), k + 1, k + 1, *xx.shape[1:]))
    double[:, 1:, 1:] = xx_kl
    double[:, 1:, 0] = mixed
    double[:, 0, 1:] = np.swapaxes(mixed, -1, -2)
    double[:, 0, 0] = first - np.einsum("qk,qkab->qab", gamma, np.swapaxes(mixed, -1, -2))
    traces = np.empty((len(n), k + 1, k + 1))
    traces[:, 1:, 1:] = trace_kl
    traces[:, 1:, 0] = traces[:, 0, 1:] = trace_k - np.einsum("ql,qkl->qk", gamma, trace_kl)
    traces[:, 0, 0] = n - (gamma * trace_k).sum(axis=1) - (gamma * traces[:, 0, 1:]).sum(axis=1)
    return (single, double), traces


# Which small-sample method turns a fitted model into estimates and tests.


SmallSample = Literal["satterthwaite", "kenward-roger"]
SMALL_SAMPLE_WORDS = {"satterthwaite": "Satterthwaite", "kenward-roger": "Kenward-Roger"}


@dataclass(frozen=True, eq=False, slots=True)
class Inference:
    """Estimates and tests of contrasts (m, p) of one fitted model, and the covariance (q, p, p) they rest on."""

    estimate: Callable[[Array], Estimates]
    test: Callable[[Array], FTest]
    covariance: Array


def inference(fit: MixedFit, small_sample: SmallSample = "satterthwaite") -> Inference:
    """Return the estimates and tests of `fit` by the method named."""
    if small_sample == "satterthwaite":
        return Inference(partial(estimate_contrasts, fit), partial(test_contrasts, fit), fit.covariance)
    adjusted = _kenward_roger(fit)
    return Inference(adjusted.estimate_contrasts, adjusted.test_contrasts, adjusted.phi_a)


# How sure are means when each person's answers scatter in a way of their own? People left out in turn.


_AT_ONCE = 10_000  # people whose matrices are held at one time


def between_people(values: Array, ratio: float, test: Callable[[Array], FTest]) -> Inference:
    """Return the means of `values` (people, k), NaN for gaps, with errors as they show between people.

    The means are those of the mixed model with `ratio`, the variance of people's levels over the residual. Each person
    is left out in turn (Tukey 1958, Ann. Math. Stat. 29:614), so that nothing is taken as alike for all pairs: without
    gaps a difference is the paired t test. Degrees of freedom are Satterthwaite's, of the parts that people have in a
    variance by the model: people less one where these are equal. `test` is handed on.
    """
    n, k = values.shape
    there = np.isfinite(values)
    share = ratio / (1 + ratio * there.sum(axis=1))
    y = np.where(there, values - np.nanmean(values), 0.0)
    right = there * (y - (share * y.sum(axis=1))[:, None])

    def of(people: slice) -> Array:
        own = there[people].astype(float)
        return own[:, :, None] * np.eye(k) - share[people, None, None] * own[:, :, None] * own[:, None, :]

    parts = [slice(start, start + _AT_ONCE) for start in range(0, n, _AT_ONCE)]
    whole, total = sum(of(part).sum(axis=0) for part in parts), right.sum(axis=0)
    without = np.concatenate(
        [np.linalg.solve(whole - of(part), (total - right[part])[..., None])[..., 0] for part in parts]
    )
    inverse = np.linalg.inv(whole)
    covariance = (n - 1) * np.cov(without, rowvar=False, bias=True)[None]

    def estimate(contrasts: Array) -> Estimates:
        through = contrasts @ inverse
        weights = np.concatenate([np.einsum("ma,nab,mb->nm", through, of(part), through) for part in parts])
        df = weights.sum(axis=0) ** 2 / (weights**2).sum(axis=0) - 1
        found = (contrasts @ inverse @ total + contrasts.sum(axis=1) * np.nanmean(values))[None]
        return Estimates(found, np.sqrt(_forms(contrasts, covariance)), df[None])

    return Inference(estimate, test, covariance)
