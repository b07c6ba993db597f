"""Answers as numbers: what is read, what is not and why, gaps, repetitions and the order of the prototypes."""

import numpy as np
import pandas as pd
import pytest

from panel.errors import ModelError
from panel.models.consumers.answers import numeric_answers, questions_of
from panel.study.study import Study
from tests.consumer_studies import answers_study

COLUMNS = ["assessor", "prototype", "question", "kind", "answer"]


def study_of(rows, **tables):
    return Study({"answers": pd.DataFrame(rows, columns=COLUMNS), **tables})


def test_a_table_comes_back_as_it_went_in():
    table = np.array([[7, 5, np.nan], [1, 9, 3]])
    found = numeric_answers(answers_study(table), "liking")
    np.testing.assert_array_equal(found.frame.to_numpy(), table)
    assert (found.n_consumers, found.n_repeated) == (2, 0)
    assert list(found.frame.columns) == ["P1", "P2", "P3"]
    assert found.question == "overall liking"
    assert len(found.rows) == 5
    assert found.unread.empty


def test_what_cannot_be_read_is_listed_with_its_reason():
    texts = ["7", " 8 ", "7.0", "10", "0", "6.5", "very good", "", "-"]
    found = numeric_answers(study_of([(f"C{n}", "P1", "q", "liking", text) for n, text in enumerate(texts)]), "liking")
    assert found.frame["P1"].tolist() == [7, 8, 7]
    assert found.unread[["answer", "why"]].to_numpy().tolist() == [
        ["10", "outside 1 to 9"],
        ["0", "outside 1 to 9"],
        ["6.5", "not a whole number"],
        ["very good", "not a number"],
    ]


def test_each_kind_has_its_own_scale():
    for kind, low, high in (("liking", 1, 9), ("just_about_right", 1, 5), ("check_all", 0, 1), ("agreement", 1, 5)):
        found = numeric_answers(answers_study([[low], [high], [high + 1], [low - 1]], kind=kind), kind)
        assert found.frame["P1"].tolist() == [low, high]
        assert len(found.unread) == 2


def test_repeated_answers_are_averaged_and_counted():
    rows = [("C1", "P1", "q", "liking", "4"), ("C1", "P1", "q", "liking", "7"), ("C1", "P2", "q", "liking", "5")]
    found = numeric_answers(study_of(rows), "liking")
    assert found.frame.loc["C1"].tolist() == [5.5, 5]
    assert found.n_repeated == 1
    assert len(found.rows) == 3


def test_prototypes_come_in_the_order_of_the_study_then_as_they_appear():
    rows = [("C1", name, "q", "liking", "4") for name in ("P9", "P2", "P1")]
    prototypes = pd.DataFrame({"prototype": ["P1", "P2", "P3"], "name": "", "role": "", "note": ""})
    assert list(numeric_answers(study_of(rows, prototypes=prototypes), "liking").frame.columns) == ["P1", "P2", "P9"]


def test_questions_are_told_apart():
    rows = [("C1", "P1", "overall", "liking", "4"), ("C1", "P1", "scent", "liking", "8")]
    study = study_of([*rows, ("C1", "P1", "sticky", "check_all", "1")])
    assert questions_of(study, "liking") == ("overall", "scent")
    assert numeric_answers(study, "liking").frame.loc["C1", "P1"] == 4
    assert numeric_answers(study, "liking", "scent").frame.loc["C1", "P1"] == 8
    assert numeric_answers(study, "liking").questions == ("overall", "scent")


def test_every_refusal_says_what_to_do():
    with pytest.raises(ModelError, match=r"no liking answers\. Bring a survey"):
        numeric_answers(Study({}), "liking")
    study = answers_study([[5, 6]])
    with pytest.raises(ModelError, match=r"no liking question 'scent' in this study\. Choose among overall liking"):
        numeric_answers(study, "liking", "scent")
    unreadable = study_of([("C1", "P1", "q", "liking", "good")])
    with pytest.raises(ModelError, match="None of the 1 answers to 'q' could be read as a number from 1 to 9"):
        numeric_answers(unreadable, "liking")
