import numpy as np
import pandas as pd

from panel.checks.score_patterns import score_cells
from panel.checks.sound_study import sound_study
from panel.study.study import Study
from tests.checks.planted import table
from tests.studies import small_study


def cells_of(**tables):
    return score_cells(sound_study(small_study(**tables)))


def test_rows_without_a_name_are_left_to_the_structure_check():
    scores = table("scores")
    scores.loc[[0, 5], "prototype"] = ""
    cells = cells_of(scores=scores)
    assert len(cells.line) == 94
    assert cells.line[:4].tolist() == [3, 4, 5, 6]
    assert "" not in cells.prototype.of


def test_a_row_is_told_by_its_line_and_names():
    cells = cells_of()
    assert cells.place(14) == "scores, row 16: A02, session 1, P2, AF_GREASE"
    assert cells.sample(14) == "A02, session 1, P2"
    assert cells.turn(14) == "A02, session 1"


def test_where_no_session_is_given_the_replicate_takes_its_place():
    scores = table("scores")
    scores["replicate"], scores["session"] = scores["session"], ""
    cells = cells_of(scores=scores)
    assert cells.sitting_word == "replicate"
    assert cells.turn(0) == "A01, replicate 1"


def test_where_neither_is_given_only_the_person_is_told():
    scores = table("scores").assign(session="")
    assert cells_of(scores=scores).turn(0) == "A01"


def correction(**cells):
    row = {"when": "2025-03-15", "who": "leader", "table": "scores", "old": "", "why": "raw ballot"} | cells
    return pd.DataFrame([row], dtype="str")


def test_a_written_correction_counts():
    scores = table("scores")
    scores.loc[0, "score"] = 330.0
    key = "assessor=A01;prototype=P1;attribute=RO_ABS;session=1"
    cells = cells_of(scores=scores, corrections=correction(key=key, new="33.0"))
    assert cells.score[0] == 33.0
    assert cells.settled.sum() == 1
    aside = cells_of(scores=scores, corrections=correction(key=key, new=""))
    assert np.isnan(aside.score[0])
    assert aside.settled.tolist()[:2] == [True, False]
    assert aside.score[1] == scores["score"][1]


def test_rules_of_the_study_change_nothing_here():
    scores = table("scores")
    scores.loc[0, "score"] = 330.0
    clean = small_study(scores=scores, corrections=correction(key="assessor=nobody", new="1"))
    facts = dict(clean.facts) | {"rules": [{"rule": "set_aside_outside_scale"}]}
    assert score_cells(sound_study(Study(clean.tables, facts))).score[0] == 330.0


def test_the_scale_of_each_attribute_stands_by_its_code():
    attributes = table("attributes")
    attributes.loc[1, "scale_max"] = 15.0
    cells = cells_of(attributes=attributes)
    assert dict(zip(cells.attribute.of, cells.highest, strict=True)) == {
        "RO_ABS": 100.0,
        "AF_STICK": 15.0,
        "AF_GREASE": 100.0,
    }
