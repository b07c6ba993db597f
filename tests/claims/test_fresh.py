"""Sentences as a marketing writer would say them and as nobody may, the verdict of each written before any was read.

Over the demo and three simulated studies; every kind of claim with numbers of the panel, of answers and of votes.
Common practice, no source. They came one voice after the other (`voice` in `sentences_voices.csv`), the grammar
mended by rule for each before the next was read: 1 to 8 from our own heads; the others by writers who did not know
it: plain copy (9 to 11, 13 to 21, 24, 25), long and clipped sentences (22, 23), an examiner's devious turns (27, 28),
sober and short lines, a chemist's words, pack copy, press, slides and newsletters (the rest), as winding as could be
thought of (12).

As first read, of 1,111 that may not be said 7 were supported, three of which ("our least greasy butter" of the three
that were tested) are on the border now. Of the true ones were refused: 5 of 65, 6 of 40, 2 of 20, 24 of 103, 16 of
51, 6 of 28, 8 of 40, 13 of 30, 11 of 43, 12 of 44, 11 of 44, 32 of 43 (voice 12), 10, 4 and 11 of 45, 5, 10, 7, 12, 4
and 9 of 45 (21), 35 and 22 of 70, 4, 8 and 11 of 40, 2, 5 and 13 of 40, 13 and 20 of 42 (31), 7, 15 and 19 of 38, 10,
9, 15, 3, 6 and 12 of 34 to 40 (40), 4 of 42, 4 of 40, 16, 22, 19 and 14 of 44 (46). So words from our own heads
hardly help with those of others. What was put on the border later: a bare non-greasy, whose time the trade asks for,
oily where greasy was asked, and shares that our floors allow.

Those who knew the grammar attacked it: what may not be said stands in `sentences_turned.csv` and
`sentences_new_attacked.csv`, none of it supported.
"""

import csv
from functools import cache
from pathlib import Path

import pytest

from panel.claims.judge import judge_drafts
from panel.claims.verdict import AS_WORDED, NOT_SUPPORTED
from panel.study.open_study import open_study
from tests.as_before import differing, read_lines
from tests.claims.as_judged import FOLDER
from tests.claims.claim_studies import (
    answer_rows,
    newly_refused,
    panel_scores,
    seeded,
    study_with,
    time_rows,
    vote_rows,
    words_finder,
)

HERE = Path(__file__)
DEMO = HERE.resolve().parents[2] / "data_demo" / "reading_room"
MOST_REFUSED = 0.05


def _asked(question):
    return {"kind": "agreement", "question": question, "bar": "50"}


def _pair(attribute, direction, versus):
    return {"kind": "superiority", "attribute": attribute, "direction": direction, "versus": versus}


STATEMENTS = {
    "demo": {
        "less greasy": _pair("AF_GREASE", "less", "P1"),
        "less sticky": _pair("AF_STICK", "less", "P1"),
        "faster": _pair("RO_ABS", "more", "P1"),
        "sinks in": _asked("sinks in"),
        "not greasy": _asked("hands not greasy"),
        "not sticky": _asked("not sticky"),
        "soft": _asked("soft at 20 minutes"),
        "daily": _asked("would use daily"),
        "no mark": _asked("no mark on paper"),
    },
    "evening": {
        "less sticky": _pair("AF_STICK", "less", "L1"),
        "as soft": {"kind": "parity", "attribute": "LA_SOFT", "versus": "L1", "margin": "8"},
        "non-greasy": {
            "kind": "absolute_negative",
            "attribute": "AF_GREASE",
            "question": "not greasy",
            "bar": "50",
            "bar_panel": "20",
        },
        "preferred": {"kind": "preference", "versus": "L1", "question": "preferred"},
        "smooth": _asked("smooth"),
        "absorbs": _asked("absorbs"),
        "like": _asked("like"),
        "thickness": _asked("thickness"),
    },
    "everyday": {
        "spreads": _pair("RO_SPREAD", "more", "B1"),
        "least greasy": {"kind": "ranking", "attribute": "AF_GREASE", "direction": "less", "competitors": "B1; B3"},
        "unsurpassed": {
            "kind": "unsurpassed",
            "attribute": "RO_SPREAD",
            "direction": "more",
            "competitors": "B1; B3",
            "margin": "8",
        },
        "in a minute": {"kind": "time", "attribute": "SINK", "bar": "60"},
        "rich": _asked("rich"),
        "recommend": _asked("recommend"),
    },
    "morning": {
        "less shiny": _pair("AF_GLOSS", "less", "F1"),
        "less residue": _pair("LA_RESID", "less", "F1"),
        **{question: _asked(question) for question in ("light", "comfortable", "not shiny", "not tight", "easy")},
    },
}
PROTOTYPES = {"demo": "P4", "evening": "L2", "everyday": "B2", "morning": "F2"}
AGREED = {
    "L2": {
        "not greasy": ("The lotion does not feel greasy.", 91),
        "smooth": ("My skin feels smooth.", 93),
        "absorbs": ("The lotion absorbs quickly.", 90),
        "like": ("I like the lotion.", 88),
        "thickness": ("The thickness is just right.", 85),
    },
    "B2": {"rich": ("The butter feels rich.", 86), "recommend": ("I would recommend the butter to a friend.", 84)},
    "F2": {
        "light": ("The cream feels light on my skin.", 92),
        "comfortable": ("My face feels comfortable.", 87),
        "not shiny": ("The cream does not make my face shiny.", 88),
        "not tight": ("My skin does not feel tight.", 83),
        "easy": ("The cream is easy to spread.", 94),
    },
}
ATTRIBUTES = {
    "AF_GREASE": ("greasy film", "less", 2.0),
    "AF_STICK": ("stickiness", "less", 2.0),
    "LA_SOFT": ("softness", "more", 20.0),
    "RO_SPREAD": ("ease of spreading", "more", None),
    "AF_GLOSS": ("shine", "less", 2.0),
    "LA_RESID": ("lasting residue", "less", 20.0),
    "SINK": ("time to sink in", "less", None),
}
UNITS = {"SINK": "s"}


def _made(title, prototype, truth, *answers, timed=()):
    """A simulated study whose statements are true; its first prototype is the previous formula."""
    scores = panel_scores(truth, seeded(), assessors=12, replicates=3, own_view=2.0, scatter=4.0)
    asked = AGREED[prototype]
    rows = [
        row
        for question, (_, count) in asked.items()
        for row in answer_rows(count, 100, prototype=prototype, question=question)
    ]
    names = list(next(iter(truth.values())))
    described = [*truth, *(["SINK"] if timed else [])]
    return study_with(
        [],
        scores=[*scores, *timed],
        answers=[*rows, *answers],
        roles={names[0]: "benchmark", **dict.fromkeys(names[1:], "prototype")},
        names={names[0]: "previous formula"},
        attributes=[
            dict(zip(("attribute", "name", "direction", "minutes"), (each, *ATTRIBUTES[each]), strict=True))
            | {"unit": UNITS.get(each, "")}
            for each in described
        ],
        facts={
            "title": title,
            "users": {"who": "adults", "ages": "25 to 60", "sex": "women and men", "staff": "no"},
            "dates": {"home": ["2025-03-24", "2025-03-30"]},
            "questions": [
                {"question": question, "kind": "agreement", "words": words} for question, (words, _) in asked.items()
            ]
            + [{"question": "preferred", "kind": "preference", "words": "Which of the two do you prefer?"}],
        },
    )


def _evening():
    return _made(
        "Evening body lotion",
        "L2",
        {
            "AF_STICK": {"L1": 60.0, "L2": 40.0},
            "LA_SOFT": {"L1": 55.0, "L2": 55.0},
            "AF_GREASE": {"L1": 30.0, "L2": 8.0},
        },
        *vote_rows(68, 22, 10, prototype="L2", versus="L1", session="home"),
    )


def _everyday():
    return _made(
        "Everyday body butter",
        "B2",
        {
            "RO_SPREAD": {"B1": 45.0, "B2": 65.0, "B3": 50.0},
            "AF_GREASE": {"B1": 60.0, "B2": 35.0, "B3": 50.0},
        },
        timed=time_rows(seeded().uniform(20.0, 50.0, 80), prototype="B2"),
    )


def _morning():
    return _made(
        "Morning face cream",
        "F2",
        {"AF_GLOSS": {"F1": 60.0, "F2": 35.0}, "LA_RESID": {"F1": 55.0, "F2": 35.0}},
    )


STUDIES = {"demo": lambda: open_study(DEMO), "evening": _evening, "everyday": _everyday, "morning": _morning}


@cache
def _finder_of(name, statement):
    return words_finder(_study(name), {"prototype": PROTOTYPES[name], **STATEMENTS[name][statement]})


def judge_of(name, statement):
    """Whether a sentence says a statement that is shown, by its words; the evidence is found once."""
    finds = _finder_of(name, statement)
    return lambda sentence: finds(sentence) == ((), ())


@cache
def _study(name):
    return STUDIES[name]()


MANY = ("sentences_turned.csv", "sentences_built.csv")
VOICES = "sentences_voices.csv"
WINDING = ("12", "29", "30", "31", "32", "33", "34", "43", "44", "45", "46")
"""Voices of which more than a twentieth of the true sentences is refused."""
PLAIN = tuple(str(voice) for voice in range(1, 43) if str(voice) not in WINDING)


def _rows(file):
    with HERE.with_name(file).open(encoding="utf-8", newline="") as opened:
        return list(csv.DictReader(opened))


@cache
def _found(file):
    step = 2 if file in MANY else 1  # of thousands, varied one by one, every other one; each that alone goes some way
    return [(row, _finder_of(row["study"], row["statement"])(row["claim"])) for row in _rows(file)[::step]]


def judged(file):
    """Every row of a file of sentences beside whether its words may be said."""
    return [(row, found == ((), ())) for row, found in _found(file)]


def said_by(voice):
    """The sentences of one voice beside whether their words may be said."""
    return [(row, said) for row, said in judged(VOICES) if row["voice"] == voice]


def lines_of_fresh():
    return [
        f"{row['claim']} | {', '.join(left_over)} | {', '.join(checks)}"
        for row, (left_over, checks) in _found(VOICES)
        if left_over or checks
    ]


def test_why_a_sentence_is_refused_is_why_it_was_before():
    assert differing(read_lines(FOLDER, "fresh"), lines_of_fresh()) == []


@pytest.fixture(scope="module", params=PLAIN)
def rows(request):
    return said_by(request.param)


def test_nothing_that_may_not_be_said_is_supported(rows):
    refused = [(row, said) for row, said in rows if row["verdict"] in ("refused", "border no")]
    assert len(refused) >= 11
    assert [row["claim"] for row, said in refused if said] == []


def test_few_true_sentences_are_refused(rows):
    true = [(row, said) for row, said in rows if row["verdict"] == "supported"]
    wrong = [row["claim"] for row, said in true if not said]
    assert len(true) >= 20
    assert len(wrong) <= MOST_REFUSED * len(true), wrong


def test_most_true_sentences_on_the_border_may_be_said():
    border = [said for row, said in said_by("1") if row["verdict"] == "border yes"]
    assert sum(border) >= 0.75 * len(border)


@pytest.mark.parametrize("voice", WINDING)
def test_of_winding_sentences_none_that_may_not_be_said_is_supported(voice):
    refused = [(row["claim"], said) for row, said in said_by(voice) if row["verdict"] in ("refused", "border no")]
    assert refused
    assert [claim for claim, said in refused if said] == []


def test_what_was_read_is_read_still():
    assert newly_refused(VOICES, judged(VOICES)) == []


def test_nothing_turned_round_is_supported():
    """Each construction that the grammar reads, said of the other one, denied, or with another number."""
    turned = judged("sentences_turned.csv")
    assert len(turned) > 150
    assert [row["claim"] for row, said in turned if said] == []


def test_every_construction_that_was_read_is_read_still():
    """True sentences written with the grammar at hand, some after it was mended for them: none shows how many are."""
    built = judged("sentences_built.csv")
    assert len(built) > 700
    assert [row["claim"] for row, said in built if not said] == []


def test_no_word_is_passed_over_in_any_construction():
    """A word that nobody knows, put at one place after the other into some that are not read above."""
    still = []
    for number, row in enumerate(_rows("sentences_built.csv")[1::4]):
        words = row["claim"].split()
        place = number % (len(words) + 1)
        sentence = " ".join([*words[:place], "blorp", *words[place:]])
        still += [sentence] if judge_of(row["study"], row["statement"])(sentence) else []
    assert still == []


@pytest.mark.parametrize("name", sorted(STUDIES))
def test_every_statement_is_shown(name):
    """So that the words alone decide: the first sentence supported of each is so by the whole judgement, too."""
    first = {}
    for row, said in judged(VOICES):
        if said and row["study"] == name:
            first.setdefault(row["statement"], row["claim"])
    assert set(first) == set(STATEMENTS[name])
    filled = [{"claim": first[each], "prototype": PROTOTYPES[name], **STATEMENTS[name][each]} for each in first]
    assert [draft.claim for draft in judge_drafts(_study(name), filled) if draft.verdict not in AS_WORDED] == []


def test_the_contrary_of_what_people_were_asked_is_not_supported_and_told_as_such():
    contrary = "89 % of users agreed that it leaves their hands feeling greasy"
    (draft,) = judge_drafts(
        _study("demo"), [{"claim": contrary, "prototype": PROTOTYPES["demo"], **STATEMENTS["demo"]["not greasy"]}]
    )
    assert draft.verdict == NOT_SUPPORTED
    assert any("the opposite of what people were asked" in reason for reason in draft.reasons)


def test_later_is_told_as_what_was_not_judged():
    later = "Later, it is less greasy than our previous hand cream"
    (draft,) = judge_drafts(
        _study("demo"), [{"claim": later, "prototype": PROTOTYPES["demo"], **STATEMENTS["demo"]["less greasy"]}]
    )
    assert draft.verdict not in AS_WORDED
    assert any("speaks of later" in reason for reason in draft.reasons)
