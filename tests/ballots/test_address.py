import socket

import pytest

from panel.ballots import serving as address
from panel.ballots.serving import _host_to_bind, _listening_socket, ballots_at, firewall_hint, lan_address, link_opens
from panel.errors import StudyError


@pytest.mark.parametrize(("host", "bound"), [("127.0.0.1", "127.0.0.1"), ("localhost", "127.0.0.1"), ("::1", "::1")])
def test_this_computer_only_unless_asked(host, bound):
    assert _host_to_bind(host, lan=False) == bound


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.168.1.5", "bench-pc", ""])
def test_other_addresses_are_refused_unless_the_network_is_asked_for(host):
    with pytest.raises(StudyError, match="Ballots answer on this computer only"):
        _host_to_bind(host, lan=False)


def test_the_network_gets_the_one_address_of_this_computer(monkeypatch):
    monkeypatch.setattr(address, "lan_address", lambda: "192.168.7.7")
    assert _host_to_bind("127.0.0.1", lan=True) == "192.168.7.7"


def test_a_computer_without_network_is_told(monkeypatch):
    class Unplugged(socket.socket):
        def connect(self, _):
            raise OSError("Network is unreachable")

    monkeypatch.setattr(address.socket, "socket", Unplugged)
    with pytest.raises(StudyError, match="in no network that phones could reach"):
        lan_address()


def test_the_socket_listens_only_where_it_is_told_and_sends_at_once():
    with _listening_socket("127.0.0.1", 0) as listening:
        host, port = listening.getsockname()
        assert host == "127.0.0.1"
        assert listening.proto == socket.IPPROTO_TCP  # else asyncio waits 40 ms before each answer
        with pytest.raises(StudyError, match=rf"Port {port} at 127\.0\.0\.1 cannot be used .* Choose another port"):
            _listening_socket("127.0.0.1", port)


@pytest.mark.parametrize("port", [-1, 70_000])
def test_a_port_that_cannot_be_is_told(port):
    with pytest.raises(StudyError, match="Choose another port"):
        _listening_socket("127.0.0.1", port)


def test_the_hint_names_the_port():
    assert "port 8600" in firewall_hint(8600)
    assert "not encrypted" in firewall_hint(8600)
    assert "not encrypted" not in firewall_hint(8600, tls=True)


def test_whether_a_server_answers_and_knows_a_link(running):
    assert ballots_at(running.address)
    assert link_opens(f"{running.address}/b/{running.tokens['A01']}")
    assert not link_opens(f"{running.address}/b/other")


def test_nobody_at_an_address_is_no_ballot_server():
    with socket.socket() as nobody:
        nobody.bind(("127.0.0.1", 0))
        address = f"http://127.0.0.1:{nobody.getsockname()[1]}"
        assert not ballots_at(address)
        assert link_opens(f"{address}/b/x")  # nobody says that it does not
    assert not ballots_at("http://[odd")
