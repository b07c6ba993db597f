"""Which rank test the gaps of a table allow, and what is refused."""

from itertools import combinations

import numpy as np
import pandas as pd
import pytest
from scipy.stats import rankdata

from panel.errors import ModelError
from panel.models.prototypes.ranks import _incomplete_pairs, rank_tables
from panel.stats.answers.ranks import skillings_mack_test
from tests.stats.answers.test_incomplete_ranks import ASSEMBLY, ICE_CREAM


def frame(table):
    table = np.asarray(table, dtype=float)
    people, samples = [f"A{k}" for k in range(len(table))], [f"P{k}" for k in range(table.shape[1])]
    return pd.DataFrame(table, index=people, columns=samples)


@pytest.mark.parametrize(
    ("table", "method"),
    [(np.arange(12).reshape(3, 4) % 5, "Friedman"), (ICE_CREAM, "Durbin"), (ASSEMBLY, "Skillings-Mack")],
)
def test_the_gaps_choose_the_method(table, method):
    assert rank_tables("x", frame(table))[0]["method"] == method


def test_incomplete_pairs_have_the_statistic_of_the_adjusted_effects():
    found = rank_tables("x", frame(ASSEMBLY))[2]
    test = skillings_mack_test(ASSEMBLY)
    z = (test["effects"][3] - test["effects"][0]) / np.sqrt(
        test["covariance"][0, 0] + test["covariance"][3, 3] - 2 * test["covariance"][0, 3]
    )
    own = found[(found["prototype"] == "P3") & (found["versus"] == "P0")].iloc[0]
    assert own["statistic"] == pytest.approx(z)
    assert own["difference"] == pytest.approx(own["statistic"] * own["std_error"])


@pytest.mark.parametrize(("people", "samples"), [(8, 4), (5, 3), (12, 6)])
def test_adjusted_differences_of_a_table_without_gaps_are_those_of_mean_ranks(people, samples):
    table = np.random.default_rng(people).random((people, samples))
    ranks = rankdata(table, axis=1).mean(axis=0)
    first, second = np.array(list(combinations(range(samples), 2))).T
    np.testing.assert_allclose(_incomplete_pairs(table)["difference"], ranks[second] - ranks[first], atol=1e-12)


def test_who_ranks_one_sample_says_nothing():
    rng = np.random.default_rng(3)
    full = rng.random((8, 4))
    lonely = np.vstack([full, [1.0, np.nan, np.nan, np.nan]])
    a, b = rank_tables("x", frame(full)), rank_tables("x", frame(lonely))
    pd.testing.assert_frame_equal(a[2], b[2])
    assert b[0]["n_lost"] == 1
    assert b[3]["lost"].tolist() == [True]


@pytest.mark.parametrize("table", [[[1, 2, 3]], [[1, np.nan], [np.nan, 2]], [[1, 2], [3, np.nan]], [[1], [2]]])
def test_too_little_to_rank_is_said(table):
    with pytest.raises(ModelError, match="fewer than two assessors scored two prototypes"):
        rank_tables("x", frame(table))
