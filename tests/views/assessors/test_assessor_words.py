"""Sentences about people: made from the numbers, training first, nobody called bad."""

from dataclasses import replace
from pathlib import Path

import pytest

from data_demo import make_demo
from panel.models.assessors import performance as found
from panel.models.assessors.performance import check_panel
from panel.study.folder import read_folder
from panel.study.naming import naming
from panel.views.assessors.assessor_words import (
    JUDGED,
    MARKS,
    assessor_sentence,
    panel_headline,
    what_the_assessors_show,
    what_the_panel_check_cannot_show,
    what_would_be_noticed,
)
from tests.views.checked_panels import checked, with_patterns

UNKIND = ("bad", "poor", "wrong", "fail", "unreliable", "incompetent", "exclude", "remove", "delete", "useless")


@pytest.fixture(scope="module")
def demo():
    study = read_folder(Path(make_demo.__file__).parent / "reading_room")
    return check_panel(study), naming(study)


def test_headline_of_the_demo(demo):
    result, _ = demo
    assert panel_headline(result) == (
        "6 of 10 assessors are in line with the panel; train first: A03, A06 and A07; look again at: A08."
    )


def test_what_would_be_noticed_goes_from_the_clearest_attribute_to_the_faintest(demo):
    result, names = demo
    chances = {"RO_ABS": 0.83, "AF_GREASE": 0.31}
    panel = result.panel.assign(reversal_noticed=result.panel["attribute"].map(chances))
    assert what_would_be_noticed(replace(result, panel=panel), names) == (
        "With 8 prototypes a scale used backwards by one person would be noticed in about 85 % of panels like this one "
        "on speed of soaking in, where it shows best, and in about 30 % on greasy film. On 12 of 14 attributes it "
        "would not be noticed at all."
    )


def test_where_nothing_would_be_noticed_this_is_said(demo):
    result, names = demo
    panel = result.panel.assign(reversal_noticed=float("nan"))
    assert what_would_be_noticed(replace(result, panel=panel), names).startswith("On no attribute would a scale used")


def test_the_demo_says_what_it_could_have_found(demo):
    assert what_would_be_noticed(*demo).startswith("With 8 prototypes a scale used backwards by one person would be")


def test_one_line_for_each_person_in_order(demo):
    lines = what_the_assessors_show(*demo)
    assert [line.split(":")[0] for line in lines] == [f"A{number:02d}" for number in range(1, 11)]


def test_the_numbers_of_a_sentence_are_those_of_the_table(demo):
    result, names = demo
    line = assessor_sentence(result, names, "A07")
    cell = result.assessors.set_index(["assessor", "attribute"]).loc[("A07", "RO_ABS")]
    assert f"speed of soaking in (slope −{abs(cell['slope']):.1f}, 95 % interval" in line
    assert f"to −{abs(cell['ci_high']):.1f}, about {cell['slope_expected']:.1f} expected)" in line
    ratio = result.people.set_index("assessor").loc["A06", "repeat_ratio"]
    assert f"scatters {ratio:.1f} times as much as the others" in assessor_sentence(result, names, "A06")


def test_what_is_harmless_is_called_harmless(demo):
    assert "sits high, by 9 % of the scale: harmless for differences, nothing to do." in assessor_sentence(*demo, "A05")
    assert "harmless for the direction of differences" in assessor_sentence(*demo, "A04")


def test_a_quality_is_named_once_for_both_stages(demo):
    line = assessor_sentence(*demo, "A08")
    assert "stickiness may not be felt at any stage" in line
    assert line.count("Look again") == 1
    assert "stickiness of the bulk (slope" in line


def test_somebody_in_line_is_said_to_be(demo):
    assert assessor_sentence(*demo, "A01") == (
        "A01: in line with the panel; tells the prototypes apart alone on 12 of 14 attributes."
    )


ALL = [  # every pattern as the rules give it: over one attribute or over all, with the action it calls for
    (found.REVERSED, "T09", found.RETRAIN),
    (found.NOT_FOLLOWING, "T09", found.LOOK_AGAIN),
    (found.NOT_FOLLOWING, "", found.RETRAIN),
    (found.NOT_FELT, "T09", found.LOOK_AGAIN),
    (found.FEELS_LITTLE, "", found.RETRAIN),
    (found.NARROW, "", found.RETRAIN),
    (found.WIDE, "", found.NONE),
    (found.SCATTERS, "T09", found.LOOK_AGAIN),
    (found.SCATTERS, "", found.LOOK_AGAIN),
    (found.SCATTERS, "", found.RETRAIN),
    (found.OWN_VIEW, "T09", found.LOOK_AGAIN),
    (found.DRIFTS, "T09", found.LOOK_AGAIN),
    (found.HIGH, "", found.NONE),
    (found.LOW, "", found.NONE),
]


@pytest.mark.parametrize(("pattern", "attribute", "action"), ALL)
def test_every_pattern_has_a_sentence_that_is_kind_and_trains_first(pattern, attribute, action):
    result, names = checked()
    line = assessor_sentence(with_patterns(result, [("A02", pattern, attribute, action)]), names, "A02")
    assert line.startswith("A02: ")
    assert not [word for word in UNKIND if word in line.lower().split()]
    advice = {found.RETRAIN: "Train first", found.LOOK_AGAIN: "Look again", found.NONE: "harmless"}
    assert [words for words in advice.values() if words in line] == [advice[action]]
    assert attribute in line


def test_every_pattern_was_tried():
    assert {pattern for pattern, _, _ in ALL} == set(MARKS)


def test_headline_where_all_are_in_line():
    result, _ = checked()
    none = with_patterns(result, [])
    assert panel_headline(none) == "All 6 assessors are in line with the panel, as far as these scores can tell."


def test_where_nothing_can_be_judged_it_is_said():
    result, names = checked()
    unjudged = replace(with_patterns(result, []), people=result.people.assign(n_judged=0))
    assert assessor_sentence(unjudged, names, "A01") == "A01: Agreement with the others cannot be judged here."


def test_what_it_cannot_show_puts_training_before_leaving_out():
    lines = what_the_panel_check_cannot_show(checked()[0])
    assert any(line.startswith("Training comes first.") and "before unblinding" in line for line in lines)


def test_every_judgement_has_words():
    assert set(JUDGED) == set(found.ACTIONS)
    assert len(set(MARKS.values())) == len(MARKS)
