"""Log-ratios of compositions: what a set of shares says once their fixed total is taken out.

A share of zero has no logarithm. Nothing is added to it silently: `replace_zeros` does so by a rule that is stated,
and everything else refuses. Sources: Aitchison (1986), The Statistical Analysis of Compositional Data; Egozcue,
Pawlowsky-Glahn, Mateu-Figueras and Barceló-Vidal (2003), Mathematical Geology 35, 279-300; Martín-Fernández,
Barceló-Vidal and Pawlowsky-Glahn (2003), Mathematical Geology 35, 253-278 (the replacement of zeros).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def closed(parts: ArrayLike) -> Floats:
    """Return the parts (last axis) as shares of 1; ValueError for a part below zero or not known, or for no mass."""
    x = np.asarray(parts, float)
    if not np.isfinite(x).all() or (x < 0).any():
        raise ValueError("every part of a composition must be a number, zero or more")
    total = x.sum(axis=-1, keepdims=True)
    if (total == 0).any():
        raise ValueError("a composition without any mass has no shares")
    return np.asarray(x / total)


def replace_zeros(parts: ArrayLike, small: float) -> Floats:
    """Return shares in which each zero has become `small` and the others shrink so that the ratios among them stay.

    ValueError if `small` is not between 0 and 1, or so large that nothing is left for the others.
    """
    x = closed(parts)
    zero = x == 0
    given = small * zero.sum(axis=-1, keepdims=True)
    if not 0 < small < 1 or (given >= 1).any():
        raise ValueError(
            f"zeros cannot be replaced by {small:g}: it must be above 0 and leave mass for the other parts"
        )
    return np.where(zero, small, x * (1 - given))


def clr(parts: ArrayLike) -> Floats:
    """Return log(x_i / g(x)), g the geometric mean of all parts; the values add up to zero."""
    logs = _logs(parts)
    return logs - logs.mean(axis=-1, keepdims=True)


def alr(parts: ArrayLike, reference: int = -1) -> Floats:
    """Return log(x_i / x_reference) for all other parts."""
    logs = _logs(parts)
    others = np.delete(logs, reference, axis=-1)
    return np.asarray(others - np.take(logs, [reference], axis=-1))


def ilr(parts: ArrayLike) -> Floats:
    """Return the coordinates of the composition on the basis of `ilr_basis`; lengths are those of `clr`."""
    logs = clr(parts)
    return logs @ ilr_basis(logs.shape[-1]).T


def ilr_inverse(coordinates: ArrayLike) -> Floats:
    """Return the shares that have these coordinates."""
    z = np.asarray(coordinates, float)
    return closed(np.exp(z @ ilr_basis(z.shape[-1] + 1)))


def ilr_basis(parts: int) -> Floats:
    """Return (parts - 1) x parts, orthonormal rows: each weighs the parts before against the next one.

    Row i is sqrt(i / (i + 1)) (1/i, ..., 1/i, -1, 0, ..., 0), i = 1, 2 ...; Egozcue et al. (2003).
    """
    basis = np.zeros((parts - 1, parts))
    for i in range(1, parts):
        basis[i - 1, :i] = 1 / i
        basis[i - 1, i] = -1
        basis[i - 1] *= np.sqrt(i / (i + 1))
    return basis


def perturbed(parts: ArrayLike, by: ArrayLike) -> Floats:
    """Return the composition with each part multiplied by that of `by`, closed again: addition of log-ratios."""
    return closed(closed(parts) * closed(by))


def powered(parts: ArrayLike, exponent: float) -> Floats:
    """Return the composition with each part raised to `exponent`, closed again: multiplication of log-ratios."""
    return closed(closed(parts) ** exponent)


def _logs(parts: ArrayLike) -> Floats:
    x = closed(parts)
    if (x == 0).any():
        raise ValueError(
            "a part is zero, and zero has no logarithm: replace zeros by a stated rule (replace_zeros), or use a "
            "mixture model, which needs no logarithm"
        )
    return np.log(x)
