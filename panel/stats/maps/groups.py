"""Do the rows of a table fall into groups, or is one group enough? And does the same grouping come back?

Rows are people, columns what they judged; a row's own level is of no interest, so everything is worked on what is left
of each value once row and column effects are taken out. Groups are found by k-means (Lloyd 1982, IEEE Trans. Inf.
Theory 28:129). Whether k groups are more than k - 1 is asked of tables that hold k - 1 groups and independent noise
only: what is left around the k - 1 groups with its signs drawn anew (Wu 1986, Ann. Stat. 14:1261, with the two-point
weights of Liu 1988, Ann. Stat. 16:1696), which keeps every row's and every column's own spread.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from panel.stats.arrays import Array, Codes

_STARTS = 3  # random starts beside the one from the first principal axis
_MAX_STEPS = 40
_SWEEPS = 500  # of rows against columns in a table with gaps
_SAME_EFFECT = 1e-9


def without_effects(table: Array) -> Array:
    """Return what is left of a (n, p) table once row and column effects are taken out by least squares.

    Gaps (NaN) count as nothing left: they pull a row towards no group. Every row and column needs a value.
    """
    rows, columns = _effects(table)
    return np.where(np.isfinite(table), table - rows - columns, 0.0)


def without_levels(table: Array) -> Array:
    """Return a (n, p) table with every row moved to the mean level of the rows, gaps left as NaN.

    Levels are row effects by least squares beside column effects, so that a row is not taken for low because it has
    values in low columns only.
    """
    rows, _ = _effects(table)
    return np.asarray(table - rows + rows.mean())


def _effects(table: Array) -> tuple[Array, Array]:
    """Return row effects (n, 1) and column effects (1, p) by least squares."""
    present = np.isfinite(table)
    left = np.where(present, table, 0.0)
    rows, columns = np.zeros((len(table), 1)), np.zeros((1, table.shape[1]))
    for _ in range(_SWEEPS):
        by_row = left.sum(axis=1, keepdims=True) / present.sum(axis=1, keepdims=True)
        left = np.where(present, left - by_row, 0.0)
        by_column = left.sum(axis=0, keepdims=True) / present.sum(axis=0, keepdims=True)
        left = np.where(present, left - by_column, 0.0)
        rows, columns = rows + by_row, columns + by_column
        if max(np.abs(by_row).max(), np.abs(by_column).max()) < _SAME_EFFECT:
            break
    return rows, columns


def k_means(tables: Array, k: int, rng: np.random.Generator) -> tuple[Codes, Array]:
    """Return the best of a few k-means groupings of the rows of each of B tables (B, n, p), all at once.

    Codes (B, n) from 0, and the sums of squares inside the groups (B,).

    One start cuts the rows along the first principal axis into k equal parts, the others draw k rows.
    """
    size, n, _ = tables.shape
    total = np.einsum("bnp,bnp->b", tables, tables)
    labels, within = np.zeros((size, n), dtype=np.intp), np.full(size, np.inf)
    if k == 1:
        return labels, total - n * (tables.mean(axis=1) ** 2).sum(axis=1)
    for start in range(_STARTS + 1):
        if start == 0:
            axis = np.linalg.eigh(np.swapaxes(tables, 1, 2) @ tables)[1][:, :, -1:]
            place = np.argsort(np.argsort((tables @ axis)[:, :, 0], axis=1), axis=1)
            centres = _centres(tables, np.asarray(place * k // tables.shape[1]), np.zeros((size, k, tables.shape[2])))
        else:
            drawn = rng.random((size, n)).argpartition(k - 1, axis=1)[:, :k]
            centres = np.take_along_axis(tables, drawn[:, :, None], axis=1)
        found, left = _settled(tables, centres)
        better = total + left < within
        labels[better], within[better] = found[better], (total + left)[better]
    return labels, within


def _settled(tables: Array, centres: Array) -> tuple[Codes, Array]:
    """Return labels once no row changes its group, and the sum of squares inside them less that of the table."""
    going = np.arange(len(tables))
    labels = np.full(tables.shape[:2], -1, dtype=np.intp)
    left = np.zeros(len(tables))
    for _ in range(_MAX_STEPS):
        own, centre = tables[going], centres[going]
        apart = (centre**2).sum(axis=2)[:, :, None] - 2 * centre @ np.swapaxes(own, 1, 2)
        found, least = np.zeros_like(labels[going]), apart[:, 0]
        for group in range(1, apart.shape[1]):  # few groups, many rows: quicker than to look along the groups
            found = np.where(apart[:, group] < least, group, found)
            least = np.minimum(least, apart[:, group])
        left[going] = least.sum(axis=1)
        moved = (found != labels[going]).any(axis=1)
        labels[going] = found
        going = going[moved]
        if not len(going):
            break
        centres[going] = _centres(tables[going], labels[going], centres[going])
    return labels, left


def _centres(tables: Array, labels: Codes, before: Array) -> Array:
    """Return the mean of each group (B, k, p); an empty group keeps its place."""
    member = (labels[:, None, :] == np.arange(before.shape[1])[:, None]).astype(float)
    count = member.sum(axis=2)[:, :, None]
    means = member @ tables / np.maximum(count, 1)
    return np.asarray(np.where(count > 0, means, before))


def _signs_drawn_anew(left: Array, present: NDArray[np.bool_], draws: int, rng: np.random.Generator) -> Array:
    """Return `draws` tables (draws, n, p) of independent noise with the row and column spreads of `left` (n, p).

    Taking out row effects has spread the noise of each column over all of them; each column is first given back the
    variance it had before, from the diagonal of C D C with C = I - 1/p.
    """
    p = left.shape[1]
    seen = (left**2).sum(axis=0) / present.sum(axis=0)
    before = (seen - seen.sum() / (1 - 1 / p) / p**2) / (1 - 2 / p)
    scale = np.sqrt(np.maximum(before, 0.1 * seen) / np.where(seen > 0, seen, 1.0))
    noise = rng.choice(np.array([-1.0, 1.0]), size=(draws, *left.shape)) * (left * scale)
    noise -= noise.sum(axis=2, keepdims=True) / present.sum(axis=1)[:, None]
    noise = np.where(present, noise, 0.0)
    noise -= noise.sum(axis=1, keepdims=True) / present.sum(axis=0)
    return np.where(present, noise, 0.0)


def more_groups(
    left: Array, present: NDArray[np.bool_], fewer: Codes, draws: int, rng: np.random.Generator
) -> tuple[Codes, float, float]:
    """Ask whether one group more than `fewer` (labels from 0) says more than noise would.

    Returns
    -------
    The labels with one group more, the share by which it lowers the sum of squares inside the groups, and how often
    tables with the groups of `fewer` and noise only reach such a share.
    """
    k = int(fewer.max()) + 1
    centres = _centres(left[None], fewer[None], np.zeros((1, k, left.shape[1])))[0]
    around = np.where(present, left - centres[fewer], 0.0)
    drawn = _signs_drawn_anew(around, present, draws, rng) + np.where(present, centres[fewer], 0.0)
    tables = np.concatenate([left[None], drawn])
    more, within = k_means(tables, k + 1, rng)
    share = 1 - within / k_means(tables, k, rng)[1]
    p_value = (1 + np.count_nonzero(share[1:] >= share[0])) / (1 + draws)
    return more[0], float(share[0]), float(p_value)


def recovered(left: Array, labels: Codes, draws: int, rng: np.random.Generator) -> Array:
    """Return, for each group, the mean Jaccard index with its likest group when rows are drawn anew.

    Rows are drawn with replacement, grouped, and all rows then put to the nearest new centre (Hennig 2007, Comput.
    Stat. Data Anal. 52:258): 1 is a group that always comes back, near 0.5 one that dissolves.
    """
    k, n = int(labels.max()) + 1, len(left)
    drawn = left[rng.integers(n, size=(draws, n))]
    centres = _centres(drawn, k_means(drawn, k, rng)[0], np.zeros((draws, k, left.shape[1])))
    again = ((centres**2).sum(axis=2)[:, None, :] - 2 * left @ np.swapaxes(centres, 1, 2)).argmin(axis=2)
    old = (labels[:, None] == np.arange(k)).astype(float)
    new = (again[:, :, None] == np.arange(k)).astype(float)
    both = np.einsum("nk,bnl->bkl", old, new)
    either = old.sum(axis=0)[:, None] + new.sum(axis=1)[:, None, :] - both
    return np.asarray((both / either).max(axis=2).mean(axis=0))
