"""May one descriptor be named as what an attribute goes with? Only if nothing else explains the same data as well.

Blends that differ in m independent ways carry m effects, however many of them were made. Where each of these effects
is free to be what it likes, the responses point in any direction of an m-dimensional space, and a descriptor lies
close to that direction by chance as often as two columns of m + 1 rows correlate. So a name is held to m + 1 rows,
not to the number of blends: otherwise effects of swaps that happen to be in proportion would be taken for a property.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr

from panel.stats.maps.single_links import williams_test

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, eq=False, slots=True)
class Drivers:
    """What may be said for each response.

    Parameters
    ----------
    best
        Number of the candidate with the closest correlation; -1 where no candidate stands out.
    named
        Number of the descriptor that may be named; -1 where none may.
    in_running
        (columns, responses) the best and every column that explains the response as well as it does.
    """

    best: NDArray[np.int64]
    named: NDArray[np.int64]
    in_running: Flags


def p_over_moves(r: Floats, moves: int) -> Floats:
    """Return the two-sided p-values of correlations held to `moves` + 1 rows; NaN with fewer than two moves."""
    df = moves - 1
    if df < 1:
        return np.full(np.shape(r), np.nan)
    with np.errstate(divide="ignore"):
        t = np.abs(r) * np.sqrt(df / np.clip(1 - r**2, 0, None))
    return 2 * stdtr(df, -t)


def name_drivers(
    r: Floats,
    p_seen: Floats,
    p_named: Floats,
    r_between: Floats,
    moves: int,
    *,
    candidate: Flags,
    possible: Flags,
    refused: Flags,
    level: float = 0.95,
) -> Drivers:
    """Name at most one column for each response, or say which cannot be told apart.

    A response has a best candidate if the candidate with the closest correlation stands out among all questions
    (`p_seen` below 1 - `level`). In the running with it are all `possible` columns, candidates or not, whose
    correlation is not clearly weaker (Williams' test of two correlations with one variable in common, two-sided at
    `level`, over `moves` + 1 rows). The best is named only if it runs alone, `p_named` is below 1 - `level` and it is
    not refused.

    Parameters
    ----------
    r
        (columns, responses) correlations.
    p_seen
        Their p-values over the rows there are, adjusted over all candidates and responses.
    p_named
        P-values of `p_over_moves`, adjusted over the questions asked beforehand; NaN for all others.
    r_between
        (columns, columns) correlations between the columns.
    moves
        In how many independent ways the rows differ.
    candidate
        (columns,) which columns may be named; the others only stand in the way of a name.
    possible
        (columns, responses) which correlations stand out taken singly.
    refused
        (columns, responses) where a name would be wrong for another reason.
    """
    alpha = round(1 - level, 12)
    closeness = np.nan_to_num(np.where(candidate[:, None], np.abs(r), -1.0), nan=-1.0)
    best = closeness.argmax(axis=0)
    response = np.arange(r.shape[1])
    with np.errstate(invalid="ignore"):
        seen = (p_seen[best, response] < alpha) & (closeness[best, response] >= 0)
        sure = p_named[best, response] < alpha
    in_running = _in_running(r, r_between, best, moves + 1, alpha, possible) & seen
    named = seen & sure & (in_running.sum(axis=0) == 1) & ~refused[best, response]
    return Drivers(np.where(seen, best, -1), np.where(named, best, -1), in_running)


def _in_running(
    r: Floats, r_between: Floats, best: NDArray[np.intp], rows: int, alpha: float, possible: Flags
) -> Flags:
    """Return which columns are not clearly weaker than the best of each response, the best itself among them."""
    response = np.arange(r.shape[1])
    running = possible & ~np.isnan(r)
    if rows > 3:
        sign = np.sign(r)
        # All correlations with the response are turned positive, so the one between two columns turns with both signs.
        between = r_between[:, best] * sign * sign[best, response]
        t, p = williams_test(np.abs(r[best, response]), np.abs(r), between, rows)
        with np.errstate(invalid="ignore"):
            running &= ~((t > 0) & (p < alpha))
    running[best, response] = True
    return running
