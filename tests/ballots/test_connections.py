"""Connections that say nothing, or a byte now and then, are closed, and do not shut others out."""

from __future__ import annotations

import socket
import time
from contextlib import ExitStack

import pytest

from panel.ballots import protection as connections
from panel.ballots import serving
from panel.ballots.protection import patient_protocol
from panel.ballots.serving import served
from tests.ballot_studies import ballot_study
from tests.ballots.running import ready_store, tokens_of


@pytest.fixture
def place(tmp_path, monkeypatch):
    """Return host, port and path of a ballot, at a server that waits for half a second."""
    monkeypatch.setattr(serving, "patient_protocol", lambda: patient_protocol(waits=0.5, most=3))
    store, number = ready_store(tmp_path / "b.sqlite", ballot_study())
    path = f"/b/{tokens_of(store, number)['A01']}"
    with served(store) as address:
        host, port = address.removeprefix("http://").split(":")
        yield host, int(port), path
    store.close()


def closed_within(connection, seconds):
    connection.settimeout(seconds)
    try:
        return connection.recv(1000) == b""
    except ConnectionError:
        return True
    except TimeoutError:
        return False


@pytest.mark.parametrize(
    "said", [b"", b"GET / HT", b"POST /b/x/1/1 HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 9\r\n\r\nv"]
)
def test_a_request_that_does_not_become_whole_is_hung_up_on(place, said):
    with socket.create_connection(place[:2]) as connection:
        connection.sendall(said)
        assert closed_within(connection, 5)


def test_a_byte_now_and_then_does_not_keep_a_connection(place):
    with socket.create_connection(place[:2]) as connection:
        connection.sendall(b"GET / HTTP/1.1\r\nX: ")
        end = time.monotonic() + 5
        while time.monotonic() < end:
            try:
                connection.sendall(b"a")
            except ConnectionError:
                return
            time.sleep(0.1)
    pytest.fail("the connection was kept")


def test_a_phone_that_goes_on_is_answered_on_the_same_connection(place):
    host, port, path = place
    with socket.create_connection((host, port)) as connection:
        for _ in range(4):
            connection.sendall(f"GET {path} HTTP/1.1\r\nHost: {host}\r\n\r\n".encode())
            assert connection.recv(100).startswith(b"HTTP/1.1 200")
            connection.settimeout(0.2)
            try:
                while connection.recv(100_000):
                    pass
            except TimeoutError:
                connection.settimeout(5)


def test_one_address_has_so_many_connections_and_no_more(place, monkeypatch):
    monkeypatch.setattr(connections, "_is_this_computer", lambda address: False)
    with ExitStack() as stack:
        several = [stack.enter_context(socket.create_connection(place[:2])) for _ in range(3)]
        time.sleep(0.1)
        with socket.create_connection(place[:2]) as another:
            assert closed_within(another, 0.3)
        for one in several:
            assert closed_within(one, 5)
    time.sleep(0.1)
    with socket.create_connection(place[:2]) as later:  # they are forgotten
        assert not closed_within(later, 0.2)
