"""What a rough network, two phones on one link and a wild link do to a ballot: newer answers stay, and it is told."""

from __future__ import annotations

import os
import stat
import sys

import httpx
import pandas as pd
import pytest

from panel.ballots import pages
from panel.ballots.app import _MOST_COMMENTS, _MOST_PHONES, _MOST_REACTIONS, _OLDER_PAGE, _STOPPED, _TOO_OFTEN, _Often
from panel.ballots.serving import serve
from panel.errors import StudyError
from panel.store.board import board_of_assessors, reactions_table, session_record
from panel.store.database import open_store
from panel.study.folder import write_study
from panel.views.planning.safety import who_has_answered
from tests.ballot_studies import ballot_study


def answers(running):
    """Return attribute, value and flag of every answer in the record, in their order."""
    import json

    rows = [json.loads(line) for line in session_record(running.store, running.collection, "1").splitlines()]
    return [(row["attribute"], row["value"], row["flag"]) for row in rows if row.get("kind") == "answer"]


def test_an_old_request_that_comes_late_replaces_nothing(running):
    with running.visitor() as phone:
        page = phone.go(f"{phone.path}/1/1")
        phone.send(page, {"v0": "11"})
        phone.send(page, {"v0": "55"})
        phone.send(page, {"v0": "11"})  # the first request, from a network that held it back
    assert [value for _, value, _ in answers(running)] == [11.0, 55.0]


def test_a_page_opened_before_the_newer_one_replaces_nothing_and_its_phone_is_told(running):
    with running.visitor() as one, running.visitor() as other:
        first = one.go(f"{one.path}/1/1")
        running.clock.later(0.01)
        second = other.go(f"{other.path}/1/1")
        other.send(second, {"v0": "55"})
        told = one.send(first, {"v0": "11"})
        assert told.status == 409
        assert _OLDER_PAGE in told.words
        assert [value for _, value, _ in answers(running)] == [55.0]
        running.clock.later(0.01)
        one.send(one.go(f"{one.path}/1/1"), {"v0": "12"})  # who opens the sample again changes the answer
    assert [value for _, value, _ in answers(running)] == [55.0, 12.0]


def test_samples_out_of_order_and_late_stages_first_carry_a_mark(running):
    with running.visitor() as phone:
        for path in ("2/1", "1/2", "1/1", "3/1"):
            phone.send(phone.go(f"{phone.path}/{path}"), {"v0": "50"})
    assert answers(running) == [
        ("GLOSS", 50.0, "out of order"),  # sample 2 before 1
        ("SPREAD", 50.0, "out of order"),  # rub-out before appearance
        ("GLOSS", 50.0, ""),
        ("GLOSS", 50.0, ""),  # 1 and 2 were begun
    ]


def test_a_reaction_holds_back_only_a_sample_that_was_opened(running):
    with running.visitor("A01") as phone, running.visitor("A02") as other:
        phone.go(f"{phone.path}/1/1")
        for sample in "321":
            running.post(f"{phone.path}/reaction?sample={sample}", reaction=f"itching {sample}")
        held = [number for number in "123" if other.go(f"{other.path}/{number}/1").status == 403]
        assert len(held) == 1
        assert _STOPPED in phone.go().words
    told = reactions_table(running.store, running.collection)
    assert sorted(told["text"]) == ["itching 1", "itching 2", "itching 3"]  # all are kept, for the leader to read
    assert (told["code"].fillna("") != "").sum() == 1


def test_a_second_phone_on_one_link_is_told_on_both_and_the_leader_sees_it(running):
    with running.visitor("A01") as one, running.visitor("A01") as other, running.visitor("A02") as alone:
        assert pages._MORE_PHONES not in one.go().words
        assert pages._MORE_PHONES not in one.go(f"{one.path}/1/1").words  # the same phone
        assert pages._MORE_PHONES in other.go().words  # at opening, before anything is marked
        assert pages._MORE_PHONES in one.go().words
        assert pages._MORE_PHONES not in alone.go().words
    board = board_of_assessors(running.store, running.collection, "1").set_index("assessor")
    assert board["phones"].loc[["A01", "A02"]].tolist() == [2, 1]
    assert "A01" in who_has_answered(board.reset_index())


def test_a_browser_that_keeps_no_cookie_fills_no_record(running):
    for _ in range(2 * _MOST_PHONES):
        httpx.get(f"{running.address}/b/{running.tokens['A01']}", trust_env=False)
    board = board_of_assessors(running.store, running.collection, "1").set_index("assessor")
    assert board.loc["A01", "phones"] == _MOST_PHONES


def test_a_link_that_writes_without_end_is_slowed_and_nobody_else_is(running):
    one, other = (f"/b/{running.tokens[name]}" for name in ("A01", "A02"))
    for number in range(_MOST_COMMENTS):
        assert running.post(f"{one}/1/1", comment=f"word {number}").status_code == 303
    refused = running.post(f"{one}/1/1", comment="one more", v0="50")
    assert refused.status_code == 429
    assert _TOO_OFTEN in refused.text
    assert running.post(f"{one}/1/1", v0="50").status_code == 303  # answers are taken as before
    assert running.post(f"{other}/1/1", comment="a word").status_code == 303
    for number in range(_MOST_REACTIONS):
        assert running.post(f"{one}/reaction", reaction=f"itching {number}").status_code == 303
    assert running.post(f"{one}/reaction", reaction="again").status_code == 429
    assert running.post(f"{other}/reaction", reaction="itching").status_code == 303


def test_after_a_while_a_link_may_write_again():
    moment = [0.0]
    often = _Often(2, 10.0, now=lambda: moment[0])
    assert [often.too_often("a") for _ in range(3)] == [False, False, True]
    assert not often.too_often("b")
    moment[0] = 10.1
    assert [often.too_often("a") for _ in range(3)] == [False, False, True]


def test_a_session_that_holds_scores_is_refused_before_people_are_invited(tmp_path):
    row = {"assessor": "A01", "prototype": "Zugspitze", "attribute": "GLOSS", "score": 50.0, "session": "1"}
    write_study(ballot_study(scores=pd.DataFrame([row])), tmp_path / "hills")
    with pytest.raises(StudyError, match=r"already holds scores of session 1 \(A01\); what its ballots say could not"):
        serve(tmp_path / "hills", tmp_path / "b.sqlite", port=0)


@pytest.mark.skipif(sys.platform == "win32", reason="on Windows the folder decides who may read a file")
def test_the_record_is_readable_by_its_owner_only(tmp_path):
    older = os.umask(0)
    try:
        open_store(tmp_path / "b.sqlite").close()
        assert stat.S_IMODE((tmp_path / "b.sqlite").stat().st_mode) == 0o600
        (tmp_path / "b.sqlite").chmod(0o644)  # one from before
        open_store(tmp_path / "b.sqlite").close()
        assert stat.S_IMODE((tmp_path / "b.sqlite").stat().st_mode) == 0o600
    finally:
        os.umask(older)


@pytest.mark.skipif(sys.platform == "win32", reason="on Windows the folder decides who may read a file")
def test_a_study_is_readable_by_its_owner_only_unless_its_folder_is_shared_with_a_group(tmp_path):
    older = os.umask(0)
    try:
        write_study(ballot_study(), tmp_path / "hills")
        shared = tmp_path / "shared"
        shared.mkdir()
        shared.chmod(0o2770)
        write_study(ballot_study(), shared, overwrite=True)
    finally:
        os.umask(older)
    assert {stat.S_IMODE(file.stat().st_mode) for file in (tmp_path / "hills").glob("*.*")} == {0o600}
    assert stat.S_IMODE((tmp_path / "hills").stat().st_mode) == 0o700
    assert {stat.S_IMODE(file.stat().st_mode) for file in shared.glob("*.*")} == {0o660}
