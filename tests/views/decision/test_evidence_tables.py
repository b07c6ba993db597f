"""Tables that only the evidence file shows, against the frames they come from."""

import hashlib

import numpy as np
import pandas as pd

from panel.views.decision.claims import (
    ballot_table,
    files_table,
    questions_table,
    recorded_table,
)
from panel.words import NOTHING
from tests.studies import small_study


def test_files_stand_with_size_and_hash():
    data = b"a,b\n1,2\n"
    digest = hashlib.sha256(data).hexdigest()
    shown = files_table({"a.csv": (len(data), digest)})
    assert shown.iloc[0].tolist() == ["a.csv", "8", digest]


def test_a_record_stands_as_it_was_typed():
    rows = pd.DataFrame({"who": ["A", ""], "margin": [8.0, np.nan], "other": ["x", "y"]})
    shown = recorded_table(rows, {"who": "Who", "margin": "Margin"})
    assert shown.to_dict("list") == {"Who": ["A", NOTHING], "Margin": ["8", NOTHING]}


def test_questions_stand_in_the_words_that_were_shown():
    study = small_study({"questions": [{"question": "q", "kind": "agreement", "words": "It smells.", "foil": True}, 5]})
    shown = questions_table(study)
    assert shown.iloc[0].tolist() == ["q", "agreement", "It smells.", NOTHING, NOTHING, "yes"]
    assert questions_table(small_study()).empty


def test_the_ballot_has_a_row_for_each_attribute():
    shown = ballot_table(small_study())
    assert list(shown["Attribute"]) == list(small_study().table("attributes")["name"])
    assert set(shown["Scale"]) == {"0 to 100"}
