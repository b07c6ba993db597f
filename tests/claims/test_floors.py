"""Bars, bases and answers returned below convention are refused. The floors are common practice, no source."""

import math

import pytest

from panel.claims.claim import _FACT, floor
from panel.claims.judge import judge_claims, judge_drafts
from panel.claims.verdict import CANNOT_TELL, IN_BATCHES, NOT_SUPPORTED, SUPPORTED, WITH_WORDING
from panel.errors import StudyError
from panel.study.knowledge import shared_table
from tests.claims.claim_studies import answer_rows, claim_row, panel_scores, seeded, study_with

SHARE = "agreed: it feels soft"
PRECISE = {"scatter": 2.0, "own_view": 1.0}


def judged(sentence, *, bar=50, **built):
    row = claim_row(sentence, "agreement", question="soft", bar=bar)
    return judge_claims(study_with([row], **built))


@pytest.mark.parametrize(
    ("agreed", "bar", "verdict"),
    [(27, 1, NOT_SUPPORTED), (50, 49, CANNOT_TELL), (50, 50, SUPPORTED), (5, 1, NOT_SUPPORTED)],
)
def test_a_bar_below_the_majority_is_refused(agreed, bar, verdict):
    found = judged(f"{100 * agreed // 58} % {SHARE}", bar=bar, answers=answer_rows(agreed, 58))
    assert found.claims["verdict"].iloc[0] == verdict
    assert ("lies below the least one (50 %)" in found.reasons["reason"].iloc[0]) == (bar < 50)


@pytest.mark.parametrize(("agreed", "verdict"), [(46, WITH_WORDING), (47, SUPPORTED)])  # 79.3 and 81.0 % of 58
def test_a_sentence_without_its_share_needs_four_in_five(agreed, verdict):
    found = judged("feels soft", answers=answer_rows(agreed, 58))
    assert found.claims["verdict"].iloc[0] == verdict
    if verdict == WITH_WORDING:
        assert found.claims["suggestion"].iloc[0] == "79 % agreed: “soft” (46 of 58)"
        said = judged(found.claims["suggestion"].iloc[0], answers=answer_rows(agreed, 58))
        assert said.claims["verdict"].iloc[0] == SUPPORTED


@pytest.mark.parametrize(("base", "verdict"), [(49, CANNOT_TELL), (50, SUPPORTED)])
def test_few_people_make_no_claim(base, verdict):
    found = judged(f"100 % {SHARE}", answers=answer_rows(base, base))
    assert found.claims["verdict"].iloc[0] == verdict
    assert ("a claim needs 50 or more" in found.reasons["reason"].iloc[0]) == (base == 49)


def served(n):
    return [
        {"session": "home", "assessor": f"C{i:04d}", "position": 1, "prototype": "P1", "code": "417"} for i in range(n)
    ]


def test_answers_that_did_not_come_back_are_counted_at_their_worst():
    found = judged(f"100 % {SHARE}", answers=answer_rows(60, 60), servings=served(100))
    assert found.claims["verdict"].iloc[0] == CANNOT_TELL
    assert "60 of 100 (60.0 %) who were given it answered" in found.reasons["reason"].iloc[0]
    found = judged(f"100 % {SHARE}", answers=answer_rows(60, 60), servings=served(70))
    assert found.claims["verdict"].iloc[0] == SUPPORTED
    worst = "If those who did not answer had all disagreed, 60 of 70 (85.7 %) would agree."
    assert worst in found.reasons["reason"].tolist()


def test_a_foil_is_never_claimed():
    facts = {"questions": [{"question": "soft", "words": "It feels soft.", "foil": True}]}
    found = judged("feels soft", answers=answer_rows(58, 58), facts=facts)
    assert found.claims["verdict"].iloc[0] == NOT_SUPPORTED
    assert found.claims["suggestion"].iloc[0] == ""
    assert any("The sentence is a foil" in reason for reason in found.reasons["reason"])


@pytest.mark.parametrize(("bar", "verdict"), [(33, IN_BATCHES), (60, CANNOT_TELL)])
def test_a_low_level_lies_in_the_lowest_third_of_the_scale(bar, verdict):
    scores = panel_scores({"GREASE": {"P1": 20, "P2": 40}}, seeded(), **PRECISE)
    row = claim_row("low greasy film in a trained-panel test", "perceived_attribute", attribute="GREASE", bar=bar)
    found = judge_claims(study_with([row], scores=scores))
    assert found.claims["verdict"].iloc[0] == verdict


def test_something_absent_lies_in_the_lowest_fifth_and_the_anchors_are_told():
    scores = panel_scores({"AF_GREASE": {"P1": 20, "P2": 40}}, seeded(), **PRECISE)
    row = claim_row(
        "non-greasy 2 minutes after rubbing in", "absolute_negative", attribute="AF_GREASE", question="none",
        bar=50, bar_panel=60, minutes=2,
    )  # fmt: skip
    facts = {"questions": [{"question": "none", "words": "It does not feel greasy."}]}
    built = {"scores": scores, "answers": answer_rows(58, 58, question="none"), "facts": facts}
    found = judge_claims(study_with([row], **built))
    assert found.claims["verdict"].iloc[0] == CANNOT_TELL
    assert "(anchors: bare skin near the low end, Petrolatum near the high one)" in found.reasons["reason"].iloc[0]


def test_a_study_may_only_be_stricter():
    for stated, least in ((90, 90), (10, 80), ("high", 80), (True, 80), (math.nan, 80)):
        assert floor(study_with([], facts={_FACT: {"least_share": stated}}), "least_share") == least
    assert floor(study_with([], facts={_FACT: {"most_absent": 10}}), "most_absent") == 10
    assert floor(study_with([], facts={_FACT: {"most_absent": 50}}), "most_absent") == 20
    assert shared_table("claim_floors")["floor"].is_unique


# --- drafts


def test_a_draft_records_nothing_and_is_not_held_back_by_the_clock():
    fixed = claim_row("most users agreed that it feels soft", "agreement", question="soft", bar=50)
    study = study_with([fixed], answers=answer_rows(50, 58))
    before = study.table("claims").copy()
    rows = [{"claim": "feels soft", "kind": "agreement", "prototype": "P1", "question": "soft", "bar": "50", "mine": 1}]
    (draft, twin) = judge_drafts(study, rows * 2)
    assert draft.verdict == twin.verdict == SUPPORTED
    assert any("a draft supports no claim" in reason for reason in draft.reasons)
    assert study.table("claims").equals(before)


def test_drafts_do_not_weigh_on_each_other_and_the_fixed_claims_do():
    answers = [*answer_rows(37, 60), *answer_rows(38, 60, question="dry")]
    fixed = claim_row("most users agreed that it feels dry", "agreement", question="dry", bar=50)
    rows = [{"claim": f"most users agreed that it feels soft{' ' * n}", "kind": "agreement", "prototype": "P1",
             "question": "soft", "bar": 50} for n in range(5)]  # fmt: skip
    assert {d.verdict for d in judge_drafts(study_with([], answers=answers), rows)} == {SUPPORTED}
    assert {d.verdict for d in judge_drafts(study_with([fixed], answers=answers), rows)} == {CANNOT_TELL}


def test_drafts_that_cannot_be_read():
    study = study_with([], answers=answer_rows(50, 58))
    with pytest.raises(StudyError, match="The drafts have no column claim"):
        judge_drafts(study, [{"sentence": "soft"}])
    with pytest.raises(StudyError, match="Row 1, column bar: 'half' is no number"):
        judge_drafts(study, [{"claim": "soft", "kind": "agreement", "bar": "half"}])
