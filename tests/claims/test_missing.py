"""What is missing is named, kind by kind, and what is odd about the answers is said. Constructed studies."""

import pytest

from panel.claims.evidence import _count_votes
from panel.claims.judge import judge_claims
from panel.claims.materials import Materials
from panel.claims.verdict import CANNOT_TELL, IN_BATCHES, NOT_SUPPORTED, WITH_WORDING
from tests.claims.claim_studies import (
    answer_rows,
    claim_row,
    panel_scores,
    row_of,
    seeded,
    study_with,
    swapped_scores,
    time_rows,
    vote_rows,
)
from tests.formula_studies import ALKANE, BASE, CARBONATE, ISOSTEARATE, TRIGLYCERIDE, hand_cream_formulas

SCORES = panel_scores({"GREASE": {"P1": 10, "P2": 50}}, seeded(), scatter=2.0)
CHANGE = {"attribute": "GREASE", "versus": "P2"}
AMOUNTS = {"P1": BASE | {CARBONATE: 6.0}, "P2": BASE | {CARBONATE: 3.0, ALKANE: 3.0}, "P3": BASE | {ALKANE: 6.0}}
SITTINGS = CHANGE | {"session_before": "1", "session_after": "2"}


def needs(kind, row, **how):
    found = judge_claims(study_with([claim_row("said", kind, **row)], **how))
    assert found.claims["verdict"].iloc[0] == CANNOT_TELL
    return " ".join(found.needs["need"])


@pytest.mark.parametrize(
    ("kind", "row", "how", "words"),
    [
        ("superiority", {"versus": "P2"}, {"scores": SCORES}, "There are no preference answers about P1 and P2"),
        ("preference", {"versus": "P2"}, {"scores": SCORES}, "There are no preference answers about P1 and P2"),
        ("parity", {"margin": 5, "versus": "P2"}, {"scores": SCORES}, "There are no preference answers"),
        ("parity", {"margin": 5, "versus": "", "attribute": "GREASE"}, {"scores": SCORES}, "needs “compared with”"),
        ("unsurpassed", {"margin": 5, "competitors": "P2"}, {"scores": SCORES}, "There are no preference answers"),
        ("perceived_attribute", {"attribute": "GREASE"}, {"scores": SCORES}, "neither a bar nor anything to compare"),
        ("ranking", {"attribute": "GREASE"}, {"scores": SCORES, "roles": {"P2": "reference"}}, "no other prototype"),
        ("ranking", {"attribute": "GREASE", "competitors": "P2; P3"}, {"scores": SCORES, "roles": {"P3": "prototype"}},
         "P3 was not scored on GREASE."),
        ("time", {"attribute": "GREASE", "bar": 60}, {"scores": SCORES}, "GREASE was not measured in seconds"),
        ("time", {"attribute": "SINK", "bar": 60},
         {"scores": time_rows([30]), "attributes": [{"attribute": "SINK", "unit": "s"}]}, "1 people were timed"),
        ("duration", CHANGE | {"minutes": 60}, {"scores": SCORES, "roles": {"P2": "untreated"},
         "attributes": [{"attribute": "GREASE", "direction": "less"}]}, "Nothing says when GREASE was judged"),
        ("duration", CHANGE | {"minutes": 60, "versus": ""}, {"scores": SCORES}, "needs “compared with”"),
        ("duration", CHANGE | {"minutes": 2}, {"scores": SCORES}, "P2 is not an untreated control"),
        ("change_over_time", CHANGE, {"scores": SCORES, "roles": {"P2": "untreated"}}, "which sittings are before and"),
        ("change_over_time", SITTINGS, {"scores": SCORES, "roles": {"P2": "untreated"}}, "0 people judged P1 and P2"),
        ("absolute_negative", {"attribute": "GREASE", "question": "soft"}, {"scores": SCORES,
         "answers": answer_rows(9, 9), "attributes": [{"attribute": "GREASE", "direction": "less"}]},
         "No time is stated at which it must be absent"),
        ("agreement", {"question": "soft", "prototype": "P2"}, {"scores": SCORES, "answers": answer_rows(9, 9)},
         "Nobody answered 'soft' for P2"),
        ("agreement", {"question": "soft", "prototype": "P1"},
         {"answers": [row | {"kind": "just_about_right"} for row in answer_rows(9, 9)]},
         "9 people answered 'soft' for P1, and it is a question of another kind (just-about-right)"),
        ("absolute_negative", {"attribute": "GREASE", "question": "soft", "minutes": 2},
         {"scores": SCORES, "answers": [row | {"kind": "liking"} for row in answer_rows(9, 9)]},
         "a question of another kind (liking): its answers are not counted as agreement"),
        ("ingredient_attribution", {"attribute": "GREASE"}, {"scores": SCORES}, "The study has no formulas"),
        ("ingredient_attribution", {"attribute": "AF_GREASE", "prototype": "P2"},
         {"scores": swapped_scores(seeded(), (0, 0, 0)), "formulas": hand_cream_formulas()}, "No ingredient of the"),
        ("ingredient_attribution", {"attribute": "AF_GREASE", "prototype": "P4", "versus": "P1", "ingredient": ALKANE},
         {"scores": swapped_scores(seeded(), (0, 0, 0)), "formulas": hand_cream_formulas()},
         f"P4 and P1 do not differ by {ALKANE} alone"),
        ("ingredient_attribution", {"attribute": "AF_GREASE", "prototype": "P3", "versus": "P2", "ingredient": ALKANE},
         {"scores": swapped_scores(seeded(), (0, 0, 0)), "formulas": AMOUNTS},
         "P3 and P2 both have some of that swap made, and each amount is told beside the prototype without it."),
    ],
)  # fmt: skip
def test_what_is_missing_is_named(kind, row, how, words):
    assert words in needs(kind, row, **how)


def test_scores_that_cannot_be_modelled_are_no_evidence():
    same = [row | {"score": 50.0} for row in SCORES]
    words = needs("superiority", CHANGE, scores=same)
    assert words == "GREASE cannot be judged: every score is the same."


def test_changes_that_repeat_exactly_leave_nothing_to_judge_by():
    rows = [
        {
            "assessor": a,
            "prototype": p,
            "attribute": "GREASE",
            "score": 50.0 + 5 * (p == "P1") * (s == "2"),
            "session": s,
        }
        for a in ("A1", "A2", "A3")
        for p in ("P1", "P2")
        for s in ("1", "2")
    ]
    assert "changed by exactly the same" in needs("change_over_time", SITTINGS, scores=rows, roles={"P2": "untreated"})


def test_emollients_that_never_change_apart_get_no_credit():
    base = dict(BASE)
    creams = {
        "P1": base | {CARBONATE: 6.0, TRIGLYCERIDE: 5.0},
        "P2": base | {ALKANE: 6.0, ISOSTEARATE: 5.0},
    }
    scores = panel_scores({"AF_GREASE": {"P1": 50, "P2": 30}}, seeded(), scatter=2.0)
    row = claim_row("drier", "ingredient_attribution", attribute="AF_GREASE", prototype="P2", ingredient=ALKANE)
    found = judge_claims(study_with([row], scores=scores, formulas=creams))
    assert found.claims["verdict"].iloc[0] == NOT_SUPPORTED
    assert f"{ALKANE} never changes alone" in " ".join(found.reasons["reason"])


def test_the_sentence_names_the_ingredient_where_the_table_does_not():
    row = claim_row(
        f"less greasy thanks to {ALKANE.lower()}", "ingredient_attribution", attribute="AF_GREASE", prototype="P2"
    )
    study = study_with([row], scores=swapped_scores(seeded(), (-15, 0, 0)), formulas=hand_cream_formulas())
    assert row_of(study)["verdict"] == WITH_WORDING


def test_what_is_odd_about_the_answers_is_said():
    rows = answer_rows(40, 58, unknown=3)
    rows += [rows[0] | {"answer": "1"}, rows[-1] | {"answer": "perhaps", "assessor": "C9998"}]
    rows += answer_rows(6, 58, question="foil")
    served = [
        {"session": "home", "assessor": f"C{n:04d}", "position": 1, "prototype": "P1", "code": "417"} for n in range(63)
    ]
    facts = {"questions": [{"question": "foil", "words": "It smells of roses.", "foil": True}]}
    row = claim_row("feels soft", "agreement", question="soft")
    study = study_with([row], answers=rows, servings=served, facts=facts)
    told = Materials(study, ()).agreed("P1", "soft")
    assert (told.agreed, told.base, told.dont_know, told.unread, told.repeated, told.served) == (39, 59, 3, 1, 1, 63)
    text = " ".join(judge_claims(study).reasons["reason"])
    for words in (
        "3 people did not know; they stay in the base.",
        "1 answer could not be read; they stay in the base as not agreeing.",
        "1 answer of people who answered again",
        "63 people were given it and 4 of them did not answer",
        "6 of 58 (10.4 %) agreed with a sentence that is untrue",
    ):
        assert words in text


def test_votes_count_in_either_order_once_for_each_person():
    rows = vote_rows(3, 2, 1)
    turned = [row | {"prototype": "P2", "versus": "P1", "assessor": f"D{n}"} for n, row in enumerate(rows)]
    again = [rows[0] | {"answer": "P2"}, rows[1] | {"assessor": "E1", "answer": "P7"}]
    votes = _count_votes(study_with([], answers=[*rows, *turned, *again]), "P1", "P2")
    assert (votes.prototype, votes.versus, votes.neither, votes.unread, votes.repeated) == (5, 5, 2, 1, 1)
    assert votes.n == 12
    row = claim_row("preferred to P2 by more than half", "preference", versus="P2")
    text = " ".join(judge_claims(study_with([row], answers=[*rows, *again])).reasons["reason"])
    assert "1 answers named neither" in text
    assert "1 answers of people who answered again" in text


def test_a_usual_bar_is_said_to_be_one():
    row = claim_row(
        "non-greasy 2 minutes after rubbing in", "absolute_negative", attribute="GREASE", question="none", minutes=2
    )
    questions = [{"question": "none", "words": "It does not feel greasy."}]
    built = {"scores": SCORES, "answers": answer_rows(50, 58, question="none"), "facts": {"questions": questions}}
    found = judge_claims(study_with([row], **built))
    assert found.claims["verdict"].iloc[0] == IN_BATCHES
    assert "(the usual bar: none was stated)" in found.reasons["reason"].iloc[0]
    untimed = claim_row("non-greasy", "absolute_negative", attribute="GREASE", question="none", minutes=2)
    found = judge_claims(study_with([untimed], **built))
    assert found.claims["verdict"].iloc[0] == WITH_WORDING
    assert found.claims["suggestion"].iloc[0] == "non-greasy 2 minutes after rubbing in"


def test_a_usual_bar_takes_a_scale_that_is_known():
    row = {"attribute": "GREASE", "question": "soft", "minutes": 2}
    how = {"scores": SCORES, "answers": answer_rows(30, 30)}
    words = needs("absolute_negative", row, facts={"scale_min": None, "scale_max": None}, **how)
    assert "does not say where the scale of GREASE begins and ends, so the usual bar is not known" in words
    # a mean of 10 lies below a fifth of 0 to 100, and not below a fifth of 0 to 15
    claim = claim_row("non-greasy 2 minutes after use", "absolute_negative", **row)
    long, short = (
        judge_claims(study_with([claim], facts={"scale_min": 0, "scale_max": end}, **how)) for end in (100, 15)
    )
    assert [found.numbers["limit_high"].iloc[0] for found in (long, short)] == [20.0, 3.0]
