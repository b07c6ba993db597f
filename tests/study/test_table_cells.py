from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panel.errors import StudyError
from panel.study.raw_table import table_of_rows
from panel.study.study import empty_table
from panel.study.table_cells import frame_of_texts, number_text, texts_of_frame, unread_frame, with_headings
from panel.study.tables import TABLES

NOTHING_UNREAD = unread_frame([])


def read(name: str, *rows: str):
    return frame_of_texts(TABLES[name], table_of_rows([row.split("|") for row in rows], "f", keep_empty=True))


def test_texts_become_what_the_columns_hold():
    frame, unread = read("scores", "assessor|Score|position|remark", "017|48,7|1|NA", "|n/a||")
    assert frame.columns.tolist() == ["assessor", "score", "position", "remark"]
    assert frame["assessor"].tolist() == ["017", ""]
    np.testing.assert_array_equal(frame["score"], [48.7, np.nan])
    assert frame["remark"].tolist() == ["NA", ""]
    assert [str(kind) for kind in frame.dtypes] == ["str", "float64", "float64", "str"]
    assert unread == []


def test_unreadable_cells_say_where_and_why():
    _, unread = read("scores", "assessor|score|position", "A|5|1", "", "B|4o|1.5")
    assert unread == [
        ("scores", "4", "score", "4o", "not a number"),
        ("scores", "4", "position", "1.5", "not a whole number"),
    ]
    assert unread_frame(unread).columns.tolist() == ["table", "row", "column", "text", "reason"]


def test_unreadable_cells_get_their_text_back():
    frame, unread = read("scores", "assessor|score", "A|5", "B|4o")
    header, columns = texts_of_frame("scores", frame, unread_frame(unread))
    assert (header, columns) == (["assessor", "score"], [["A", "B"], ["5", "4o"]])
    # A cell that holds a number by now keeps it, and a place that is not there is no reason to fail.
    frame.loc[1, "score"] = 40.0
    lost = unread_frame([*unread, ("scores", "99", "score", "x", "y"), ("scores", "?", "score", "x", "y")])
    assert texts_of_frame("scores", frame, lost)[1][1] == ["5", "40"]


def test_two_spellings_of_one_column():
    with pytest.raises(StudyError, match="more than one column for 'score'"):
        read("scores", "assessor|Score|SCORE", "A|1|2")
    frame, _ = read("scores", "assessor|score|SCORE", "A|1|2")
    assert frame["score"].tolist() == [1]
    assert frame["SCORE"].tolist() == ["2"]


@pytest.mark.parametrize("text", ["a\0b", "\x01", "\ud800"])
def test_characters_that_no_file_can_hold(text: str):
    frame = pd.DataFrame({"prototype": pd.Series(["P", text], dtype=object)})
    with pytest.raises(StudyError, match=r"table prototypes holds a character .* \(row 3, column 'prototype'\)"):
        texts_of_frame("prototypes", frame, NOTHING_UNREAD)


def test_unknown_table():
    with pytest.raises(StudyError, match="A study has no table 'photos'"):
        texts_of_frame("photos", pd.DataFrame(), NOTHING_UNREAD)


def test_missing_values_and_other_kinds_become_texts():
    frame = pd.DataFrame({"prototype": [None, "P"], "flag": [True, False], "count": [1, 2]})
    assert texts_of_frame("prototypes", frame, NOTHING_UNREAD)[1] == [["", "P"], ["True", "False"], ["1", "2"]]
    assert texts_of_frame("scores", empty_table("scores"), NOTHING_UNREAD)[1] == [[]] * len(TABLES["scores"].columns)


@settings(deadline=None)
@given(st.floats(allow_nan=True, allow_infinity=False))
def test_numbers_come_back_exactly(number: float):
    text = number_text(number)
    if math.isnan(number):
        assert text == ""
    else:
        assert math.copysign(1, float(text)) == math.copysign(1, number)
        assert float(text) == number


def test_a_sentence_calls_columns_by_their_headings_and_leaves_other_words():
    told = with_headings("Fill in target_low or viscosity_mpa_s; dry_touch and mytarget_low stay, as does made on.")
    assert told == "Fill in “target from” or “viscosity (mPa s)”; dry_touch and mytarget_low stay, as does made on."
