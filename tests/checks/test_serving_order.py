import pandas as pd
import pytest

from panel.checks.all_checks import with_proposal
from tests.checks.planted import new_findings, rows_of, table, the_one
from tests.studies import small_study


def test_a_position_other_than_served_is_told_once_for_the_sample():
    scores = table("scores")
    scores.loc[rows_of(scores, assessor="A02", session="1", prototype="P3"), "position"] = 4.0
    finding = the_one(small_study(scores=scores))
    assert (finding.severity, finding.kind) == ("warning", "position_differs_from_serving")
    assert finding.where == "scores: A02, session 1, P3"
    assert finding.message == "Scored at position 4, served at position 2."
    assert finding.advice.startswith("Check the ballots: samples may have been exchanged")


def test_many_positions_other_than_served_give_one_finding_for_each_assessor():
    scores = table("scores")
    mine = scores["assessor"] == "A02"
    scores.loc[mine, "position"] = scores.loc[mine, "position"] % 4 + 1
    finding = the_one(small_study(scores=scores))
    assert finding.message == (
        "8 samples at another position than served. The first: scored at position 2, served at position 1."
    )


def test_scores_without_a_position_are_not_held_against_the_servings():
    assert new_findings(small_study(scores=table("scores").assign(position=float("nan")))) == []


def test_a_sample_that_was_not_served_is_told():
    servings = table("servings")
    gone = rows_of(servings, assessor="A02", session="1", prototype="P3")
    finding = the_one(small_study(servings=servings[~gone].reset_index(drop=True)))
    assert (finding.severity, finding.kind) == ("warning", "sample_not_served")
    assert finding.where == "scores: A02, session 1, P3"
    assert finding.message == "1 sample with scores that the servings do not hold."
    assert finding.advice.startswith("Check the code on the ballot against the servings")


def test_a_session_without_servings_is_told():
    servings = table("servings")
    gone = rows_of(servings, assessor="A02", session="1")
    finding = the_one(small_study(servings=servings[~gone].reset_index(drop=True)))
    assert (finding.severity, finding.kind) == ("warning", "session_not_served")
    assert finding.where == "scores: A02, session 1"
    assert finding.message == "1 sitting with scores but without servings."
    assert finding.advice.startswith("Correct the session or the assessor, or add the servings")


def test_a_prototype_served_twice_in_a_session_may_stand_at_either_position():
    servings, scores = table("servings"), table("scores")
    extra = servings[servings["prototype"] == "P1"].assign(position=5.0, code=["771"] * 4 + ["338"] * 4)
    again = scores[scores["prototype"] == "P1"].assign(position=5.0, recorded_at="")
    study = small_study(
        servings=pd.concat([servings, extra], ignore_index=True), scores=pd.concat([scores, again], ignore_index=True)
    )
    assert [finding.kind for finding in new_findings(study)] == ["unequal_replicates"]


def test_without_servings_nothing_is_compared():
    assert new_findings(small_study(servings=None)) == []


@pytest.mark.parametrize(
    "written", [("Session 1", "Session 2"), ("S1", "S2"), ("1st sitting", "2nd sitting"), ("01", "02")]
)
def test_sessions_that_the_servings_call_otherwise_are_told_once_and_what_is_proposed_settles_it(written):
    scores = table("scores")
    names = dict(zip(("1", "2"), written, strict=True))
    study = small_study(scores=scores.assign(session=scores["session"].map(names)))
    finding = the_one(study)
    assert (finding.severity, finding.kind) == ("warning", "sessions_under_two_names")
    assert f"{written[0]!r} seems to be '1' and {written[1]!r} seems to be '2'" in finding.message
    assert f"({len(scores)} scores)" in finding.message
    settled = with_proposal(study, finding)
    assert settled.scores["session"].tolist() == scores["session"].tolist()
    assert new_findings(settled) == []


def test_half_of_the_scores_under_another_name_of_the_session_are_told_once():
    scores = table("scores")
    half = (scores["session"] == "1") & scores["assessor"].isin(["A01", "A02"])
    finding = the_one(small_study(scores=scores.assign(session=scores["session"].mask(half, "Sitting 1"))))
    assert finding.kind == "sessions_under_two_names"
    assert "'Sitting 1' seems to be '1'" in finding.message


@pytest.mark.parametrize("name", ["morning", "A1", "3", "Session A"])
def test_a_session_of_another_name_is_another_session(name):
    scores = table("scores")
    study = small_study(scores=scores.assign(session=scores["session"].replace("1", name)))
    assert "sessions_under_two_names" not in {finding.kind for finding in new_findings(study)}
