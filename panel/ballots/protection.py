"""Is it this computer that phones talk to, and may they? A certificate made here, and a password for the room."""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
import socket
import ssl
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from http.cookies import CookieError, SimpleCookie
from importlib.util import find_spec
from pathlib import Path

from starlette.requests import ClientDisconnect, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from panel.ballots import pages
from panel.ballots.answers import MOST_BYTES, form_fields
from panel.errors import StudyError
from panel.study.safe_write import make_folder, write_file

LASTS = timedelta(days=397)
"""Browsers refuse certificates that are valid for longer (CA/Browser Forum, Baseline Requirements 6.3.2)."""

_RENEWED_BEFORE = timedelta(days=7)
_ANSWERS_WITHIN = 1.0  # seconds
_NO_LIBRARY = (
    "A certificate cannot be made here: the library 'cryptography' is not installed. Install it with "
    "'pip install afterfeel[tls]', or serve the ballots without --tls in the laboratory's own network."
)


@dataclass(frozen=True, slots=True)
class Certificate:
    """Files of a certificate and its key, and the SHA-256 fingerprint that people compare."""

    file: Path
    key: Path
    fingerprint: str


def own_certificate(address: str, folder: Path | None = None) -> Certificate:
    """Return the certificate of this computer for an address; made at first, and again before it runs out.

    Parameters
    ----------
    address
        The IP address at which the server answers.
    folder
        Where it is kept; a folder of the user's own, in no study, if none is given.

    Raises
    ------
    StudyError
        If a new one is needed and the library for it is not installed, or it cannot be kept.
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
    return Certificate(file, key, found)


def fingerprint_at(address: str, port: int) -> str:
    """Return the fingerprint of the certificate with which a server answers; empty if it shows none."""
    with suppress(OSError, ValueError):
        return _told(ssl.PEM_cert_to_DER_cert(ssl.get_server_certificate((address, port), timeout=_ANSWERS_WITHIN)))
    return ""


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
        .not_valid_after(now + LASTS - timedelta(days=1))
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


# A password for everybody in the room, asked for once on each phone, beside the personal links.


SHORTEST = 8
_COOKIE = "ballots"
_FIELD = "password"


def refuse_short(password: str) -> None:
    """Raise StudyError for a password that is soon guessed."""
    if len(password) < SHORTEST:
        raise StudyError(f"The password is too short; take {SHORTEST} characters or more.")


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
        try:
            found = SimpleCookie(request.headers.get("cookie", "")).get(_COOKIE)
        except CookieError:
            return False
        return found is not None and hmac.compare_digest(found.value.encode(), self._pass.encode())

    async def _asked(self, request: Request) -> Response:
        """Return the page that asks; if the password came with the request, the page that was wanted, and the pass."""
        nonce = str(request.scope.get("nonce", ""))
        fields = await _small_form(request) if request.method == "POST" else {}
        if _FIELD not in fields:
            lost = pages.NOT_KEPT_BEFORE if request.method == "POST" else ""
            return HTMLResponse(pages.password_page(lost, nonce), 401)
        if self._too_often(request.client.host if request.client else ""):
            return HTMLResponse(pages.password_page(pages.TOO_OFTEN_TRIED, nonce), 429)
        if not hmac.compare_digest(fields[_FIELD].strip().encode(), self._password.encode()):
            return HTMLResponse(pages.password_page(pages.NOT_THE_WORD, nonce), 401)
        onward = RedirectResponse("/" + request.url.path.lstrip("/\\"), 303)
        onward.set_cookie(_COOKIE, self._pass, path="/", httponly=True, samesite="strict", secure=self._secure)
        return onward


async def _small_form(request: Request) -> dict[str, str]:
    body = bytearray()
    try:
        async for part in request.stream():
            body += part
            if len(body) > MOST_BYTES:
                return {}
        return form_fields(bytes(body))
    except (ClientDisconnect, StudyError):
        return {}
