"""What to make next: said when nothing beats what there is; predictions told as what they are; the record kept."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from matplotlib.patches import Rectangle

from panel.models.emollients.next_prototype import propose_next
from panel.models.emollients.prediction_model import prediction_model
from panel.models.emollients.predictions import PredictionRecord, judge_predictions, study_targets, what_if
from panel.study.naming import Naming, naming
from panel.study.shown import shown
from panel.views.emollients.next_prototype import (
    _PROPOSALS,
    _RECORD,
    _WHAT_IF,
    _figure,
    tell_next,
    tell_record,
    tell_what_if,
)
from tests.blend_studies import DEMO, hand_cream
from tests.formula_studies import ALKANE, ALMOND, CARBONATE, ISOSTEARATE, SHEA
from tests.views.examples import words_covering_words, words_outside

NAMES = naming(DEMO)
FOUND = propose_next(DEMO)
TOLD = tell_next(FOUND, NAMES)
MODEL = prediction_model(DEMO)
SPLIT = what_if(MODEL, {ALKANE: 6, ISOSTEARATE: 5, ALMOND: 3, SHEA: 1}, study_targets(DEMO))
SEVEN = prediction_model(hand_cream([[-15.0, -8.0, 7.0], [0, 0, 18]], kept=range(7)))
OUTSIDE = what_if(SEVEN, {ALKANE: 6, ISOSTEARATE: 5, SHEA: 4})


def test_nothing_expected_to_beat_what_there_is_is_the_headline():
    best = FOUND.tested.sort_values("expected").iloc[-1]
    assert not FOUND.proposals["nearer"].any()
    assert (FOUND.proposals["expected"] <= best["expected"]).all()
    assert TOLD.headline == (
        "No prototype you could make from these is expected to come nearer than P4 (about 3.9 of 6 targets)."
    )


def test_a_candidate_that_is_expected_to_beat_it_is_the_headline():
    better = FOUND.proposals.assign(expected=[4.6, 2.3], nearer=[True, False])
    assert tell_next(replace(FOUND, proposals=better), NAMES).headline == (
        "Candidate 1 is expected to come nearer than P4: about 4.6 against 3.9 of 6 targets."
    )


def test_without_targets_the_headline_says_what_they_are_for():
    bare = tell_next(replace(FOUND, proposals=FOUND.proposals.assign(windows=0, expected=0.0)), NAMES)
    assert bare.headline.startswith("2 candidates to make next, chosen for what can be learnt")
    assert bare.picture is None


def test_the_candidates_in_words():
    first, second = TOLD.mind
    assert first.startswith("Candidate 1 (nearest to the target): likely meets 4 of 6 targets: ease of spreading,")
    assert "; doubtful: stickiness and greasy film. Would show what an untried amount of Shea Butter for Sweet" in first
    assert second.startswith("Candidate 2 (tells most): likely meets 2 of 6 targets: ")
    outside = tell_next(replace(FOUND, proposals=FOUND.proposals.assign(inside=False)), NAMES)
    assert "outside the tested region, so nothing can be predicted" in outside.mind[0]
    assert not any(word in " ".join([TOLD.headline, *TOLD.mind]) for word in ("optimal", "best"))


def test_the_picture_sets_the_candidates_beside_what_there_is():
    figure = TOLD.picture.figure()
    assert words_outside(figure) == []
    assert words_covering_words(figure) == []
    dots = [line.get_xdata()[0] for line in figure.axes[0].lines if line.get_linestyle() == "None"]
    np.testing.assert_allclose(dots, [*FOUND.tested["expected"], *FOUND.proposals["expected"]])
    assert "P4 3.9" in TOLD.picture.alt
    assert "candidate 1 3.5" in TOLD.picture.alt


def test_the_blends_side_by_side():
    table = shown(_PROPOSALS, FOUND, NAMES)
    assert table.columns.tolist() == ["Emollient", "1. nearest to the target", "2. tells most"]
    sums = [sum(float(cell) for cell in table[column] if cell != "–") for column in table.columns[1:]]
    assert sums == pytest.approx([15, 15])


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        ({}, "Cost of the emollients 120.00 for 100 units of formula, base 100.00 (+20 %)."),
        ({"kind": "assessors", "about": "Shea", "words": "A01, A03"}, "Must not be given to A01, A03, who avoid Shea."),
        ({"kind": "caution", "about": "Shea", "words": "From a tree nut."}, "Shea: From a tree nut."),
        (
            {"kind": "volatile", "value": 40.0, "versus": 0.0, "about": "Alkane"},
            "Volatile share of the emollients 40 %, in the base 0 % (Alkane).",
        ),
    ],
)
def test_each_kind_of_warning_in_words(row, sentence):
    blank = {"proposal": 1, "kind": "cost", "value": 120.0, "versus": 100.0, "about": "", "words": ""}
    told = tell_next(replace(FOUND, warnings=pd.DataFrame([blank | row])), NAMES)
    (drawer,) = [each for each in told.drawers if each.title.startswith("What to mind")]
    assert drawer.items == (f"Candidate 1: {sentence}",)


def test_an_alias_that_is_broken_is_told():
    teaches = pd.DataFrame({"proposal": [1], "kind": ["alias broken"], "about": ["X, Y"]})
    first, second = tell_next(replace(FOUND, teaches=teaches), NAMES).mind
    assert first.endswith("Would show which of the emollients that always changed together matters (X, Y).")
    assert second.endswith("No untried amount: would make what the swaps do surer.")


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
    told = tell_record(record([True, False]), Naming())
    assert told.headline == "1 of 2 means fell into the interval that was predicted (50 %)."
    assert told.mind == ("Predicted, not tested yet: P10.",)
    assert told.drawers[0].items == ("P9: 1 of 2 (50 %), where 95 % was promised.",)
    table = shown(_RECORD, record([True, False]), Naming())
    assert table["In the interval"].tolist() == ["yes", "no"]
    assert table["Off by"].tolist() == ["+1.0", "+10.0"]
    nothing = tell_record(judge_predictions(DEMO), NAMES)
    assert nothing.headline == "No prediction has been held against an outcome yet."


@pytest.mark.parametrize(
    ("ci", "window", "chance", "place"),
    [
        ((34.4, 45.6), (np.nan, np.nan), np.nan, ""),
        ((34.4, 45.6), (np.nan, 50.0), 0.99, "in"),
        ((34.4, 45.6), (np.nan, 45.6), 0.98, "in"),
        ((34.4, 45.6), (55.0, np.nan), 0.001, "out"),
        ((34.4, 45.6), (35.0, 42.0), 0.699, "likely in"),
        ((34.4, 45.6), (np.nan, 40.0), 0.5, "likely in"),
        ((34.4, 45.6), (np.nan, 38.0), 0.187, "likely out"),
        ((np.nan, np.nan), (np.nan, 38.0), np.nan, ""),
    ],
)
def test_where_a_mean_lies_beside_its_window(ci, window, chance, place):
    from panel.models.emollients.predictions import _placed

    assert _placed(*(np.array([value]) for value in (*ci, *window, chance))).tolist() == [place]


def test_what_if_headlines():
    told = tell_what_if(SPLIT, NAMES, "P1")
    assert told.headline.startswith("This blend likely meets 4 of 6 targets: ease of spreading, ")
    assert told.headline.endswith("; doubtful: stickiness and greasy film.")
    assert tell_what_if(OUTSIDE, NAMES, "P1").headline == (
        "Outside the tested region: no number can be given, only directions, compared with P1."
    )
    made = what_if(MODEL, {ALKANE: 6, ISOSTEARATE: 5, ALMOND: 4})
    assert tell_what_if(made, NAMES, "P1").headline.startswith("This blend was made: it is P4.")
    nothing = what_if(MODEL, {ALKANE: 8, CARBONATE: 3, ALMOND: 4})
    assert tell_what_if(nothing, NAMES, "P1").headline.endswith("and no direction either.")
    without = what_if(MODEL, SPLIT.blend)
    assert "No target is set to hold it against" in tell_what_if(without, NAMES, "P1").headline


def test_the_key_speaks_of_what_is_wanted_only_where_a_window_is_drawn():
    with_windows, without = (tell_what_if(each, NAMES, "P1").picture for each in (SPLIT, what_if(MODEL, SPLIT.blend)))
    assert with_windows is not None
    assert without is not None
    for said in (">wanted<", "in the window"):
        assert said in with_windows.printed_svg
        assert said not in without.printed_svg


def test_outside_there_is_no_number_in_any_sentence():
    told = tell_what_if(OUTSIDE, NAMES, "P1")
    assert told.mind == ("Likely higher than the base: T2.", "Likely lower than the base: T1.")
    assert told.picture is None
    assert shown(_WHAT_IF, OUTSIDE, NAMES).columns.tolist() == ["Attribute", "Compared with the base"]


def test_the_table_holds_every_attribute_with_interval_and_window():
    table = shown(_WHAT_IF, SPLIT, NAMES).set_index("Attribute")
    assert len(table) == 14
    assert table.loc["greasy film", "Wanted"] == "38 or less"
    assert table.loc["firmness", "Wanted"] == "–"
    assert table.loc["firmness", "Chance to meet it"] == "–"
    assert "Expected mean (0 to 100)" in table.columns


def test_every_attribute_has_a_dot_and_every_window_a_shade():
    figure = _figure(SPLIT, NAMES)
    dots = [line for line in figure.axes[0].lines if line.get_marker() == "o"]
    windows = [patch for patch in figure.axes[0].patches if isinstance(patch, Rectangle)]
    assert len(dots) == 14
    assert len(windows) == 6
    filled = [dot for dot in dots if dot.get_markerfacecolor() != "white"]
    assert len(filled) == (SPLIT.profile["place"] == "in").sum() > 0
    low, high = figure.axes[0].get_xlim()
    spans = {(patch.get_x(), patch.get_x() + patch.get_width()) for patch in windows}
    assert (low, 38) in spans  # an open window reaches to the end of the scale
    assert (55, high) in spans


@pytest.mark.parametrize("told", [SPLIT, OUTSIDE], ids=["inside", "outside"])
def test_words_are_inside_and_do_not_cover_each_other(told):
    figure = _figure(told, NAMES)
    assert words_outside(figure) == []
    assert words_covering_words(figure) == []


def test_the_picture_in_words_holds_every_mean():
    alt = tell_what_if(SPLIT, NAMES, "P1").picture.alt
    row = SPLIT.profile.set_index("attribute").loc["AF_GREASE"]
    assert f"greasy film {row['estimate']:.1f} ({row['ci_low']:.1f} to {row['ci_high']:.1f}, wanted 38 or less" in alt
    assert "likely out)" in alt
