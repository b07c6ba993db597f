"""How far apart do two samples feel if people choose right so often? Five ways of choosing, one scale: d-prime.

What is felt is thought of as a normal variable of variance 1, and d-prime is the distance of the means of two samples.
Each way of choosing has its own chance to be right at a given d-prime. Ura (1960), Rep. Stat. Appl. Res. JUSE 7:107;
David and Trivedi (1962); Ennis (1993), J. Sens. Stud. 8:353. From memory; confirmed by drawing the choices.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betaln, chdtrc, ndtr, stdtr, stdtrit, xlog1py, xlogy

from panel.errors import ModelError
from panel.stats.arrays import Array

_LARGEST = 20.0  # with a larger d-prime every way of choosing is right but for rounding
_HALVINGS = 60
_REACH, _NODES = 9.0, 160
_ROOT_2, _ROOT_3, _ROOT_6 = np.sqrt((2.0, 3.0, 6.0))


def chance_right(method: str, d_prime: ArrayLike) -> Array:
    """Return the chance of a right answer at each d-prime (0 or more).

    Raises
    ------
    ModelError
        If the method is none of `_METHODS`.
    """
    return _method(method).chance(np.asarray(d_prime, dtype=float))


def _slope(method: str, d_prime: ArrayLike) -> Array:
    """Return the derivative of `chance_right`."""
    return _method(method).slope(np.asarray(d_prime, dtype=float))


def d_prime_of(method: str, right: ArrayLike) -> Array:
    """Return the d-prime at which the chance of a right answer is `right`.

    0 for a share at or below guessing, infinite for 1.
    """
    right = np.asarray(right, dtype=float)
    low, high = np.zeros(right.shape), np.full(right.shape, _LARGEST)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        below = chance_right(method, middle) < right
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    found = np.where(right >= 1, np.inf, (low + high) / 2)
    return np.asarray(np.where(right <= guessing(method), 0.0, found))


def guessing(method: str) -> float:
    """Return the chance of a right answer by guessing."""
    return _method(method).guess


def share_who_tell(method: str, right: ArrayLike) -> Array:
    """Return the share of people who can tell, if the others guess; 0 at or below guessing."""
    guess = guessing(method)
    return np.asarray(np.maximum((np.asarray(right, dtype=float) - guess) / (1 - guess), 0.0))


def apartness_of_share(method: str, right: float, std_error: float, low: float, high: float) -> dict[str, float]:
    """Return how far apart two samples are, from a share of right answers with its standard error and interval.

    `d_prime d_std_error d_low d_high`: d-prime, 0 where the answers are no better than guessing; its standard error by
    the delta method, NaN where d-prime is 0 or infinite; its interval, that of the share carried over. `told told_low
    told_high`: the share of people who can tell, the rest guessing.
    """
    d, d_low, d_high = d_prime_of(method, [right, low, high]).tolist()
    inside = 0 < d < np.inf
    names = ("told", "told_low", "told_high")
    return {
        "d_prime": d,
        "d_std_error": float(std_error / _slope(method, d)) if inside else float("nan"),
        "d_low": d_low,
        "d_high": d_high,
        **dict(zip(names, share_who_tell(method, [right, low, high]).tolist(), strict=True)),
    }


@dataclass(frozen=True, slots=True)
class _Method:
    guess: float
    chance: Callable[[Array], Array]
    slope: Callable[[Array], Array]


def _density(z: Array) -> Array:
    return np.asarray(np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi))


@cache
def _nodes(low: float) -> tuple[Array, Array]:
    """Return points from `low` to where the normal density ends, and the weights of an integral over it."""
    points, weights = np.polynomial.legendre.leggauss(_NODES)
    half = (_REACH - low) / 2
    z = low + half * (points + 1)
    return z, half * weights * _density(z)


def _paired(d: Array) -> Array:
    return np.asarray(ndtr(d / _ROOT_2))


def _paired_slope(d: Array) -> Array:
    return _density(d / _ROOT_2) / _ROOT_2


def _three(d: Array) -> Array:
    z, weight = _nodes(-_REACH)
    return np.asarray(ndtr(z + d[..., None]) ** 2 @ weight)


def _three_slope(d: Array) -> Array:
    z, weight = _nodes(-_REACH)
    moved = z + d[..., None]
    return np.asarray(2 * (ndtr(moved) * _density(moved)) @ weight)


def _triangle(d: Array) -> Array:
    z, weight = _nodes(0.0)
    far, near = d[..., None] * np.sqrt(2 / 3), z * _ROOT_3
    return np.asarray(2 * (ndtr(far - near) + ndtr(-far - near)) @ weight)


def _triangle_slope(d: Array) -> Array:
    z, weight = _nodes(0.0)
    far, near = d[..., None] * np.sqrt(2 / 3), z * _ROOT_3
    return np.asarray(2 * np.sqrt(2 / 3) * (_density(far - near) - _density(-far - near)) @ weight)


def _duo_trio(d: Array) -> Array:
    own, other = ndtr(d / _ROOT_2), ndtr(d / _ROOT_6)
    return np.asarray(1 - own - other + 2 * own * other)


def _duo_trio_slope(d: Array) -> Array:
    own, other = ndtr(d / _ROOT_2), ndtr(d / _ROOT_6)
    return np.asarray(
        (2 * other - 1) * _density(d / _ROOT_2) / _ROOT_2 + (2 * own - 1) * _density(d / _ROOT_6) / _ROOT_6
    )


def _tetrad(d: Array) -> Array:
    z, weight = _nodes(-_REACH)
    other = ndtr(z - d[..., None])
    return np.asarray(1 - 2 * (2 * ndtr(z) * other - other**2) @ weight)


def _tetrad_slope(d: Array) -> Array:
    z, weight = _nodes(-_REACH)
    moved = z - d[..., None]
    return np.asarray(4 * (_density(moved) * (ndtr(z) - ndtr(moved))) @ weight)


_METHODS = MappingProxyType(
    {
        "paired": _Method(1 / 2, _paired, _paired_slope),
        "3-AFC": _Method(1 / 3, _three, _three_slope),
        "triangle": _Method(1 / 3, _triangle, _triangle_slope),
        "duo-trio": _Method(1 / 2, _duo_trio, _duo_trio_slope),
        "tetrad": _Method(1 / 3, _tetrad, _tetrad_slope),
    }
)
"""Paired is the choice between two when told what to look for (2-AFC); tetrad is the unspecified one."""


def _method(method: str) -> _Method:
    if method not in _METHODS:
        raise ModelError(f"The method {method!r} is not known. Choose one of: {', '.join(_METHODS)}.")
    return _METHODS[method]


# Do people differ in their chance to be right, and what may be said of its mean when each answered several times?
#
# Person i gives x_i of n_i right answers with a chance of its own, drawn from a beta distribution with mean mu; rho
# is the correlation of two answers of one person, rho = 1 / (a + b + 1) in the parameters of the beta distribution,
# and rho = 0 is the binomial. Skellam (1948), J. R. Stat. Soc. B 10:257; Ennis and Bi (1998), J. Sens. Stud. 13:389.


_SMALLEST_RHO = 1e-7  # below, the beta function loses more digits than rho changes: taken as the binomial
_LARGEST_RHO = 1 - 1e-6
_EDGE = 1e-9  # of the chance
_NO_GAIN = 1e-6  # log likelihood; a spread that explains less than this is rounding
_GRID = np.r_[0.0, np.geomspace(1e-4, 0.5, 14), 0.7, 0.9, 0.98]
_ENDS = np.r_[0.0, _GRID, _LARGEST_RHO]  # from _ENDS[i] to _ENDS[i + 2] lies what is nearest to _GRID[i]
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
    signed_root: Callable[[float], float]
    df: int

    def ends(self, below: float, above: float) -> tuple[float, float]:
        """Return the chances at which `p_above` is `below` and `p_below` is `above`."""
        low, high = (float(stdtrit(self.df, 1 - tail)) for tail in (below, above))
        return _interval(self.signed_root, self.mu, low, high)

    def p_above(self, chance: float) -> float:
        """Return the one-sided p-value that mu is not above `chance`."""
        return float(stdtr(self.df, -self.signed_root(chance)))

    def p_below(self, chance: float) -> float:
        """Return the one-sided p-value that mu is not below `chance`."""
        return float(stdtr(self.df, self.signed_root(chance)))


def _log_likelihood(x: Array, n: Array, mu: float, rho: float) -> float:
    """Return the log likelihood without the binomial coefficients."""
    if rho < _SMALLEST_RHO:
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
    from scipy.optimize import minimize_scalar  # slow to load, and seldom needed

    x, n = np.asarray(x, dtype=float), np.asarray(n, dtype=float)
    if len(x) < 2 or n.max(initial=0.0) < 2:
        raise ModelError("Nobody answered more than once, so how far people differ cannot be seen.")
    if x.sum() in (0.0, n.sum()):
        raise ModelError("All answers are alike, so how far people differ cannot be seen.")

    def best_at(mu: float) -> tuple[float, float]:
        return _best_rho(x, n, mu)

    pooled = float(x.sum() / n.sum())
    plain = _log_likelihood(x, n, pooled, 0.0)
    found = minimize_scalar(
        lambda mu: -best_at(mu)[0], bounds=(_EDGE, 1 - _EDGE), method="bounded", options={"xatol": _SEARCH}
    )
    spread = -found.fun > plain + _NO_GAIN
    mu, top = (float(found.x), -float(found.fun)) if spread else (pooled, plain)
    rho = best_at(mu)[1] if spread else 0.0
    statistic = max(2 * (top - plain), 0.0)

    def signed_root(chance: float) -> float:
        inside = min(max(chance, _EDGE), 1 - _EDGE)
        return float(np.sign(mu - inside) * np.sqrt(max(2 * (top - best_at(inside)[0]), 0.0)))

    std_error, rho_error = _standard_errors(x, n, mu, rho)
    reach = float(stdtrit(len(x) - 1, (1 + level) / 2))
    low, high = _interval(signed_root, mu, reach, reach)
    return BetaBinomial(
        mu=mu,
        std_error=std_error,
        low=low,
        high=high,
        rho=rho,
        rho_std_error=rho_error,
        p_no_spread=1.0 if statistic == 0 else float(chdtrc(1, statistic) / 2),
        signed_root=signed_root,
        df=len(x) - 1,
    )


def _best_rho(x: Array, n: Array, mu: float) -> tuple[float, float]:
    """Return the largest log likelihood at this mean, and the correlation that gives it."""
    from scipy.optimize import minimize_scalar

    values = np.array([_log_likelihood(x, n, mu, rho) for rho in _GRID])
    best = int(values.argmax())
    low, high = float(_ENDS[best]), float(_ENDS[best + 2])
    found = minimize_scalar(
        lambda rho: -_log_likelihood(x, n, mu, rho), bounds=(low, high), method="bounded", options={"xatol": _SEARCH}
    )
    if -found.fun > values[best]:
        return -float(found.fun), float(found.x)
    return float(values[best]), float(_GRID[best])


def _standard_errors(x: Array, n: Array, mu: float, rho: float) -> tuple[float, float]:
    """Return the standard errors from the curvature of the log likelihood; of the mean alone where rho is 0."""
    if rho < 2 * _STEP:
        spread = 1 + rho * (n - 1)
        return float(np.sqrt(mu * (1 - mu) / np.sum(n / spread))), float("nan")
    step = min(_STEP, mu / 4, (1 - mu) / 4, rho / 4, (1 - rho) / 4)

    def at(i: int, j: int) -> float:
        return _log_likelihood(x, n, mu + i * step, rho + j * step)

    corner = (at(1, 1) - at(1, -1) - at(-1, 1) + at(-1, -1)) / 4
    information = -np.array(
        [[at(1, 0) - 2 * at(0, 0) + at(-1, 0), corner], [corner, at(0, 1) - 2 * at(0, 0) + at(0, -1)]]
    )
    if not np.all(np.linalg.eigvalsh(information) > 0):
        return float("nan"), float("nan")
    mu_error, rho_error = np.sqrt(np.diagonal(np.linalg.inv(information))) * step
    return float(mu_error), float(rho_error)


def _interval(signed_root: Callable[[float], float], mu: float, first: float, last: float) -> tuple[float, float]:
    """Return the chances whose signed root is `first` and minus `last`."""
    from scipy.optimize import brentq

    low, high = _EDGE, 1 - _EDGE
    below = brentq(lambda chance: signed_root(chance) - first, low, mu) if signed_root(low) > first else 0.0
    above = brentq(lambda chance: signed_root(chance) + last, mu, high) if signed_root(high) < -last else 1.0
    return float(below), float(above)
