"""Averages over blends of ingredients of which some values may be unknown."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def weighted_mean(weights: Floats, values: Floats) -> Floats:
    """Return sum(w x) / sum(w) per blend over the known values; NaN where none is known.

    `weights` is blends x ingredients (mass, any unit), `values` one number per ingredient, NaN if unknown.
    """
    known = ~np.isnan(values)
    return _ratio(weights[:, known] @ values[known], weights[:, known].sum(axis=1))


def weighted_spread(weights: Floats, values: Floats) -> Floats:
    """Return the weighted standard deviation per blend over the known values, sqrt(sum(w (x - mean)^2) / sum(w))."""
    known = ~np.isnan(values)
    deviation = values[known] - weighted_mean(weights, values)[:, None]
    return np.sqrt(_ratio((weights[:, known] * deviation**2).sum(axis=1), weights[:, known].sum(axis=1)))


def harmonic_mean(weights: Floats, values: Floats) -> Floats:
    """Return sum(w) / sum(w / x) per blend over the known values: of molar masses, the number average."""
    return 1.0 / weighted_mean(weights, 1.0 / values)


def smallest_present(weights: Floats, values: Floats) -> Floats:
    """Return per blend the smallest known value of an ingredient with a share above zero; NaN where there is none."""
    present = (weights > 0) & ~np.isnan(values)
    smallest = np.where(present, values, np.inf).min(axis=1, initial=np.inf)
    return np.where(np.isinf(smallest), np.nan, smallest)


def part_of_mass(weights: Floats, chosen: NDArray[np.bool_]) -> Floats:
    """Return per blend the share (0 to 1) of its mass that sits in the chosen ingredients; NaN for no mass."""
    return _ratio(weights[:, chosen].sum(axis=1), weights.sum(axis=1))


def _ratio(above: Floats, below: Floats) -> Floats:
    return np.divide(above, below, out=np.full(above.shape, np.nan), where=below > 0)
