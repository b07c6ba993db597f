from __future__ import annotations

import pytest

from panel.errors import StudyError
from panel.study.raw_table import RawTable, table_of_rows
from panel.study.scores_import import ScoresLayout, _check_layout, guess_layout


def table(header: str, *rows: str) -> RawTable:
    return table_of_rows([line.split("|") for line in (header, *rows)], "f.csv")


WIDE_ROWS = ("A|P|1|1|1|5,5|x", "A|Q|1|1|2|6|y", "B|P|1|1|1|7|z", "B|Q|1|1|2|8|")


@pytest.mark.parametrize("assessor", ["panelist", "Panellist", "Judge", "SUBJECT", "person", "Assessor", "judge_id"])
@pytest.mark.parametrize("prototype", ["product", "Sample", "treatment", "Prototype", "sample code", "ProductName"])
def test_usual_names_of_people_and_prototypes(assessor: str, prototype: str):
    layout = guess_layout(table(f"{assessor}|{prototype}|rep|day|order|greasy|note", *WIDE_ROWS))
    assert layout == ScoresLayout(
        assessor=assessor,
        prototype=prototype,
        replicate="rep",
        session="day",
        position="order",
        attributes=("greasy",),
    )


@pytest.mark.parametrize("session", ["session", "Day", "week", "time", "Visit"])
@pytest.mark.parametrize("replicate", ["rep", "Replicate", "repetition"])
@pytest.mark.parametrize("position", ["position", "Order", "serving order"])
def test_usual_names_of_the_rest(session: str, replicate: str, position: str):
    layout = guess_layout(table(f"judge|product|{session}|{replicate}|{position}|greasy|note", *WIDE_ROWS))
    assert (layout.session, layout.replicate, layout.position) == (session, replicate, position)
    assert layout.attributes == ("greasy",)


@pytest.mark.parametrize(
    ("attribute", "score"), [("attribute", "score"), ("Descriptor", "Rating"), ("term", "how much")]
)
def test_long_table(attribute: str, score: str):
    layout = guess_layout(table(f"judge|product|{attribute}|{score}", "A|P|greasy|5", "B|P|greasy|6", "A|Q|greasy|n/a"))
    assert layout.is_long
    assert (layout.attribute, layout.score, layout.attributes) == (attribute, score, ())


def test_columns_that_are_no_attributes():
    header = "|rownames|subject|product|code|session|week|age|absorption time|greasy|note"
    rows = [
        "1|1|A|P|123|1|1|30|12,5|48,7|good",
        "2|2|B|P|456|1|1|31|13|4o|bad",
        "3|3|C|P|789|1|1|32|1|1|",
        "4|4|D|P|1|1|1|3|1|1|",
        "5|5|E|P|1|1|1|3|1|1|",
    ]
    layout = guess_layout(table(header, *rows))
    assert layout.session == "session"
    assert layout.attributes == ("absorption time", "greasy")  # one cell in five may be unreadable


def test_column_of_repeated_names_is_the_one_missing():
    rows = ("A|cream 1|5", "A|cream 2|6", "B|cream 1|7", "B|cream 2|8")
    assert guess_layout(table("judge|what|greasy", *rows)).prototype == "what"
    assert guess_layout(table("who|product|greasy", *("|".join(r.split("|")) for r in rows))).assessor == "who"
    both_missing = guess_layout(table("this|that|greasy", *rows))
    assert (both_missing.assessor, both_missing.prototype) == ("", "")
    assert both_missing.attributes == ("greasy",)


def test_what_is_known_is_not_guessed():
    rows = ("A|P|1|5", "A|Q|2|6")
    layout = guess_layout(table("judge|product|sample|greasy", *rows), {"prototype": "sample", "session": ""})
    assert layout.prototype == "sample"
    assert layout.attributes == ("greasy",)
    with pytest.raises(StudyError, match=r"f\.csv has no column 'x'; its columns are"):
        guess_layout(table("judge|product|greasy", "A|P|5"), {"prototype": "x"})
    with pytest.raises(StudyError, match="'colour' is not something a column can hold"):
        guess_layout(table("judge|product|greasy", "A|P|5"), {"colour": "judge"})


@pytest.mark.parametrize(
    ("layout", "sentence"),
    [
        (ScoresLayout(prototype="b"), "say which column holds the assessor; its columns are a, b, c"),
        (ScoresLayout("a"), "say which column holds the prototype"),
        (ScoresLayout("a", "b"), "no column with scores was found"),
        (ScoresLayout("a", "b", "c"), "no column with scores was found"),
        (ScoresLayout("a", "b", attributes=("x",)), "has no column 'x'"),
        (ScoresLayout("a", "a", attributes=("c",)), "'a' cannot hold two things"),
        (ScoresLayout("a", "b", attributes=("b",)), "'b' cannot hold two things"),
        (ScoresLayout("a", "b", attributes=("c",), decimal="x"), "a point or a comma"),
    ],
)
def test_layout_that_does_not_fit(layout: ScoresLayout, sentence: str):
    with pytest.raises(StudyError, match=sentence):
        _check_layout(table("a|b|c", "1|2|3"), layout)


def test_a_column_that_numbers_what_was_tried_again_is_the_replicate_and_a_turn_is_none():
    people, products = "ABC", "PQR"
    rounds = [f"{who}|{p}|{n}|{turn}|5" for who in people for n in (1, 2) for turn, p in enumerate(products, 1)]
    table_of_rounds = table("judge|product|round|serving|greasy", *rounds)
    layout = guess_layout(table_of_rounds)
    assert (layout.replicate, layout.attributes) == ("round", ("greasy",))
    turns = [f"{who}|{p}|{turn}|5" for who in people for turn, p in enumerate([*products, *products], 1)]
    assert guess_layout(table("judge|product|round|greasy", *turns)).replicate == ""
    once = [f"{who}|{p}|1|5" for who in people for p in products]
    assert guess_layout(table("judge|product|round|greasy", *once)).replicate == ""
