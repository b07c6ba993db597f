"""What if in words: inside with numbers, outside without, windows told as what they are."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from panel.models.emollients.prediction_model import prediction_model
from panel.models.emollients.predictions import study_targets, what_if
from panel.study.naming import naming
from panel.views.emollients.next_prototype import (
    what_if_alt_text,
    what_if_headline,
    what_if_sentences,
    what_if_table,
    window_words,
)
from tests.blend_studies import DEMO, hand_cream
from tests.formula_studies import ALKANE, ALMOND, CARBONATE, ISOSTEARATE, SHEA

NAMES = naming(DEMO)
MODEL = prediction_model(DEMO)
SPLIT = what_if(MODEL, {ALKANE: 6, ISOSTEARATE: 5, ALMOND: 3, SHEA: 1}, study_targets(DEMO))
SIX = prediction_model(hand_cream([[-15.0, -8.0, 7.0], [0, 0, 18]], kept=range(7)))
OUTSIDE = what_if(SIX, {ALKANE: 6, ISOSTEARATE: 5, SHEA: 4})


def one(**row):
    blank = {"attribute": "AF_GREASE", "estimate": 40.0, "std_error": 2.0, "df": 4.0, "ci_low": 34.4, "ci_high": 45.6}
    blank |= {"base": 52.0, "direction": 0, "target_low": np.nan, "target_high": np.nan, "chance": np.nan}
    return what_if_sentences(replace(SPLIT, profile=pd.DataFrame([blank | row])), NAMES)[0]


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        ({}, "greasy film: expect 40 (95 % interval 34 to 46)."),
        (
            {"target_high": 50.0, "chance": 0.99},
            "greasy film: expect 40 (95 % interval 34 to 46); wanted is 50 or less: the whole interval is in "
            "the window.",
        ),
        (
            {"target_low": 55.0, "chance": 0.001},
            "greasy film: expect 40 (95 % interval 34 to 46); wanted is 55 or more: the whole interval misses it.",
        ),
        (
            {"target_low": 35.0, "target_high": 42.0, "chance": 0.699},
            "greasy film: expect 40 (95 % interval 34 to 46); wanted is 35 to 42: more likely in than out (70 %).",
        ),
        (
            {"target_high": 38.0, "chance": 0.187},
            "greasy film: expect 40 (95 % interval 34 to 46); wanted is 38 or less: more likely out than in (19 % to "
            "be in).",
        ),
    ],
)
def test_each_case_of_a_window_in_words(row, sentence):
    assert one(**row) == sentence


def test_headlines():
    assert what_if_headline(SPLIT, "P1").startswith("Inside the tested region")
    assert what_if_headline(OUTSIDE, "P1") == (
        "Outside the tested region: no number can be given, only directions, compared with P1."
    )
    made = what_if(MODEL, {ALKANE: 6, ISOSTEARATE: 5, ALMOND: 4})
    assert what_if_headline(made, "P1").startswith("This blend was made: it is P4.")
    nothing = what_if(MODEL, {ALKANE: 8, CARBONATE: 3, ALMOND: 4})
    assert what_if_headline(nothing, "P1").endswith("and no direction either.")


def test_outside_there_is_no_number_in_any_sentence():
    sentences = what_if_sentences(OUTSIDE, NAMES)
    assert sentences == ("Likely higher than the base: T2.", "Likely lower than the base: T1.")
    assert not any(character.isdigit() for text in sentences for character in text.replace("T1", "").replace("T2", ""))
    assert what_if_table(OUTSIDE, NAMES).columns.tolist() == ["Attribute", "Direction from the base"]


def test_only_attributes_with_a_window_are_told_where_there_are_any():
    assert len(what_if_sentences(SPLIT, NAMES)) == 6
    assert len(what_if_sentences(what_if(MODEL, SPLIT.blend), NAMES)) == 14


def test_the_table_holds_every_attribute_with_interval_and_window():
    table = what_if_table(SPLIT, NAMES).set_index("Attribute")
    assert len(table) == 14
    assert table.loc["greasy film", "Wanted"] == "38 or less"
    assert table.loc["firmness", "Wanted"] == "–"
    assert table.loc["firmness", "Chance to be in the window"] == "–"
    assert "Expected mean (0 to 100)" in table.columns


@pytest.mark.parametrize(
    ("window", "words"),
    [((np.nan, np.nan), "–"), ((np.nan, 38.0), "38 or less"), ((55.0, np.nan), "55 or more"), ((3.5, 4.0), "3.5 to 4")],
)
def test_windows_in_words(window, words):
    assert window_words(*window) == words


def test_the_alt_text_says_what_the_sentences_say():
    assert what_if_sentences(SPLIT, NAMES)[0] in what_if_alt_text(SPLIT, NAMES)
