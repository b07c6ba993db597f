"""Nobody gets anything without a token of her own, and nobody learns what a sample is."""

import re
import socket
from contextlib import suppress
from pathlib import Path

import httpx
import pytest

from panel.ballots import pages
from panel.ballots.app import _SESSION_OVER
from panel.store.board import session_record
from panel.store.database import now
from panel.store.events import make_tokens, revoke_token
from panel.store.lock import lock_session
from panel.study.folder import write_study
from tests.ballot_studies import SECRETS, ballot_study, cleared
from tests.ballots.running import address_and_links, serving_process

PATHS = ("", "/1/1", "/1/2", "/reaction")


def without_nonce(html):
    return re.sub(r'nonce="[^"]*"', "", html)


def nothing(running, token):
    """Ask for every page with a token, and send marks: each time the same plain page has to come."""
    plain = set()
    for path in PATHS:
        for answer in (running.get(f"/b/{token}{path}"), running.post(f"/b/{token}{path}", v0="50", reaction="x")):
            if answer.status_code != 405:
                assert answer.status_code == 404
                plain.add(without_nonce(answer.text))
    assert session_record(running.store, running.collection, "1") == b""
    (html,) = plain
    assert pages.NO_BALLOT in html
    return html


def test_guessed_wrong_and_mistyped_tokens_get_the_same_plain_page(running):
    token = running.tokens["A01"]
    guesses = ["x", "A01", "1", token[:-1], token + "x", token.swapcase(), "%00", "..%2f", "'%20OR%201=1%20--", "é"]
    pages_seen = {nothing(running, guess) for guess in guesses}
    assert len(pages_seen) == 1
    (html,) = pages_seen
    assert not any(assessor in html for assessor in running.tokens)
    assert not re.search(r"\b\d{3}\b", re.sub(r"(?s)<style.*?</style>", "", html))


def test_a_revoked_token_gets_the_same_plain_page(running):
    wrong = nothing(running, "wrong")
    revoke_token(running.store, running.collection, "1", "A01", at=now())
    assert nothing(running, running.tokens["A01"]) == wrong


def test_a_replaced_token_gets_the_same_plain_page(running):
    make_tokens(running.store, running.collection, "1", at=now(), assessors=("A02",))
    nothing(running, running.tokens["A02"])
    assert running.get(f"/b/{running.tokens['A01']}").status_code == 200


def test_the_token_of_one_opens_nothing_of_another(running):
    codes = {}
    for assessor, token in running.tokens.items():
        text = running.get(f"/b/{token}").text
        codes[assessor] = re.findall(r"Sample <strong>(\d+)", text)
        assert not any(other in text for other in running.tokens if other != assessor)
    assert len({tuple(order) for order in codes.values()}) == 3
    running.post(f"/b/{running.tokens['A01']}/1/1", v0="50", serving="4", assessor="A02", position="2", code="x")
    record = session_record(running.store, running.collection, "1").decode()
    given = [line for line in record.splitlines() if '"kind":"answer"' in line]
    assert sum('"assessor":"A01"' in line for line in given) == len(given) > 0


def test_the_token_of_a_session_that_is_over_opens_nothing(running, tmp_path):
    write_study(ballot_study(), tmp_path / "hills")
    running.post(f"/b/{running.tokens['A01']}/1/1", v0="50")
    lock_session(running.store, running.collection, "1", tmp_path / "hills", who="lead", at=now())
    for path in ("", "/1/1"):
        answer = running.get(f"/b/{running.tokens['A01']}{path}")
        assert (answer.status_code, _SESSION_OVER in answer.text) == (403, True)
        assert "Sample" not in answer.text
    answer = running.post(f"/b/{running.tokens['A01']}/1/1", v0="99")
    assert answer.status_code == 403
    assert session_record(running.store, running.collection, "1").count(b'"answer"') == 1


def test_markup_that_somebody_writes_is_kept_as_text_and_shown_nowhere_else(running):
    words = "<img src=x onerror=alert(1)>"
    running.post(f"/b/{running.tokens['A01']}/1/1", v0=words, comment=words)
    answer = running.post(f"/b/{running.tokens['A01']}/1/1", v0=words)
    assert "<img" not in answer.text
    assert "&lt;img src=x onerror=alert(1)&gt;" in answer.text
    assert words.encode() in session_record(running.store, running.collection, "1")


def test_no_page_and_no_byte_of_the_record_tells_what_a_sample_is(running, tmp_path):
    seen = []
    for token in running.tokens.values():
        for path in (*PATHS, "/2/3", "/3/4", "/9/9"):
            answer = running.get(f"/b/{token}{path}")
            seen += [answer.text, str(answer.headers)]
        seen.append(running.post(f"/b/{token}/1/1", v0="much").text)
    everything = "".join(seen).encode() + b"".join(file.read_bytes() for file in tmp_path.glob("ballots.sqlite*"))
    assert [word for word in SECRETS if word.lower().encode() in everything.lower()] == []


def test_the_process_listens_here_only_and_says_no_prototype_and_no_token_but_the_links(tmp_path):
    write_study(cleared(ballot_study()), tmp_path / "study of ups and downs")
    with serving_process(tmp_path / "study of ups and downs", tmp_path / "b.sqlite") as (process, told):
        if Path("/proc/self/net/tcp").exists():
            loopback = socket.inet_aton("127.0.0.1")[::-1].hex().upper()  # as the kernel writes it on this byte order
            assert listening_addresses(process.pid) == [("tcp", loopback)]
        address, links = address_and_links(told)
        with httpx.Client(base_url=address, trust_env=False) as client:
            first = next(iter(links.values()))
            assert client.get(first).status_code == 200
            assert client.post(f"{first}/1/1", data={"v0": "50"}).status_code == 303
            client.get("/b/wrong")
            client.get("/%ff")
        before = len(told)
    assert [word for line in told for word in SECRETS if word.lower() in line.lower()] == []
    assert told[before:] == []  # no line for a request: it would hold a token


def listening_addresses(pid):
    """Return the local addresses at which a process listens (proc(5): state 0A is LISTEN)."""
    sockets = set()
    for entry in Path(f"/proc/{pid}/fd").iterdir():
        with suppress(FileNotFoundError):  # a file that was closed meanwhile
            sockets.add(entry.readlink().name.removeprefix("socket:[").removesuffix("]"))
    found = []
    for table in ("tcp", "tcp6", "udp", "udp6"):
        for line in Path(f"/proc/{pid}/net/{table}").read_text().splitlines()[1:]:
            cells = line.split()
            if cells[9] in sockets and (cells[3] == "0A" or table.startswith("udp")):
                found.append((table, cells[1].partition(":")[0]))
    return found


def raw(running, request):
    """Return the status with which the server answers bytes that no browser would send; 0 if it only hangs up."""
    host, _, port = running.address.rpartition("/")[2].partition(":")
    with socket.create_connection((host, int(port)), timeout=20) as line:
        line.sendall(request)
        with suppress(OSError):
            return int(line.recv(65536).split(b" ")[1])
    return 0


def head(method, path, *more):
    lines = (f"{method} {path} HTTP/1.1", "Host: 127.0.0.1", "Connection: close", *more, "", "")
    return "\r\n".join(lines).encode()


@pytest.mark.parametrize("place", ["9" * 5000, "9" * 7, "%D9%A1", "1%2e0", "1;x", "1%00", "-1", "+1", "1e0"])
def test_a_number_in_the_address_that_is_no_place_gets_the_plain_page(running, place):
    for token in (running.tokens["A01"], "x" * 24):
        answer = running.get(f"/b/{token}/{place}/1")
        assert (answer.status_code, pages.NO_BALLOT in answer.text) == (404, True)


def test_lengths_and_hosts_that_contradict_each_other_are_refused(running):
    path, body = f"/b/{running.tokens['A01']}/1/1", b"v0=50"
    chunks = b"5\r\nv0=50\r\n0\r\n\r\n"
    form = "Content-Type: application/x-www-form-urlencoded"
    for lengths in (
        ("Transfer-Encoding: chunked", "Content-Length: 5"),
        ("Content-Length: 5", "Content-Length: 4"),
        ("Content-Length: +5",),
        ("Content-Length: " + "9" * 19,),
    ):
        rest = chunks if "chunked" in lengths[0] else body
        assert raw(running, head("POST", path, form, *lengths) + rest) in (400, 413), lengths
    for hosts in (("Host: evil.example",), ("Host: 127.0.0.1",)):
        assert raw(running, head("GET", path, *hosts)) == 400  # there is one already
    for host in ("127.0.0.1.evil.example", "127.0.0.1@evil.example", "127.0.0.1:evil.example", ""):
        assert raw(running, head("GET", path).replace(b"Host: 127.0.0.1", f"Host: {host}".encode())) == 400
    assert raw(running, head("GET", f"http://evil.example{path}")) == 404
    assert session_record(running.store, running.collection, "1") == b""
    assert raw(running, head("POST", path, form, "Transfer-Encoding: chunked") + chunks) == 303


@pytest.mark.parametrize("method", ["OPTIONS", "PUT", "DELETE", "TRACE", "CONNECT", "PATCH", "get", "X"])
def test_no_other_method_does_anything(running, method):
    assert raw(running, head(method, f"/b/{running.tokens['A01']}/1/1", "Content-Length: 5") + b"v0=50") == 405
    assert session_record(running.store, running.collection, "1") == b""


NO_NUMBERS = (
    *("inf", "-inf", "1e400", "0x10", "1_0", "1,2,3", "5;6", "1/2", "100.0000000001", "V", "5\n6"),
    *("\u00b2", "\u202e15", "\u20665"),
    *("0" * 80 + "5", "0." + "0" * 80 + "5"),
)


@pytest.mark.parametrize(
    "typed", ["\u200e5", "5\u200b", "\u00a05 ", "\u0665", "\uff15"]
)  # and fives of other keyboards
def test_a_mark_counts_as_it_is_seen(running, typed):
    answer = running.post(f"/b/{running.tokens['A01']}/1/1", submission="a", v0=typed, act="send")
    assert answer.status_code == 303
    assert b'"value":5.0' in session_record(running.store, running.collection, "1").replace(b" ", b"")


@pytest.mark.parametrize("typed", NO_NUMBERS)
def test_a_mark_that_is_no_plain_number_on_the_line_is_asked_about_and_not_kept(running, typed):
    answer = running.post(f"/b/{running.tokens['A01']}/1/1", submission="a", v0=typed, act="send")
    assert answer.status_code == 422
    assert b'"answer"' not in session_record(running.store, running.collection, "1")


def test_a_page_that_says_it_was_made_in_the_future_blocks_no_later_one(running):
    path = f"/b/{running.tokens['A01']}/1/1"
    forged = running.post(path, submission="99999999999999-x", v0="66", act="send")
    running.clock.later(1)
    made = re.search(r'name="submission" value="([^"]*)"', running.get(path).text)[1]
    assert (forged.status_code, running.post(path, submission=made, v0="68", act="send").status_code) == (303, 303)
    assert b'"value":68.0' in session_record(running.store, running.collection, "1")
