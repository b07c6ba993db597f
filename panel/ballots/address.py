"""At which address does the server answer? On this computer only, unless it is asked to serve the local network."""

from __future__ import annotations

import ipaddress
import os
import socket
from typing import Any

import httpx

from panel.ballots.pages import NO_BALLOT
from panel.errors import StudyError

THIS_COMPUTER = "127.0.0.1"
_ANSWERS_WITHIN = 1.0  # seconds
# the ballot server speaks plain HTTP, so that no list of certificates has to be read first
_PLAINLY: dict[str, Any] = {"verify": False, "trust_env": False, "follow_redirects": False}
_MOST_WAITING = 512  # connections that may wait to be taken
_ANY_OTHER = ("192.0.2.1", 9)  # an address for documents (RFC 5737): nothing is sent there, only a route is looked up
_FIREWALL = (
    "If a phone on the same network does not reach it, the firewall of this computer blocks port {port}: allow it for "
    "private networks, and make sure that the phone is in the same network and not on mobile data. What phones send is "
    "not encrypted: use the laboratory's own network, never a public one."
)


def lan_address() -> str:
    """Return the address of this computer in the local network; StudyError if it is in none."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(_ANY_OTHER)
            found = str(probe.getsockname()[0])
        except OSError as error:
            raise StudyError(
                "This computer is in no network that phones could reach; join the laboratory's."
            ) from error
    return found


def host_to_bind(host: str, *, lan: bool) -> str:
    """Return the one address to listen at.

    Raises
    ------
    StudyError
        If another address than this computer's own is asked for without `lan`.
    """
    if lan:
        return lan_address()
    try:
        own = host == "localhost" or ipaddress.ip_address(host).is_loopback
    except ValueError:
        own = False
    if not own:
        raise StudyError(
            f"Ballots answer on this computer only; say that the local network may reach them, not {host}."
        )
    return THIS_COMPUTER if host == "localhost" else host


def firewall_hint(port: int) -> str:
    """Return what to do if phones do not reach the server."""
    return _FIREWALL.format(port=port)


def ballots_at(address: str) -> bool:
    """Return True if a ballot server answers at this address."""
    return _plain_page(f"{address}/b/") is True


def link_opens(link: str) -> bool:
    """Return False if a server answers that this link opens no ballot; True also if none answers."""
    return _plain_page(link) is not True


def _plain_page(link: str) -> bool | None:
    """Return whether the page that everybody gets is there; None if nobody answers."""
    try:
        found = httpx.get(link, timeout=_ANSWERS_WITHIN, **_PLAINLY)
    except (httpx.HTTPError, httpx.InvalidURL):
        return None
    return found.status_code == 404 and NO_BALLOT in found.text


def listening_socket(host: str, port: int) -> socket.socket:
    """Return a socket that listens there; port 0 takes any free one.

    Raises
    ------
    StudyError
        If the port is taken or may not be used.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # the protocol is named so that asyncio sends small packets at once: without it each page takes 40 ms longer
    listening = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        if os.name == "posix":
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((host, port))
        listening.listen(_MOST_WAITING)
    except (OSError, OverflowError) as error:
        listening.close()
        raise StudyError(f"Port {port} at {host} cannot be used ({error}). Choose another port.") from error
    return listening
