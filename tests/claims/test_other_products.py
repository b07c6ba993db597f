"""Sentences on three kinds of product that the tables of words were not made for, the verdicts written beforehand.

A sunscreen lotion, a lip balm and a balm that is rinsed off, with attributes and questions of their own, by two writers
who saw nothing but what was tested (`other_products`; common practice, no source) and by two who knew the program
(`other_turned`). As first read, 0 of 40 of the former that may not be said were supported, and 26 of 44 and 16 of 42
true ones refused; once attributes named by a verb, questions in any person and tense and moments of their own were read
by rule, 9 of 44, and 3 of 42 of the second file, for which nothing was mended.
"""

from functools import cache
from pathlib import Path

import pytest

from panel.claims.judge import judge_drafts
from panel.claims.parts import root
from panel.claims.verdict import AS_WORDED
from tests.as_before import differing, read_lines
from tests.claims.as_judged import FOLDER, lines_left_over
from tests.claims.claim_studies import (
    answer_rows,
    drafting,
    newly_refused,
    panel_scores,
    seeded,
    study_with,
    vote_rows,
)

HERE = Path(__file__)
MOST_REFUSED = 0.13  # of true ones: 11 of 86; the rest say it in ways no rule of ours reads
CURRENT, PREVIOUS = "current", "previous"
# attribute: words, what is wanted, minutes, unit; true means of the prototypes, the one compared with first
SUN = {
    "WHITE": ("white cast", "less", 0.0, "", (60, 50, 35)),
    "STICK": ("stickiness", "less", 3.0, "", (60, 50, 35)),
    "RUB": ("ease of rubbing in", "more", None, "", (45, 52, 68)),
    "TIME": ("time until it has disappeared", "less", None, "s", (64, 56, 43)),
    "SHINE": ("oily shine", "less", 10.0, "", (50, 50, 50)),
}
LIP = {
    "GLIDE": ("glide", "more", None, "", (45, 52, 70, 52)),
    "WAX": ("waxy feel", "less", 1.0, "", (60, 50, 35, 56)),
    "STICK": ("stickiness", "less", 2.0, "", (50, 60, 50, 50)),
    "SHINE": ("shine", "more", 2.0, "", (45, 52, 75, 45)),
    "FILM": ("film still felt", "more", 30.0, "", (50, 50, 50, 50)),
}
CLEANSE = {
    "FILM": ("oily film after rinsing", "less", 0.0, "", (40, 40, 11)),
    "MELT": ("ease of melting", "more", None, "", (45, 45, 66)),
    "RINSE": ("ease of rinsing off", "more", None, "", (45, 45, 66)),
    "TIGHT": ("tightness 10 minutes after drying", "less", 10.0, "", (55, 55, 36)),
    "SOFT": ("softness 10 minutes after drying", "more", 10.0, "", (50, 50, 50)),
}
STUDIES = {
    "sun": (
        "Sunscreen lotion",
        PREVIOUS,
        ("SL-101", "SL-207", "SL-214"),
        SUN,
        ("19 to 65", ("2025-05-19", "2025-05-28"), 75),
    ),
    "lip": ("Lip balm", CURRENT, ("LB1", "LB2", "LB3", "LB4"), LIP, ("20 to 64", ("2025-02-11", "2025-02-17"), 72)),
    "cleanse": (
        "Cleansing balm",
        CURRENT,
        ("Current", "Rich", "Lite"),
        CLEANSE,
        ("22 to 60", ("2025-04-07", "2025-04-20"), 90),
    ),
}
ASKED = {
    "sun": {
        "no white marks": ("I see no white marks on my skin after putting it on", 66),
        "not sticky": ("My skin does not feel sticky once the sunscreen has dried", 63),
        "easy to spread": ("The sunscreen is easy to spread over my face and arms", 70),
        "forget": ("After a while I forget that I am wearing sunscreen", 52),
        "make-up": ("The sunscreen goes well under my make-up", 33),
    },
    "lip": {
        "soft": ("My lips feel soft after using the balm", 61),
        "comfortable": ("The balm feels comfortable on my lips", 65),
        "not heavy": ("The balm does not feel heavy on my lips", 59),
        "whole morning": ("One application lasts me the whole morning", 30),
    },
    "cleanse": {
        "no oily film": ("The balm rinses off without leaving an oily film", 77),
        "takes off make-up": ("The balm takes off my make-up easily", 79),
        "clean": ("My skin feels clean", 83),
        "every evening": ("I would use the balm every evening", 57),
        "shower": ("The jar is easy to use in the shower", 39),
    },
}


def _pair(attribute, direction):
    return {"kind": "superiority", "attribute": attribute, "direction": direction}


STATEMENTS = {
    "sun": {
        **{
            "white cast": _pair("WHITE", "less"),
            "less sticky": _pair("STICK", "less"),
            "rubs in": _pair("RUB", "more"),
        },
        **{"faster": _pair("TIME", "less"), "oily shine": _pair("SHINE", "less")},
    },
    "lip": {
        **{"glides": _pair("GLIDE", "more"), "less waxy": _pair("WAX", "less"), "longer film": _pair("FILM", "more")},
        "shiniest": {"kind": "ranking", "attribute": "SHINE", "direction": "more", "competitors": "LB1; LB2; LB4"},
        "as sticky": {"kind": "parity", "attribute": "STICK", "margin": "8"},
        "preferred": {"kind": "preference", "question": "preferred", "bar": "50"},
    },
    "cleanse": {
        **{"less film": _pair("FILM", "less"), "melts": _pair("MELT", "more"), "rinses off": _pair("RINSE", "more")},
        **{"less tight": _pair("TIGHT", "less"), "softer": _pair("SOFT", "more")},
        "no film": {
            "kind": "absolute_negative",
            "attribute": "FILM",
            "question": "no oily film",
            "bar": "50",
            "bar_panel": "20",
        },
    },
}
NEW = {"sun": "SL-214", "lip": "LB3", "cleanse": "Lite"}


@cache
def _study(name):
    title, role, prototypes, attributes, (ages, days, base) = STUDIES[name]
    truth = {key: dict(zip(prototypes, map(float, told[-1]), strict=True)) for key, told in attributes.items()}
    new, kind = NEW[name], title.casefold()
    asked = ASKED[name]
    rows = [
        row
        for question, (_, count) in asked.items()
        for row in answer_rows(count, base, prototype=new, question=question, session="home use")
    ]
    votes = vote_rows(53, 23, 8, prototype="LB3", versus="LB1", session="hall test") if name == "lip" else []
    words = [{"question": question, "kind": "agreement", "words": told} for question, (told, _) in asked.items()]
    words += (
        [{"question": "preferred", "kind": "preference", "words": "Which of the two balms do you prefer?"}]
        if votes
        else []
    )
    return study_with(
        [],
        scores=panel_scores(
            truth,
            seeded(),
            assessors={"sun": 9, "lip": 11, "cleanse": 12}[name],
            replicates=3,
            own_view=2.0,
            scatter=4.0,
        ),
        answers=[*rows, *votes],
        roles={prototypes[0]: "benchmark", **dict.fromkeys(prototypes[1:], "prototype")},
        names={prototypes[0]: f"{role} {kind}", new: f"new {kind}", "P2": ""},
        attributes=[
            {"attribute": key, "name": told[0], "direction": told[1], "minutes": told[2], "unit": told[3]}
            | ({"stage": "rub-out"} if told[2] is None else {})
            for key, told in attributes.items()
        ],
        facts={
            "title": title,
            "users": {"who": "adults", "ages": ages, "sex": "women and men", "staff": "no"},
            "dates": {"home use": list(days), "hall test": ["2025-02-10"]},
            "questions": words,
        },
    )


def _statement(name, statement):
    own = STATEMENTS[name].get(statement) or {"kind": "agreement", "question": statement, "bar": "50"}
    compared = own["kind"] in ("superiority", "parity", "preference")
    return {"prototype": NEW[name], **own} | ({"versus": STUDIES[name][2][0]} if compared else {})


_drafted, judged = drafting(HERE.parent, lambda: {name: _study(name) for name in STUDIES}, _statement)


def lines_of_other_products():
    files = ("sentences_other_products.csv", "sentences_other_turned.csv")
    return lines_left_over([draft for file in files for _, draft in _drafted(file)])


def test_what_is_left_over_of_their_words_is_what_was_before():
    assert differing(read_lines(FOLDER, "other_products"), lines_of_other_products()) == []


@pytest.mark.parametrize("file", ["sentences_other_products.csv", "sentences_other_turned.csv"])
def test_nothing_that_may_not_be_said_is_supported(file):
    refused = [(row["claim"], said) for row, said in judged(file) if row["verdict"] == "refused"]
    assert len(refused) >= 40
    assert [claim for claim, said in refused if said] == []


def test_few_true_sentences_are_refused():
    true = [
        (row["claim"], said) for row, said in judged("sentences_other_products.csv") if row["verdict"] == "supported"
    ]
    refused = [claim for claim, said in true if not said]
    assert len(true) == 86
    assert len(refused) <= MOST_REFUSED * len(true), refused
    assert newly_refused("sentences_other_products.csv", judged("sentences_other_products.csv")) == []


@pytest.mark.parametrize(
    "forms",
    [
        *(
            "rinse rinses rinsed rinsing",
            "rub rubs rubbed rubbing",
            "dry dries dried drying",
            "melt melts melted melting",
        ),
        *(
            "see sees saw seen seeing",
            "forget forgets forgot forgetting",
            "take takes took taken taking",
            "press pressing",
        ),
    ],
)
def test_the_forms_of_a_verb_have_one_root_and_no_two_verbs_share_it(forms):
    assert len(set(map(root, forms.split()))) == 1
    others = ("rise", "rob", "do", "mend", "seem", "forge", "tack", "pass")
    assert root(forms.split()[0]) not in set(map(root, others))


FELT = {"scratchiness": "scratchy", "scratchy feel": "scratchy", "coldness": "cold", "chalky touch": "chalky"}


@pytest.mark.parametrize("name", FELT)
def test_an_attribute_that_no_table_knows_is_told_by_how_it_is(name):
    word, scores = FELT[name], {"A": {"S1": 60.0, "S2": 30.0}}
    more = f"{word.removesuffix('y')}ier" if word.endswith("y") else f"{word}er"
    study = study_with(
        [],
        scores=panel_scores(scores, seeded(), assessors=12, replicates=3, own_view=2.0, scatter=4.0),
        roles={"S1": "benchmark", "S2": "prototype"},
        names={"S1": "previous face scrub", "S2": "new face scrub", "P2": ""},
        attributes=[{"attribute": "A", "name": name, "direction": "less", "minutes": 2.0}],
        facts={"title": "Face scrub"},
    )
    true = [
        f"Feels less {word} than our previous face scrub.",
        f"Our previous face scrub feels {more}.",
        f"Two minutes after rubbing in, it is less {word} than our previous face scrub.",
    ]
    false = [
        *(f"{more} than our previous face scrub.", f"As {word} as our previous face scrub.", f"Not {word}."),
        *(f"Less {word} skin than our previous face scrub.", f"Less {word} and softer than our previous face scrub."),
        *(f"Less {word} than other scrubs.", f"Less {word} after an hour than our previous face scrub."),
    ]
    statement = {"prototype": "S2", "versus": "S1", **_pair("A", "less")}
    drafts = judge_drafts(study, [{**statement, "claim": claim} for claim in (*true, *false)])
    assert [draft.verdict in AS_WORDED for draft in drafts] == [True] * len(true) + [False] * len(false)
