"""How far apart do two samples feel if people choose right so often? Five ways of choosing, one scale: d-prime.

What is felt is thought of as a normal variable of variance 1, and d-prime is the distance of the means of two samples.
Each way of choosing has its own chance to be right at a given d-prime. Ura (1960), Rep. Stat. Appl. Res. JUSE 7:107;
David and Trivedi (1962); Ennis (1993), J. Sens. Stud. 8:353. From memory; confirmed by drawing the choices.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, roots_legendre

from panel.errors import ModelError
from panel.stats.comparing.exact_interval import exact_interval

Floats = NDArray[np.float64]

LARGEST = 20.0  # with a larger d-prime every way of choosing is right but for rounding
HALVINGS = 60
_REACH, _NODES = 9.0, 160
_ROOT_2, _ROOT_3, _ROOT_6 = np.sqrt((2.0, 3.0, 6.0))


@dataclass(frozen=True, eq=False, slots=True)
class Apartness:
    """How far apart two samples are, in d-prime and as the share of people who can tell them apart.

    Parameters
    ----------
    d_prime, std_error, d_low, d_high
        d-prime, 0 where the answers are no better than guessing; its standard error by the delta method, NaN where
        d-prime is 0 or infinite; its interval, the exact one of the share carried over.
    share, share_low, share_high
        Share of people who can tell, the rest guessing, and its interval.
    right_low, right_high
        Exact interval of the share of right answers.
    """

    d_prime: float
    std_error: float
    d_low: float
    d_high: float
    share: float
    share_low: float
    share_high: float
    right_low: float
    right_high: float


def chance_right(method: str, d_prime: ArrayLike) -> Floats:
    """Return the chance of a right answer at each d-prime (0 or more).

    Raises
    ------
    ModelError
        If the method is none of `METHODS`.
    """
    return _method(method).chance(np.asarray(d_prime, dtype=float))


def slope(method: str, d_prime: ArrayLike) -> Floats:
    """Return the derivative of `chance_right`."""
    return _method(method).slope(np.asarray(d_prime, dtype=float))


def d_prime_of(method: str, right: ArrayLike) -> Floats:
    """Return the d-prime at which the chance of a right answer is `right`.

    0 for a share at or below guessing, infinite for 1.
    """
    right = np.asarray(right, dtype=float)
    low, high = np.zeros(right.shape), np.full(right.shape, LARGEST)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        below = chance_right(method, middle) < right
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    found = np.where(right >= 1, np.inf, (low + high) / 2)
    return np.asarray(np.where(right <= guessing(method), 0.0, found))


def guessing(method: str) -> float:
    """Return the chance of a right answer by guessing."""
    return _method(method).guess


def share_who_tell(method: str, right: ArrayLike) -> Floats:
    """Return the share of people who can tell, if the others guess; 0 at or below guessing."""
    guess = guessing(method)
    return np.asarray(np.maximum((np.asarray(right, dtype=float) - guess) / (1 - guess), 0.0))


def apartness(method: str, right: int, n: int, level: float = 0.95) -> Apartness:
    """Return how far apart two samples are, from `right` of `n` independent answers.

    Raises
    ------
    ModelError
        If the method is not known, or the counts do not fit together.
    """
    if not (n >= 1 and 0 <= right <= n):
        raise ModelError(f"{right} right answers of {n} cannot be. Give whole numbers, right not more than answers.")
    low, high = exact_interval(right, n, level)
    return apartness_of_share(method, right / n, float(np.sqrt(right * (n - right) / n**3)), float(low), float(high))


def apartness_of_share(method: str, right: float, std_error: float, low: float, high: float) -> Apartness:
    """Return how far apart two samples are, from a share of right answers with its standard error and interval."""
    d, d_low, d_high = d_prime_of(method, [right, low, high])
    inside = 0 < d < np.inf
    told, told_low, told_high = share_who_tell(method, [right, low, high])
    return Apartness(
        d_prime=float(d),
        std_error=float(std_error / slope(method, d)) if inside else float("nan"),
        d_low=float(d_low),
        d_high=float(d_high),
        share=float(told),
        share_low=float(told_low),
        share_high=float(told_high),
        right_low=low,
        right_high=high,
    )


@dataclass(frozen=True, slots=True)
class _Method:
    guess: float
    chance: Callable[[Floats], Floats]
    slope: Callable[[Floats], Floats]


def _density(z: Floats) -> Floats:
    return np.asarray(np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi))


def _nodes(low: float) -> tuple[Floats, Floats]:
    """Return points from `low` to where the normal density ends, and the weights of an integral over it."""
    points, weights = roots_legendre(_NODES)
    half = (_REACH - low) / 2
    z = low + half * (points + 1)
    return z, half * weights * _density(z)


_Z, _WEIGHT = _nodes(-_REACH)
_Z_HALF, _WEIGHT_HALF = _nodes(0.0)


def _paired(d: Floats) -> Floats:
    return np.asarray(ndtr(d / _ROOT_2))


def _paired_slope(d: Floats) -> Floats:
    return _density(d / _ROOT_2) / _ROOT_2


def _three(d: Floats) -> Floats:
    return np.asarray(ndtr(_Z + d[..., None]) ** 2 @ _WEIGHT)


def _three_slope(d: Floats) -> Floats:
    moved = _Z + d[..., None]
    return np.asarray(2 * (ndtr(moved) * _density(moved)) @ _WEIGHT)


def _triangle(d: Floats) -> Floats:
    far, near = d[..., None] * np.sqrt(2 / 3), _Z_HALF * _ROOT_3
    return np.asarray(2 * (ndtr(far - near) + ndtr(-far - near)) @ _WEIGHT_HALF)


def _triangle_slope(d: Floats) -> Floats:
    far, near = d[..., None] * np.sqrt(2 / 3), _Z_HALF * _ROOT_3
    return np.asarray(2 * np.sqrt(2 / 3) * (_density(far - near) - _density(-far - near)) @ _WEIGHT_HALF)


def _duo_trio(d: Floats) -> Floats:
    own, other = ndtr(d / _ROOT_2), ndtr(d / _ROOT_6)
    return np.asarray(1 - own - other + 2 * own * other)


def _duo_trio_slope(d: Floats) -> Floats:
    own, other = ndtr(d / _ROOT_2), ndtr(d / _ROOT_6)
    return np.asarray(
        (2 * other - 1) * _density(d / _ROOT_2) / _ROOT_2 + (2 * own - 1) * _density(d / _ROOT_6) / _ROOT_6
    )


def _tetrad(d: Floats) -> Floats:
    other = ndtr(_Z - d[..., None])
    return np.asarray(1 - 2 * (2 * ndtr(_Z) * other - other**2) @ _WEIGHT)


def _tetrad_slope(d: Floats) -> Floats:
    moved = _Z - d[..., None]
    return np.asarray(4 * (_density(moved) * (ndtr(_Z) - ndtr(moved))) @ _WEIGHT)


_METHODS = MappingProxyType(
    {
        "paired": _Method(1 / 2, _paired, _paired_slope),
        "3-AFC": _Method(1 / 3, _three, _three_slope),
        "triangle": _Method(1 / 3, _triangle, _triangle_slope),
        "duo-trio": _Method(1 / 2, _duo_trio, _duo_trio_slope),
        "tetrad": _Method(1 / 3, _tetrad, _tetrad_slope),
    }
)
METHODS = tuple(_METHODS)
"""Paired is the choice between two when told what to look for (2-AFC); tetrad is the unspecified one."""


def _method(method: str) -> _Method:
    if method not in _METHODS:
        raise ModelError(f"The method {method!r} is not known. Choose one of: {', '.join(METHODS)}.")
    return _METHODS[method]
