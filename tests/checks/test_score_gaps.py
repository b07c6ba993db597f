import numpy as np
import pandas as pd
import pytest

from panel.study.renaming import with_row_corrected
from tests.checks.planted import new_findings, rows_of, table, the_one, with_cells
from tests.studies import crossed_study, small_study

KEPT = "The analysis uses the scores that are there; nobody is left out and nothing is filled in."


def without(servings=True, **cells):
    scores = table("scores")
    left = scores[~rows_of(scores, **cells)].reset_index(drop=True)
    return small_study(scores=left) if servings else small_study(scores=left, servings=None)


@pytest.mark.parametrize("servings", [True, False])
def test_a_missed_session_is_noted(servings):
    finding = the_one(without(servings, assessor="A04", session="2"))
    assert (finding.severity, finding.kind) == ("note", "session_missed")
    assert finding.where == "scores: A04, session 2"
    assert finding.message == "A04 gave no scores in session 2, in which most of the others did."
    assert finding.advice == KEPT


def test_a_session_called_so_is_named_once():
    scores = without(False, assessor="A04", session="2").scores
    called = scores.assign(session="Session " + scores["session"], recorded_at="")
    finding = the_one(small_study(scores=called, servings=None))
    assert finding.where == "scores: A04, Session 2"
    assert finding.message == "A04 gave no scores in Session 2, in which most of the others did."


def test_a_missed_replicate_is_noted_as_such():
    study = without(False, assessor="A04", session="2")
    scores = study.scores.assign(replicate=study.scores["session"], session="", recorded_at="")
    finding = the_one(small_study(scores=scores, servings=None))
    assert finding.kind == "replicate_missed"
    assert finding.message == "A04 gave no scores in replicate 2, in which most of the others did."


def test_a_session_that_few_attended_is_not_missed():
    scores = table("scores")
    scores.loc[rows_of(scores, assessor="A03"), "session"] = "3"
    scores.loc[rows_of(scores, assessor="A04"), "session"] = "4"
    found = new_findings(small_study(scores=scores.assign(recorded_at=""), servings=None))
    assert not [finding for finding in found if finding.kind == "session_missed"]


@pytest.mark.parametrize("servings", [True, False])
def test_a_sample_that_was_not_scored_is_noted(servings):
    finding = the_one(without(servings, assessor="A02", session="2", prototype="P3"))
    assert (finding.severity, finding.kind) == ("note", "sample_not_scored")
    assert finding.where == "scores: A02, session 2, P3"
    assert finding.message == "1 sample of P3 should have been scored and have no scores at all."
    assert finding.advice == f"Look for the ballot. {KEPT}"


def test_many_samples_not_scored_give_one_finding_for_each_assessor():
    scores = table("scores")
    absent = scores["assessor"].isin(["A01", "A02"]) & scores["prototype"].isin(["P1", "P2"])
    found = new_findings(small_study(scores=scores[~absent].reset_index(drop=True)))
    assert [finding.message for finding in found if finding.kind == "sample_not_scored"] == [
        "4 samples of P2 and P1 should have been scored and have no scores at all."
    ] * 2


def test_an_attribute_left_out_of_a_sample_is_noted():
    finding = the_one(without(assessor="A02", session="2", prototype="P3", attribute="AF_STICK"))
    assert (finding.severity, finding.kind) == ("note", "attribute_left_out")
    assert finding.where == "scores: A02, session 2, P3, stickiness"
    assert finding.message == "1 score of stickiness missing from samples that were otherwise scored."
    assert finding.advice == f"Look at the ballot. {KEPT}"


def test_an_attribute_somebody_never_scores_gives_one_finding():
    finding = the_one(without(assessor="A02", attribute="AF_STICK"))
    assert finding.message == "8 scores of stickiness missing from samples that were otherwise scored."
    assert finding.where.endswith("; and 5 more")


@pytest.mark.parametrize(("noun", "name"), [("prototype", "P5"), ("attribute", "RO_WET")])
def test_what_is_listed_and_never_scored_is_noted(noun, name):
    frame = table(noun + "s")
    extra = frame.iloc[[-1]].assign(**{noun: name, "role" if noun == "prototype" else "stage": ""})
    finding = the_one(small_study(**{noun + "s": pd.concat([frame, extra], ignore_index=True)}))
    assert (finding.severity, finding.kind, finding.where) == ("note", f"{noun}_not_scored", noun + "s")
    words = name if noun == "prototype" else "greasy film, RO_WET"
    assert finding.message == f"No scores for 1 {noun} of the study: {words}."
    assert finding.advice.startswith("Nothing can be said about it.")


def test_a_prototype_never_scored_on_an_attribute_is_told():
    finding = the_one(without(prototype="P3", attribute="AF_STICK"))
    assert (finding.severity, finding.kind) == ("warning", "prototype_never_scored")
    assert finding.where == "scores, attribute stickiness"
    assert finding.message == "No score at all for P3."
    assert finding.advice == (
        "On this attribute the prototype cannot be compared, and the map leaves one of the two out."
    )


def test_scores_that_are_all_blank_are_no_scores():
    scores = table("scores")
    rows = scores.index[rows_of(scores, prototype="P3", attribute="AF_STICK")]
    kinds = sorted(finding.kind for finding in new_findings(with_cells("scores", rows, score=np.nan)))
    assert kinds == ["prototype_never_scored", *["score_blank"] * 4]


def test_many_attributes_that_lack_prototypes_give_one_finding():
    study = crossed_study(np.random.default_rng(1), assessors=4, prototypes=4, sessions=2)
    scores = study.scores
    lacking = (scores["prototype"] == "P02") & (scores["attribute"] > "T01")
    found = new_findings(type(study)(dict(study.tables) | {"scores": scores[~lacking]}, study.facts))
    (finding,) = [finding for finding in found if finding.kind == "prototype_never_scored"]
    assert finding.message == "13 attributes lack some prototypes; T02 lacks P02."


def test_prototypes_tried_more_often_are_noted():
    scores = table("scores").assign(position=np.nan, recorded_at="")
    again = scores[scores["prototype"] == "P1"].assign(replicate="2")
    finding = the_one(small_study(scores=pd.concat([scores, again], ignore_index=True), servings=None))
    assert (finding.severity, finding.kind, finding.where) == ("note", "unequal_replicates", "scores")
    assert finding.message == ("The prototypes were not tried equally often; samples: P2 8, P4 8, P3 8 and P1 16.")
    assert finding.advice.startswith("Those tried more often are known better.")


@pytest.mark.parametrize("numbered", [{}, {"session": "", "replicate": ""}])
def test_a_copied_line_that_was_set_aside_is_no_sample_more(numbered):
    scores = table("scores").assign(recorded_at="")
    first = rows_of(scores, assessor="A01", session="1", prototype="P1")
    copied = pd.concat([scores, scores[first].assign(position=5)], ignore_index=True)
    copied = copied.assign(**numbered)
    study = small_study(scores=copied, servings=None)
    assert "unequal_replicates" in {finding.kind for finding in new_findings(study)}
    for row in range(len(scores), len(copied)):
        study = with_row_corrected(study, row + 2, new="", who="Ida", why="copied twice", when="2025-04-01T10:00")
    assert "unequal_replicates" not in {finding.kind for finding in new_findings(study)}


def test_balanced_incomplete_blocks_have_no_gaps():
    # each assessor tries two of four prototypes; every prototype is tried three times in every session
    blocks = [(0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3)]
    study = crossed_study(np.random.default_rng(3), assessors=6, prototypes=4, attributes=6, sessions=2)
    scores = study.scores
    kept = [f"P{p + 1:02d}" in {f"P{i + 1:02d}" for i in blocks[a]} for a in range(6) for p in range(4)]
    chosen = scores.loc[np.repeat(kept, 12)].reset_index(drop=True)
    found = new_findings(type(study)(dict(study.tables) | {"scores": chosen}, study.facts))
    assert {finding.kind for finding in found} <= {"batches_not_recorded", "formulas_missing"}


def test_prototypes_that_no_chain_of_people_joins_are_told():
    study = crossed_study(np.random.default_rng(3), assessors=6, prototypes=4, attributes=2, sessions=2)
    scores = study.scores
    late, second = scores["assessor"].isin(["A04", "A05", "A06"]), scores["prototype"].isin(["P03", "P04"])

    def found_in(rows):
        held = type(study)(dict(study.tables) | {"scores": rows.reset_index(drop=True)}, study.facts)
        return [each for each in new_findings(held) if each.kind == "nobody_in_common"]

    (finding,) = found_in(scores.loc[late == second])
    assert (finding.severity, finding.where) == ("warning", "scores")
    assert finding.message == (
        "Nobody scored prototypes of two of these sets, which may differ by the people: P01 and P02; P03 and P04."
    )
    assert finding.advice.endswith("Let the same people score both.")
    bridge = (scores["assessor"] == "A01") & (scores["prototype"] == "P03")  # one person who scored of both sets
    assert found_in(scores.loc[(late == second) | bridge]) == []


def test_a_score_without_its_session_is_told():
    found = {finding.kind: finding for finding in new_findings(with_cells("scores", [5], session=""))}
    assert set(found) == {"session_left_out", "attribute_left_out"}
    finding = found["session_left_out"]
    assert finding.severity == "warning"
    assert finding.where == "scores, row 7: A01, P2, greasy film"
    assert finding.message == "1 score without a session, where others have one."
    assert finding.advice.startswith("Fill in the session.")


def test_single_blanks_of_several_people_are_one_finding_that_counts_them():
    scores = table("scores")
    of = [rows_of(scores, prototype="P3", attribute="AF_STICK", assessor=who) for who in ("A01", "A02")]
    finding = the_one(with_cells("scores", [int(scores.index[rows][0]) for rows in of], score=np.nan))
    assert (finding.kind, finding.message) == ("score_blank", "2 scores of A01 and A02 are blank.")
    assert finding.where.count("stickiness") == finding.where.count("; ") + 1 == 2
