import numpy as np
import pandas as pd
import pytest

from panel.checks.scores import check_scores
from panel.study.study import Study
from tests.checks.planted import new_findings, rows_of, table, the_one, with_cells
from tests.studies import crossed_study, small_study

P4_GREASE = {"assessor": "A02", "session": "2", "prototype": "P4", "attribute": "AF_GREASE"}


def only_row(scores, **cells):
    (row,) = scores.index[rows_of(scores, **cells)]
    return row


def test_a_missing_decimal_point_is_told():
    scores = table("scores")
    row = only_row(scores, **P4_GREASE)
    finding = the_one(with_cells("scores", [row], score=330.0))
    assert (finding.severity, finding.kind) == ("warning", "score_outside_scale")
    assert finding.where == f"scores, row {row + 2}: A02, session 2, P4, greasy film"
    assert finding.message == ("330 is outside the scale 0 to 100. 330 may be 33.0: a missing decimal point.")
    assert finding.advice == (
        "Look at the raw ballot. If it is a slip, write a correction with its reason; a score is left out only so, "
        "or by a rule recorded before unblinding."
    )


@pytest.mark.parametrize("score", [-3.0, 1200.0])
def test_a_score_that_no_decimal_point_explains_has_no_hint(score):
    finding = the_one(with_cells("scores", [7], score=score))
    assert finding.message == f"{score:g} is outside the scale 0 to 100.".replace("-", "−")


@pytest.mark.parametrize("score", [0.0, 100.0])
def test_the_ends_of_the_scale_are_on_it(score):
    assert new_findings(with_cells("scores", [7], score=score)) == []


def test_many_scores_outside_give_one_finding_for_each_attribute():
    scores = table("scores")
    rows = scores.index[rows_of(scores, attribute="AF_GREASE")][:12]  # of 32; of more it is the scale that is wrong
    finding = the_one(with_cells("scores", rows, score=scores.loc[rows, "score"] + 100))
    lowest, highest = scores.loc[rows, "score"].min() + 100, scores.loc[rows, "score"].max() + 100
    assert finding.message == (
        f"12 scores are outside the scale 0 to 100, from {lowest:g} to {highest:g}. "
        f"For 12 of them a decimal point may be missing: {scores['score'][rows[0]] + 100:g} may be "
        f"{(scores['score'][rows[0]] + 100) / 10:.4g}."
    )
    assert finding.where.startswith("scores, row 4: A01, session 1, P1, greasy film; scores, row 7:")
    assert finding.where.endswith("; and 9 more")


def test_scores_outside_many_scales_give_one_finding():
    study = crossed_study(np.random.default_rng(1), assessors=4, prototypes=4, sessions=2)
    attributes = study.table("attributes").assign(scale_min=0.0, scale_max=[100.0] * 7 + [15.0] * 7)
    scores = study.scores.assign(score=5.0 + study.scores.index % 8)
    scores.loc[scores["assessor"] == "A01", "score"] = 500.0
    found = new_findings(Study(dict(study.tables) | {"scores": scores, "attributes": attributes}))
    (finding,) = [finding for finding in found if finding.kind == "score_outside_scale"]
    assert finding.message == (
        "112 scores are outside their scales, from 500 to 500. For 56 of them there may be a zero too many: 500 may be "
        "50."
    )


def test_a_corrected_score_is_not_told_again():
    scores = table("scores")
    scores.loc[only_row(scores, **P4_GREASE), "score"] = 330.0
    key = ";".join(f"{name}={value}" for name, value in P4_GREASE.items())
    fixed = {"when": "2025-03-15", "who": "leader", "table": "scores", "key": key, "old": "330", "why": "raw ballot"}
    for new in ("33.0", ""):
        corrections = pd.DataFrame([fixed | {"new": new}], dtype="str")
        assert new_findings(small_study(scores=scores, corrections=corrections)) == []


def test_without_a_scale_nothing_is_outside():
    scores = table("scores")
    scores.loc[7, "score"] = 330.0
    study = small_study(scores=scores, attributes=table("attributes").drop(columns=["scale_min", "scale_max"]))
    study.facts.pop("scale_min")
    assert sorted(finding.kind for finding in new_findings(study)) == ["scale_missing", "score_far_off"]


def test_a_blank_score_is_told():
    finding = the_one(with_cells("scores", [8], score=float("nan")))
    assert (finding.severity, finding.kind) == ("warning", "score_blank")
    assert finding.where == "scores, row 10: A01, session 1, P4, greasy film"
    assert finding.message == "The score is blank."
    assert finding.advice == (
        "If the ballot has it, write a correction. Otherwise leave it blank: the analysis uses the scores that are "
        "there and fills in nothing."
    )


def test_many_blank_scores_give_one_finding_for_each_assessor():
    rows = [0, 4, 9, 13, 17]
    found = new_findings(with_cells("scores", rows, score=float("nan")))
    assert [finding.message for finding in found] == ["3 scores of A01 are blank.", "2 scores of A02 are blank."]


@pytest.mark.parametrize(
    ("slip", "told"), [(104.0, ""), (330.0, " 330 may be 33: a zero too many."), (1040.0, ""), (280.0, "28: a zero")]
)
def test_where_all_scores_are_whole_no_decimal_point_is_missed(slip: float, told: str):
    whole = small_study(scores=table("scores").assign(score=lambda scores: scores["score"].round()))
    scores = whole.scores.assign(score=whole.scores["score"].where(whole.scores.index != 8, slip))
    (finding,) = [each for each in check_scores(small_study(scores=scores)) if each.kind == "score_outside_scale"]
    if told:
        assert told in finding.message
        assert finding.proposals[0].value == f"{slip / 10:.0f}"
    else:
        assert finding.message == f"{slip:.0f} is outside the scale 0 to 100."
        assert finding.proposals[0].value == ""


def test_a_slip_that_would_lie_far_from_what_all_others_gave_is_told_and_not_proposed():
    study = with_cells("scores", [8], score=1000.0)
    row = study.scores.iloc[8]
    alike = (study.scores["attribute"] == row["attribute"]) & (study.scores["prototype"] == row["prototype"])
    others = study.scores["score"][alike].drop(8)
    finding = the_one(study)
    assert finding.message == (
        "1000 is outside the scale 0 to 100. 1000 may be 100.0: a missing decimal point, but that is far from the "
        f"other scores of P4, {others.min():g} to {others.max():g}."
    )
    assert finding.proposals[0].value == ""


def test_what_could_not_be_judged_is_an_answer_and_no_blank():
    finding = the_one(with_cells("scores", [8], score=float("nan"), flag="cannot judge"))
    assert (finding.severity, finding.kind) == ("note", "score_cannot_judge")
    assert finding.where == "scores, row 10: A01, session 1, P4, greasy film"
    assert finding.message == "A01 could not judge 1 score."
    assert finding.advice == (
        "Leave them blank: that is an answer, and nothing is filled in. Where it is often the same attribute, look at "
        "its definition with the panel."
    )
    rows = [0, 4, 9, 13, 17]
    found = new_findings(with_cells("scores", rows, score=float("nan"), flag="Cannot judge "))
    told = ["A01 could not judge 3 scores.", "A02 could not judge 2 scores."]
    assert [finding.message for finding in found] == told


def repeated(rows, **cells):
    scores = table("scores")
    again = scores.loc[rows].assign(**cells)
    return small_study(scores=pd.concat([scores, again], ignore_index=True))


def test_a_row_entered_twice_is_told():
    finding = the_one(repeated([5]))
    assert (finding.severity, finding.kind) == ("warning", "score_given_twice")
    assert finding.where == "scores, row 98: A01, session 1, P2, greasy film"
    score = table("scores")["score"][5]
    assert finding.message == f"The score {score:g} of row 7 stands here again."
    assert finding.advice == (
        "Both count until one is set aside by a written correction (afterfeel set STUDY correct row=98 new= --who NAME "
        "--why REASON). If the sample was tried twice, number the replicates."
    )


def test_two_different_scores_for_one_sample_are_told():
    finding = the_one(repeated([5], score=61.5))
    assert (finding.severity, finding.kind) == ("warning", "score_given_twice_differently")
    score = table("scores")["score"][5]
    assert finding.message == f"Two scores for the same sample: {score:g} in row 7, 61.5 here."


def test_a_file_pasted_twice_gives_one_finding_for_each_assessor():
    found = new_findings(repeated(list(range(96))))
    assert [finding.kind for finding in found] == ["score_given_twice"] * 4
    assert found[0].message == "24 scores stand a second time with the same value; the first repeats row 2."
    assert found[0].where.endswith("; and 21 more")


def test_many_contradictions_give_one_finding():
    (finding,) = new_findings(repeated(list(range(8)), score=61.5))
    assert finding.message == "8 scores stand a second time with another value; the first contradicts row 2."


def test_numbered_replicates_are_no_repeats():
    scores = table("scores").assign(replicate="1")
    again = scores.assign(replicate="2", score=scores["score"] + 1)
    found = new_findings(small_study(scores=pd.concat([scores, again], ignore_index=True)))
    assert [finding.kind for finding in found] == []


def test_repeats_without_a_number_are_noted_once():
    scores = table("scores").assign(session="", recorded_at="")
    finding = the_one(small_study(scores=scores, servings=None))
    assert (finding.severity, finding.kind) == ("note", "repeats_not_numbered")
    assert finding.where == "scores, columns session and replicate: first at row 50"
    assert finding.message == (
        "48 scores repeat an earlier one and carry neither session nor replicate: they are taken as replicates."
    )
    assert finding.advice == (
        "Number the replicates, so that a row entered twice can be told from a sample tried twice."
    )
