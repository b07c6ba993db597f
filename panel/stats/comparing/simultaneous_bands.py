"""Intervals from draws of many quantities that hold for all of them at once, whatever the shape of each.

Besag, Green, Higdon & Mengersen (1995), Stat. Sci. 10:3-41, section 6.3: the same order statistics from both ends of
every quantity, chosen so that the wanted share of whole draws lies inside everywhere.
"""

from __future__ import annotations

import math

import numpy as np

from panel.stats.arrays import Array


def simultaneous_bands(drawn: Array, level: float) -> tuple[Array, Array]:
    """Return lower and upper ends (m,) of intervals that hold at once for a share `level` of the draws (n, m).

    Quantities with a missing draw get NaN and count for nothing.
    """
    n, m = drawn.shape
    known = np.flatnonzero(np.isfinite(drawn).all(axis=0))
    low, high = np.full(m, np.nan), np.full(m, np.nan)
    if not len(known) or not n:
        return low, high
    order = np.argsort(drawn[:, known], axis=0, kind="stable")
    place = np.empty_like(order)
    np.put_along_axis(place, order, np.arange(n)[:, None], axis=0)
    outermost = np.maximum(place, n - 1 - place).max(axis=1)
    reach = int(np.sort(outermost)[min(math.ceil(level * n), n) - 1])
    ranked = np.sort(drawn[:, known], axis=0)
    low[known], high[known] = ranked[n - 1 - reach], ranked[reach]
    return low, high
