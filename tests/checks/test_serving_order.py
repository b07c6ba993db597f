import pandas as pd

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
