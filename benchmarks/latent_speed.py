"""How quick is the permutation test of left-out predictions, against a loop over scikit-learn's partial least squares?

Run: python -m benchmarks.latent_speed. 1,000 orders of the prototypes, each prototype left out in turn, one or two
components, 12 descriptors. scikit-learn is timed on ten orders and the rest is extrapolated; one thread each.
"""

from __future__ import annotations

import os
import time

for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import numpy as np

from panel.stats.maps.links import permutation_test, row_orders

DRAWS, FEW, DESCRIPTORS = 1000, 10, 12


def ours(X: np.ndarray, Y: np.ndarray, orders: np.ndarray) -> float:
    """Return the seconds of the whole test."""
    begin = time.perf_counter()
    permutation_test(X, Y, 2, orders)
    return time.perf_counter() - begin


def with_sklearn(X: np.ndarray, Y: np.ndarray, orders: np.ndarray) -> float:
    """Return the seconds a loop takes: one fit for each response, component number, left-out row and order."""
    from sklearn.cross_decomposition import PLSRegression

    begin = time.perf_counter()
    for order in orders:
        for row in range(len(X)):
            kept = np.arange(len(X)) != row
            for column in range(Y.shape[1]):
                for components in (1, 2):
                    fit = PLSRegression(components).fit(X[kept], Y[order][kept, column])
                    fit.predict(X[[row]])
    return time.perf_counter() - begin


def main() -> None:
    """Print the table."""
    rng = np.random.default_rng(1)
    print("| prototypes x attributes | ours | scikit-learn, extrapolated | ratio |\n|---|---|---|---|")
    for n, q in ((8, 14), (24, 20)):
        X, Y = rng.normal(size=(n, DESCRIPTORS)), rng.normal(size=(n, q))
        orders = row_orders(n, DRAWS, rng)
        own = min(ours(X, Y, orders) for _ in range(5))
        theirs = with_sklearn(X, Y, orders[:FEW]) * len(orders) / FEW
        print(f"| {n} x {q} | {1000 * own:.0f} ms | {theirs:.0f} s | {theirs / own:.0f} |")


if __name__ == "__main__":
    main()
