"""What each score does to a test when it is left out, with the relative variances held: exact, without fitting anew.

With A = (X'V^-1 X)^-1, g_i = A X'V^-1 d_i and P as in `panel.stats.mixed.mixed_residuals`, leaving score i out turns
the coefficients into b - g_i (P y)_i / P_ii, A into A + g_i g_i' / P_ii, and the generalised residual sum of squares
y'P y into y'P y - (P y)_i^2 / P_ii (the same algebra as for least squares, Cook & Weisberg 1982, Residuals and
Influence in Regression).
"""

from __future__ import annotations

import numpy as np

from panel.stats.arrays import Array
from panel.stats.mixed.mixed_residuals import SMALLEST_ROOM, ResidualMaker


def f_without_each(maker: ResidualMaker, y: Array, contrasts: Array) -> Array:
    """Return F of the hypothesis `contrasts` b = 0, (r, p), without each score of y (n,).

    NaN where the score is the only one behind a coefficient, so that nothing is left to estimate it by.
    """
    n, p = maker.through.shape
    a, r = maker.inverse_xx, len(contrasts)
    own = maker.residual(y)
    room = maker.room()
    free = room > SMALLEST_ROOM
    p_ii = np.where(free, room, 1.0)
    step = maker.through @ a @ contrasts.T  # C g_i, in rows
    left = contrasts @ (a @ (maker.through.T @ y)) - step * (own / p_ii)[:, None]
    s2 = (y @ own - own**2 / p_ii) / (n - 1 - p)
    m = np.linalg.inv(contrasts @ a @ contrasts.T)
    plain = np.einsum("ni,ij,nj->n", left, m, left)
    across = np.einsum("ni,ij,nj->n", left, m, step)
    along = np.einsum("ni,ij,nj->n", step, m, step)
    return np.where(free, (plain - across**2 / (p_ii + along)) / (r * s2), np.nan)
