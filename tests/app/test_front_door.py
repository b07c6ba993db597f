"""Who gets in: the app's own pages with the word from the opening address. All else is refused before Streamlit."""

from __future__ import annotations

import asyncio
import base64
import hashlib
import os
import re
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
import streamlit

from panel.app import front_door
from panel.app.front_door import FrontDoor
from panel.app.state import FOLDERS_VARIABLE, _named_folders, typed_path
from panel.errors import StudyError
from tests.app.running import ROOT, free_port, running_app

HOST = "127.0.0.1:8501"


def asked(door: FrontDoor, *, kind: str = "http", path: str = "/", query: str = "", **headers: str) -> dict[str, Any]:
    """Return what the door sends to one request: status, headers, and whether Streamlit was reached."""
    sent: list[Any] = []

    async def send(message: Any) -> None:
        sent.append(message)

    async def receive() -> Any:
        return {"type": "http.request", "body": b""}

    pairs = [(name.replace("_", "-").encode(), value.encode()) for name, value in headers.items()]
    scope = {"type": kind, "method": "GET", "path": path, "query_string": query.encode(), "headers": pairs}
    asyncio.run(door(scope, receive, send))
    first = sent[0]
    return {
        "status": first.get("status", first["type"]),
        "headers": {name.decode(): value.decode() for name, value in first.get("headers", [])},
        "reached": b"".join(m.get("body", b"") for m in sent) == b"streamlit" or first["type"] == "websocket.accept",
    }


async def behind(scope: Any, _receive: Any, send: Any) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.accept"})
        return
    await send({"type": "http.response.start", "status": 200, "headers": [(b"x-frame-options", b"ALLOW")]})
    await send({"type": "http.response.body", "body": b"streamlit"})


@pytest.mark.parametrize("kind", ["http", "websocket"])
@pytest.mark.parametrize(
    "headers",
    [
        {"host": "evil.example:8501"},
        {"host": "evil.example:8501", "origin": "http://evil.example:8501"},
        {"host": "127.0.0.1.evil.example"},
        {"host": "127.0.0.1:8501@evil.example"},
        {"host": ""},
        {},
        {"host": HOST, "origin": "http://evil.example"},
        {"host": HOST, "origin": "http://127.0.0.1:8600"},
        {"host": HOST, "origin": "null"},
        {"host": HOST, "origin": "http://[broken"},
    ],
)
def test_another_name_or_page_is_refused(kind: str, headers: dict[str, str]):
    told = asked(FrontDoor(behind), kind=kind, **headers)
    assert not told["reached"]
    assert told["status"] in (403, "websocket.close")


@pytest.mark.parametrize("kind", ["http", "websocket"])
@pytest.mark.parametrize("host", ["127.0.0.1:8501", "localhost:1", "LOCALHOST", "127.0.0.1"])
def test_its_own_names_are_answered(kind: str, host: str):
    assert asked(FrontDoor(behind), kind=kind, host=host)["reached"]
    assert asked(FrontDoor(behind), kind=kind, host=host, origin=f"http://{host}")["reached"]


def test_the_word_opens_and_leaves_the_address():
    door = FrontDoor(behind, "word")
    for query in ("", "token=", "token=wrong", "token=word2"):
        assert asked(door, host=HOST, query=query)["status"] == 403
    told = asked(door, host=HOST, query="token=word", path="//evil.example/x")
    assert (told["status"], told["headers"]["location"]) == (303, "/evil.example/x")
    kept = asked(door, host=HOST, query="token=word&study=%2Fhome%2Fa%0d%0ax%26b%3D1&other=1")
    assert kept["headers"]["location"] == "/?study=%2Fhome%2Fa%0D%0Ax%26b%3D1"  # the study stays, and nothing else
    given = told["headers"]["set-cookie"]
    assert given.startswith("afterfeel_8501=")
    assert "HttpOnly" in given
    assert "SameSite=Strict" in given
    assert "word" not in given.partition("=")[2].partition(";")[0]
    cookie = given.partition(";")[0]
    for kind in ("http", "websocket"):
        assert asked(door, kind=kind, host=HOST, cookie=cookie)["reached"]
        assert not asked(door, kind=kind, host=HOST, cookie=cookie + "x")["reached"]
        assert not asked(door, kind=kind, host=HOST)["reached"]
    assert not asked(door, kind="websocket", host=HOST, query="token=word")["reached"]
    assert not asked(FrontDoor(behind, "word"), host=HOST, cookie=cookie)["reached"]  # another start


def test_every_answer_forbids_frames_and_words_from_elsewhere():
    headers = asked(FrontDoor(behind), host=HOST)["headers"]
    policy = dict(part.strip().partition(" ")[::2] for part in headers["content-security-policy"].split(";"))
    assert policy["frame-ancestors"] == policy["default-src"] == policy["object-src"] == "'none'"
    assert "unsafe" not in policy["script-src"]
    assert policy["connect-src"] == f"'self' ws://{HOST}"
    assert headers["x-frame-options"] == "DENY"
    assert "'none'" in asked(FrontDoor(behind), host="evil.example")["headers"]["content-security-policy"]


def test_the_one_script_in_the_page_is_that_of_the_installed_streamlit():
    page = (Path(streamlit.__file__).parent / "static" / "index.html").read_text(encoding="utf-8")
    scripts = re.findall(r"<script>(.*?)</script>", page, re.DOTALL)
    digests = [f"'sha256-{base64.b64encode(hashlib.sha256(s.encode()).digest()).decode()}'" for s in scripts]
    digests.append(f"'sha256-{base64.b64encode(hashlib.sha256(front_door._SCRIPT.encode()).digest()).decode()}'")
    assert " ".join(digests) == front_door._OWN_SCRIPT


def upgraded(address: str, **headers: str) -> str:
    """Return the first line that answers a request for a websocket."""
    host, port = address.removeprefix("http://").split(":")
    lines = {
        "Host": f"{host}:{port}", "Connection": "Upgrade", "Upgrade": "websocket", "Sec-WebSocket-Version": "13",
        "Sec-WebSocket-Key": base64.b64encode(b"0" * 16).decode(), **headers,
    }  # fmt: skip
    request = "GET /_stcore/stream HTTP/1.1\r\n" + "".join(f"{name}: {value}\r\n" for name, value in lines.items())
    with socket.create_connection((host, int(port)), timeout=20) as connection:
        connection.sendall(f"{request}\r\n".encode())
        return connection.recv(1000).decode().partition("\r\n")[0]


def test_the_running_app_lets_in_only_who_has_its_address(tmp_path: Path):
    with running_app() as opening:
        base = opening.partition("/?")[0]
        with httpx.Client(base_url=base, trust_env=False) as client:
            for path in ("/", "/_stcore/health", "/_stcore/host-config", "/_stcore/agent/openapi.json", "/static/x.js"):
                assert client.get(path).status_code == 403
            assert client.get(opening).status_code == 303
            page = client.get("/people")
            assert page.status_code == 200
            assert "<title>Afterfeel</title>" in page.text
            assert client.get("/no-such-place").headers["location"] == "/"
            assert "frame-ancestors 'none'" in page.headers["content-security-policy"]
            cookie = "; ".join(f"{name}={value}" for name, value in client.cookies.items())
            assert client.get("/", headers={"host": "evil.example"}).status_code == 403
        assert " 101 " in upgraded(base, Cookie=cookie, Origin=base)
        assert " 403 " in upgraded(base, Origin=base)
        assert " 403 " in upgraded(base, Cookie=cookie, Origin="http://evil.example")
        evil = base.replace("127.0.0.1", "evil.example")
        assert " 403 " in upgraded(base, Cookie=cookie, Origin=evil, Host=evil.removeprefix("http://"))


@pytest.fixture
def from_checkout() -> Iterator[tuple[str, Any]]:
    """Give the app as `streamlit run app.py` serves it, and a function that stops it and returns what it said."""
    port = free_port()
    server = subprocess.Popen(
        [sys.executable, "-m", "streamlit", "run", "app.py", "--server.port", str(port), "--server.headless", "true"],
        cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, env={**os.environ},
    )  # fmt: skip

    def stop() -> str:
        server.terminate()
        return server.communicate(timeout=20)[0].decode()

    try:
        end = time.monotonic() + 60
        while time.monotonic() < end:
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", port)) == 0:
                    break
            time.sleep(0.1)
        yield f"http://127.0.0.1:{port}", stop
    finally:
        if server.poll() is None:
            stop()


def test_the_checkout_answers_only_to_its_own_names_and_looks_nothing_up(from_checkout: tuple[str, Any]):
    address, stop = from_checkout
    assert httpx.get(address, trust_env=False).status_code == 200
    assert httpx.get(address, trust_env=False, headers={"host": "evil.example"}).status_code == 403
    assert " 101 " in upgraded(address, Origin=address)
    assert " 403 " in upgraded(address, Origin="http://evil.example")
    assert "external IP" not in stop()  # Streamlit says so when it asks an outside address which one this computer has


def test_paths_are_limited_to_the_folders_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    inside, outside = tmp_path / "inside", tmp_path / "outside"
    inside.mkdir()
    outside.mkdir()
    (inside / "link").symlink_to(outside)
    monkeypatch.setenv(FOLDERS_VARIABLE, str(inside))
    assert typed_path(f' "{inside / "study"}" ') == inside / "study"
    for path in (outside, inside / ".." / "outside", inside / "link", Path("/etc/passwd"), Path("~root")):
        with pytest.raises(StudyError, match=r"in no folder that was named when the app was started|is no path"):
            typed_path(str(path))
    monkeypatch.delenv(FOLDERS_VARIABLE)
    assert Path.home().resolve() in _named_folders()


@pytest.mark.parametrize(
    "other", ['json={"a":1}', "two words=1", "expires=1", "nothing", 'open="', "f\u00fcr=1", "path=/"]
)
def test_a_cookie_of_another_program_on_this_computer_shuts_nobody_out(other):
    door = FrontDoor(behind, "word")
    given = asked(door, query="token=word", host=HOST)["headers"]["set-cookie"].partition(";")[0]
    assert asked(door, path="/a.js", host=HOST, cookie=f"{other}; {given}")["reached"]
    assert not asked(door, path="/a.js", host=HOST, cookie=f"{other}; {given[:-1]}")["reached"]
    assert not asked(door, path="/a.js", host=HOST, cookie=f"{other}; {given.replace('8501', '8502')}")["reached"]


@pytest.mark.parametrize("path", ["/x\r\nset-cookie: a=b", "/\u00fc", "/a b", "/%0d%0a", "/?token=1"])
def test_no_header_can_be_put_into_the_answer_through_the_path(path):
    answer = asked(FrontDoor(behind, "word"), path=path, query="token=word", host=HOST)
    assert answer["status"] == 303
    assert re.fullmatch(r"/[\w%./-]+", answer["headers"]["location"])
