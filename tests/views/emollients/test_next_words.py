"""Proposals in words: blend, expectation, teaching, warnings; and the record of earlier predictions."""

from dataclasses import replace

import pandas as pd
import pytest

from panel.models.emollients.next_prototype import propose_next
from panel.models.emollients.predictions import PredictionRecord, judge_predictions
from panel.study.naming import Naming, naming
from panel.views.emollients.next_prototype import (
    next_headline,
    proposal_words,
    proposals_table,
    record_sentences,
    record_table,
)
from tests.blend_studies import DEMO

NAMES = naming(DEMO)
FOUND = propose_next(DEMO)
FIRST, SECOND = proposal_words(FOUND, NAMES)


def test_a_prediction_is_no_result():
    assert next_headline(FOUND).startswith("2 prototypes worth making and testing next")
    assert "a prediction is no result" in next_headline(FOUND)
    text = " ".join([FIRST.title, FIRST.expect, FIRST.teaches, next_headline(FOUND)])
    assert "optimal" not in text
    assert "best" not in text


def test_the_first_proposal_in_words():
    assert FIRST.title == "1. Nearest to the target"
    assert FIRST.blend.startswith("Of the formula: 3 % Prunus Amygdalus")
    assert FIRST.expect.startswith("Expected to meet about 3.5 of 6 target windows; likely ")
    assert "Of the prototypes that were made, P4 comes to" in FIRST.expect
    assert FIRST.teaches.endswith("and whether the way between two emollients is straight.")
    assert "Solid share of the emollients 7 %, in the base 0 %" in FIRST.mind[0]
    assert any("nut allergy" in text for text in FIRST.mind)


def test_the_second_tells_most():
    assert SECOND.title == "2. Tells most"
    assert SECOND.teaches.startswith("Would teach a level nobody tried of Dicaprylyl Carbonate → C13-15 Alkane")


def changed(**columns):
    """The first proposal with other facts."""
    return proposal_words(replace(FOUND, proposals=FOUND.proposals.head(1).assign(**columns)), NAMES)[0]


def test_outside_and_without_targets():
    assert changed(inside=False).expect == "Outside the tested region: nothing can be predicted."
    assert changed(windows=0).expect == "Inside the tested region; no target window to hold it against."


def warning(**row):
    blank = {"proposal": 1, "kind": "cost", "value": 120.0, "versus": 100.0, "about": "", "words": ""}
    frame = pd.DataFrame([blank | row])
    return proposal_words(replace(FOUND, warnings=frame), NAMES)[0].mind[0]


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        ({}, "Cost of the emollients 120.00 for 100 units of formula, base 100.00 (+20 %)."),
        (
            {"kind": "assessors", "about": "Shea", "words": "A01, A03"},
            "Must not be given to A01, A03, who avoid Shea.",
        ),
        ({"kind": "caution", "about": "Shea", "words": "From a tree nut."}, "Shea: From a tree nut."),
        (
            {"kind": "volatile", "value": 40.0, "versus": 0.0, "about": "Alkane"},
            "Volatile share of the emollients 40 %, in the base 0 % (Alkane).",
        ),
    ],
)
def test_each_kind_of_warning_in_words(row, sentence):
    assert warning(**row) == sentence


def test_an_alias_that_is_broken_is_told():
    teaches = pd.DataFrame({"proposal": [1], "kind": ["alias broken"], "about": ["X, Y"]})
    words = proposal_words(replace(FOUND, teaches=teaches), NAMES)[0]
    assert words.teaches == "Would teach which of the emollients that always changed together matters (X, Y)."
    nothing = proposal_words(replace(FOUND, teaches=teaches.iloc[:0]), NAMES)[0]
    assert nothing.teaches == "Would teach nothing new about the swaps."


def test_the_blends_side_by_side():
    table = proposals_table(FOUND)
    assert table.columns.tolist() == ["Emollient, % of the formula", "1. Nearest to the target", "2. Tells most"]
    sums = [sum(float(cell) for cell in table[column] if cell != "–") for column in table.columns[1:]]
    assert sums == pytest.approx([15, 15])


def record(within):
    outcomes = pd.DataFrame(
        {
            "prototype": ["P9", "P9"],
            "attribute": ["T1", "T2"],
            "estimate": [30.0, 50.0],
            "ci_low": [25.0, 44.0],
            "ci_high": [35.0, 56.0],
            "outcome": [31.0, 60.0],
            "error": [1.0, 10.0],
            "error_from_base": [0.5, 9.0],
            "within": within,
        }
    )
    share = sum(within) / 2
    summary = pd.DataFrame(
        {
            "prototype": ["P9", ""],
            "n": [2, 2],
            "within": [sum(within)] * 2,
            "share": [share] * 2,
            "level": [0.95, 0.95],
        }
    )
    return PredictionRecord(outcomes, summary, ("P10",), ())


def test_the_record_in_words_and_as_a_table():
    sentences = record_sentences(record([True, False]))
    assert sentences == (
        "P9: 1 of 2 means fell into their 95 % interval (50 %).",
        "Predicted, not tested yet: P10.",
    )
    table = record_table(record([True, False]), Naming())
    assert table["In the interval"].tolist() == ["yes", "no"]
    assert table["Off by"].tolist() == ["+1.0", "+10.0"]
    assert record_sentences(judge_predictions(DEMO)) == ("No prediction has been written down.",)


def test_several_prototypes_are_counted_together():
    both = record([True, False])
    summary = pd.concat([both.summary.head(1), both.summary.head(1).assign(prototype="P11"), both.summary.tail(1)])
    assert "Together: 1 of 2 (50 %)." in record_sentences(replace(both, summary=summary))
