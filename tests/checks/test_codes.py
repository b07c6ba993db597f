import numpy as np
import pandas as pd
from hypothesis import given
from hypothesis import strategies as st

from panel.checks.finding import Names, among, common, distinct, grouped, matched, or_none

rows = st.lists(st.tuples(st.integers(0, 3), st.integers(0, 5)), max_size=40)


def columns(pairs):
    return tuple(np.array([pair[i] for pair in pairs], dtype=np.int64) for i in range(2))


def test_names_count_from_zero_in_the_order_met():
    names = Names.read(pd.Series(["B", "A", "B", ""], dtype="str"))
    assert names.code.tolist() == [0, 1, 0, 2]
    assert list(names.of) == ["B", "A", ""]
    assert len(names) == 3
    assert names.blank.tolist() == [False, False, False, True]
    assert names.codes_of(pd.Series(["A", "C"], dtype="str")).tolist() == [1, -1]
    assert names.told(np.array([1, 0, 1])) == ["A", "B"]


@given(rows)
def test_groups_are_those_of_pandas(pairs):
    frame = pd.DataFrame(pairs, columns=["a", "b"], dtype="int64")
    group, first = grouped(*columns(pairs))
    assert group.tolist() == frame.groupby(["a", "b"], sort=False).ngroup().tolist()
    assert first.tolist() == np.flatnonzero(~frame.duplicated()).tolist()


@given(rows)
def test_distinct_rows_are_those_of_pandas(pairs):
    frame = pd.DataFrame(pairs, columns=["a", "b"], dtype="int64").drop_duplicates()
    assert list(zip(*(c.tolist() for c in distinct(*columns(pairs))), strict=True)) == [
        tuple(row) for row in frame.to_numpy().tolist()
    ]


@given(rows, rows)
def test_among_is_membership(pairs, others):
    assert among(columns(pairs), columns(others)).tolist() == [pair in others for pair in pairs]


@given(st.lists(st.integers(0, 5), max_size=20), st.lists(st.integers(0, 5), max_size=20))
def test_matched_rows_are_the_inner_join_of_pandas(left, right):
    at_left, at_right = matched(np.array(left, dtype=np.int64), np.array(right, dtype=np.int64))
    frames = [pd.DataFrame({"key": key, "row": range(len(key))}).astype("int64") for key in (left, right)]
    joined = frames[0].merge(frames[1], on="key")
    assert sorted(zip(at_left.tolist(), at_right.tolist(), strict=True)) == sorted(
        zip(joined["row_x"].tolist(), joined["row_y"].tolist(), strict=True)
    )


def test_common_means_more_than_half():
    # session 0: four assessors, prototype 1 scored by three, prototype 2 by two; session 1: one assessor
    turns = np.array([0, 0, 0, 0, 1])
    session, prototype = np.array([0, 0, 0, 0, 0, 1]), np.array([1, 1, 1, 2, 2, 2])
    usual = common((session,), prototype, (turns,))
    assert list(zip(*(code.tolist() for code in usual), strict=True)) == [(0, 1), (1, 2)]


def test_no_number_has_code_zero():
    assert or_none(np.array([2.0, np.nan, 2.0, 5.0])).tolist() == [1, 0, 1, 2]
