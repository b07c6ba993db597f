"""Several tables on the same rows (panel, instruments) on one map, none of them louder for having more columns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from panel.stats.arrays import Array
from panel.stats.maps.components import principal_components, standardised

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
    block_eigenvalues
        First eigenvalue of each block's own correlation matrix, by which it was weighted; shape (B,).
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
    block_eigenvalues: Array
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
    tables = [np.asarray(standardised(np.asarray(block, dtype=float), "correlation")) for block in blocks]
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
        block_eigenvalues=first,
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
