"""Is it this computer that phones talk to, and may they? A certificate, a password for the room, an end to waiting."""

from __future__ import annotations

import asyncio
import hashlib
import hmac
import ipaddress
import socket
import ssl
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import h11
from starlette.requests import ClientDisconnect, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send
from uvicorn.protocols.http.h11_impl import H11Protocol

from panel.ballots import pages
from panel.ballots.answers import posted_form
from panel.errors import StudyError
from panel.study.safe_write import make_folder, write_file

_LASTS = timedelta(days=397)
"""Browsers refuse certificates that are valid for longer (CA/Browser Forum, Baseline Requirements 6.3.2)."""

_RENEWED_BEFORE = timedelta(days=7)
_ANSWERS_WITHIN = 1.0  # seconds
_NO_LIBRARY = (
    "A certificate cannot be made here: the library 'cryptography' is not installed. Install it with "
    "'pip install afterfeel[tls]', or serve the ballots without --tls in the laboratory's own network."
)
_COMPARE = (
    "Each phone warns once that it does not know this computer. Let it show the certificate and compare its SHA-256 "
    "fingerprint before going on: {fingerprint}"
)


def own_certificate(address: str, folder: Path | None = None) -> tuple[Path, Path, str]:
    """Return the files of a certificate for an IP address and of its key, and the SHA-256 fingerprint to compare.

    It is made at first, and again before it runs out, and kept in a folder of the user's own, in no study, if none is
    given. StudyError if a new one is needed and the library for it is not installed, or it cannot be kept.
    """
    folder = folder or Path.home() / ".afterfeel-ballots"
    name = "".join(sign if sign.isalnum() else "-" for sign in address)
    file, key = folder / f"{name}.pem", folder / f"{name}-key.pem"
    found = _fingerprint_of(file) if key.is_file() else ""
    if not found:
        certificate, secret = _made(address)
        make_folder(folder)
        for place, content in ((key, secret), (file, certificate)):
            write_file(place, content, overwrite=True, private=True)
        found = _fingerprint_of(file)
    return file, key, found


def fingerprint_at(address: str, port: int) -> str:
    """Return the fingerprint of the certificate with which a server answers; empty if it shows none."""
    with suppress(OSError, ValueError):
        return _told(ssl.PEM_cert_to_DER_cert(ssl.get_server_certificate((address, port), timeout=_ANSWERS_WITHIN)))
    return ""


def what_to_compare(fingerprint: str) -> str:
    """Return how somebody makes sure that a phone talks to this computer."""
    return _COMPARE.format(fingerprint=fingerprint)


def _fingerprint_of(file: Path) -> str:
    """Return the fingerprint of a certificate in a file; empty if there is none that holds for some days."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    try:
        context.load_verify_locations(file)
        (facts,), (der,) = context.get_ca_certs(), context.get_ca_certs(binary_form=True)
    except (OSError, ValueError):
        return ""
    ends = datetime.fromtimestamp(ssl.cert_time_to_seconds(str(facts["notAfter"])), UTC)
    return _told(der) if ends > datetime.now(UTC) + _RENEWED_BEFORE else ""


def _told(der: bytes) -> str:
    """Return a fingerprint as phones show it: SHA-256, pairs of signs with colons between."""
    return hashlib.sha256(der).digest().hex(":").upper()


def _made(address: str) -> tuple[bytes, bytes]:
    """Return a new certificate that this computer vouches for itself, and its key, both as PEM."""
    if find_spec("cryptography") is None:
        raise StudyError(_NO_LIBRARY)
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, f"Ballots at {socket.gethostname()}"[:64])])
    now = datetime.now(UTC)
    made = (
        x509.CertificateBuilder(name, name, key.public_key(), x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + _LASTS - timedelta(days=1))
        .add_extension(
            x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address(address)), x509.DNSName("localhost")]),
            critical=False,
        )
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(x509.ExtendedKeyUsage([x509.ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(key, hashes.SHA256())
    )
    secret = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    return made.public_bytes(serialization.Encoding.PEM), secret


_COOKIE = "ballots"
_FIELD = "password"


_NOT_THE_WORD = "That is not the password. Ask the panel leader."
_TOO_OFTEN_TRIED = "That was tried too often from here. Wait ten minutes, or ask the panel leader."
_NOT_KEPT_BEFORE = (
    "What you just sent was not kept: the password is asked for first. Write it, go on, and answer that page again."
)


class Password:
    """Lets through who brought the password once on this phone; asks the others, whatever page they want.

    Parameters
    ----------
    app
        The ballot server.
    password
        What is asked for.
    too_often
        Says of an address whether it has tried too often.
    secure
        True if phones talk to the server through TLS.
    """

    def __init__(self, app: ASGIApp, password: str, too_often: Callable[[str], bool], *, secure: bool = False) -> None:
        self._app, self._password, self._too_often, self._secure = app, password, too_often, secure
        # the same after a new start, so that a phone in the middle of a session is not asked again
        self._pass = hashlib.scrypt(password.encode(), salt=b"afterfeel ballots", n=2**14, r=8, p=1, dklen=24).hex()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] != "http" or self._has_pass(request := Request(scope, receive)):
            await self._app(scope, receive, send)
            return
        await (await self._asked(request))(scope, receive, send)

    def _has_pass(self, request: Request) -> bool:
        found = request.cookies.get(_COOKIE, "")  # other programs' cookies come along, well formed or not
        return hmac.compare_digest(found.encode(), self._pass.encode())

    async def _asked(self, request: Request) -> Response:
        """Return the page that asks; if the password came with the request, the page that was wanted, and the pass."""
        nonce = str(request.scope.get("nonce", ""))
        fields: dict[str, str] = {}
        with suppress(ClientDisconnect, StudyError):
            fields = await posted_form(request) if request.method == "POST" else {}
        if _FIELD not in fields:
            lost = _NOT_KEPT_BEFORE if request.method == "POST" else ""
            return _asking(lost, nonce, 401)
        if self._too_often(request.client.host if request.client else ""):
            return _asking(_TOO_OFTEN_TRIED, nonce, 429)
        if not hmac.compare_digest(fields[_FIELD].strip().encode(), self._password.encode()):
            return _asking(_NOT_THE_WORD, nonce, 401)
        onward = RedirectResponse("/" + request.url.path.lstrip("/\\"), 303)
        onward.set_cookie(_COOKIE, self._pass, path="/", httponly=True, samesite="strict", secure=self._secure)
        return onward


_WAITS = 15.0  # seconds for a whole request, from its connection or from the end of the idle time after an answer
_MOST_PER_ADDRESS = 100  # connections; a phone opens at most six, and several may share an address


class _PatientProtocol(H11Protocol):
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


def patient_protocol(waits: float = _WAITS, most: int = _MOST_PER_ADDRESS) -> type[_PatientProtocol]:
    """Return the protocol of one server, with a count of its own."""
    return type("Protocol", (_PatientProtocol,), {"open_from": Counter(), "waits": waits, "most": most})


def _is_this_computer(address: str) -> bool:
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        return False


def _asking(words: str, nonce: str, status: int) -> Response:
    return HTMLResponse(pages.page_of("password.html", nonce, words=words, asks=pages.ASKED_FIRST), status)
