"""What minutes count from is what the name of the attribute or the study says: rinsing, drying; else rubbing in.

The sentences were sorted into true and false by hand before any was read. Common practice, no source.
"""

import math

import pytest

from panel.claims.judge import judge_claims
from panel.claims.parts import forms_of
from panel.study.naming import judged_after, judged_minutes, moment_words, when_judged
from tests.claims.claim_studies import answer_rows, claim_row, panel_scores, seeded, study_with, words_judge

THAN = "than our previous cleansing balm"


def study_of(name, minutes=math.nan, facts=None, claims=(), question=""):
    scores = panel_scores({"X": {"P1": 8, "P2": 50}}, seeded(), replicates=3)
    asked = {"questions": [{"question": "q", "words": question}]} if question else {}
    return study_with(
        claims,
        scores=scores,
        answers=answer_rows(91, 100, question="q") if question else (),
        facts={"title": "Cleansing balm", **asked, **(facts or {})},
        names={"P2": "previous cleansing balm"},
        attributes=[{"attribute": "X", "name": name, "direction": "less", "minutes": minutes}],
    )


def judge_of(*how, **more):
    return words_judge(
        study_of(*how, **more), claim_row("x", "superiority", attribute="X", versus="P2", direction="less")
    )


@pytest.mark.parametrize(
    ("name", "words", "minutes", "after"),
    [
        ("tightness 10 minutes after drying", "tightness", 10, "after drying"),
        ("Tightness (10 min after drying)", "Tightness", 10, "after drying"),
        ("oily film after rinsing", "oily film", math.nan, "after rinsing"),
        ("softness after rinsing at 5 min", "softness", 5, "after rinsing"),
        ("shine 2 h after blow-drying", "shine", 120, "after blow-drying"),
        ("stickiness once dry", "stickiness", math.nan, "once dry"),
        ("greasy after 5 min", "greasy", 5, ""),
        ("greasy after five minutes", "greasy after five minutes", math.nan, ""),
        ("oily after-feel", "oily after-feel", math.nan, ""),
        ("waxy after feel", "waxy after feel", math.nan, ""),
        ("colour after a day", "colour after a day", math.nan, ""),
    ],
)
def test_the_name_of_an_attribute_may_hold_its_moment(name, words, minutes, after):
    found = moment_words(name)
    assert (found[0], found[2]) == (words, after)
    assert found[1] == pytest.approx(minutes, nan_ok=True)


@pytest.mark.parametrize(
    ("name", "minutes", "moment", "after", "when"),
    [
        ("greasy film", 2, None, "after rubbing in", "2 min after rubbing in"),
        ("greasy film", 0, None, "after rubbing in", "right after rubbing in"),
        ("greasy film", math.nan, None, "after rubbing in", ""),
        ("greasy film", 2, "after rinsing", "after rinsing", "2 min after rinsing"),
        ("greasy film", 2, "the last stroke", "after the last stroke", "2 min after the last stroke"),
        ("greasy film", math.nan, "after rinsing", "", ""),  # judged while massaging, perhaps: nothing ties it to that
        ("tightness after drying", 10, "after rinsing", "after drying", "10 min after drying"),
        ("tightness after drying", 0, None, "after drying", "right after drying"),
        ("tightness after drying", math.nan, None, "after drying", "after drying"),
    ],
)
def test_the_study_states_the_moment_of_all_others(name, minutes, moment, after, when):
    study = study_of(name, minutes, {"moment": moment} if moment else None)
    at = judged_minutes(study, "X")
    assert (judged_after(study, "X"), when_judged(study, "X", at, f"{at:g} min")) == (after, when)


DRYING = (
    f"Ten minutes after drying, skin feels less tight {THAN}", f"Skin feels less tight 10 minutes after drying {THAN}",
    f"Once dry, skin feels less tight {THAN}", f"10 min after you have dried your skin, it feels less tight {THAN}",
    f"Skin feels less tight 10 min after it has been dried {THAN}", f"Skin feels less tight {THAN}",
    f"Skin feels less tight 10 minutes later {THAN}", f"Skin feels less tight 10 min after the end of drying {THAN}",
)  # fmt: skip
NOT_DRYING = (
    f"Skin feels less tight 10 minutes after rubbing in {THAN}", f"Skin feels less tight 10 minutes after use {THAN}",
    f"Skin feels less tight 10 minutes after rinsing {THAN}", f"Once rinsed off, skin feels less tight {THAN}",
    f"Skin feels less tight right after drying {THAN}", f"Skin feels less tight 20 minutes after drying {THAN}",

    f"Apply the balm, and 10 minutes later skin feels less tight {THAN}", f"Skin feels less tight before drying {THAN}",
    f"Skin feels less tight while drying {THAN}",
    f"Once the balm has dried, skin feels less tight {THAN}", f"Skin feels less tight 10 minutes after washing {THAN}",
    f"Skin feels less tight 10 minutes after towel-drying {THAN}", f"Skin feels less tight once not dry {THAN}",
    f"Skin feels less tight 10 minutes after a shower {THAN}", f"When you apply it, skin feels less tight {THAN}",
    f"Skin feels less tight for 10 minutes after drying {THAN}", f"Skin feels less tight on application {THAN}",
    f"After drying and after use, skin feels less tight {THAN}", f"Hands feel less tight once your hands dry {THAN}",
)  # fmt: skip
RINSING = (
    f"Leaves less oily film after rinsing {THAN}", f"Less oily film right after rinsing {THAN}",
    f"After you have rinsed it off, it leaves less oily film {THAN}", f"Once rinsed off, less greasy {THAN}",
    f"Immediately after rinsing off the balm, skin has less oily film {THAN}", f"Less greasy after the rinse {THAN}",
    f"Once you rinse it off, it leaves a less oily film {THAN}", f"Leaves less oily film {THAN}",
)  # fmt: skip
NOT_RINSING = (
    f"Less oily film after rubbing in {THAN}", f"Less oily film after use {THAN}", f"Less oily film once dry {THAN}",
    f"Less oily film 10 minutes after rinsing {THAN}", f"Less oily film before rinsing {THAN}",
    f"Less oily film while rinsing {THAN}", f"Less oily film after wiping it off {THAN}",
    f"Less oily film hours after rinsing {THAN}", f"Less oily film after application {THAN}",
    f"Less oily film without rinsing {THAN}", f"Less oily film once it has not been rinsed off {THAN}",
)  # fmt: skip


@pytest.mark.parametrize(
    ("how", "true", "false"),
    [
        (("tightness 10 minutes after drying", 10), DRYING, NOT_DRYING),
        (("tightness 10 minutes after drying",), DRYING, NOT_DRYING),
        (("tightness", 10, {"moment": "after drying"}), DRYING, NOT_DRYING),
        (("oily film after rinsing", 0), RINSING, NOT_RINSING),
        (("oily film", 0, {"moment": "rinsing off"}), RINSING, NOT_RINSING),
        (
            ("stickiness", 2, {"moment": "after licking"}),
            (f"Less sticky 2 minutes after licking {THAN}", f"Less sticky once licked {THAN}"),
            (f"Less sticky 2 minutes after rubbing in {THAN}", f"Less sticky once wiped {THAN}"),
        ),
        (
            ("stickiness", 2, {"moment": "after foaming up"}),  # not in the table of words: said as the study says it
            (f"Less sticky 2 minutes after foaming up {THAN}", f"Less sticky {THAN}"),
            (f"Less sticky 2 minutes after rubbing in {THAN}", f"Less sticky 2 minutes after foaming {THAN}"),
        ),
        (
            ("stickiness", 2, {"moment": "after towel-drying"}),
            (f"Less sticky 2 minutes after towel-drying {THAN}", f"Less sticky after drying {THAN}"),
            (f"Less sticky 2 minutes after blow-drying {THAN}", f"Less sticky after rubbing in {THAN}"),
        ),
        (
            ("stickiness", 2, {"moment": "after application"}),
            (f"Less sticky 2 minutes after rubbing in {THAN}", f"Less sticky after use {THAN}"),
            (f"Less sticky 2 minutes after rinsing {THAN}", f"Less sticky once dry {THAN}"),
        ),
        (
            ("stickiness", 2),
            (f"Less sticky 2 minutes after rubbing in {THAN}", f"Less sticky 2 minutes after use {THAN}"),
            (f"Less sticky 2 minutes after rinsing {THAN}", f"Less sticky once dry {THAN}",
             f"Less sticky after swimming {THAN}", f"Less sticky right after rubbing in {THAN}"),
        ),
        (
            ("stickiness", math.nan, {"moment": "after rinsing"}),
            (f"Less sticky {THAN}",),
            (f"Less sticky after rinsing {THAN}", f"Less sticky after rubbing in {THAN}"),
        ),
    ],
)  # fmt: skip
def test_a_sentence_may_name_that_moment_and_no_other(how, true, false):
    holds = judge_of(*how)
    assert [sentence for sentence in true if not holds(sentence)] == []
    assert [sentence for sentence in false if holds(sentence)] == []


WHEN = ("after", "once", "when", "as soon as")
RINSED = ("it has been rinsed off", "you have rinsed it off", "the balm has been rinsed off", "they have rinsed it off")
OTHERWISE = (
    "it has been rubbed in", "you have applied it", "the balm has been wiped off", "they have rinsed their hair",
    "it has not been rinsed off", "it has dried", "you have rubbed off the balm", "the bath has been rinsed off",
)  # fmt: skip


@pytest.mark.parametrize("when", WHEN)
def test_however_it_is_joined_what_had_happened_is_read(when):
    """By the grammar of English: each conjunction of time before a clause in the perfect, first or last."""
    holds = judge_of("oily film after rinsing", 0)
    frames = ("{when} {what}, skin has less oily film {than}", "Less oily film {than} {when} {what}")
    true, false = (
        [frame.format(when=when, what=what, than=THAN) for what in told for frame in frames]
        for told in (RINSED, OTHERWISE)
    )
    assert [sentence for sentence in true if not holds(sentence)] == []
    assert [sentence for sentence in false if holds(sentence)] == []


ABSENT = {"attribute": "X", "question": "q", "bar": 50, "bar_panel": 20}
NO_FILM = "The balm leaves no oily film."


@pytest.mark.parametrize(
    ("how", "offered"),
    [
        (("oily film after rinsing", 0), "non-greasy right after rinsing"),
        (("oily film after rinsing",), "non-greasy after rinsing"),
        (("oily film", 5, {"moment": "after rinsing"}), "non-greasy 5 minutes after rinsing"),
        (("oily film", 0), "non-greasy right after rubbing in"),
        (("tightness 10 minutes after drying",), "no tightness 10 minutes after drying"),
    ],
)
def test_what_is_absent_is_offered_with_its_moment(how, offered):
    question = NO_FILM if "film" in how[0] else "I feel no tightness."
    claims = [claim_row(words, "absolute_negative", **ABSENT) for words in ("something else", offered)]
    found = judge_claims(study_of(*how, claims=claims, question=question)).claims
    assert found["suggestion"].iloc[0] == offered
    assert found["verdict"].iloc[1].startswith("supported as worded")


def test_a_time_of_nought_is_not_asked_as_a_number():
    study = study_of("oily film after rinsing", 0, question=NO_FILM)
    holds = words_judge(study, claim_row("x", "absolute_negative", **ABSENT))
    assert all(
        map(
            holds,
            ("No oily film after rinsing", "Leaves no oily film right after rinsing", "No oily film once rinsed off"),
        )
    )
    assert not any(map(holds, ("No oily film", "No oily film 0 minutes after rubbing in", "No oily film after use")))
    later = study_of("oily film after rinsing", 5, question=NO_FILM)
    assert not words_judge(later, claim_row("x", "absolute_negative", **ABSENT))("No oily film after rinsing")


def test_no_time_at_all_is_asked_for():
    claim = claim_row("no oily film", "absolute_negative", **ABSENT)
    found = judge_claims(study_of("oily film", claims=[claim], question=NO_FILM))
    assert "No time is stated at which it must be absent. Fill in minutes." in set(found.needs["need"])


def test_the_moment_that_people_were_asked_about_belongs_into_the_sentence():
    study = study_of("stickiness", 2, question="My skin does not feel sticky once the balm has dried.")
    holds = words_judge(study, claim_row("x", "agreement", question="q", bar=50))
    for true in (
        "Once dry, it does not feel sticky", "My skin does not feel sticky once the balm is dry",
        "91 % of users said their skin does not feel sticky once the balm has dried",
    ):  # fmt: skip
        assert holds(true), true
    for false in (
        "My skin does not feel sticky", "It does not feel sticky after use", "Once rinsed off, it does not feel sticky",
        "Once your skin is dry, it does not feel sticky", "It does not feel sticky before it has dried",
        "91 % of users said that, once dried off, they do not feel sticky",
        "After swimming, once the balm has dried, my skin does not feel sticky",
    ):  # fmt: skip
        assert not holds(false), false


def test_what_is_wrong_is_told_in_the_words_of_the_sentence():
    claim = claim_row(
        f"Skin feels less tight 20 minutes after rinsing {THAN}",
        "superiority",
        attribute="X",
        versus="P2",
        direction="less",
    )
    found = judge_claims(study_of("tightness 10 minutes after drying", claims=[claim]))
    told = " ".join(found.findings["message"])
    assert "says “20 minutes”, and that was not tested" in told
    assert "says “after rinsing”, and that was not tested" in told


def test_the_footnote_tells_the_moment():
    claim = claim_row("less tight than P2", "superiority", attribute="X", versus="P2", direction="less")
    found = judge_claims(study_of("tightness 10 minutes after drying", claims=[claim]))
    assert "10 min after drying" in found.claims["footnote"].iloc[0]


@pytest.mark.parametrize(
    ("doing", "done", "do"),
    [
        ("patting dry", "patted dry", "pat dry"),
        ("rubbing in", "rubbed in", "rub in"),
        ("rinsing off", "rinsed off", "rinse off"),
        ("towel drying", "towel dried", "towel dry"),
        ("soaking", "soaked", "soak"),
        ("applying", "applied", "apply"),
    ],
)
def test_what_is_done_has_the_forms_of_english(doing, done, do):
    """By the grammar of English: the consonant doubled before -ing and -ed, the silent e, the y that becomes i."""
    forms = forms_of(tuple(doing.split()))
    for words, kind in ((doing, "doing"), (done, "done"), (do, "do")):
        assert (tuple(words.split()), kind) in forms
    assert (("dry",), "is") in forms_of(("drying",))
    assert not any(kind != "doing" for _, kind in forms_of(("the", "last", "stroke")))
