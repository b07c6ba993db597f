"""Tables that only the evidence file shows, against the frames they come from."""

import hashlib

import numpy as np
import pandas as pd

from panel.report.contents.part_study import entries_of
from panel.study.naming import Naming
from panel.study.shown import shown
from panel.views.decision.claims import (
    BALLOT,
    FILES,
    QUESTIONS,
    recorded_table,
)
from panel.words import NOTHING
from tests.studies import small_study


def test_files_stand_with_size_and_hash():
    data = b"a,b\n1,2\n"
    digest = hashlib.sha256(data).hexdigest()
    table = shown(FILES, {"a.csv": data}, Naming())
    assert table.iloc[0].tolist() == ["a.csv", "8", digest]


def test_a_record_stands_as_it_was_typed():
    rows = pd.DataFrame({"who": ["A", ""], "margin": [8.0, np.nan], "other": ["x", "y"]})
    table = recorded_table(rows, {"who": "Who", "margin": "Margin"})
    assert table.to_dict("list") == {"Who": ["A", NOTHING], "Margin": ["8", NOTHING]}


def test_questions_stand_in_the_words_that_were_shown():
    study = small_study({"questions": [{"question": "q", "kind": "agreement", "words": "It smells.", "foil": True}, 5]})
    table = shown(QUESTIONS, entries_of(study, "questions"), Naming())
    assert table.iloc[0].tolist() == ["q", "agreement", "It smells.", NOTHING, NOTHING, "yes"]
    assert entries_of(small_study(), "questions") == []


def test_the_ballot_has_a_row_for_each_attribute():
    table = shown(BALLOT, small_study(), Naming())
    assert list(table["Attribute"]) == list(small_study().table("attributes")["name"])
    assert set(table["Scale"]) == {"0 to 100"}
