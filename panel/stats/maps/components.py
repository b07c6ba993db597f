"""Principal components of a table of prototype means, and how much of them chance alone would give."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

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
    X = standardised(table, matrix)
    n, p = X.shape
    U, d, Vt = np.linalg.svd(X, full_matrices=False)
    k = min(n - 1, p)
    axes = Vt[:k].T
    signs = _signs(axes)
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


def standardised(table: NDArray[np.float64], matrix: Matrix) -> NDArray[np.float64]:
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
    X = standardised(table, matrix)
    n, p = X.shape
    shuffled = rng.permuted(np.broadcast_to(X, (runs, n, p)), axis=1)
    squares = np.linalg.svd(shuffled, compute_uv=False)[:, : min(n - 1, p)] ** 2
    return np.asarray(squares / (X**2).sum())


def _signs(axes: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return +1 or -1 for each axis so that its entry with the largest size becomes positive; shape (k,)."""
    size = np.abs(axes)
    first_largest = np.argmax(size >= size.max(axis=0) * (1 - _TIE), axis=0)
    return np.asarray(np.where(axes[first_largest, np.arange(axes.shape[1])] < 0, -1.0, 1.0))
