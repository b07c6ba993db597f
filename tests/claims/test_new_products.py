"""Sentences on twenty-eight kinds of product nobody had in mind: hair, beard, feet, lips, a bath, mascara, a sun stick.

By twelve writers who saw nothing but what was tested, verdicts first (`sentences_new_products`; common practice, no
source), and by six who knew the program and looked for what it lets through (`sentences_new_attacked`). The studies
are invented, drawn around the means that were found. As first read, 106 of the 148 true ones on the first nine were
refused, 21 of 44 on the next three and 58 of 88 on the last six; the second writers of these, when the first had been
mended, 20 of 38 and 21 of 44. Of those that may not be said none was supported then; those refused now stand in
`sentences_lost.csv`. Of 1,372 attacked sentences on the first nine 14 still pass by their words and stand in no file;
of 287 on the next three none does; of 1,973 on the last six, written against new rules, 338 did, and 95 do, most of
them border; a sample of the rest is here. On the last three, of a deodorant cream, a sun stick and a foot balm, 49 of
80 true ones were refused when first read and 20 when mended; of 2,217 attacked ones 260 passed, and 79 do. On a beard
oil, an after-sun gel and a cleansing foam, told freely, 70 of 77 were refused when first read and 61 when mended. On a
shower oil and three more by their engineer 54 of 64 when first read and 39 when mended; of 32 that she wrote later,
knowing the rules, 12.
"""

import csv
import json
from functools import cache
from pathlib import Path

import pytest

from panel.claims.grammar import read_sentence
from panel.claims.study_names import names_of
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
PRODUCTS = json.loads(HERE.with_name("new_products.json").read_text(encoding="utf-8"))
SCATTER = 0.04  # of the length of the scale: what was found differs by far more


@cache
def _study(name):
    told = PRODUCTS[name]
    scores, rng = [], seeded()
    for row in told["attributes"]:
        span = row.get("scale_max", max(row["means"].values())) - row.get("scale_min", 0.0)
        scores += panel_scores(
            {row["attribute"]: row["means"]},
            rng,
            assessors=told["assessors"],
            replicates=3,
            own_view=SCATTER * span / 2,
            scatter=SCATTER * span,
        )
    answers = [
        row
        for question, prototype, session, base, agreed in told["asked"]
        for row in answer_rows(agreed, base, prototype=prototype, question=question, session=session)
    ]
    if told["votes"]:
        counts = {answer: count for answer, *_, count in told["votes"]}
        _, one, other, session, _ = told["votes"][0]
        question = next(row["question"] for row in told["statements"].values() if row["kind"] == "preference")
        votes = vote_rows(
            *(counts[each] for each in (one, other, "no preference")), prototype=one, versus=other, session=session
        )
        answers += [row | {"question": question} for row in votes]
    return study_with(
        [],
        scores=scores,
        answers=answers,
        roles={code: role for code, _, role in told["prototypes"]},
        names={code: called for code, called, _ in told["prototypes"]},
        attributes=[{key: cell for key, cell in row.items() if key != "means"} for row in told["attributes"]],
        facts=told["facts"],
    )


def _statement(name, statement):
    return PRODUCTS[name]["statements"][statement]


_drafted, judged = drafting(HERE.parent, lambda: {name: _study(name) for name in PRODUCTS}, _statement)


def lines_of_new_products():
    files = ("sentences_new_products.csv", "sentences_new_attacked.csv")
    return lines_left_over([draft for file in files for _, draft in _drafted(file)])


def test_what_is_left_over_of_their_words_is_what_was_before():
    assert differing(read_lines(FOLDER, "new_products"), lines_of_new_products()) == []


@pytest.mark.parametrize(("file", "least"), [("sentences_new_products.csv", 200), ("sentences_new_attacked.csv", 1700)])
def test_nothing_that_may_not_be_said_is_supported(file, least):
    refused = [(row["claim"], said) for row, said in judged(file) if row["verdict"] == "refused"]
    assert len(refused) >= least
    assert [claim for claim, said in refused if said] == []


def test_true_sentences_that_were_read_are_read_still():
    assert newly_refused("sentences_new_products.csv", judged("sentences_new_products.csv")) == []


def test_a_sentence_that_breaks_off_after_any_word_is_read():
    """What is being typed ends anywhere, after a small word as well: smells strongly in."""
    with HERE.with_name("sentences_new_products.csv").open(encoding="utf-8", newline="") as opened:
        rows = list(csv.DictReader(opened))[::5]
    names = {name: names_of(_study(name)) for name in PRODUCTS}
    for row in rows:
        words = row["claim"].split()
        for end in range(len(words)):
            read_sentence(" ".join(words[:end]), names[row["study"]])
    for name, product in PRODUCTS.items():
        for attribute in product["attributes"]:
            words = attribute["name"].split()
            for end in range(len(words)):
                read_sentence(" ".join([*words[: end + 1], "more", "than"]), names[name])
                read_sentence(" ".join(["more", *words[: end + 1]]), names[name])
