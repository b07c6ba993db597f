"""Friedman's test against textbook examples, scipy, and what must always hold."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.stats import friedmanchisquare, rankdata

from panel.errors import ModelError
from panel.stats.answers.ranks import _complete_ranks, friedman_test, ranks_within_blocks

SAME = 1e-10  # a handful of float operations
PRINTED = 5e-7  # half a unit of the sixth decimal

# Conover (1999), Practical Nonparametric Statistics, 3rd ed., p. 372: 12 homeowners rank 4 grasses, with ties.
# Data printed as FRIEDMAN.DAT of NIST Dataplot; values recomputed there with R, Conover prints 8.097, 3.19.
GRASSES = np.array(
    [
        *([4, 3, 2, 1], [4, 2, 3, 1], [3, 1.5, 1.5, 4], [3, 1, 2, 4], [4, 2, 1, 3], [2, 2, 2, 4]),
        *([1, 3, 2, 4], [2, 4, 1, 3], [3.5, 1, 2, 3.5], [4, 1, 3, 2], [4, 2, 3, 1], [3.5, 1, 2, 3.5]),
    ]
)
# Hollander & Wolfe (1973), p. 140: ways of rounding first base, seconds of 22 players (data in R's friedman.test)
BASES = np.array(
    [
        *([5.40, 5.50, 5.55], [5.85, 5.70, 5.75], [5.20, 5.60, 5.50], [5.55, 5.50, 5.40], [5.90, 5.85, 5.70]),
        *([5.45, 5.55, 5.60], [5.40, 5.40, 5.35], [5.45, 5.50, 5.35], [5.25, 5.15, 5.00], [5.85, 5.80, 5.70]),
        *([5.25, 5.20, 5.10], [5.65, 5.55, 5.45], [5.60, 5.35, 5.45], [5.05, 5.00, 4.95], [5.50, 5.50, 5.40]),
        *([5.45, 5.55, 5.50], [5.55, 5.55, 5.35], [5.45, 5.50, 5.55], [5.50, 5.45, 5.25], [5.65, 5.60, 5.40]),
        *([5.70, 5.65, 5.55], [6.30, 6.30, 6.25]),
    ]
)

blocks = arrays(float, st.tuples(st.integers(2, 6), st.integers(2, 4)), elements=st.integers(0, 4).map(float))


def usable(scores):
    return (np.ptp(scores, axis=1) > 0).any()


def test_grasses_with_ties():
    found = friedman_test(GRASSES)
    assert found["statistic"] == pytest.approx(8.097345, abs=PRINTED)
    assert found["df"] == 3
    assert friedman_test(GRASSES, work=0)["p_value"] == pytest.approx(0.0440421, abs=5e-8)
    assert found["kendall_w"] == pytest.approx(0.2249263, abs=5e-8)


def test_rounding_first_base():
    found = friedman_test(BASES)
    assert found["statistic"] == pytest.approx(11.142857, abs=PRINTED)
    assert friedman_test(BASES, work=0)["p_value"] == pytest.approx(0.003805041, abs=5e-10)
    assert found["kendall_w"] == pytest.approx(0.2532468, abs=5e-8)


@pytest.mark.parametrize(
    ("rows", "statistic", "exact", "chi_square"),
    [
        # WaveMetrics Igor manual, Friedman test: statistic, exact and approximate p printed there
        (["1432", "2431", "1423", "1342", "1243"], 9.24, 0.0166709, 0.0262644),
        (["1234", "1423", "4213", "3241", "1342"], 1.08, 0.85656, 0.7819),
    ],
)
def test_small_examples_with_exact_p(rows, statistic, exact, chi_square):
    ranks = [[int(rank) for rank in row] for row in rows]
    found = friedman_test(ranks)
    assert found["exact"]
    assert found["statistic"] == pytest.approx(statistic, abs=1e-9)
    assert found["p_value"] == pytest.approx(exact, abs=5e-6)
    without_work = friedman_test(ranks, work=0)
    assert not without_work["exact"]
    assert without_work["p_value"] == pytest.approx(chi_square, abs=5e-5)


@settings(deadline=None)
@given(blocks.filter(usable).filter(lambda scores: scores.shape[1] >= 3))
def test_equals_scipy(scores):
    theirs = friedmanchisquare(*scores.T)
    found = friedman_test(scores, work=0)
    assert found["statistic"] == pytest.approx(theirs.statistic, abs=1e-8)
    assert found["p_value"] == pytest.approx(theirs.pvalue, abs=1e-8)


@settings(deadline=None)
@given(blocks)
def test_ranks_equal_scipy(scores):
    np.testing.assert_array_equal(ranks_within_blocks(scores), rankdata(scores, axis=1))


@settings(deadline=None)
@given(blocks.filter(usable), st.randoms(use_true_random=False))
def test_names_and_order_of_people_and_samples_do_not_matter(scores, random):
    rows, columns = list(range(scores.shape[0])), list(range(scores.shape[1]))
    random.shuffle(rows)
    random.shuffle(columns)
    a, b = friedman_test(scores), friedman_test(scores[rows][:, columns])
    assert a["statistic"] == pytest.approx(b["statistic"], abs=1e-9)
    assert a["p_value"] == pytest.approx(b["p_value"], abs=SAME)


@settings(deadline=None)
@given(blocks.filter(usable), st.floats(0.1, 5), st.floats(-5, 5))
def test_any_stretching_of_a_persons_scale_changes_nothing(scores, stretch, shift):
    bent = np.vstack([np.exp(stretch * scores[:1]) + shift, scores[1:] ** 3 * stretch])
    assert friedman_test(bent)["statistic"] == pytest.approx(friedman_test(scores)["statistic"], abs=1e-9)


def test_identical_orders_agree_fully_and_mean_spearman_follows_from_w():
    assert friedman_test([[1, 2, 3, 4]] * 6)["kendall_w"] == pytest.approx(1.0)
    rng = np.random.default_rng(4)
    scores = rng.random((7, 5))
    ranks = ranks_within_blocks(scores)
    mean_spearman = np.corrcoef(ranks)[np.triu_indices(7, 1)].mean()
    w = friedman_test(scores, work=0)["kendall_w"]
    assert (7 * w - 1) / 6 == pytest.approx(mean_spearman)  # an identity without ties


def test_gaps_stay_gaps():
    ranks = ranks_within_blocks([[3.0, np.nan, 1.0, 3.0]])
    np.testing.assert_array_equal(ranks, [[2.5, np.nan, 1.0, 2.5]])


@pytest.mark.parametrize(
    ("scores", "words"),
    [
        ([[1, 2, 3]], "at least two assessors and two prototypes"),
        ([[1], [2]], "at least two assessors and two prototypes"),
        ([[1, 2], [1, np.nan]], "Leave out the assessors with gaps"),
        ([[1, 1, 1], [2, 2, 2]], "puts all prototypes level"),
    ],
)
def test_what_cannot_be_ranked_is_said(scores, words):
    with pytest.raises(ModelError, match=words):
        _complete_ranks(scores)
