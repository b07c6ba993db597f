import pandas as pd
import pytest

from panel.checks.finding import Names
from panel.checks.score_patterns import _batch_rows, score_cells
from panel.checks.sound_study import sound_study
from tests.checks.planted import new_findings, rows_of, table, the_one, with_cells
from tests.studies import small_study


def test_scores_from_before_the_batch_was_made_are_told_once_for_the_batch():
    batches = table("batches")
    batches.loc[1, ["made_on", "tested_on"]] = ["2025-03-13T23:00", "2025-03-16T10:00"]
    finding = the_one(small_study(batches=batches))
    assert (finding.severity, finding.kind) == ("warning", "scored_before_made")
    assert finding.where == "scores, batch P2-1"
    assert finding.message == (
        "12 scores recorded before the batch was made: the first on 2025-03-13 10:00 (row 14), "
        "made on 2025-03-13 23:00."
    )
    assert finding.advice == "Correct made_on, the batch of the scores, or the clock of the device that recorded them."


def test_a_day_without_time_gets_the_benefit_of_the_doubt():
    batches = table("batches")
    batches.loc[1, ["made_on", "tested_on"]] = ["2025-03-13T23:00", "2025-03-16T10:00"]
    days = table("scores")["recorded_at"].str.slice(0, 10)
    assert new_findings(small_study(batches=batches, scores=table("scores").assign(recorded_at=days))) == []


@pytest.mark.parametrize(("made", "told"), [("2025-03-13T22:00Z", False), ("2025-03-14T23:00Z", True)])
def test_clocks_in_different_places_may_differ_by_fourteen_hours(made, told):
    batches = table("batches")
    batches.loc[1, ["made_on", "tested_on"]] = [made, "2025-03-17T10:00Z"]
    found = new_findings(small_study(batches=batches))
    assert ["scored_before_made"] * told == [f.kind for f in found if f.kind == "scored_before_made"]


def test_the_batch_is_the_one_named_or_the_only_one_of_the_prototype():
    scores = table("scores")
    scores.loc[0, "batch"], scores.loc[1, "batch"] = "", "P9-1"
    cells = score_cells(sound_study(small_study(scores=scores)))
    assert isinstance(cells.prototype, Names)
    batches = table("batches")
    assert _batch_rows(batches, cells)[:4].tolist() == [0, -1, 0, 1]
    two = batches.assign(prototype="P1")
    assert _batch_rows(two, cells)[:3].tolist() == [-1, -1, 0]


def test_sessions_out_of_order_are_told():
    scores = table("scores")
    mine = scores["assessor"] == "A03"
    scores.loc[mine, "session"] = scores.loc[mine, "session"].map({"1": "2", "2": "1"})
    finding = the_one(small_study(scores=scores, servings=None))
    assert (finding.severity, finding.kind) == ("warning", "sessions_out_of_order")
    assert finding.where == "scores: A03, session 2"
    assert finding.message == "By the recorded times this session of A03 began before an earlier one had ended."
    assert finding.advice == (
        "Check the session numbers of these scores, or the clock of the device that recorded them."
    )


def test_many_sessions_out_of_order_give_one_finding_for_each_assessor():
    scores = table("scores")
    scores["session"] = scores["session"].map({"1": "2", "2": "1"})
    found = new_findings(small_study(scores=scores, servings=None))
    assert [finding.kind for finding in found] == ["sessions_out_of_order"] * 4


def test_many_sessions_out_of_order_of_one_assessor_give_one_finding():
    scores = table("scores")
    for session in range(3, 7):
        more = scores[scores["session"] == "1"].assign(session=str(session), recorded_at="2025-03-20")
        more["score"] += session  # else the same sheet again
        scores = pd.concat([scores, more], ignore_index=True)
    day = {"1": 19, "2": 18, "3": 17, "4": 16, "5": 15, "6": 14}
    mine = scores["assessor"] == "A03"
    scores.loc[mine, "recorded_at"] = [f"2025-03-{day[session]}" for session in scores.loc[mine, "session"]]
    found = new_findings(small_study(scores=scores, servings=None))
    assert [finding.message for finding in found] == [
        "By the recorded times 5 sessions began before an earlier one had ended (A03)."
    ]


def test_sessions_without_numbers_have_no_order():
    scores = table("scores")
    scores["session"] = scores["session"].map({"1": "morning", "2": "evening"})
    assert new_findings(small_study(scores=scores, servings=None)) == []


def test_sessions_are_ordered_by_number_not_by_letter():
    scores = table("scores")
    scores["session"] = scores["session"].map({"1": "9", "2": "10"})
    assert new_findings(small_study(scores=scores, servings=None)) == []


def test_without_times_nothing_is_compared():
    study = with_cells("scores", rows_of(table("scores")), recorded_at="")
    assert new_findings(study) == []
