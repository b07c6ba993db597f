"""Hostile and true sentences on three studies, the verdict of each written before any of them was read.

By kind of trap: opposite, negation, foreign words, medicine, quantity, ingredient, competitor, time, hedge, another
place or thing; the true ones in British and American English. Common practice, no source. In two true ones the count of
people, mistyped at first, was put right after reading.
"""

import csv
from pathlib import Path

import pytest

from panel.claims.judge import judge_drafts
from panel.claims.verdict import AS_WORDED
from panel.study.open_study import open_study
from tests.claims.claim_studies import answer_rows, panel_scores, seeded, study_with

HERE = Path(__file__)
DEMO = HERE.resolve().parents[2] / "data_demo" / "reading_room"
MOST_REFUSED = 0.05


def _pair(attribute, direction):
    return {"kind": "superiority", "attribute": attribute, "direction": direction}


def _asked(question):
    return {"kind": "agreement", "question": question, "bar": "50"}


STATEMENTS = {
    "demo": {
        "less greasy": _pair("AF_GREASE", "less"),
        "less sticky": _pair("AF_STICK", "less"),
        "faster": _pair("RO_ABS", "more"),
        "sinks in": _asked("sinks in"),
        "not greasy": _asked("hands not greasy"),
        "comforting": _asked("comforting"),
    },
    "lotion": {
        "less greasy": _pair("AF_GREASE", "less"),
        "spreads": _pair("RO_SPREAD", "more"),
        "feels light": _asked("light"),
    },
    "butter": {
        "softer": _pair("LA_SOFT", "more"),
        "less waxy": _pair("AF_WAX", "less"),
        "skin soft": _asked("soft"),
    },
}
PROTOTYPES = {"demo": ("P4", "P1"), "lotion": ("F2", "F1"), "butter": ("B2", "B1")}


def _made(title, names, truth, attributes, question, agreed):
    """A simulated study: the second prototype truly is what its statements say, the first is the previous formula."""
    first, second = names
    means = {attribute: {first: one, second: two} for attribute, (one, two) in truth.items()}
    scores = panel_scores(means, seeded(), assessors=12, replicates=3, own_view=2.0, scatter=4.0)
    return study_with(
        [],
        scores=scores,
        answers=answer_rows(agreed, 100, prototype=second, question=question[0]),
        roles={first: "benchmark", second: "prototype"},
        names={first: "previous formula"},
        attributes=[{"attribute": a, "name": n, "direction": d, "minutes": 2.0} for a, n, d in attributes],
        facts={
            "title": title,
            "users": {"who": "adults", "ages": "25 to 60", "sex": "women and men", "staff": "no"},
            "dates": {"home use": ["2025-03-24", "2025-03-30"]},
            "questions": [{"question": question[0], "kind": "agreement", "words": question[1]}],
        },
    )


@pytest.fixture(scope="module")
def drafts():
    studies = {
        "demo": open_study(DEMO),
        "lotion": _made(
            "Morning face lotion",
            ("F1", "F2"),
            {"AF_GREASE": (60.0, 40.0), "RO_SPREAD": (45.0, 65.0)},
            [("AF_GREASE", "greasy film", "less"), ("RO_SPREAD", "ease of spreading", "more")],
            ("light", "The lotion feels light."),
            90,
        ),
        "butter": _made(
            "Winter body butter",
            ("B1", "B2"),
            {"LA_SOFT": (40.0, 60.0), "AF_WAX": (60.0, 40.0)},
            [("LA_SOFT", "softness", "more"), ("AF_WAX", "waxiness", "less")],
            ("soft", "My skin feels soft."),
            88,
        ),
    }
    with HERE.with_name("sentences_hostile.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    judged = []
    for name, study in studies.items():
        own = [row for row in rows if row["study"] == name]
        prototype, versus = PROTOTYPES[name]
        stated = [STATEMENTS[name][row["statement"]] for row in own]
        pairs = [{"versus": versus} if each["kind"] == "superiority" else {} for each in stated]
        filled = [
            {"claim": row["claim"], "prototype": prototype, **each, **pair}
            for row, each, pair in zip(own, stated, pairs, strict=True)
        ]
        judged += list(zip(own, judge_drafts(study, filled), strict=True))
    return judged


def test_nothing_hostile_is_supported(drafts):
    hostile = [(row, draft) for row, draft in drafts if row["verdict"] == "refused"]
    assert len(hostile) >= 50
    assert [row["claim"] for row, draft in hostile if draft.verdict in AS_WORDED] == []


def test_few_true_ones_are_refused(drafts):
    true = [(row, draft) for row, draft in drafts if row["verdict"] == "supported"]
    refused = [row["claim"] for row, draft in true if draft.verdict not in AS_WORDED]
    assert len(refused) <= MOST_REFUSED * len(true), refused
