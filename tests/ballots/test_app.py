import sqlite3

import pytest

from panel.ballots.app import _HELD, _NOT_OPEN, _STOPPED
from panel.ballots.rehearsal import _Visitor
from panel.ballots.serving import served
from panel.store.board import board_of_servings, reactions_table, session_record
from panel.store.database import now, open_store
from panel.store.events import let_go_on
from tests.ballots.running import say_signed


def kept(running, kind="answer"):
    return session_record(running.store, running.collection, "1").count(f'"kind":"{kind}"'.encode())


def marks(page, value="50"):
    return dict.fromkeys(page.lines, value)


def test_a_ballot_goes_stage_by_stage_from_sample_to_sample(running):
    with running.visitor() as phone:
        page = phone.go()
        codes = list(board_of_servings(running.store, running.collection, "1")["code"][:3])
        assert page.words.startswith(
            "Session 1 You are A01. Mark every line once, anywhere between its two ends, or tick that you cannot "
            "judge. Go on with sample"
        )
        page = phone.go(page.onward)
        assert (page.code, page.lines) == (codes[0], ["v0"])
        page = phone.send(page, marks(page))
        assert "Rub-out" in page.words
        page = phone.send(page, {}, act="rubbed")
        page = phone.send(page, marks(page))
        assert page.waits  # the after-feel is due in two minutes
        running.clock.later(2)
        page = phone.go(phone.go().onward)
        assert "2 minutes after the end of rubbing" in page.words
        assert len(page.lines) == 2
        page = phone.send(page, marks(page))
        assert page.code == codes[1]  # the later stage waits for 18 more minutes
        running.clock.later(18)
        page = phone.go(phone.go().onward)
        assert (page.code, "20 minutes after" in page.words) == (codes[0], True)
        phone.send(page, marks(page))
    assert kept(running) == 5


def test_a_line_is_blank_whatever_was_answered_before(running):
    with running.visitor() as phone:
        path = f"{phone.path}/1/1"
        phone.send(phone.go(path), {"v0": "48,7"})
        page = phone.go(path)
        assert "Answered." in page.words
        assert "48" not in page.html.split("<fieldset>")[1].split("</fieldset>")[0]
        assert "value=" not in page.html.split('name="v0"')[1].split(">")[0]
        phone.send(page, {"v0": ""})  # left blank, the earlier mark stays
    assert b'"value":48.7' in session_record(running.store, running.collection, "1")
    assert kept(running) == 1


def test_lines_left_open_are_asked_for_and_the_others_are_kept(running):
    with running.visitor() as phone:
        page = phone.go(f"{phone.path}/1/3")
        page = phone.send(page, {"v0": "10"})
        assert "Some lines have no mark yet" in page.words
        assert kept(running) == 1
        page = phone.send(page, {"c1": "1"})
    assert (kept(running), kept(running, "cannot_judge")) == (1, 1)


def test_a_mark_that_cannot_be_read_is_told_and_the_others_are_kept(running):
    with running.visitor() as phone:
        page = phone.send(phone.go(f"{phone.path}/1/3"), {"v0": "330", "v1": "12", "comment": "oily"})
        assert page.status == 422
        assert "greasy film: 330 lies outside the line, which goes from 0 to 100" in page.words
        page = phone.send(page, {"v0": "33"})
    assert (kept(running), kept(running, "comment")) == (2, 1)


def test_an_early_answer_is_told_kept_and_flagged(running):
    with running.visitor() as phone:
        phone.send(phone.go(f"{phone.path}/1/2"), {"v0": "5"}, act="rubbed")
        running.clock.later(1)
        page = phone.go(f"{phone.path}/1/3")
        assert "Too early: judge this at" in page.words
        phone.send(page, marks(page))
    assert board_of_servings(running.store, running.collection, "1")["early"][0] == 2
    assert b'"flag":"early"' in session_record(running.store, running.collection, "1")


def test_a_page_sent_twice_is_kept_once_and_both_times_answered_alike(running):
    path = f"/b/{running.tokens['A01']}/1/1"
    answers = [running.post(path, submission="same", v0="50", act="send") for _ in range(3)]
    assert {(answer.status_code, answer.headers["location"]) for answer in answers} == {
        (303, f"/b/{running.tokens['A01']}/1/2")
    }
    assert kept(running) == 1


def test_the_same_identifier_from_two_people_does_not_block_one_of_them(running):
    for assessor in ("A01", "A02"):
        for stage in ("1", "2"):
            path = f"/b/{running.tokens[assessor]}/1/{stage}"
            assert running.post(path, submission="same", v0="50", act="send").status_code == 303
    assert kept(running) == 4


def test_a_ballot_goes_on_where_it_was_left(running):
    with running.visitor() as phone:
        phone.send(phone.go(f"{phone.path}/1/1"), {"v0": "50"})
    with running.visitor() as another_phone:
        page = another_phone.go()
        assert page.onward.endswith("/1/2")
        assert "begun" in page.words


def test_a_sample_is_noted_as_shown_once_for_each_stage(running):
    with running.visitor() as phone:
        for _ in range(3):
            phone.go(f"{phone.path}/1/1")
        phone.go(f"{phone.path}/1/2")
    assert kept(running, "shown") == 2 + 1  # and the phone, once


def test_the_ballots_are_closed_while_the_safety_gate_is_not_signed(running):
    path = f"/b/{running.tokens['A01']}"
    say_signed(running.store, running.collection, signed=False)
    for answer in (running.get(path), running.get(f"{path}/1/1"), running.post(f"{path}/1/1", v0="50")):
        assert answer.status_code == 403
        assert _NOT_OPEN in answer.text
        assert "Sample" not in answer.text
    assert session_record(running.store, running.collection, "1") == b""
    say_signed(running.store, running.collection, signed=True)
    assert running.get(path).status_code == 200


def test_a_reaction_stops_the_ballot_holds_the_sample_and_can_always_be_reported(running):
    with running.visitor("A01") as phone, running.visitor("A02") as other:
        code = phone.go(f"{phone.path}/1/1").code
        page = phone.go(f"{phone.path}/reaction?sample=1")
        assert "see a physician" in page.words
        sent = running.client.post(
            f"{phone.path}/reaction?sample=1", data={**page.fields, "reaction": "burning <b>now</b>"}
        )
        assert sent.status_code == 303
        assert _STOPPED in phone.go().words
        theirs = other.go()
        assert f"Sample {code} , left forearm" in theirs.words
        assert "held back, do not use it" in theirs.words
        position = next(number for number in "123" if other.go(f"{other.path}/{number}/1").status == 403)
        assert _HELD in other.go(f"{other.path}/{position}/1").words
        table = reactions_table(running.store, running.collection)
        assert table[["assessor", "code", "text"]].to_numpy().tolist() == [["A01", code, "burning <b>now</b>"]]
        let_go_on(running.store, running.collection, "1", "A01", who="lead", why="nothing found", at=now())
        assert phone.go().status == other.go(f"{other.path}/{position}/1").status == 200
    say_signed(running.store, running.collection, signed=False)
    assert running.get(f"/b/{running.tokens['A03']}/reaction").status_code == 200


def test_a_reaction_sent_twice_is_one(running):
    for _ in range(2):
        running.post(f"/b/{running.tokens['A01']}/reaction", submission="same", reaction="itching")
    assert len(reactions_table(running.store, running.collection)) == 1


def test_what_could_not_be_kept_is_told_and_sent_again_by_one_press(running, tmp_path):
    quick = open_store(tmp_path / "ballots.sqlite", patience=0.1)
    other = sqlite3.connect(tmp_path / "ballots.sqlite", isolation_level=None, timeout=10)
    with served(quick) as address, _Visitor(address, running.tokens["A01"]) as phone:
        page = phone.go(f"{phone.path}/1/3")
        other.execute("BEGIN IMMEDIATE")  # readers may read, nobody else may write
        page = phone.send(page, {"v0": "10", "v1": "20", "comment": '"><script>'})
        other.execute("ROLLBACK")
        assert page.status == 503
        assert "Your marks are not in the record yet." in page.words
        assert "is in use by another program" in page.words
        assert (page.fields["v0"], page.fields["v1"], page.fields["comment"]) == ("10", "20", '"><script>')
        assert kept(running) == 0
        phone.send(page, {}, act=page.fields["act"])
        assert kept(running) == 2
        other.execute("BEGIN EXCLUSIVE")
        assert phone.go().status == 503
        other.execute("ROLLBACK")
    other.close()
    quick.close()


@pytest.mark.parametrize("path", ["/9/1", "/1/9", "/0/0", "/-1/1", "/1/1/1", "/one/two", "/1", "/99999999999999999/1"])
def test_there_is_nothing_beside_the_pages_of_the_ballot(running, path):
    answer = running.get(f"/b/{running.tokens['A01']}{path}")
    assert answer.status_code == 404
    assert "Sample" not in answer.text


def test_asking_for_the_head_of_a_page_sends_nothing_in(running):
    answer = running.client.head(f"/b/{running.tokens['A01']}/1/1")
    assert answer.status_code == 200
    assert kept(running) == 0
