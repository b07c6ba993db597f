"""A survey with one row per person becomes answers, one for each person, prototype and question."""

from __future__ import annotations

import pandas as pd
import pytest

from panel.errors import StudyError
from panel.models.consumers.just_about_right import weigh_just_about_right
from panel.models.consumers.liking import weigh_liking
from panel.study.raw_table import raw_file, raw_table
from panel.study.survey import survey_columns, survey_study


def exported(text: str):
    return raw_table(raw_file("survey.csv", text.encode()))


HEADINGS = (
    "Respondent;Age;P1: overall liking;P1 - greasiness (JAR);P1 light;P2: overall liking;P2 - greasiness (JAR);P2 light"
)


def people(number: int = 30) -> str:
    rows = [f"R{n};{20 + n};{5 + n % 3};{3 + n % 2};{n % 2};{7 + n % 2};3;1" for n in range(number)]
    return "\n".join([HEADINGS, *rows])


def test_columns_say_what_they_ask_about_which_prototype():
    asked = survey_columns(exported(people())).set_index("column")
    assert asked["kind"].tolist() == ["", "", *["liking", "just_about_right", "check_all"] * 2]
    assert asked.loc["P2 - greasiness (JAR)"].tolist() == ["P2", "greasiness JAR", "just_about_right"]
    own = survey_columns(exported("who;Cream liking;Gel liking\na;1;2"), ("Gel", "Cream"))
    assert own["prototype"].tolist() == ["", "Cream", "Gel"]


def test_the_answers_are_those_of_the_file_and_can_be_analysed():
    table = exported(people())
    study = survey_study(table, survey_columns(table), "Respondent", "Hall test")
    answers = study.table("answers")
    assert len(answers) == 30 * 6
    wide = pd.DataFrame(dict(zip(table.header, table.columns, strict=True)))
    liked = answers.loc[(answers["kind"] == "liking") & (answers["prototype"] == "P1")].set_index("assessor")["answer"]
    assert liked.to_dict() == dict(zip(wide["Respondent"], wide["P1: overall liking"], strict=True))
    means = weigh_liking(study).means.set_index("prototype")["estimate"]
    assert means["P2"] == pytest.approx(wide["P2: overall liking"].astype(float).mean())
    shares = weigh_just_about_right(study).shares
    assert set(shares["prototype"]) == {"P1", "P2"}


@pytest.mark.parametrize(
    ("change", "person", "words"),
    [
        ({"kind": ""}, "Respondent", "No column is read"),
        ({"prototype": ""}, "Respondent", "needs a prototype and a question"),
        ({"question": "one", "prototype": "P1", "kind": "liking"}, "Respondent", "asks what another one asks"),
        ({}, "P1 light", "does not name each person once"),
    ],
)
def test_what_cannot_be_read_is_said(change: dict[str, str], person: str, words: str):
    table = exported(people())
    with pytest.raises(StudyError, match=words):
        survey_study(table, survey_columns(table).assign(**change), person, "t")


def test_rows_are_numbered_where_nobody_is_named_and_blanks_are_no_answers():
    table = exported("P1 liking;P2 liking\n7;\n6;5")
    answers = survey_study(table, survey_columns(table), "", "t").table("answers")
    assert list(zip(answers["assessor"], answers["answer"], strict=True)) == [
        ("C001", "7"),
        ("C002", "6"),
        ("C002", "5"),
    ]
