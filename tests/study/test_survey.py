"""A survey with one row per person becomes answers, one for each person, prototype and question."""

from __future__ import annotations

import pandas as pd
import pytest

from panel.errors import StudyError
from panel.models.consumers.just_about_right import weigh_just_about_right
from panel.models.consumers.liking import weigh_liking
from panel.study.raw_table import raw_file, raw_table
from panel.study.survey import one_row_each, survey_columns, survey_study


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


def below(*, answers: bool) -> str:
    """Return the same answers with a row for each person and product, or for each answer."""
    rows = []
    for n in range(30):
        for p, asked in (("P1", (5 + n % 3, 3 + n % 2, n % 2)), ("P2", (7 + n % 2, 3, 1))):
            named = list(zip(("overall liking", "greasiness (JAR)", "light"), asked, strict=True))
            rows += [f"R{n};{p};{q};{a}" for q, a in named] if answers else [f"R{n};{p};" + ";".join(map(str, asked))]
    heads = (
        "Respondent;Product;Question;Answer" if answers else "Respondent;Product;overall liking;greasiness (JAR);light"
    )
    return "\n".join([heads, *rows])


@pytest.mark.parametrize("answers", [False, True])
def test_a_row_for_each_person_and_product_gives_the_same_answers(answers: bool):
    table, prototypes = one_row_each(exported(below(answers=answers)))
    assert (prototypes, table.lines[:2]) == (("P1", "P2"), [2, 8] if answers else [2, 4])
    found = survey_study(table, survey_columns(table, prototypes), "Respondent", "t").table("answers")
    wide = exported(people())
    expected = survey_study(wide, survey_columns(wide), "Respondent", "t").table("answers")
    parts = ["assessor", "prototype", "kind", "answer"]
    assert sorted(found[parts].itertuples(index=False)) == sorted(expected[parts].itertuples(index=False))
    assert one_row_each(wide) == (wide, ())


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("Product;liking\nP1;3\nP2;4\nP1;5", "has a row for each Product. Say which column holds the person"),
        ("Person;Product;liking\nA;P1;3\nA;P2;4\nA;P1;5", "Line 4 of survey.csv is a second one of A for P1"),
        ("Person;Product;liking\nA;P1;3\n;P1;4\nB;P2;5", "Line 3 of survey.csv does not say whose it is"),
    ],
)
def test_rows_that_are_not_one_of_each_person_and_product_are_named(text: str, words: str):
    with pytest.raises(StudyError, match=words):
        one_row_each(exported(text))


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


def test_a_heading_may_name_the_prototype_in_words_beside_what_it_asks():
    """Signs between the two, and scales behind a question, as surveys are exported; common practice, no source."""
    heads = "ID;Crème (A) - Overall liking (1-9);Huile [C] - Overall liking (1-9);Crème (A) - Oily;Huile [C] - Oily;Age"
    asked = survey_columns(exported(f"{heads}\nx;7;8;0;1;30")).set_index("column")
    assert asked["prototype"].tolist() == ["", "Crème (A)", "Huile [C]", "Crème (A)", "Huile [C]", ""]
    assert asked["question"].tolist()[1:5] == ["Overall liking", "Overall liking", "Oily", "Oily"]
    assert asked["kind"].tolist() == ["", "liking", "liking", "check_all", "check_all", ""]
    turned = survey_columns(exported("ID;Liking: Crème;Liking: Huile\nx;7;8"))
    assert turned["prototype"].tolist() == ["", "Crème", "Huile"]


def test_worded_just_about_right_answers_become_points():
    rows = [
        f"R{n};{words}" for n, words in enumerate(("Too little", "just right", "Too  much", "much too little", "4"))
    ]
    table = exported("\n".join(["ID;P1 oiliness (too little / just right / too much)", *rows]))
    asked = survey_columns(table)
    assert asked["question"].iloc[1] == "oiliness"
    answers = survey_study(table, asked, "ID", "t").table("answers")
    assert answers["answer"].tolist() == ["2", "3", "4", "1", "4"]
