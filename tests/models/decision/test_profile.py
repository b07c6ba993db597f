"""The target profile: what is read, what is refused, and what is said about it."""

import numpy as np
import pandas as pd
import pytest

from panel.errors import ModelError, StudyError
from panel.models.decision.wanted import narrow_windows, target_profile
from panel.models.prototypes.alike import smallest_difference
from panel.models.prototypes.differences import find_differences
from tests.models.decision.known_studies import target_study

TRUTH = {"P1": (50, 50), "P2": (30, 60)}


def test_windows_weights_and_must_haves_are_those_of_the_attributes_table():
    found = target_profile(target_study(TRUTH, columns={"weight": [2.0, 1.0], "must_have": ["yes", ""]}))
    assert found.attributes == ("GREASE", "SOFT")
    assert found.wanted["weight"].tolist() == [2, 1]
    assert found.wanted["must_have"].tolist() == [True, False]
    assert found.wanted["tolerance"].tolist() == [25, 25]  # a quarter of 0 to 100
    assert not any("weights" in note for note in found.notes)


def test_without_weights_all_count_the_same_and_that_is_said():
    found = target_profile(target_study(TRUTH))
    assert found.wanted["weight"].tolist() == [1, 1]
    assert "Nobody stated weights, so all attributes with a window count the same." in found.notes


def test_weights_given_come_before_those_of_the_study():
    study = target_study(TRUTH, columns={"weight": [2.0, 1.0]})
    found = target_profile(study, {"SOFT": 3})
    assert found.wanted["weight"].tolist() == [1, 3]
    assert "Without a weight here, so counted as 1: GREASE." in found.notes
    half = target_profile(target_study(TRUTH, columns={"weight": [2.0, np.nan]}))
    assert "Without a weight in the table of attributes, so counted as 1: SOFT." in half.notes


@pytest.mark.parametrize(
    ("weights", "words"),
    [
        ({"GREASE": -1}, "The weight of GREASE is -1. Write a number that is 0 or more."),
        ({"GREASE": float("nan")}, "The weight of GREASE is nan. Write a number"),
        ({"GREASE": 0, "SOFT": 0}, "All weights are 0, so nothing counts."),
        ({"GLOSS": 1}, "A weight is given for GLOSS, which has no target window. Choose among GREASE, SOFT"),
    ],
)
def test_weights_that_make_no_sense_are_refused(weights, words):
    with pytest.raises(StudyError) as told:
        target_profile(target_study(TRUTH), weights)
    assert words in str(told.value)


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"benchmark_levels": [52]}, "The fact 'benchmark_levels' is not understood."),
        ({"benchmark_levels": {"GREASE": "high"}}, "The fact 'benchmark_levels' is not understood."),
        ({"tolerance": 0}, "The fact 'tolerance' is 0. Write how far outside"),
        ({"tolerance": True}, "The fact 'tolerance' is True."),
    ],
)
def test_facts_that_are_not_understood_are_refused(facts, words):
    with pytest.raises(StudyError) as told:
        target_profile(target_study(TRUTH, facts=facts))
    assert words in str(told.value)


def test_facts_that_are_understood_are_used():
    found = target_profile(target_study(TRUTH, facts={"benchmark_levels": {"GREASE": 48}, "tolerance": 12.5}))
    assert found.wanted["benchmark_level"].tolist()[0] == 48
    assert np.isnan(found.wanted["benchmark_level"].tolist()[1])
    assert found.wanted["tolerance"].tolist() == [12.5, 12.5]


def test_a_study_that_wants_nothing_is_told_what_to_write():
    with pytest.raises(ModelError, match=r"No attribute has a target yet. Fill in target_low or target_high"):
        target_profile(target_study(TRUTH, windows={"GREASE": (None, None), "SOFT": (None, None)}))


def test_a_window_upside_down_is_refused():
    with pytest.raises(StudyError, match=r"GREASE: target_low 60 lies above target_high 40. Exchange them."):
        target_profile(target_study(TRUTH, windows={"GREASE": (60, 40), "SOFT": (55, None)}))


def test_what_does_not_fit_together_is_noted():
    study = target_study(
        {"P1": (50, 50, 50), "P2": (30, 60, 50)},
        windows={"GREASE": (None, 40), "SOFT": (55, None), "GLOSS": (None, None)},
        columns={"direction": ["more", "more", "target"], "must_have": "yes"},
    )
    notes = " ".join(target_profile(study).notes)
    assert "GREASE: the direction says 'more', but only target_high is set." in notes
    assert "SOFT: the direction" not in notes
    assert "Is to hit a target but has no window, so it does not count: GLOSS." in notes
    assert "Every attribute is a must-have" in notes


def test_a_window_narrower_than_what_the_panel_can_see_is_noted():
    windows = {"GREASE": (38.0, 40.0), "SOFT": (0.0, 100.0)}
    study = target_study(TRUTH, windows=windows)
    (note,) = narrow_windows(target_profile(study), smallest_difference(find_differences(study)), study.attribute_words)
    assert note.startswith(
        "GREASE: the window is 2.0 wide, but a panel like this one shows a single planned difference"
    )


def test_the_profile_has_windows_closed_on_both_sides_or_not():
    assert not target_profile(target_study(TRUTH)).has_windows_both_sides
    assert target_profile(target_study(TRUTH, windows={"GREASE": (30, 40), "SOFT": (55, None)})).has_windows_both_sides


def test_without_a_scale_the_tolerance_is_left_open():
    study = target_study(TRUTH, attributes=pd.DataFrame({"attribute": ["GREASE"], "target_high": [40.0]}))
    assert np.isnan(target_profile(study).wanted["tolerance"].iloc[0])


def test_a_scale_that_is_not_known_is_said_where_desirability_leans_on_it():
    words = "does not say where the scale of SOFT begins and ends: desirability falls over the range of the prototypes"
    assert not any(words in note for note in target_profile(target_study(TRUTH)).notes)
    study = target_study(TRUTH)
    study.tables["attributes"]["scale_max"] = [100.0, np.nan]
    assert any(words in note for note in target_profile(study).notes)
