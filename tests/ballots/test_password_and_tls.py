"""A password beside the link, and TLS with a certificate of this computer's own."""

import hashlib
import ssl
import stat
import sys
from datetime import UTC, datetime, timedelta
from importlib import util

import httpx
import pytest

from panel.ballots import pages
from panel.ballots import protection as certificates
from panel.ballots.app import _MOST_TRIES
from panel.ballots.protection import (
    _LASTS,
    _NOT_KEPT_BEFORE,
    _NOT_THE_WORD,
    fingerprint_at,
    own_certificate,
    what_to_compare,
)
from panel.ballots.serving import ballots_at, link_opens, served
from panel.errors import StudyError
from panel.store.board import session_record
from tests.ballot_studies import ballot_study
from tests.ballots.running import ready_store, tokens_of

PASSWORD = "three quiet hills"
needs_library = pytest.mark.skipif(util.find_spec("cryptography") is None, reason="cryptography is not installed")


@pytest.fixture
def guarded(tmp_path):
    store, number = ready_store(tmp_path / "ballots.sqlite", ballot_study())
    with served(store, password=PASSWORD) as address, httpx.Client(base_url=address, trust_env=False) as client:
        yield client, address, f"/b/{tokens_of(store, number)['A01']}", (store, number)
    store.close()


def test_nothing_is_shown_before_the_password_and_every_link_gets_the_same_page(guarded):
    client, address, path, _ = guarded
    found = [client.get(one) for one in (path, f"{path}/1/1", f"{path}/reaction", "/b/wrong", "/")]
    assert {answer.status_code for answer in found} == {401}
    assert all(pages.ASKED_FIRST in answer.text for answer in found)
    assert not any("Sample" in answer.text or "A01" in answer.text for answer in found)
    assert ballots_at(address)
    assert link_opens(address + path)


def test_the_password_opens_the_page_that_was_wanted_and_is_asked_once(guarded):
    client, _, path, _ = guarded
    assert _NOT_THE_WORD in client.post(f"{path}/1/1", data={"password": "other"}).text
    answer = client.post(f"{path}/1/1", data={"password": f" {PASSWORD} "})
    assert (answer.status_code, answer.headers["location"]) == (303, f"{path}/1/1")
    assert all(word in answer.headers["set-cookie"] for word in ("HttpOnly", "SameSite=strict"))
    assert PASSWORD not in answer.headers["set-cookie"]
    assert client.get(f"{path}/1/1").status_code == 200
    assert client.get("/b/wrong").status_code == 404


def test_an_answer_that_comes_before_the_password_is_not_kept_and_that_is_said(guarded):
    client, _, path, (store, number) = guarded
    assert _NOT_KEPT_BEFORE in client.post(f"{path}/1/1", data={"v0": "50"}).text
    assert b'"answer"' not in session_record(store, number, "1")


def test_nobody_tries_passwords_for_ever(guarded):
    client, _, path, _ = guarded
    for number in range(_MOST_TRIES):
        assert client.post(path, data={"password": f"guess {number}"}).status_code == 401
    assert client.post(path, data={"password": PASSWORD}).status_code == 429


def test_a_short_password_is_refused(tmp_path):
    store, _ = ready_store(tmp_path / "ballots.sqlite", ballot_study())
    try:
        with pytest.raises(StudyError, match="too short; take 8"), served(store, password="short"):
            pass
    finally:
        store.close()


def test_without_the_library_it_is_said_what_to_do(tmp_path, monkeypatch):
    monkeypatch.setattr(certificates, "find_spec", lambda name: None)
    with pytest.raises(StudyError, match=r"'cryptography' is not installed. Install it .* or serve .* without --tls"):
        own_certificate("127.0.0.1", tmp_path)
    assert not list(tmp_path.iterdir())


@needs_library
def test_phones_talk_through_tls_with_the_certificate_whose_fingerprint_is_shown(tmp_path):
    made = own_certificate("127.0.0.1", tmp_path / "keys")
    store, number = ready_store(tmp_path / "ballots.sqlite", ballot_study())
    trusted = ssl.create_default_context(cafile=str(made[0]))
    with served(store, certificate=made, password=PASSWORD) as address:
        assert address.startswith("https://")
        with httpx.Client(base_url=address, verify=trusted, trust_env=False) as client:  # name and chain are checked
            path = f"/b/{tokens_of(store, number)['A01']}"
            assert "Secure" in client.post(path, data={"password": PASSWORD}).headers["set-cookie"]
            assert client.get(path).status_code == 200
        with pytest.raises(httpx.ConnectError, match="CERTIFICATE_VERIFY_FAILED"):
            httpx.get(address, trust_env=False)
        assert fingerprint_at("127.0.0.1", int(address.rpartition(":")[2])) == made[2]
        assert ballots_at(address)
        assert not ballots_at(address.replace("https", "http"))
    store.close()
    # the fingerprint, computed from the file by hand
    der = ssl.PEM_cert_to_DER_cert(made[0].read_text())
    assert made[2] == ":".join(f"{byte:02X}" for byte in hashlib.sha256(der).digest())
    assert made[2] in what_to_compare(made[2])


@needs_library
def test_the_certificate_is_kept_its_key_is_private_and_it_is_made_anew_before_it_runs_out(tmp_path, monkeypatch):
    first = own_certificate("127.0.0.1", tmp_path / "keys")
    assert own_certificate("127.0.0.1", tmp_path / "keys") == first
    if sys.platform != "win32":
        assert stat.S_IMODE(first[1].stat().st_mode) == 0o600
        assert stat.S_IMODE(first[1].parent.stat().st_mode) == 0o700

    class Later(datetime):
        @classmethod
        def now(cls, tz=None):
            return datetime.now(UTC) + _LASTS - timedelta(days=5)

    monkeypatch.setattr(certificates, "datetime", Later)
    assert own_certificate("127.0.0.1", tmp_path / "keys")[2] != first[2]


def test_nobody_with_a_certificate_has_no_fingerprint():
    assert fingerprint_at("127.0.0.1", 1) == ""
