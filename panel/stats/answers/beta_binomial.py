"""Do people differ in their chance to be right, and what may be said of its mean when each answered several times?

Person i gives x_i of n_i right answers with a chance of its own, drawn from a beta distribution with mean mu; rho is
the correlation of two answers of one person, rho = 1 / (a + b + 1) in the parameters of the beta distribution, and
rho = 0 is the binomial. Skellam (1948), J. R. Stat. Soc. B 10:257; Ennis and Bi (1998), J. Sens. Stud. 13:389.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq, minimize_scalar
from scipy.special import betaln, chdtrc, stdtr, stdtrit, xlog1py, xlogy

from panel.errors import ModelError

Floats = NDArray[np.float64]

SMALLEST_RHO = 1e-7  # below, the beta function loses more digits than rho changes: taken as the binomial
LARGEST_RHO = 1 - 1e-6
EDGE = 1e-9  # of the chance
NO_GAIN = 1e-6  # log likelihood; a spread that explains less than this is rounding
_GRID = np.r_[0.0, np.geomspace(1e-4, 0.5, 14), 0.7, 0.9, 0.98]
_ENDS = np.r_[0.0, _GRID, LARGEST_RHO]  # from _ENDS[i] to _ENDS[i + 2] lies what is nearest to _GRID[i]
_STEP = 1e-4  # of the differences behind the standard errors
_SEARCH = 1e-9  # of the mean and of the correlation


@dataclass(frozen=True, eq=False, slots=True)
class BetaBinomial:
    """Mean chance and correlation of the answers of one person.

    Parameters
    ----------
    mu, std_error, low, high
        Mean chance to be right, its standard error, and its interval by the likelihood ratio.
    rho, rho_std_error
        Correlation of two answers of one person; its standard error is NaN at 0.
    p_no_spread
        P-value that all people have the same chance: likelihood ratio, half of it at zero (Self and Liang 1987).
    log_likelihood, binomial_log_likelihood
        With and without spread, without the binomial coefficients.
    signed_root
        Maps a chance to the signed root of the likelihood ratio against mu being that chance.
    df
        People less one: the signed root is referred to Student's t, which keeps the tests nearer to their level in
        small panels than the normal distribution does (simulation).
    """

    mu: float
    std_error: float
    low: float
    high: float
    rho: float
    rho_std_error: float
    p_no_spread: float
    log_likelihood: float
    binomial_log_likelihood: float
    signed_root: Callable[[float], float]
    df: int

    def p_above(self, chance: float) -> float:
        """Return the one-sided p-value that mu is not above `chance`."""
        return float(stdtr(self.df, -self.signed_root(chance)))

    def p_below(self, chance: float) -> float:
        """Return the one-sided p-value that mu is not below `chance`."""
        return float(stdtr(self.df, self.signed_root(chance)))


def log_likelihood(x: Floats, n: Floats, mu: float, rho: float) -> float:
    """Return the log likelihood without the binomial coefficients."""
    if rho < SMALLEST_RHO:
        return float(np.sum(xlogy(x, mu) + xlog1py(n - x, -mu)))
    size = (1 - rho) / rho
    a, b = mu * size, (1 - mu) * size
    return float(np.sum(betaln(x + a, n - x + b) - betaln(a, b)))


def fit_beta_binomial(x: ArrayLike, n: ArrayLike, level: float = 0.95) -> BetaBinomial:
    """Fit by maximum likelihood: `x` right answers of `n` for each person.

    Raises
    ------
    ModelError
        If nobody answered more than once, or all answers are alike: then spread between people cannot be seen.
    """
    x, n = np.asarray(x, dtype=float), np.asarray(n, dtype=float)
    if len(x) < 2 or n.max(initial=0.0) < 2:
        raise ModelError("Nobody answered more than once, so how far people differ cannot be seen.")
    if x.sum() in (0.0, n.sum()):
        raise ModelError("All answers are alike, so how far people differ cannot be seen.")

    def best_at(mu: float) -> tuple[float, float]:
        return _best_rho(x, n, mu)

    pooled = float(x.sum() / n.sum())
    plain = log_likelihood(x, n, pooled, 0.0)
    found = minimize_scalar(
        lambda mu: -best_at(mu)[0], bounds=(EDGE, 1 - EDGE), method="bounded", options={"xatol": _SEARCH}
    )
    spread = -found.fun > plain + NO_GAIN
    mu, top = (float(found.x), -float(found.fun)) if spread else (pooled, plain)
    rho = best_at(mu)[1] if spread else 0.0
    statistic = max(2 * (top - plain), 0.0)

    def signed_root(chance: float) -> float:
        inside = min(max(chance, EDGE), 1 - EDGE)
        return float(np.sign(mu - inside) * np.sqrt(max(2 * (top - best_at(inside)[0]), 0.0)))

    std_error, rho_error = _standard_errors(x, n, mu, rho)
    low, high = _interval(signed_root, mu, float(stdtrit(len(x) - 1, (1 + level) / 2)))
    return BetaBinomial(
        mu=mu,
        std_error=std_error,
        low=low,
        high=high,
        rho=rho,
        rho_std_error=rho_error,
        p_no_spread=1.0 if statistic == 0 else float(chdtrc(1, statistic) / 2),
        log_likelihood=top,
        binomial_log_likelihood=plain,
        signed_root=signed_root,
        df=len(x) - 1,
    )


def _best_rho(x: Floats, n: Floats, mu: float) -> tuple[float, float]:
    """Return the largest log likelihood at this mean, and the correlation that gives it."""
    values = np.array([log_likelihood(x, n, mu, rho) for rho in _GRID])
    best = int(values.argmax())
    low, high = float(_ENDS[best]), float(_ENDS[best + 2])
    found = minimize_scalar(
        lambda rho: -log_likelihood(x, n, mu, rho), bounds=(low, high), method="bounded", options={"xatol": _SEARCH}
    )
    if -found.fun > values[best]:
        return -float(found.fun), float(found.x)
    return float(values[best]), float(_GRID[best])


def _standard_errors(x: Floats, n: Floats, mu: float, rho: float) -> tuple[float, float]:
    """Return the standard errors from the curvature of the log likelihood; of the mean alone where rho is 0."""
    if rho < 2 * _STEP:
        spread = 1 + rho * (n - 1)
        return float(np.sqrt(mu * (1 - mu) / np.sum(n / spread))), float("nan")
    step = min(_STEP, mu / 4, (1 - mu) / 4, rho / 4, (1 - rho) / 4)

    def at(i: int, j: int) -> float:
        return log_likelihood(x, n, mu + i * step, rho + j * step)

    corner = (at(1, 1) - at(1, -1) - at(-1, 1) + at(-1, -1)) / 4
    information = -np.array(
        [[at(1, 0) - 2 * at(0, 0) + at(-1, 0), corner], [corner, at(0, 1) - 2 * at(0, 0) + at(0, -1)]]
    )
    if not np.all(np.linalg.eigvalsh(information) > 0):
        return float("nan"), float("nan")
    mu_error, rho_error = np.sqrt(np.diagonal(np.linalg.inv(information))) * step
    return float(mu_error), float(rho_error)


def _interval(signed_root: Callable[[float], float], mu: float, z: float) -> tuple[float, float]:
    """Return the chances whose signed root is z and -z."""
    low, high = EDGE, 1 - EDGE
    below = brentq(lambda chance: signed_root(chance) - z, low, mu) if signed_root(low) > z else 0.0
    above = brentq(lambda chance: signed_root(chance) + z, mu, high) if signed_root(high) < -z else 1.0
    return float(below), float(above)
