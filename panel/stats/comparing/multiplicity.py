"""P-values adjusted for having asked several questions at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray


def holm(p: ArrayLike) -> NDArray[np.float64]:
    """Return Holm's step-down adjusted p-values, in the shape of `p`.

    They bound the chance of even one false alarm in the family, whatever the dependence. NaN is a question that
    was not asked: it stays NaN and is not counted. ValueError if a p-value lies outside 0 to 1.
    Source: Holm (1979), Scandinavian Journal of Statistics 6, 65-70.
    """
    values, asked, order = _sorted_family(p)
    m = order.size
    stepped = values[asked][order] * np.arange(m, 0, -1)
    return _back_in_place(values, asked, order, np.maximum.accumulate(stepped))


def serial_gatekeeping(p: ArrayLike, family: ArrayLike) -> NDArray[np.float64]:
    """Return p-values (m,) adjusted for families that are tested one after another, in the order of their numbers.

    Holm within each family; a family is tested only where every p-value of those before is below the level, so that
    none is smaller than the largest adjusted one before it. With one p-value to a family this is the fixed sequence;
    with one family it is Holm. It bounds the chance of even one false alarm over all families. NaN is not counted.
    Source: Dmitrienko and Tamhane (2007), Pharmaceutical Statistics 6, 171-180; Maurer, Hothorn and Lehmacher (1995),
    in Biometrie in der chemisch-pharmazeutischen Industrie 6, 3-18.
    """
    values, number = np.asarray(p, dtype=float), np.asarray(family)
    adjusted, before = np.full(values.shape, np.nan), 0.0
    for each in np.unique(number):
        own = number == each
        adjusted[own] = np.maximum(holm(values[own]), before)
        before = max(before, np.nanmax(adjusted[own], initial=0.0))
    return adjusted


def benjamini_hochberg(p: ArrayLike) -> NDArray[np.float64]:
    """Return Benjamini and Hochberg's step-up adjusted p-values, in the shape of `p`.

    They bound the expected share of false alarms among the findings, for independent or positively dependent
    tests. NaN is a question that was not asked: it stays NaN and is not counted. ValueError if a p-value lies
    outside 0 to 1. Source: Benjamini and Hochberg (1995), Journal of the Royal Statistical Society B 57, 289-300.
    """
    values, asked, order = _sorted_family(p)
    m = order.size
    stepped = values[asked][order] * m / np.arange(1, m + 1)
    return _back_in_place(values, asked, order, np.minimum.accumulate(stepped[::-1])[::-1])


DECIMALS_OF_A_LEVEL = 12


def below(p_value: ArrayLike, alpha: float) -> NDArray[np.bool_]:
    """Return which p-values lie below `alpha`, strictly; no number (NaN) never does.

    1 - 0.95 is stored as 0.05 and a little; without rounding, p = 0.05 would lie below it.
    """
    return np.asarray(np.asarray(p_value, dtype=float) < round(alpha, DECIMALS_OF_A_LEVEL))


def _sorted_family(p: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.bool_], NDArray[np.intp]]:
    """Return p as an array, which entries were asked, and the order of those from small to large."""
    values = np.asarray(p, dtype=float)
    asked = ~np.isnan(values)
    if np.any((values[asked] < 0) | (values[asked] > 1)):
        raise ValueError("p-values must lie between 0 and 1")
    return values, asked, np.argsort(values[asked], kind="stable")


def _back_in_place(
    values: NDArray[np.float64],
    asked: NDArray[np.bool_],
    order: NDArray[np.intp],
    stepped: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return the stepped values at the places their p-values came from, none above 1."""
    family = np.empty(order.size)
    family[order] = np.minimum(stepped, 1.0)
    adjusted = np.full(values.shape, np.nan)
    adjusted[asked] = family
    return adjusted
