"""Page's test against his tables, textbook examples, scipy, plain enumeration and its own promise."""

from itertools import permutations, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.special import ndtr
from scipy.stats import page_trend_test

from panel.errors import ModelError
from panel.stats.ranking.ranks import ranks_within_blocks, trend_test

SAME = 1e-10
# Page (1963), J. Am. Stat. Assoc. 58:216: smallest L with exact one-sided p <= .05, .01, .001; recomputed and equal
# to the published tables (from memory).
TABLE = {
    3: {
        **{2: (28, None, None), 3: (41, 42, None), 4: (54, 55, 56), 5: (66, 68, 70), 6: (79, 81, 83)},
        **{8: (104, 106, 109), 10: (128, 131, 134), 12: (153, 156, 160)},
    },
    4: {3: (84, 87, 89), 5: (137, 141, 145), 8: (214, 220, 225), 10: (266, 272, 278), 12: (317, 324, 331)},
    5: {5: (244, 251, 259), 10: (477, 487, 499), 12: (570, 581, 593)},
    6: {10: (777, 793, 811), 12: (928, 946, 965)},
}


def blocks_reaching(n, k, target):
    """A table without ties whose L is `target`: adjacent swaps, each lowering L by one, from full agreement."""
    rows = np.tile(np.arange(1.0, k + 1), (n, 1))
    left = int(rows.sum(axis=0) @ np.arange(1, k + 1)) - target
    for row in rows:
        for place in range(0, k - 1, 2):  # disjoint neighbours: each swap lowers L by exactly 1
            if left == 0:
                return rows
            row[[place, place + 1]] = row[[place + 1, place]]
            left -= 1
        while left and row[0] < row[-1]:
            before = row @ np.arange(1, k + 1)
            options = [
                swapped
                for i, j in [(i, j) for i in range(k) for j in range(i + 1, k) if row[i] < row[j]]
                for swapped in [_swap(row, i, j)]
                if before - swapped @ np.arange(1, k + 1) <= left
            ]
            if not options:
                break
            row[:] = min(options, key=lambda r: r @ np.arange(1, k + 1))
            left -= int(before - row @ np.arange(1, k + 1))
    assert left == 0
    return rows


def _swap(row, i, j):
    new = row.copy()
    new[[i, j]] = new[[j, i]]
    return new


@pytest.mark.parametrize(("k", "n"), [(k, n) for k, row in TABLE.items() for n in row])
def test_critical_values_of_pages_tables(k, n):
    for level, critical in zip((0.05, 0.01, 0.001), TABLE[k][n], strict=True):
        if critical is None:
            assert trend_test(np.tile(np.arange(1.0, k + 1), (n, 1))).p_value > level
            continue
        at, below = trend_test(blocks_reaching(n, k, critical)), trend_test(blocks_reaching(n, k, critical - 1))
        assert at.exact
        assert at.statistic == critical
        assert at.p_value <= level < below.p_value


def test_students_rating_tutorials():
    # scipy's documentation of page_trend_test prints L = 133.5 and, with no account taken of ties, the normal
    # p = .00126934336907518; corrected for ties z is larger
    table = np.array([int(c) for c in "343224335132232245124344245134"]).reshape(10, 3)
    found = trend_test(table)
    assert found.statistic == 133.5
    n, k = table.shape
    plain = (found.statistic - found.expected) / np.sqrt(n * k**2 * (k + 1) * (k**2 - 1) / 144)
    assert ndtr(-plain) == pytest.approx(0.0012693433690751756, abs=SAME)
    assert found.z > plain


def test_conovers_example():
    # Conover (1999), p. 380 (data in NIST Dataplot's help): T4 = 401.5 and, not corrected for ties, T5 = 2.934493
    rows = [
        "79 78 72 66 75 64 68 70", "76 76 74 65 75 66 70 72", "77 76 77 68 72 65 68 78",
        "84 80 78 72 74 69 74 76", "82 80 75 65 77 68 70 77",
    ]  # fmt: skip
    found = trend_test(np.array([[float(value) for value in row.split()] for row in rows]).T)
    assert found.statistic == 401.5
    assert (found.statistic - found.expected) / np.sqrt(200) == pytest.approx(2.934493, abs=5e-7)
    assert found.variance < 200  # the ties take some away


@pytest.mark.parametrize(("n", "k"), [(4, 3), (6, 4), (3, 6)])
def test_without_ties_equals_scipy(n, k):
    rng = np.random.default_rng(n + k)
    for _ in range(10):
        scores = rng.random((n, k)) + 0.1 * np.arange(k)
        found = trend_test(scores)
        theirs = page_trend_test(scores, method="exact")
        assert found.statistic == theirs.statistic
        assert found.p_value == pytest.approx(theirs.pvalue, abs=SAME)
        assert found.normal_p == pytest.approx(page_trend_test(scores, method="asymptotic").pvalue, abs=SAME)


@settings(deadline=None)
@given(arrays(float, st.tuples(st.integers(2, 3), st.integers(2, 4)), elements=st.integers(0, 2).map(float)))
def test_ties_equal_plain_enumeration(scores):
    ranks = ranks_within_blocks(scores)
    if (np.ptp(ranks, axis=1) == 0).all():
        with pytest.raises(ModelError):
            trend_test(scores)
        return
    found, place = trend_test(scores), np.arange(1, scores.shape[1] + 1)
    sums = [[np.dot(order, place) for order in permutations(row)] for row in ranks]
    chance = np.array([sum(chosen) for chosen in product(*sums)])
    assert found.p_value == pytest.approx((chance >= found.statistic - 1e-9).mean(), abs=SAME)
    assert found.expected == pytest.approx(chance.mean())
    assert found.variance == pytest.approx(chance.var())


def test_many_samples_fall_back_to_the_normal_distribution():
    scores = np.random.default_rng(3).random((6, 12)) + np.arange(12) * 0.05
    found = trend_test(scores)
    assert not found.exact
    assert found.p_value == found.normal_p == pytest.approx(page_trend_test(scores, method="asymptotic").pvalue)


def test_size_is_never_above_nominal_with_ties():
    rng = np.random.default_rng(8)
    p = np.array([trend_test(rng.integers(0, 5, (6, 4)).astype(float)).p_value for _ in range(3000)])
    for alpha in (0.01, 0.05):
        assert (p <= alpha).mean() <= alpha + 3 * np.sqrt(alpha * (1 - alpha) / 3000)
