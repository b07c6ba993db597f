"""Estimates and tests of a fitted mixed model with Satterthwaite's degrees of freedom.

Satterthwaite (1946), Biometrics Bulletin 2:110-114, for one contrast; Fai & Cornelius (1996), J. Stat. Comput.
Simul. 54:363-378, for several at once.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtrc, chdtri, fdtrc, stdtr, stdtrit

from panel.stats.arrays import Array
from panel.stats.mixed.reml import MixedFit

LARGEST_DF = 1e8  # from here on t and the normal distribution agree to eight digits
POINT = 0.05  # the chance at which two distributions are made to agree
_SHARES = (np.arange(200) + 0.5) / 200
_HALVINGS = 50
SAME_DF = 1e-8  # relative: degrees of freedom that differ by less are one and the same


@dataclass(frozen=True, eq=False, slots=True)
class Estimates:
    """Contrasts of a fitted model, each array (q, m): q responses, m contrasts."""

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
    alike = np.ptp(nu, axis=1) <= SAME_DF * nu.mean(axis=1)
    low = (nu <= 2).any(axis=1)
    safe = np.where(nu > 2, nu, 3.0)
    expected = (safe / (safe - 2)).sum(axis=1)
    pooled = np.where(low, 2.0, 2 * expected / np.where(expected > r, expected - r, np.inf))
    return np.asarray(np.where(alike, nu.mean(axis=1), pooled))


def with_few_groups(test: FTest, df_groups: float) -> FTest:
    """Return an F test with the denominator degrees of freedom lowered for a variance known from few groups.

    Where the groups came out alike by luck, Satterthwaite's formula gives a small error and many degrees of freedom at
    once. Here the part s of the error that the groups' mean square brings is taken with its fiducial distribution,
    s df / chi2, beside the rest (a generalised test: Tsui and Weerahandi 1989, JASA 84, 602-607; Khuri, Mathew and
    Sinha 1998, Statistical Tests for Mixed Linear Models, for variance components), and the degrees of freedom are
    those of the F with the same 5 % point. The part follows from Satterthwaite's df with the groups' alone, nu =
    df / s^2.

    Parameters
    ----------
    df_groups
        Degrees of freedom of the groups, such as batches less prototypes.
    """
    share = np.sqrt(np.clip(df_groups / test.df_error, 0.0, 1.0))[:, None]
    multiple = share * df_groups / chdtri(df_groups, _SHARES) + 1 - share
    point = _where_falling(lambda x: chdtrc(test.df, test.df * x / multiple).mean(axis=1, keepdims=True), share)
    nu = _where_falling(lambda nu: fdtrc(test.df, nu, point), share)
    return FTest(test.statistic, test.df, np.minimum(nu[:, 0], test.df_error))


def _where_falling(chance: Callable[[Array], Array], like: Array) -> Array:
    """Return where a falling chance passes 5 %, by bisection of the logarithm."""
    low, high = np.full_like(like, np.log(0.1)), np.full_like(like, np.log(LARGEST_DF))
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        above = chance(np.exp(middle)) > POINT
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return np.asarray(np.exp((low + high) / 2))


def widened(std_error: Array, df: Array, variance: Array | float, variance_df: float) -> tuple[Array, Array]:
    """Return standard errors and degrees of freedom with a variance of its own df added (Satterthwaite 1946)."""
    own = np.asarray(std_error, dtype=float) ** 2
    total = own + variance
    below = own**2 / df + np.asarray(variance, dtype=float) ** 2 / variance_df
    with np.errstate(divide="ignore", invalid="ignore"):
        pooled = np.where(np.asarray(variance) > 0, total**2 / below, df)
    return np.sqrt(total), np.asarray(np.minimum(pooled, LARGEST_DF))
