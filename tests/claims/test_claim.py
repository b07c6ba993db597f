"""One claim read from its table: names, numbers, direction, and what keeps it from being judged."""

import math

import pytest

from panel.claims.claim import read_claims
from panel.claims.judge import judge_claims
from tests.claims.claim_studies import answer_rows, claim_row, panel_scores, seeded, study_with

SCORES = panel_scores({"GREASE": {"P1": 40, "P2": 50}}, seeded())


def read(*rows):
    return read_claims(study_with(rows, scores=SCORES, answers=answer_rows(5, 6)))


def test_a_claim_is_read_as_it_stands():
    row = claim_row("drier", "Absolute-Negative", attribute="GREASE", question="soft", bar=50, bar_panel=20, minutes=2)
    (claim,) = read(row)
    assert (claim.kind, claim.direction, claim.sign) == ("absolute_negative", "less", -1.0)
    assert (claim.bar, claim.bar_panel, claim.minutes) == (50, 20, 2)
    assert math.isnan(claim.margin)
    assert claim.problems == ()


def test_the_stated_direction_comes_before_the_wanted_one():
    (claim,) = read(claim_row("greasier than P2", "superiority", attribute="GREASE", versus="P2", direction="more"))
    assert claim.sign == 1.0


def test_competitors_are_a_list():
    row = claim_row("nothing is drier", "unsurpassed", attribute="GREASE", margin=5, competitors=" P2 ;; P2")
    assert read(row)[0].competitors == ("P2", "P2")


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ({"claim": "", "kind": "agreement", "question": "soft"}, "There is no sentence"),
        ({"kind": "best"}, "The kind 'best' is not known. Choose one of: agreement"),
        ({"kind": "parity", "versus": "P2", "attribute": "GREASE"}, "needs “margin”. Fill it in."),
        ({"kind": "unsurpassed", "attribute": "GREASE"}, "needs “competitors” and “margin”"),
        ({"kind": "superiority", "versus": "P9", "attribute": "GREASE"}, "The prototype 'P9' is not in the study"),
        (
            {"kind": "superiority", "versus": "P2", "attribute": "GREESE"},
            "The attribute 'GREESE' is not in the study. Choose among GREASE.",
        ),
        ({"kind": "agreement", "question": "dry"}, "Nobody answered the question 'dry'. Choose among soft"),
        ({"kind": "superiority", "versus": "P1", "attribute": "GREASE"}, "P1 is compared with itself"),
        ({"kind": "parity", "versus": "P2", "attribute": "GREASE", "margin": -3}, "The margin is −3; it must be above"),
        ({"kind": "agreement", "question": "soft", "bar": 120}, "The bar is 120; a share"),
    ],
)
def test_what_keeps_a_claim_from_being_judged_is_said(row, words):
    (claim,) = read(claim_row(**({"claim": "soft"} | row)))
    assert any(words in problem for problem in claim.problems), claim.problems


def test_an_attribute_without_a_wanted_direction_needs_one():
    study = study_with(
        [claim_row("shinier than P2", "superiority", attribute="GLOSS", versus="P2")],
        scores=panel_scores({"GLOSS": {"P1": 40, "P2": 50}}, seeded()),
        attributes=[{"attribute": "GLOSS", "direction": "describe"}],
    )
    assert "more or less of GLOSS" in read_claims(study)[0].problems[0]


def test_beyond_this_tool_needs_nothing_but_the_sentence():
    assert read(claim_row("repairs", "beyond_sensory", prototype=""))[0].problems == ()


def test_claims_are_those_of_the_table_in_its_order():
    rows = [claim_row("soft", "agreement", question="soft"), claim_row("nothing", "unsurpassed", competitors="P1; P2")]
    first, second = read(*rows)
    assert (first.claim, second.claim) == ("soft", "nothing")
    assert second.competitors == ("P1", "P2")


def test_one_bad_claim_does_not_keep_the_others_from_being_judged():
    rows = [claim_row("x", "nonsense"), claim_row("feels soft", "agreement", question="soft", prototype="P1")]
    found = judge_claims(study_with(rows, answers=answer_rows(50, 60))).claims
    assert list(found["verdict"]) == ["cannot tell yet", "supported as worded"]
