"""Courses of intensity: each reduced, then compared like any attribute."""

import numpy as np
import pandas as pd
import pytest

from panel.errors import ModelError
from panel.models.over_time.after_feel import QUANTITIES, reduce_courses
from panel.models.prototypes.differences import find_differences
from panel.study.study import Study
from tests.time_studies import course_rows


def test_each_course_is_reduced():
    made_by_hand = pd.DataFrame({"seconds": [60.0, 5, 0, 10, 20, 30], "score": [0.0, 4, 0, 8, 8, 5]})
    rows = made_by_hand.assign(assessor="A1", prototype="P1", attribute="STICK", session="", replicate="")
    found = reduce_courses(Study({"courses": rows}))
    row = found.courses.iloc[0]
    # tests/stats/test_intensity_course.py
    assert row[list(QUANTITIES)].tolist() == pytest.approx([8, 10, 10, 60, 260, 40, 220, 0.8, -0.2])
    assert found.differences is None
    assert any(note.startswith("The prototypes are not compared") for note in found.notes)


def test_the_quantities_are_compared_as_attributes():
    study = Study({"courses": course_rows({"P1": 40, "P2": 60})}, {"benchmark": "P1"})
    found = reduce_courses(study)
    assert found.differences is not None
    tests = found.differences.attributes.set_index("attribute")
    assert tests.loc["STICK: largest", "p_adjusted"] < 0.001
    scores = found.courses.rename(columns={"largest": "score"}).assign(attribute="L")
    plain = find_differences(
        Study({"scores": scores[["assessor", "prototype", "attribute", "score", "session", "replicate"]]})
    )
    assert tests.loc["STICK: largest", "statistic"] == pytest.approx(plain.attributes["statistic"].item())
    assert found.differences.benchmark == "P1"
    assert "STICK: time_to_largest" in set(found.differences.not_estimated["attribute"])  # always 20 s


def test_the_mean_course_is_the_mean_of_the_courses():
    study = Study({"courses": course_rows({"P1": 40}, people=3)})
    found = reduce_courses(study)
    at_ten = found.means.loc[np.isclose(found.means["seconds"], found.means["seconds"].iloc[10])].iloc[0]
    heights = found.courses["largest"]
    seconds = float(at_ten["seconds"])
    share = np.interp(seconds, [0, 10, 20], [0, 0.6, 1])
    assert at_ten["estimate"] == pytest.approx((share * heights).mean())
    assert at_ten["n"] == 6


def test_what_cannot_be_reduced_is_left_out_and_said():
    rows = course_rows({"P1": 40, "P2": 60}, people=3)
    rows.loc[0, "score"] = -1.0
    short = rows.iloc[[0]].assign(assessor="A09", score=3.0)
    found = reduce_courses(Study({"courses": pd.concat([rows, short], ignore_index=True)}))
    assert set(found.left_out["why"]) == {
        "an intensity lies below zero.",
        "a course needs two points or more, each with a time and an intensity.",
    }
    assert sum("left out" in note for note in found.notes) == 2


def test_courses_that_do_not_end_are_counted():
    rows = course_rows({"P1": 40, "P2": 60}, people=2)
    found = reduce_courses(Study({"courses": rows.loc[rows["seconds"] < 55]}))
    assert not found.courses["ended"].any()
    assert any(note.startswith("8 of 8 courses did not come back to zero") for note in found.notes)


def test_messages():
    with pytest.raises(ModelError, match="The study has no courses of intensity"):
        reduce_courses(Study({}))
    with pytest.raises(ModelError, match="No course of intensity can be reduced: a course needs two points"):
        reduce_courses(Study({"courses": course_rows({"P1": 40}).iloc[[0]]}))
