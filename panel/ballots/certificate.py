"""How do phones know that it is this computer they talk to? A certificate made here, known by its fingerprint."""

from __future__ import annotations

import hashlib
import ipaddress
import socket
import ssl
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from importlib.util import find_spec
from pathlib import Path

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
