"""Ballots follow the safety gate, and close whatever goes wrong with looking at it: a fault leads to the safe state."""

import shutil
import time
from datetime import timedelta

import httpx
import pytest

from panel.ballots import serving as gate_watch
from panel.ballots.serving import _GateWatch, _refuse_past, served
from panel.errors import StudyError
from panel.store.database import now
from panel.store.preparing import follow_gate, safety_signed
from panel.study.folder import write_study
from tests.ballot_studies import ballot_study, cleared
from tests.ballots.running import address_and_links, ready_store, serving_process, tokens_of


@pytest.fixture
def folder(tmp_path):
    write_study(cleared(ballot_study()), tmp_path / "hills")
    return tmp_path / "hills"


@pytest.fixture
def ready(folder, tmp_path):
    store, number = ready_store(tmp_path / "b.sqlite", cleared(ballot_study()), signed=False)
    follow_gate(store, number, cleared(ballot_study()), at=now())
    yield store, number
    store.close()


@pytest.fixture
def phone(ready, folder):
    """A phone, its link, and the watch of the server it talks to."""
    watch = _GateWatch(*ready, folder)
    link = f"/b/{tokens_of(*ready)['A01']}"
    with (
        served(ready[0], closed=watch.closed) as address,
        httpx.Client(base_url=address, trust_env=False) as client,
    ):
        yield client, link, watch


def broken(folder):
    (folder / "datapackage.json").write_text("{")


def unreadable_safety(folder):
    (folder / "safety.csv").write_bytes(b"\x89PNG\r\n\x1a\n\0")


def renamed(folder):
    folder.rename(folder.with_name("valleys"))


@pytest.mark.parametrize("harm", [broken, unreadable_safety, renamed, shutil.rmtree])
def test_a_gate_that_cannot_be_seen_twice_is_closed_before_a_sample_is_shown(phone, folder, harm):
    client, link, watch = phone
    watch.look()
    assert client.get(link).status_code == 200
    harm(folder)
    watch.look()
    assert watch.closed() == ""  # one look may fall into the moment of writing
    watch.look()
    for path in ("", "/1/1"):
        answer = client.get(link + path)
        assert answer.status_code == 403
        assert "The ballots are closed. The study with the safety gate cannot be read" in answer.text
        assert "do not apply anything" in answer.text
    assert client.post(f"{link}/1/1", data={"v0": "50"}).status_code == 403
    assert client.get(f"{link}/reaction").status_code == 200  # skin can react at any time


def test_it_opens_again_when_the_study_can_be_read(phone, folder):
    client, link, watch = phone
    whole = (folder / "datapackage.json").read_text()
    broken(folder)
    watch.look()
    watch.look()
    (folder / "datapackage.json").write_text(whole)
    watch.look()
    assert client.get(link).status_code == 200


def test_a_look_that_fails_in_an_unexpected_way_closes_at_once(phone, monkeypatch):
    client, link, watch = phone
    monkeypatch.setattr(gate_watch, "read_folder", lambda folder: 1 / 0)
    watch.look()
    answer = client.get(link)
    assert answer.status_code == 403
    assert "The safety gate cannot be told (ZeroDivisionError: division by zero)" in answer.text


def test_looking_goes_on_after_it_failed(ready, folder, monkeypatch):
    watch = _GateWatch(*ready, folder, seconds=0.01)
    monkeypatch.setattr(gate_watch, "read_folder", lambda folder: 1 / 0)
    with watch.following():
        assert soon(watch.closed)
        monkeypatch.undo()
        assert soon(lambda: not watch.closed())


def test_nobody_looking_any_more_is_a_reason_too(phone, monkeypatch):
    client, link, watch = phone
    monkeypatch.setattr(gate_watch, "_TOO_LONG_AGO", -60.0)
    assert "has not been looked at for" in client.get(link).text
    monkeypatch.undo()
    watch.look()
    assert client.get(link).status_code == 200


def test_the_study_is_read_again_only_when_a_file_changed_or_after_a_while(ready, folder, monkeypatch):
    reads = []
    monkeypatch.setattr(gate_watch, "follow_gate", lambda *arguments, at: reads.append(at))
    watch = _GateWatch(*ready, folder)
    watch.look()
    watch.look()
    assert len(reads) == 1
    (folder / "safety.csv").write_bytes((folder / "safety.csv").read_bytes() + b"\r\n")
    watch.look()
    assert len(reads) == 2
    monkeypatch.setattr(gate_watch, "_READS_EVERY", -1.0)
    watch.look()
    assert len(reads) == 3


def test_the_ballots_close_when_the_gate_does_while_they_are_served(ready, folder):
    with _GateWatch(*ready, folder, seconds=0.02).following():
        write_study(ballot_study(), folder, overwrite=True)  # the sign-offs are gone
        assert soon(lambda: not safety_signed(*ready))


def test_a_server_whose_folder_is_gone_shows_no_sample(folder):
    """The record lies in the folder that is renamed, so it cannot be told; the server as a laboratory runs it."""
    with serving_process(folder, folder / "ballots.sqlite") as (_, told):
        address, links = address_and_links(told)

        def ask() -> httpx.Response:
            return httpx.get(f"{address}{links['A01']}/1/1", trust_env=False)

        assert ask().status_code == 200
        folder.rename(folder.with_name("valleys"))
        assert soon(lambda: ask().status_code == 403, seconds=15)
        assert "The ballots are closed" in ask().text


def soon(true, seconds: float = 10.0) -> bool:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if true():
            return True
        time.sleep(0.02)
    return False


def test_a_clock_that_is_put_back_closes_the_ballots_and_one_that_jumps_ahead_does_not(ready, folder, monkeypatch):
    watch = _GateWatch(*ready, folder)
    real = gate_watch.time.time
    for ahead, words in ((0, ""), (3600, ""), (3570, ""), (0, "went back by 3600 seconds"), (0, "went back by 3600")):
        monkeypatch.setattr(gate_watch.time, "time", lambda ahead=ahead: real() + ahead)
        watch.look()
        assert words in watch.closed()
        assert bool(words) == bool(watch.closed())


def test_ballots_are_not_served_by_a_clock_that_is_behind_the_record(running):
    _refuse_past(running.store)
    with running.visitor() as phone:
        phone.go()
    _refuse_past(running.store, running.clock)
    with pytest.raises(StudyError, match=r"The clock of this computer shows .* Set the clock right first"):
        _refuse_past(running.store, lambda: running.clock() - timedelta(hours=1))
