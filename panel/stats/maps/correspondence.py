"""Which rows and columns of a table of counts go together, beyond their totals? Correspondence analysis.

Greenacre (1984), Theory and Applications of Correspondence Analysis. P is the table over its total n, r and c its
margins; the singular values of D_r^-1/2 (P - r c') D_c^-1/2 are the canonical correlations, their squares the
principal inertias, and these add up to chi-square over n.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from panel.errors import ModelError
from panel.stats.arrays import Array

FEW_EXPECTED = 5.0  # counts below this are few for chi-square


@dataclass(frozen=True, eq=False, slots=True)
class Correspondence:
    """A table of counts (i, j) on min(i, j) - 1 components.

    `correlations` canonical correlations; `inertias` their squares; `total_inertia` = `chi_square` / n; `rows` (i, m)
    and `columns` (j, m) principal coordinates; `row_masses`, `column_masses` shares of all counts; `few_expected` the
    share of cells whose expected count is below five. Each component points so that its largest row coordinate is
    positive.
    """

    correlations: Array
    inertias: Array
    total_inertia: float
    chi_square: float
    rows: Array
    columns: Array
    row_masses: Array
    column_masses: Array
    few_expected: float


def correspondence(counts: ArrayLike) -> Correspondence:
    """Analyse a table of counts of at least two rows and two columns.

    Raises
    ------
    ModelError
        If the table is smaller, holds a negative count, or a row or column is empty.
    """
    table = np.asarray(counts, dtype=float)
    if min(table.shape) < 2:
        raise ModelError("A map of counts needs at least two rows and two columns.")
    n = float(table.sum())
    if (table < 0).any() or n <= 0 or not (table.sum(axis=0).all() and table.sum(axis=1).all()):
        raise ModelError("A map of counts needs counts from 0, and at least one in every row and column.")
    share = table / n
    r, c = share.sum(axis=1), share.sum(axis=0)
    expected = np.outer(r, c)
    left, singular, right = np.linalg.svd((share - expected) / np.sqrt(expected), full_matrices=False)
    m = min(table.shape) - 1  # the last one is zero: the margins are taken out
    rows = left[:, :m] * singular[:m] / np.sqrt(r)[:, None]
    columns = right[:m].T * singular[:m] / np.sqrt(c)[:, None]
    sign = np.where(rows[np.abs(rows).argmax(axis=0), np.arange(m)] < 0, -1.0, 1.0)
    total = float(((share - expected) ** 2 / expected).sum())
    return Correspondence(
        correlations=singular[:m],
        inertias=singular[:m] ** 2,
        total_inertia=total,
        chi_square=n * total,
        rows=rows * sign,
        columns=columns * sign,
        row_masses=r,
        column_masses=c,
        few_expected=float((n * expected < FEW_EXPECTED).mean()),
    )
