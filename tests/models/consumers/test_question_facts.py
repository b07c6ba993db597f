"""What a study says about its questions, in either of the two ways of writing it, and what is no bar."""

import math

import pytest

from panel.models.consumers.answers import QuestionFacts, question_facts, share_of_bar
from panel.study.study import Study

ABOUT = {
    **{"kind": "just_about_right", "words": "The thickness is", "low_end": "much too thin", "attribute": "RO_THICK"},
    **{"high_end": "much too thick", "bar": 60, "foil": True},
}


@pytest.mark.parametrize("questions", [[{"question": "thickness", **ABOUT}], {"thickness": ABOUT}])
def test_a_list_and_a_mapping_say_the_same(questions):
    found = question_facts(Study({}, {"questions": questions}), "just_about_right")
    assert list(found) == ["thickness"]
    about = found["thickness"]
    assert (about.words, about.low_end, about.high_end) == ("The thickness is", "much too thin", "much too thick")
    assert (about.attribute, about.opposite, about.foil, about.bar) == ("RO_THICK", False, True, 0.6)
    assert question_facts(Study({}, {"questions": questions}), "agreement") == {}


@pytest.mark.parametrize("questions", [None, "thickness", 3, [], [1, "a", {}], {"thickness": 2}])
def test_what_cannot_be_read_says_nothing(questions):
    found = question_facts(Study({}, {"questions": questions}), "liking")
    assert all(about.words == "" for about in found.values())


def test_opposite_has_to_be_said():
    entry = {"question": "a", "kind": "just_about_right", "attribute_runs": "opposite"}
    assert question_facts(Study({}, {"questions": [entry]}), "just_about_right")["a"].opposite


@pytest.mark.parametrize(("bar", "share"), [(50, 0.5), ("80", 0.8), (0, math.nan), (100, math.nan), ("x", math.nan)])
def test_a_bar_is_a_share_between_nothing_and_all(bar, share):
    assert share_of_bar(bar) == pytest.approx(share, nan_ok=True)
    assert math.isnan(share_of_bar(None))


@pytest.mark.parametrize(
    ("end", "side"),
    [
        ("much too thick", "too thick"), ("far too thick", "too thick"), ("a bit too thick", "too thick"),
        ("Slightly too thin", "too thin"), ("viel zu dick", "zu dick"), ("not thick enough", "not thick enough"),
    ],
)  # fmt: skip
def test_a_side_is_called_by_what_all_on_it_say(end, side):
    assert QuestionFacts(low_end=end).side(high=False) == QuestionFacts(high_end=end).side(high=True) == side
