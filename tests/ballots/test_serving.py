import re

import httpx
import pytest

from panel.ballots import serving
from panel.ballots.serving import serve, served
from panel.errors import StudyError
from panel.store.database import now, open_store
from panel.store.events import Entry, record
from panel.store.lock import lock_session
from panel.study.folder import write_study
from tests.ballot_studies import ASSESSORS, ballot_study, cleared
from tests.ballots.running import address_and_links, only_collection, ready_store, serving_process


@pytest.fixture
def folder(tmp_path):
    write_study(ballot_study(), tmp_path / "hills")
    return tmp_path / "hills"


def test_a_server_answers_the_links_it_hands_out_and_forgets_nothing(folder, tmp_path, monkeypatch):
    file = tmp_path / "b.sqlite"
    with serving_process(folder, file) as (_, told):
        address, links = address_and_links(told)
        assert tuple(links) == ASSESSORS
        assert address.startswith("http://127.0.0.1:")
        text = "\n".join(told)
        assert "The safety gate is not open: 0 of 3 served prototypes have a batch that may be applied." in text
        assert "Every ballot stays closed until the safety gate is signed" in text
        assert "on this computer only" in text
        assert httpx.get(f"{address}{links['A01']}", trust_env=False).status_code == 403  # nobody has signed
    write_study(cleared(ballot_study()), folder, overwrite=True)
    told = run_until_told(monkeypatch, folder, file)
    assert "The links of session 1 that were handed out still hold: A01, A02, A03." in told
    assert not any("/b/" in str(line) for line in told)
    store = open_store(file)
    with served(store) as address, httpx.Client(base_url=address, trust_env=False) as phone:
        assert phone.get(links["A01"]).status_code == 200
        assert phone.post(f"{links['A01']}/1/1", data={"v0": "50"}).status_code == 303
        assert "1/2" in phone.get(links["A01"]).text
    store.close()


def run_until_told(monkeypatch, *arguments, **options):
    """Run `serve` up to the point where it would wait for phones; return what it told."""
    told = []
    with monkeypatch.context() as changed:
        changed.setattr(serving.uvicorn.Server, "run", lambda self, sockets: told.append(sockets[0].getsockname()))
        serve(*arguments, port=0, tell=told.append, **options)
    return told


def test_new_links_replace_those_handed_out(folder, tmp_path, monkeypatch):
    file = tmp_path / "b.sqlite"
    told = run_until_told(monkeypatch, folder, file)
    assert any("Nobody has a link for session 1 yet" in str(line) for line in told)
    first = [line for line in run_until_told(monkeypatch, folder, file, new_links=True) if "/b/" in str(line)]
    second = run_until_told(monkeypatch, folder, file, new_links=True)
    assert len(first) == sum("/b/" in str(line) for line in second) == 3
    assert not set(first) & set(second)
    other = run_until_told(monkeypatch, folder, file, session="2", new_links=True)
    assert sum("session 2, A0" in str(line) for line in other) == 3


def test_the_network_is_served_only_when_asked_and_with_a_hint(folder, tmp_path, monkeypatch):
    monkeypatch.setattr("panel.ballots.serving.lan_address", lambda: "127.0.0.2")
    told = run_until_told(monkeypatch, folder, tmp_path / "b.sqlite", lan=True)
    assert told[-1][0] == "127.0.0.2"
    text = "\n".join(map(str, told))
    assert re.search(r"Ballots are answered at http://127\.0\.0\.2:\d+\.", text)
    assert "the firewall of this computer blocks port" in text
    assert run_until_told(monkeypatch, folder, tmp_path / "b.sqlite")[-1][0] == "127.0.0.1"
    with pytest.raises(StudyError, match="Ballots answer on this computer only"):
        run_until_told(monkeypatch, folder, tmp_path / "b.sqlite", "0.0.0.0")


def test_a_place_that_is_no_good_is_told(folder, tmp_path, monkeypatch):
    (tmp_path / "OneDrive").mkdir()
    told = run_until_told(monkeypatch, folder, tmp_path / "OneDrive" / "b.sqlite")
    assert "is copied to other computers" in told[0]


def test_when_all_sessions_are_locked_there_are_no_links(folder, tmp_path, monkeypatch):
    file = tmp_path / "b.sqlite"
    run_until_told(monkeypatch, folder, file)
    store = open_store(file)
    number = only_collection(store)
    for session, first in (("1", 1), ("2", 10)):
        place = {"collection": number, "session": session, "assessor": "A01", "at": now()}
        record(store, [Entry("answer", first, "GLOSS", 50.0)], submission=f"s{session}", **place)
        lock_session(store, number, session, folder, who="lead", at=now())
    store.close()
    told = run_until_told(monkeypatch, folder, file)
    assert "All sessions are locked." in told


def test_ballots_need_a_study_folder(tmp_path):
    (tmp_path / "hills.zip").write_bytes(b"")
    with pytest.raises(StudyError, match=r"is no study folder\. Ballots end up in one"):
        serve(tmp_path / "hills.zip")


def test_a_port_that_is_taken_is_told(tmp_path):
    store, _ = ready_store(tmp_path / "b.sqlite", ballot_study())
    with served(store) as address:
        port = int(address.rpartition(":")[2])
        with pytest.raises(StudyError, match=f"Port {port} at"), served(store, port=port):
            pass
    store.close()
