import re
import socket

import pytest

from panel.ballots.answers import MOST_BYTES, TOO_MUCH

WANTED = {
    "cache-control": "no-store",
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
}


def answers_of_all_kinds(running):
    path = f"/b/{running.tokens['A01']}"
    yield running.get(path)
    yield running.get(f"{path}/1/1")
    yield running.post(f"{path}/1/1", v0="50", act="send")
    yield running.post(f"{path}/1/1", v0="much")
    yield running.get("/b/wrong")
    yield running.get("/")
    yield running.client.put(path)
    yield running.client.post(f"{path}/1/1", content=b"x" * (MOST_BYTES + 1))
    yield running.client.get(path, headers={"host": "elsewhere.example"})


def test_every_answer_carries_the_protecting_headers(running):
    # OWASP, HTTP Headers Cheat Sheet
    statuses = []
    for answer in answers_of_all_kinds(running):
        statuses.append(answer.status_code)
        assert {name: answer.headers[name] for name in WANTED} == WANTED
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert "server" not in answer.headers
        cookie = answer.headers.get("set-cookie", "")  # a made-up name of the phone, and nothing else
        assert not cookie or re.fullmatch("phone=[0-9a-f]{8}; HttpOnly; Path=/b/; SameSite=strict", cookie)
    assert statuses == [200, 200, 303, 422, 404, 404, 405, 413, 400]


def test_scripts_and_styles_carry_the_word_of_this_one_answer(running):
    # https://www.w3.org/TR/CSP3/: a nonce is new for each answer
    path, nonces = f"/b/{running.tokens['A01']}/1/1", set()
    for _ in range(3):
        answer = running.get(path)
        (nonce,) = set(re.findall(r"'nonce-([^']+)'", answer.headers["content-security-policy"]))
        tags = re.findall(r"<(?:script|style)[^>]*>", answer.text)
        assert len(tags) == 2
        assert all(f'nonce="{nonce}"' in tag for tag in tags)
        nonces.add(nonce)
    assert len(nonces) == 3


def test_pages_load_nothing_and_have_no_handlers_in_their_tags(running):
    with running.visitor() as phone:
        for page in (phone.go(), phone.go(f"{phone.path}/1/3"), phone.go(f"{phone.path}/reaction")):
            assert (
                re.findall(r"""\s(?:src|srcset|style|on\w+)\s*=""", re.sub(r"(?s)<script.*?</script>", "", page.html))
                == []
            )
            assert "http" not in page.html.replace("<!doctype html>", "")


def test_a_form_that_is_too_large_is_refused_and_nothing_kept(running):
    path = f"/b/{running.tokens['A01']}/1/1"
    answer = running.client.post(path, content=b"comment=" + b"x" * MOST_BYTES)
    assert (answer.status_code, TOO_MUCH in answer.text) == (413, True)

    def endless():
        for _ in range(100):
            yield b"x" * 4096

    assert running.client.post(path, content=endless()).status_code == 413


@pytest.mark.parametrize("length", ["-5", "abc", "1 2"])
def test_a_length_that_makes_no_sense_is_refused(running, length):
    port = int(running.address.rpartition(":")[2])
    with socket.create_connection(("127.0.0.1", port), timeout=10) as connection:
        head = f"POST /b/{running.tokens['A01']}/1/1 HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: {length}\r\n\r\n"
        connection.sendall(head.encode())
        assert b" 4" in connection.recv(200).split(b"\r\n")[0]


def test_a_name_that_is_not_this_computer_is_refused(running):
    # an address of the network under a foreign name: DNS rebinding
    for host in ("elsewhere.example", "elsewhere.example:80", "127.0.0.1.elsewhere.example"):
        assert running.client.get(f"/b/{running.tokens['A01']}", headers={"host": host}).status_code == 400
