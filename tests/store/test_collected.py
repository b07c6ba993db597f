from datetime import datetime

import numpy as np
import pandas as pd
import pytest

from panel.errors import StudyError
from panel.store.database import written
from panel.store.lock import _Collected, _with_collected
from panel.study.scores_used import scores_used
from panel.study.study import Study
from tests.ballot_studies import ballot_study

NOON = written(datetime(2025, 3, 14, 12, 0).astimezone())
PLAN = ballot_study().table("servings").query("session == '1' and assessor == 'A01'").reset_index(drop=True)


def given(place, attribute, value, kind="answer", **more):
    row = {
        "assessor": "A01",
        "position": place + 1,
        "code": PLAN["code"][place],
        "attribute": attribute,
        "value": value,
        "kind": kind,
        "flag": "",
        "at": NOON,
        "text": "",
        "who": "A01",
        "why": "",
    }
    return row | more


def collected(*answers, corrections=(), rehearsal=False, codes=None):
    servings = {("A01", place + 1): code for place, code in enumerate(codes or PLAN["code"])}
    return _Collected("1", rehearsal, servings, answers, corrections)


def test_each_answer_goes_to_the_prototype_behind_its_code():
    rows = [given(place, "GLOSS", 10.0 * place) for place in range(3)]
    scores = _with_collected(ballot_study(), collected(*rows)).scores
    assert scores["prototype"].tolist() == PLAN["prototype"].tolist()
    assert scores["score"].tolist() == [0.0, 10.0, 20.0]
    assert scores["batch"].tolist() == [f"{name}-1" for name in PLAN["prototype"]]
    assert set(scores["source"]) == {"ballot"}
    assert set(scores["recorded_at"]) == {"2025-03-14T12:00:00"}
    assert scores["position"].tolist() == [1.0, 2.0, 3.0]
    assert set(scores["flag"]) == {""}


def test_cannot_judge_is_a_row_without_score_and_flags_are_kept():
    answers = (given(0, "GLOSS", None, kind="cannot_judge"), given(0, "GREASE", 5.0, flag="early"))
    scores = _with_collected(ballot_study(), collected(*answers)).scores
    assert np.isnan(scores["score"][0])
    assert scores["flag"].tolist() == ["cannot judge", "early"]


def test_a_batch_is_named_only_where_there_is_one():
    two = pd.DataFrame({"batch": ["a", "b"], "prototype": [PLAN["prototype"][0]] * 2})
    scores = _with_collected(ballot_study(batches=two), collected(given(0, "GLOSS", 1.0))).scores
    assert scores["batch"].tolist() == [""]


def test_corrections_are_applied_by_the_analysis_and_the_answer_stays():
    late = [given(0, "GLOSS", 48.0, kind="correction", text="480.0", who="lead", why="one digit too many")]
    late += [given(1, "GLOSS", None, kind="correction", text="7.0", who="lead", why="spilt")]
    answers = (given(0, "GLOSS", 480.0), given(1, "GLOSS", 7.0), given(2, "GLOSS", 9.0))
    study = _with_collected(ballot_study(), collected(*answers, corrections=tuple(late)))
    assert study.scores["score"].tolist() == [480.0, 7.0, 9.0]
    corrections = study.table("corrections")
    assert corrections[["who", "table", "old", "new", "why"]].to_numpy().tolist() == [
        ["lead", "scores", "480.0", "48.0", "one digit too many"],
        ["lead", "scores", "7.0", "", "spilt"],
    ]
    assert scores_used(study).frame["score"].tolist() == [48.0, 9.0]


def test_a_correction_of_one_of_two_like_samples_touches_only_that_one():
    plan = ballot_study().table("servings").copy()
    own = (plan["session"] == "1") & (plan["assessor"] == "A01")
    plan.loc[own, "prototype"] = "Matterhorn"  # a blind duplicate, three times
    fix = given(1, "GLOSS", 2.345, kind="correction", text="1.0", who="lead", why="x")
    rows = tuple(given(place, "GLOSS", 1.0) for place in range(3))
    study = _with_collected(ballot_study(servings=plan), collected(*rows, corrections=(fix,)))
    assert scores_used(study).frame["score"].tolist() == [1.0, 2.345, 1.0]


def test_a_plan_that_is_no_longer_the_one_on_the_cups_is_refused():
    codes = list(PLAN["code"])
    codes[1] = "111"
    words = f"A01, position 2: the cup had the code 111, the serving plan now says {PLAN['code'][1]}"
    with pytest.raises(StudyError, match=words):
        _with_collected(ballot_study(), collected(given(0, "GLOSS", 1.0), codes=codes))
    gone = ballot_study().table("servings").query("session != '1'")
    with pytest.raises(StudyError, match="the serving plan now says nothing"):
        _with_collected(ballot_study(servings=gone), collected(given(0, "GLOSS", 1.0)))


def test_scores_of_the_same_samples_are_not_added_twice():
    once = _with_collected(ballot_study(), collected(given(0, "GLOSS", 1.0)))
    with pytest.raises(StudyError, match=r"already holds scores of session 1 for the same samples \(A01\)"):
        _with_collected(once, collected(given(0, "GLOSS", 2.0)))
    more = _with_collected(once, collected(given(1, "GLOSS", 2.0)))  # others of the session, typed from paper
    assert len(more.scores) == 2


def test_rehearsed_and_real_scores_never_stand_together():
    real = _with_collected(ballot_study(), collected(given(0, "GLOSS", 1.0)))
    with pytest.raises(StudyError, match="This session was rehearsed, and the study holds real scores"):
        _with_collected(real, collected(given(1, "GLOSS", 2.0), rehearsal=True))
    rehearsed = _with_collected(ballot_study(), collected(given(0, "GLOSS", 1.0), rehearsal=True))
    assert rehearsed.scores["source"].tolist() == ["rehearsal"]
    with pytest.raises(StudyError, match="The study in this folder is a rehearsal"):
        _with_collected(rehearsed, collected(given(1, "GLOSS", 2.0)))
    marked = Study(ballot_study().tables, {"rehearsal": True})
    with pytest.raises(StudyError, match="The study in this folder is a rehearsal"):
        _with_collected(marked, collected(given(1, "GLOSS", 2.0)))


def test_what_the_study_held_stays_as_it_was():
    before = pd.DataFrame(
        {"assessor": ["A09"], "prototype": ["Matterhorn"], "attribute": ["GLOSS"], "score": [3.0], "remark": ["own"]}
    )
    study = _with_collected(ballot_study(scores=before), collected(given(0, "GLOSS", 1.0)))
    assert study.scores["score"].tolist() == [3.0, 1.0]
    assert study.scores["remark"].tolist() == ["own", ""]
    assert study.scores["session"].tolist() == ["", "1"]
