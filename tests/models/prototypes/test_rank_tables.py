"""Which rank test the gaps of a table allow, and what is refused."""

import numpy as np
import pandas as pd
import pytest

from panel.errors import ModelError
from panel.models.prototypes.ranks import rank_tables
from tests.stats.answers.test_incomplete_ranks import ASSEMBLY, ICE_CREAM


def frame(table):
    table = np.asarray(table, dtype=float)
    people, samples = [f"A{k}" for k in range(len(table))], [f"P{k}" for k in range(table.shape[1])]
    return pd.DataFrame(table, index=people, columns=samples)


@pytest.mark.parametrize(
    ("table", "method"),
    [(np.arange(12).reshape(3, 4) % 5, "Friedman"), (ICE_CREAM, "Skillings-Mack"), (ASSEMBLY, "Skillings-Mack")],
)
def test_the_gaps_choose_the_method(table, method):
    assert rank_tables("x", frame(table))[0]["method"] == method


def test_who_ranks_one_sample_says_nothing():
    rng = np.random.default_rng(3)
    full = rng.random((8, 4))
    lonely = np.vstack([full, [1.0, np.nan, np.nan, np.nan]])
    a, b = rank_tables("x", frame(full)), rank_tables("x", frame(lonely))
    assert a[0]["statistic"] == pytest.approx(b[0]["statistic"])
    pd.testing.assert_frame_equal(a[1], b[1])
    assert b[0]["n_lost"] == 1
    assert b[2]["lost"].tolist() == [True]


@pytest.mark.parametrize("table", [[[1, 2, 3]], [[1, np.nan], [np.nan, 2]], [[1, 2], [3, np.nan]], [[1], [2]]])
def test_too_little_to_rank_is_said(table):
    with pytest.raises(ModelError, match="fewer than two assessors scored two prototypes"):
        rank_tables("x", frame(table))
