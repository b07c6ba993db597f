from datetime import datetime

import pytest

from panel.store.board import board_of_assessors, board_of_servings, reactions_table
from panel.store.database import now
from panel.store.events import Entry, let_go_on, record
from tests.ballot_studies import ballot_study
from tests.databases import add_correction

NOON = datetime(2025, 3, 14, 12, 0).astimezone()


@pytest.fixture
def busy(store, collection):
    """A01 has finished one sample, cannot judge one line of it, was early once; A02 reported a reaction."""

    def send(assessor, key, *entries):
        place = {"collection": collection, "session": "1", "assessor": assessor}
        record(store, entries, submission=key, at=NOON, **place)

    send("A01", "a", Entry("shown", 1, text="1"), Entry("answer", 1, "GLOSS", 5.0), Entry("answer", 1, "GLOSS", 6.0))
    send(
        "A01", "b", Entry("answer", 1, "SPREAD", 5.0), Entry("cannot_judge", 1, "STICK"), Entry("comment", 1, text="x")
    )
    send("A01", "c", Entry("answer", 1, "GREASE", 5.0, flag="early"), Entry("answer", 1, "RESIDUE", 7.0, flag="late"))
    send("A01", "d", Entry("shown", 2, text="1"))
    send("A02", "e", Entry("reaction", 4, text="burning"), Entry("reaction", None, text="<b>itching</b>"))
    return store


def test_the_board_counts_what_each_serving_has(busy, collection):
    board = board_of_servings(busy, collection, "1")
    counts = ["asked", "answered", "cannot_judge", "early", "comments"]
    assert board.loc[0, counts].tolist() == [5, 4, 1, 1, 1]
    assert board.loc[1, counts].tolist() == [5, 0, 0, 0, 0]
    assert board["opened"].tolist() == [True, True, False, True] + [False] * 5
    assert board["last_at"].tolist()[:3] == ["2025-03-14T12:00:00", "2025-03-14T12:00:00", ""]
    assert len(board_of_servings(busy, collection)) == 18


def test_the_board_of_assessors_adds_up(busy, collection):
    table = board_of_assessors(busy, collection, "1").set_index("assessor")
    assert table.loc["A01", ["servings", "finished", "asked", "answered", "cannot_judge", "early"]].tolist() == [
        3,
        1,
        15,
        4,
        1,
        1,
    ]
    assert table["stopped"].tolist() == [False, True, False]
    let_go_on(busy, collection, "1", "A02", who="lead", why="nothing found", at=now())
    assert not board_of_assessors(busy, collection)["stopped"].any()


def test_a_score_set_aside_is_no_answer_any_more(busy, collection):
    add_correction(busy, 1, "GLOSS", None, "spilt")
    assert board_of_servings(busy, collection)["answered"][0] == 3


def test_the_panel_leader_sees_codes_and_never_prototypes(busy, collection):
    prototypes = list(ballot_study().table("prototypes")["prototype"])
    for board in (board_of_servings(busy, collection), board_of_assessors(busy, collection)):
        assert "prototype" not in board.columns
        assert not any(name in board.to_csv() for name in prototypes)


def test_reactions_are_listed_word_for_word(busy, collection):
    table = reactions_table(busy, collection)
    assert table["text"].tolist() == ["burning", "<b>itching</b>"]
    assert table["assessor"].tolist() == ["A02", "A02"]
    assert table["code"].tolist()[0] in {"417", "582", "936"}
    assert table["code"].tolist()[1] == ""


def test_an_empty_collection_has_an_empty_board(store, collection):
    assert board_of_servings(store, 99).empty
    assert board_of_assessors(store, 99).empty
    assert reactions_table(store, collection).empty
