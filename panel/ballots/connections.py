"""How long does the server wait for a phone, and how many connections may one have? The silent ones are closed."""

from __future__ import annotations

import asyncio
from collections import Counter
from ipaddress import ip_address
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

WAITS = 15.0  # seconds for a whole request, from its connection or from the end of the idle time after an answer
MOST_PER_ADDRESS = 100  # connections; a phone opens at most six, and several may share an address


class PatientProtocol(H11Protocol):
    """Takes requests as uvicorn does, but only whole ones within a while, and not too many connections from one place.

    Half-sent requests would otherwise take up every connection the server may have.
    """

    open_from: Counter[str]
    """Connections of each address; a server has its own, made by `patient_protocol`."""
    waits: float
    most: int
    _counted = ""
    _deadline: asyncio.TimerHandle | None = None

    def connection_made(self, transport: Any) -> None:
        """Begin to wait for a request, or hang up on an address that has too many connections."""
        super().connection_made(transport)
        address = self.client[0] if self.client else ""
        if address and not _is_this_computer(address):  # a rehearsal has hundreds of phones on this computer
            if self.open_from[address] >= self.most:
                transport.abort()
                return
            self._counted = address
            self.open_from[address] += 1
        self._wait()

    def data_received(self, data: bytes) -> None:
        """Take what came; once a request is whole it is the server that is waited for."""
        super().data_received(data)
        if self.conn.their_state not in (h11.IDLE, h11.SEND_BODY):
            self._stop_waiting()

    def on_response_complete(self) -> None:
        """Begin to wait for the next request."""
        super().on_response_complete()
        if self._deadline is None and self.conn.their_state in (h11.IDLE, h11.SEND_BODY):
            self._wait(self.timeout_keep_alive)

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the connection."""
        super().connection_lost(exc)
        self._stop_waiting()
        if self._counted:
            self.open_from[self._counted] -= 1
            if not self.open_from[self._counted]:
                del self.open_from[self._counted]
            self._counted = ""

    def _wait(self, idle: float = 0.0) -> None:
        self._deadline = self.loop.call_later(idle + self.waits, self._hang_up)

    def _stop_waiting(self) -> None:
        if self._deadline is not None:
            self._deadline.cancel()
            self._deadline = None

    def _hang_up(self) -> None:
        self._deadline = None
        self.transport.abort()


def patient_protocol(waits: float = WAITS, most: int = MOST_PER_ADDRESS) -> type[PatientProtocol]:
    """Return the protocol of one server, with a count of its own."""
    return type("Protocol", (PatientProtocol,), {"open_from": Counter(), "waits": waits, "most": most})


def _is_this_computer(address: str) -> bool:
    try:
        return ip_address(address).is_loopback
    except ValueError:
        return False
