"""Other words that a study states for an attribute: read as it, and told; never what is refused or something else.

Invented: a foot balm whose panel judged how far the foot slips in a sock.
"""

import pytest

from panel.claims.judge import judge_drafts, with_also_said
from panel.claims.study_names import other_words
from panel.claims.verdict import AS_WORDED
from panel.errors import StudyError
from tests.claims.claim_studies import panel_scores, seeded, study_with

SLIP = {
    "attribute": "SLIP", "name": "slipping in the sock", "minutes": 2.0, "direction": "less",
    "definition": "how far the foot slips in a cotton sock",
}  # fmt: skip
GREASE = {"attribute": "GREASE", "name": "greasy film", "minutes": 2.0, "direction": "less"}
STATEMENT = {"kind": "superiority", "prototype": "P1", "versus": "P2", "attribute": "SLIP", "direction": "less"}


def _study(also_said, of_grease=""):
    means = {"SLIP": {"P1": 20.0, "P2": 60.0}, "GREASE": {"P1": 40.0, "P2": 40.0}}
    told = [SLIP | {"also_said": also_said}, GREASE | {"also_said": of_grease}]
    return study_with([], scores=panel_scores(means, seeded()), attributes=told, roles={"P2": "benchmark"})


def _draft(study, sentence):
    (draft,) = judge_drafts(study, [STATEMENT | {"claim": sentence}])
    return draft


@pytest.mark.parametrize(
    "sentence",
    [
        "skates about less than our previous formula",
        "After 2 minutes, skates about less than our previous formula.",
        "feet skate about less in the sock than with our previous formula",
        "Trained assessors found that it skated about less than our previous formula.",
    ],
)
def test_a_sentence_in_the_words_that_the_study_states_is_supported_and_says_so(sentence):
    assert _draft(_study(""), sentence).verdict not in AS_WORDED
    draft = _draft(_study("skates about; foot drift"), sentence)
    assert draft.verdict in AS_WORDED
    assert [each for each in draft.reasons if each.startswith("“skates")] == [
        "“skates about” is read as this attribute, because the study states so."
    ]


@pytest.mark.parametrize(
    "sentence",
    ["skates about more than our previous formula", "never skates about", "skates about less than any other balm"],
)
def test_they_change_neither_direction_nor_comparison(sentence):
    assert _draft(_study("skates about"), sentence).verdict not in AS_WORDED


@pytest.mark.parametrize(
    "phrase",
    ["kills germs", "heals heels", "moisturising", "not greasy", "greasy", "greasy film", "less skating", "3 skates",
     "better than others", "soft skin", "slides", "hydration of the skin", "absorbs", "protects", "fades lines",
     "blisters", "swells", "costs", "pollutes", "twenty slides", "half a slide", "product needed", "effective",
     "greaseless", "bruises", "cramps", "injuries", "calluses", "numbness"],
)  # fmt: skip
def test_what_is_refused_or_says_something_else_stands_for_nothing(phrase):
    study = _study(f"{phrase}; skates about")
    assert other_words(study)["SLIP"] == (("skates about",), (phrase,))
    draft = _draft(study, f"{phrase} less than our previous formula")
    assert draft.verdict not in AS_WORDED


def test_words_stated_for_two_attributes_stand_for_neither():
    study = _study("skates about", of_grease="Skates about")
    assert other_words(study) == {"SLIP": ((), ("skates about",)), "GREASE": ((), ("Skates about",))}
    draft = _draft(study, "skates about less than our previous formula")
    assert draft.verdict not in AS_WORDED
    assert [each for each in draft.reasons if each.startswith("“skates")] == [
        "“skates about” is not read as this attribute, though the study states so: that counts, compares, denies, or "
        "says something else."
    ]


@pytest.mark.parametrize(
    "phrase",
    ["burns", "fills", "melts", "plastic", "athlete's foot", "stings", "muscles", "clogs pores", "brightens", "warts"],
)
def test_no_words_of_health_or_the_body_are_taken(phrase):
    with pytest.raises(StudyError, match="cannot be stated"):
        with_also_said(_study(""), "SLIP", phrase, "panel leader")


def test_a_refused_sentence_offers_its_words_and_is_read_when_they_are_stated():
    sentence = "skates about less than our previous formula"
    study = _study("")
    assert _draft(study, sentence).also_said == "skates about"
    assert _draft(study, "heals heels less than our previous formula").also_said == ""
    assert _draft(with_also_said(study, "SLIP", "skates about", "panel leader"), sentence).verdict in AS_WORDED
    with pytest.raises(StudyError, match="who states them"):
        with_also_said(study, "SLIP", "skates about", " ")
