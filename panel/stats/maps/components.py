"""Principal components of a table of prototype means, and how much of them chance alone would give."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from panel.errors import ModelError
from panel.stats.arrays import Array

Matrix = Literal["covariance", "correlation"]

# Entries of an axis closer than this to the largest one count as tied: rounding must not choose the sign.
_TIE = 1e-9


@dataclass(frozen=True, eq=False, slots=True)
class Components:
    """Principal components of a table of n rows (prototypes) and p columns (attributes); k = min(n - 1, p).

    Parameters
    ----------
    eigenvalues
        Variance along each component, divisor n - 1, largest first; shape (k,).
    shares
        Part of the whole variance each component carries; shape (k,), sums to 1.
    axes
        Directions in the space of the columns, unit length; shape (p, k).
    scores
        Places of the rows along the components; shape (n, k).
    loadings
        Correlations of the columns with the components; shape (p, k), NaN for a column that does not vary.
    """

    eigenvalues: NDArray[np.float64]
    shares: NDArray[np.float64]
    axes: NDArray[np.float64]
    scores: NDArray[np.float64]
    loadings: NDArray[np.float64]


def principal_components(table: NDArray[np.float64], matrix: Matrix = "covariance") -> Components:
    """Return the principal components of the covariance or correlation matrix of a table without gaps.

    The sign of a component is free. The rule here: on each axis the entry with the largest size is positive
    (the first of several tied ones), which does not depend on the order of the rows.

    Raises
    ------
    ValueError
        If the table has fewer than two rows, has gaps, does not vary at all, or, for correlations, if one
        column does not vary.

    References
    ----------
    Jolliffe (2002) Principal Component Analysis, 2nd ed., sections 2.3, 3.5 and 11.3.
    """
    X = _standardised(table, matrix)
    n, p = X.shape
    U, d, Vt = np.linalg.svd(X, full_matrices=False)
    k = min(n - 1, p)
    axes = Vt[:k].T
    size = np.abs(axes)
    first_largest = np.argmax(size >= size.max(axis=0) * (1 - _TIE), axis=0)
    signs = np.asarray(np.where(axes[first_largest, np.arange(axes.shape[1])] < 0, -1.0, 1.0))
    eigenvalues = d[:k] ** 2 / (n - 1)
    spread = X.std(axis=0, ddof=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        loadings = np.where(spread[:, None] > 0, axes * signs * np.sqrt(eigenvalues) / spread[:, None], np.nan)
    return Components(
        eigenvalues=eigenvalues,
        shares=eigenvalues / (d**2 / (n - 1)).sum(),
        axes=axes * signs,
        scores=U[:, :k] * d[:k] * signs,
        loadings=loadings,
    )


def _standardised(table: NDArray[np.float64], matrix: Matrix) -> NDArray[np.float64]:
    """Return the table with each column centred and, for correlations, divided by its standard deviation.

    Raises ValueError as `principal_components` does.
    """
    X = np.asarray(table, dtype=float)
    if X.ndim != 2 or X.shape[0] < 2 or not np.isfinite(X).all():
        raise ValueError("components need a table of at least two rows without gaps")
    X = X - X.mean(axis=0)
    constant = varies_not(table)
    X[:, constant] = 0.0
    if constant.all():
        raise ValueError("components need at least one column that varies")
    if matrix == "covariance":
        return X
    if constant.any():
        raise ValueError("correlations need columns that vary")
    return np.asarray(X / X.std(axis=0, ddof=1))


def varies_not(table: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Return True for each column whose values are all the same up to rounding; shape (p,)."""
    spans = np.ptp(table, axis=0)
    return np.asarray(spans <= 1e-12 * np.maximum(np.abs(table).max(axis=0), 1e-300))


def chance_shares(
    table: NDArray[np.float64], matrix: Matrix, rng: np.random.Generator, runs: int = 200
) -> NDArray[np.float64]:
    """Return the shares of the components when each column is shuffled by itself; shape (runs, k).

    Shuffling keeps each attribute's values and breaks every relation between attributes, so this is what
    the components of unrelated attributes look like. For correlations of normal values it is parallel analysis.

    References
    ----------
    Horn (1965) Psychometrika 30:179-185; Buja and Eyuboglu (1992) Multivariate Behavioral Research 27:509-540.
    """
    X = _standardised(table, matrix)
    n, p = X.shape
    shuffled = rng.permuted(np.broadcast_to(X, (runs, n, p)), axis=1)
    squares = np.linalg.svd(shuffled, compute_uv=False)[:, : min(n - 1, p)] ** 2
    return np.asarray(squares / (X**2).sum())


# Several tables on the same rows (panel, instruments) on one map, none of them louder for having more columns.


# A component with less than this of the first one's variance is rounding; its directions mean nothing.
_EMPTY = 1e-12


@dataclass(frozen=True, eq=False, slots=True)
class MultipleFactors:
    """Multiple factor analysis of B blocks with n rows; p columns in all, k components that are not empty.

    Parameters
    ----------
    eigenvalues, shares
        Variance along each component (divisor n) and its part of the whole; shape (k,).
    scores
        Places of the rows; shape (n, k).
    loadings
        Correlations of the columns, block after block, with the components; shape (p, k).
    partial_scores
        Places of the rows as each block alone sees them; their mean over the blocks is `scores`; shape (B, n, k).
    contributions
        Part of each component that comes from each block, columns sum to 1; shape (B, k).
    rv, rv_by_chance
        How alike two blocks place the rows, 0 to 1, and what that would be on average if the rows of one were
        shuffled; shape (B, B).
    """

    eigenvalues: Array
    shares: Array
    scores: Array
    loadings: Array
    partial_scores: Array
    contributions: Array
    rv: Array
    rv_by_chance: Array


def multiple_factors(blocks: Sequence[ArrayLike]) -> MultipleFactors:
    """Return the components that the blocks have in common.

    Each column is standardised, each block divided by the first singular value of its own, so that no block can have
    more than 1 on a component; then principal components of them all. The first eigenvalue lies between 1 and the
    number of blocks, which it reaches if all blocks agree about their first direction.

    Raises
    ------
    ValueError
        If a block has fewer than two rows, gaps, or a column that does not vary, or rows differ in number.

    References
    ----------
    Escofier and Pages (1994) Computational Statistics & Data Analysis 18:121-140.
    """
    tables = [np.asarray(_standardised(np.asarray(block, dtype=float), "correlation")) for block in blocks]
    n = tables[0].shape[0]
    if any(table.shape[0] != n for table in tables):
        raise ValueError("all blocks need the same rows")
    # Divisor n for standard deviations, 1 / n for the weight of a row.
    tables = [table * np.sqrt(n / (n - 1)) for table in tables]
    first = np.array([np.linalg.norm(table, 2) ** 2 / n for table in tables])
    weighted = [table / np.sqrt(size) for table, size in zip(tables, first, strict=True)]
    main = principal_components(np.hstack(weighted))
    kept = main.eigenvalues > _EMPTY * main.eigenvalues[0]
    ends = np.cumsum([table.shape[1] for table in tables])[:-1]
    axes = np.split(main.axes[:, kept], ends)
    partial = [len(tables) * table @ axis for table, axis in zip(weighted, axes, strict=True)]
    rv, by_chance = _rv_coefficients(tables)
    return MultipleFactors(
        eigenvalues=main.eigenvalues[kept] * (n - 1) / n,
        shares=main.shares[kept],
        scores=main.scores[:, kept],
        loadings=main.loadings[:, kept],
        partial_scores=np.stack(partial),
        contributions=np.array([(axis**2).sum(axis=0) for axis in axes]),
        rv=rv,
        rv_by_chance=by_chance,
    )


def _rv_coefficients(tables: Sequence[Array]) -> tuple[Array, Array]:
    """Return the RV coefficient of each pair of blocks and its mean over all orders of the rows of one of them.

    With few rows and many columns RV is large by arithmetic alone, hence the second.

    References
    ----------
    Robert and Escoufier (1976) Applied Statistics 25:257-265; Kazi-Aoual, Hitier, Sabatier and Lebreton (1995)
    Computational Statistics & Data Analysis 20:643-656.
    """
    W = np.stack([table @ table.T for table in tables])
    products = np.einsum("aij,bij->ab", W, W)
    size = np.sqrt(np.diag(products))
    rv = products / np.outer(size, size)
    root_beta = np.trace(W, axis1=1, axis2=2) / size
    by_chance = np.outer(root_beta, root_beta) / (W.shape[1] - 1)
    np.fill_diagonal(by_chance, 1.0)
    return rv, by_chance


# Which rows and columns of a table of counts go together, beyond their totals? Correspondence analysis.
#
# Greenacre (1984), Theory and Applications of Correspondence Analysis. P is the table over its total n, r and c its
# margins; the singular values of D_r^-1/2 (P - r c') D_c^-1/2 are the canonical correlations, their squares the
# principal inertias, and these add up to chi-square over n.


_FEW_EXPECTED = 5.0  # counts below this are few for chi-square


@dataclass(frozen=True, eq=False, slots=True)
class _Correspondence:
    """A table of counts (i, j) on min(i, j) - 1 components.

    `correlations` canonical correlations; `inertias` their squares; `rows` (i, m)
    and `columns` (j, m) principal coordinates; `row_masses`, `column_masses` shares of all counts; `few_expected` the
    share of cells whose expected count is below five. Each component points so that its largest row coordinate is
    positive.
    """

    correlations: Array
    inertias: Array
    rows: Array
    columns: Array
    row_masses: Array
    column_masses: Array
    few_expected: float


def correspondence(counts: ArrayLike) -> _Correspondence:
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
    return _Correspondence(
        correlations=singular[:m],
        inertias=singular[:m] ** 2,
        rows=rows * sign,
        columns=columns * sign,
        row_masses=r,
        column_masses=c,
        few_expected=float((n * expected < _FEW_EXPECTED).mean()),
    )
