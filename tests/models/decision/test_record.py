"""The record of decisions: nothing is recorded without a person and a reason, and nothing changes unseen."""

from dataclasses import replace

import pandas as pd
import pytest

from panel.errors import StudyError
from panel.models.decision.decide import (
    _DECISION_COLUMNS,
    _decided_on,
    decisions_so_far,
    first_changed_decision,
    with_decision,
)
from panel.study.folder import read_folder, write_study
from panel.study.tables import TABLES
from tests.studies import small_study

WORDS = {
    "chosen": "P4",
    "runner_up": "P2",
    "reason": "nearest to the target",
    "not_established": "that it stays so in another batch",
    "who": "head of development",
    "role": "formulator",
    "date": "2025-04-10",
}


def test_a_decision_is_one_more_row_with_the_hash_of_the_data():
    study = small_study()
    found = with_decision(study, **WORDS)
    (row,) = found.table("decisions").to_dict("records")
    assert {name: row[name] for name in WORDS} == WORDS
    assert row["decision"] == "1"
    assert row["data_hash"] == _decided_on(study) == _decided_on(found)
    assert study.table("decisions").empty
    assert TABLES["decisions"].column_names == _DECISION_COLUMNS


def test_a_later_change_is_a_new_row_and_the_first_stays():
    first = with_decision(small_study(), **WORDS)
    second = with_decision(first, **WORDS | {"chosen": "none", "runner_up": "", "reason": "stability failed"})
    assert second.table("decisions")["chosen"].tolist() == ["P4", "none"]
    assert second.table("decisions")["decision"].tolist() == ["1", "2"]
    pd.testing.assert_frame_equal(second.table("decisions").iloc[:1], first.table("decisions"))
    assert first_changed_decision(second.table("decisions")) is None


def test_it_is_seen_whether_the_study_changed_since():
    study = with_decision(small_study(), **WORDS)
    assert decisions_so_far(study)["same_data"].tolist() == [True]
    changed = replace(study, tables={**study.tables, "scores": study.scores.iloc[1:]})
    assert decisions_so_far(changed)["same_data"].tolist() == [False]
    assert decisions_so_far(small_study()).empty


@pytest.mark.parametrize("column", [name for name in _DECISION_COLUMNS if name != "seal"])
def test_a_change_in_any_cell_is_seen(column):
    study = with_decision(with_decision(small_study(), **WORDS), **WORDS | {"chosen": "P3"})
    decisions = study.table("decisions").copy()
    decisions.loc[0, column] = "P1"
    assert first_changed_decision(decisions) == 0
    with pytest.raises(StudyError, match="Decision 1 was changed after it was written"):
        with_decision(replace(study, tables={**study.tables, "decisions": decisions}), **WORDS)


def test_a_row_taken_out_is_seen():
    study = with_decision(with_decision(small_study(), **WORDS), **WORDS)
    assert first_changed_decision(study.table("decisions").iloc[1:]) == 0


def test_a_decision_comes_back_from_disk_with_its_seal_and_its_data(tmp_path):
    study = with_decision(with_decision(small_study(), **WORDS), **WORDS)
    write_study(study, tmp_path / "study")
    again = read_folder(tmp_path / "study")
    assert first_changed_decision(again.table("decisions")) is None
    assert decisions_so_far(again)["same_data"].tolist() == [True, True]


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"who": " "}, "A decision cannot be recorded without who decided. Write it down."),
        ({"reason": ""}, "cannot be recorded without the reason"),
        ({"not_established": ""}, "cannot be recorded without what is not established"),
        ({"who": "", "reason": ""}, "without who decided, the reason"),
        ({"date": "soon"}, "The date of the decision is 'soon', which is no date."),
        ({"chosen": "P9"}, "'P9' is no prototype of this study. Choose among P1, P2, P3, P4, none."),
        ({"runner_up": "P9"}, "The runner-up 'P9' is no prototype of this study."),
        ({"runner_up": "P4"}, "P4 cannot be chosen and come next as well."),
    ],
)
def test_what_is_missing_or_wrong_is_refused(changed, words):
    with pytest.raises(StudyError) as told:
        with_decision(small_study(), **WORDS | changed)
    assert words in str(told.value)
