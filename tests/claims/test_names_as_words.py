"""More of what an attribute is called may be said of it, whatever word of the bench it is called by."""

import pytest

from panel.claims.judge import judge_drafts
from panel.claims.verdict import AS_WORDED
from tests.claims.claim_studies import panel_scores, seeded, study_with

# Common practice, no source: names that laboratories give to what they score.
NAMES = [
    "Glide", "Spread", "Absorption", "Soaking in", "Slip", "Drag", "Tack", "Spreadability", "Oily film", "Greasy feel",
    "Residue", "Absorbency", "Richness", "Playtime", "Cushion", "Body", "White cast", "Lightness", "Velvety feel",
    "Cling", "Pick-up", "Foam volume", "Odour intensity", "Pilling", "Dry touch", "Glide on skin",
    "Stickiness after 5 min",
]  # fmt: skip


def judged(name, *claims, definition="", **row):
    scores = panel_scores({name: {"P1": 70.0, "P2": 40.0}}, seeded(), scatter=4.0, own_view=1.0)
    listed = [{"attribute": name, "name": "", "direction": "", "definition": definition}]
    study = study_with([], scores=scores, attributes=listed, names={"P2": ""})
    row = {"kind": "superiority", "prototype": "P1", "versus": "P2", "attribute": name, "direction": "more"} | row
    return [draft.verdict in AS_WORDED for draft in judge_drafts(study, [row | {"claim": claim} for claim in claims])]


@pytest.mark.parametrize("name", NAMES)
def test_more_of_the_name_may_be_said(name):
    said = name[0].lower() + name[1:]
    assert judged(name, f"more {said} than P2", f"higher {said} than P2", f"less {said} than P2") == [True, True, False]


def test_a_name_that_is_a_verb_is_said_as_one():
    said = ["its glide is higher than that of P2", "scored higher in glide than P2", "glide: higher than P2",
            "glides more than P2", "glides more easily than P2", "more glide as you rub it in than P2"]  # fmt: skip
    assert judged("Glide", *said) == [True] * 6
    refused = [
        "no more glide than P2", "twice the glide of P2", "more glide than any cream",
        "the hand glides more than with P2", "more glide with oils than P2", "makes the comb glide more than P2",
        "more glide after an hour than P2",
        "lasting glide, more than P2", "more glide than P2 and softer", "glides more than P2 on hair",
        "it glides faster than P2", "its glide lasts longer than P2", "the glide of the hand is higher than with P2",
        "the glide of P2 is higher", "its glide is the highest", "higher in glide and softness than P2",
        "in glide it is like P2", "the highest glide of any cream",
    ]  # fmt: skip
    assert judged("Glide", *refused) == [False] * len(refused)


def test_more_absorption_is_no_higher_speed_of_it():
    refused = ["more absorption of actives than P2", "absorbs more moisture than P2", "deeper absorption than P2"]
    assert judged("Absorption", *refused) == [False] * 3
    faster = "absorbs faster than P2"
    told = ["more absorption than P2", "absorbs more than P2", faster]
    assert judged("Absorption", *told, definition="how soon the sample is gone from the surface") == [
        False,
        False,
        True,
    ]


@pytest.mark.parametrize("name", ["Glide", "Playtime", "Cushion", "Foam volume", "Crackling", "Stickiness"])
def test_not_as_much_of_the_name_is_less_of_it(name):
    said = name[0].lower() + name[1:]
    less = {"prototype": "P2", "versus": "P1", "direction": "less"}
    told = [f"not as much {said} as P1", f"as much {said} as P1", f"no less {said} than P1", f"not as much {said}"]
    assert judged(name, *told, **less) == [True, False, False, False]


@pytest.mark.parametrize("name", ["Glide", "Playtime", "Cushion", "Foam volume", "Stickiness"])
def test_the_name_is_read_wherever_a_noun_stands(name):
    said = name[0].lower() + name[1:]
    told = [f"scored lower in {said} than P1", f"our trained panel scored it lower for {said} than P1"]
    less = {"prototype": "P2", "versus": "P1", "direction": "less"}
    assert judged(name, *told, **less) == [True] * 2
    other = [f"matches P1 in {said}", f"{said} no different from P1", f"scored higher in {said} than P1"]
    assert judged(name, *other, **less) == [False] * 3
