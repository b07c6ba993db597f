"""For and against: all data of a study that bear on a claim's word, each on its side. The rules are ours, no source."""

from dataclasses import replace

import numpy as np
import pytest

from panel.checks.finding import read_dates
from panel.claims.judge import judge_claims, judge_drafts
from panel.claims.verdict import _NEITHER, AGAINST, CONTRARY, FOR, IN_BATCHES, SUPPORTED, _same_place, _things
from tests.blend_studies import DEMO
from tests.claims.claim_studies import answer_rows, claim_row, panel_scores, seeded, study_with

WORDS = "The cream does not leave my hands feeling greasy."
ASKED = [{"question": "hands", "kind": "agreement", "words": WORDS}]
CLAIM = claim_row("does not leave hands feeling greasy", "agreement", question="hands", bar=50)
LESS = claim_row("less greasy than our previous cream", "superiority", versus="P2", attribute="GREASE")
GREASE = [{"attribute": "GREASE", "name": "greasy film", "direction": "less", "minutes": 2.0}]
YES = answer_rows(55, 60, question="hands")


def scored(p1, p2=60.0):
    truth = {"GREASE": {"P1": p1, "P2": p2}}
    return {"scores": panel_scores(truth, seeded(), scatter=2.0, own_view=1.0), "attributes": GREASE}


def marks(kind, question, *of_prototypes, values=("1", "0")):
    """Rows of (prototype, how many give the first value, of how many)."""
    return [
        {
            "assessor": f"C{number:04d}",
            "prototype": prototype,
            "question": question,
            "kind": kind,
            "answer": values[0] if number < many else values[1],
        }
        for prototype, many, base in of_prototypes
        for number in range(base)
    ]


def judged(claim, answers=(), questions=(), **how):
    study = study_with([claim], answers=[*YES, *answers], facts={"questions": [*ASKED, *questions]}, **how)
    return judge_claims(study)


def sides(found, source=""):
    rows = found.bearing if not source else found.bearing.loc[found.bearing["source"] == source]
    return list(rows["side"])


def verdict(found):
    return found.claims["verdict"].iloc[0]


def test_what_users_say_against_what_the_panel_found():
    found = judged(CLAIM, **scored(43))
    assert verdict(found) == CONTRARY
    assert sides(found) == [AGAINST]
    reason = found.reasons["reason"].iloc[0]
    assert reason.startswith("Against it: trained panel, greasy film: 4")
    assert "of 100" in reason


def test_a_mean_below_the_floor_of_what_is_absent_speaks_for_it():
    found = judged(CLAIM, **scored(5, 40))
    assert (verdict(found), sides(found)) == (SUPPORTED, [FOR])


def test_a_mean_about_the_floor_takes_no_side():
    found = judged(CLAIM, **scored(20, 40))
    assert (verdict(found), sides(found)) == (SUPPORTED, [_NEITHER])


@pytest.mark.parametrize(
    ("sentence", "side"),
    [
        ("less greasy after 2 minutes than our previous cream", _NEITHER),
        ("less greasy than our previous cream", AGAINST),
    ],
)
def test_what_was_judged_at_another_moment_is_against_a_sentence_that_does_not_say_when(sentence, side):
    later = {"attribute": "LATER", "name": "greasy film", "direction": "less", "minutes": 240.0}
    truth = {"GREASE": {"P1": 30.0, "P2": 60.0}, "LATER": {"P1": 60.0, "P2": 30.0}}
    scores = panel_scores(truth, seeded(), scatter=2.0, own_view=1.0)
    claim = claim_row(sentence, "superiority", versus="P2", attribute="GREASE", minutes=2)
    found = judge_claims(study_with([claim], scores=scores, attributes=[*GREASE, later]))
    (what,) = found.bearing["what"]
    assert (sides(found), what.startswith("greasy film at 4 h: +")) == ([side], True)


def test_an_attribute_of_another_word_does_not_bear():
    truth = {"SOFT": {"P1": 90.0, "P2": 50.0}}
    named = [{"attribute": "SOFT", "name": "softness", "direction": "more"}]
    found = judged(CLAIM, scores=panel_scores(truth, seeded()), attributes=named)
    assert found.bearing.empty


@pytest.mark.parametrize(("ticked", "side"), [(30, AGAINST), (2, FOR), (10, _NEITHER)])
def test_the_contrary_tick(ticked, side):
    found = judged(CLAIM, marks("check_all", "greasy", ("P1", ticked, 60)))
    assert sides(found) == [side]
    assert verdict(found) == (CONTRARY if side == AGAINST else SUPPORTED)
    assert found.bearing["what"].iloc[0].startswith(f"ticked “greasy”: {ticked} of 60 (")


def test_a_word_of_contrary_meaning_turns_the_side():
    found = judged(CLAIM, marks("check_all", "dry touch", ("P1", 50, 60)))
    assert sides(found) == [FOR]


@pytest.mark.parametrize(("mine", "theirs", "side"), [(10, 40, FOR), (40, 10, AGAINST), (20, 21, _NEITHER)])
def test_a_comparison_looks_at_ticks_of_both(mine, theirs, side):
    ticks = marks("check_all", "greasy", ("P1", mine, 60), ("P2", theirs, 60))
    found = judged(LESS, ticks, **scored(30))
    assert sides(found) == [side]  # the attribute that it rests on is no second evidence
    assert verdict(found) == (CONTRARY if side == AGAINST else IN_BATCHES)
    batch = found.reasons["reason"].str.contains("The panel speaks in these batches alone")
    assert batch.any() == (side == AGAINST)


@pytest.mark.parametrize(("agreed", "side"), [(50, AGAINST), (5, FOR), (30, _NEITHER)])
def test_another_question_of_the_same_word(agreed, side):
    asked = [{"question": "film", "kind": "agreement", "words": "The cream leaves a greasy film."}]
    found = judged(CLAIM, answer_rows(agreed, 60, question="film"), asked)
    assert sides(found) == [side]


def test_a_foil_is_no_evidence():
    asked = [{"question": "film", "kind": "agreement", "words": "The cream leaves a greasy film.", "foil": True}]
    assert judged(CLAIM, answer_rows(50, 60, question="film"), asked).bearing.empty


@pytest.mark.parametrize(("value", "side"), [("5", AGAINST), ("1", _NEITHER), ("3", _NEITHER)])
def test_too_much_of_what_is_denied(value, side):
    facts = [{"question": "film", "kind": "just_about_right", "words": "The film is", "attribute": "GREASE"}]
    rows = marks("just_about_right", "film", ("P1", 30, 60), values=(value, "3"))
    found = judged(CLAIM, rows, facts, attributes=GREASE)
    assert sides(found) == [side]


def test_a_reading_that_the_sentence_names():
    words = "The cream left no mark on the paper I handled."
    claim = claim_row("left no mark on the paper I handled", "agreement", question="paper", bar=50)
    asked = [{"question": "paper", "kind": "agreement", "words": words}]
    blot = [{"prototype": "P1", "measure": "paper blot", "unit": "mg", "value": v} for v in (1.36, 1.54, 1.47)]
    found = judged(claim, answer_rows(55, 60, question="paper"), asked, readings=blot)
    assert verdict(found) == CONTRARY
    assert found.bearing["what"].tolist() == ["paper blot: 1.46 mg (n = 3), so not none"]
    clean = [row | {"value": v} for row, v in zip(blot, (0.0, 0.02, -0.01), strict=True)]
    found = judged(claim, answer_rows(55, 60, question="paper"), asked, readings=clean)
    assert (verdict(found), sides(found)) == (SUPPORTED, [_NEITHER])


def test_less_than_another_is_not_none():
    row = {"kind": "superiority", "prototype": "P4", "versus": "P1", "attribute": "AF_GREASE", "direction": "less"}
    claim = row | {"claim": "left less of a greasy film than our previous hand cream"}
    (draft,) = judge_drafts(DEMO, [claim])  # an instrument read film tack
    assert (draft.verdict, [each for each in draft.reasons if "so not none" in each]) == (IN_BATCHES, [])


@pytest.mark.parametrize(
    "claim",
    [
        "In a blind test with ten trained assessors, it felt less greasy than our previous hand cream.",
        "Less greasy than our previous hand cream (trained panel, blind).",
        "Our trained assessors, without knowing which was which, found it less greasy than our previous hand cream.",
    ],
)
def test_a_test_was_blind_where_the_plan_gives_codes_and_the_key_stayed_shut(claim):
    row = {"kind": "superiority", "prototype": "P4", "versus": "P1", "attribute": "AF_GREASE", "direction": "less"}
    servings = DEMO.tables["servings"]
    named = {**DEMO.tables, "servings": servings.assign(code=servings["prototype"])}
    without = {name: table for name, table in DEMO.tables.items() if name != "servings"}
    days = np.sort(read_dates(DEMO.scores["recorded_at"]).days)
    opened = [replace(DEMO, facts={**DEMO.facts, "unblinded_on": str(day)}) for day in (days[-1], days[-1] - 1)]
    studies = (DEMO, opened[0], replace(DEMO, tables=named), replace(DEMO, tables=without), opened[1])
    drafts = [judge_drafts(study, [row | {"claim": claim}])[0] for study in studies]
    assert [draft.verdict == IN_BATCHES for draft in drafts] == [True, True, False, False, False]
    assert all(any("another kind of test" in reason for reason in draft.reasons) for draft in drafts[2:])


@pytest.mark.parametrize(
    "claim",
    ["Less greasy than our previous hand cream for blind people", "Less greasy in a blind test at home than before",
     "Not tested blind: less greasy than our previous hand cream", "Blinds less than our previous hand cream"],
)  # fmt: skip
def test_other_words_for_blind_are_not_covered(claim):
    row = {"kind": "superiority", "prototype": "P4", "versus": "P1", "attribute": "AF_GREASE", "direction": "less"}
    assert judge_drafts(DEMO, [row | {"claim": claim}])[0].verdict not in (SUPPORTED, IN_BATCHES, CONTRARY)


STAGES = [
    ("PU_FIRM", "less", "On pick-up, the new cream is less firm than our previous hand cream", True),
    ("PU_FIRM", "less", "P4 was judged less firm than P1 at the pick-up stage", True),
    ("RO_SPREAD", "more", "During rub-out, it was easier to spread than our previous hand cream", True),
    ("AF_GREASE", "less", "Less greasy in the after-feel than our previous hand cream", True),
    ("AF_GREASE", "less", "Less greasy during rub-out than our previous hand cream", False),
    ("AF_STICK", "less", "Less sticky on pick-up than our previous hand cream", False),
    ("AF_STICK", "less", "Less sticky in the later after-feel than our previous hand cream", False),
    ("AF_STICK", "less", "Less sticky at any stage than our previous hand cream", False),
    ("PU_FIRM", "less", "Less firm on every pick-up than our previous hand cream", False),
    ("PU_FIRM", "less", "More firm on pick-up than our previous hand cream", False),
]


@pytest.mark.parametrize(("attribute", "direction", "claim", "may"), STAGES)
def test_a_stage_of_judging_may_be_told_where_it_is_the_attributes_own(attribute, direction, claim, may):
    row = {"kind": "superiority", "prototype": "P4", "versus": "P1", "attribute": attribute, "direction": direction}
    assert (judge_drafts(DEMO, [row | {"claim": claim}])[0].verdict == IN_BATCHES) is may


def test_a_draft_is_held_against_the_same_evidence():
    study = study_with([], answers=YES, facts={"questions": ASKED}, **scored(43))
    row = {"claim": "does not leave hands feeling greasy", "kind": "agreement", "prototype": "P1", "question": "hands"}
    (draft,) = judge_drafts(study, [row])
    assert draft.verdict == CONTRARY
    assert any(words.startswith("Against it: trained panel") for words in draft.reasons)


@pytest.mark.parametrize(
    ("name", "definition", "bears"),
    [
        ("oily residue on the towel", "oil left on a white towel after the bath", False),
        ("transfer to a white tissue", "", False),
        ("greasy film", "mark left on dark glass", False),
        ("greasy film", "oily layer felt between finger and skin", True),
    ],
)
def test_what_is_left_on_a_thing_does_not_bear_on_the_skin(name, definition, bears):
    attributes = [{"attribute": "GREASE", "name": name, "definition": definition, "direction": "less"}]
    how = {**scored(43), "attributes": attributes}
    found = judged(CLAIM, **how)
    assert sides(found) == ([AGAINST] if bears else [])


@pytest.mark.parametrize(
    ("claim", "judged_on", "same"),
    [
        ("leaves no grease on your towel", "oil left on a dry cloth", True),
        ("leaves no grease on paper", "transfer to a white tissue", True),
        ("leaves no grease on paper", "prints on the floor", False),
        ("leaves no greasy prints on the floor", "greasy film", False),
        ("is not greasy", "greasy film", True),
    ],
)
def test_things_are_compared_with_things_and_the_skin_with_the_skin(claim, judged_on, same):
    assert _same_place(_things(claim), _things(judged_on)) == same


def test_a_sentence_that_is_not_read_whole_has_nothing_against_it():
    words = "A little of it goes a long way."
    claim = claim_row("a little of it goes a long way", "agreement", question="little", bar=50)
    asked = [{"question": "little", "kind": "agreement", "words": words}]
    soaking = [{"attribute": "SOAK", "name": "absorption", "direction": "more", "minutes": 2.0}]
    scores = panel_scores({"SOAK": {"P1": 80.0, "P2": 40.0}}, seeded(), scatter=2.0, own_view=1.0)
    found = judged(claim, answer_rows(55, 60, question="little"), asked, scores=scores, attributes=soaking)
    assert found.bearing.empty


@pytest.mark.parametrize(("seconds", "side"), [((40.0, 80.0), FOR), ((80.0, 40.0), AGAINST)])
def test_fewer_seconds_speak_for_a_sentence_on_speed(seconds, side):
    """The panel scored how fast it soaks in, and the seconds were taken beside it: the less time, the faster."""
    truth = {"FAST": {"P1": 70.0, "P2": 40.0}, "TIME": dict(zip(("P1", "P2"), seconds, strict=True))}
    attributes = [
        {"attribute": "FAST", "name": "speed of soaking in", "direction": "more"},
        {"attribute": "TIME", "name": "time to soak in", "direction": "less", "unit": "s"},
    ]
    claim = claim_row("soaks in faster than our previous cream", "superiority", versus="P2", attribute="FAST")
    scores = panel_scores(truth, seeded(), scatter=2.0, own_view=1.0)
    assert sides(judge_claims(study_with([claim], scores=scores, attributes=attributes))) == [side]
