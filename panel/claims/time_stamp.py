"""The stamps of claims, and one by an authority (RFC 3161): a request, and whether the reply shows that they stood.

The reply is read here (DER, of which it needs five types); certificates and signatures are the work of `cryptography`.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

import pandas as pd

from panel.checks.moments_recorded import claim_seal, next_link, stamps_hash, when_stamped
from panel.claims.claim import (
    _FILLED_IN,
    _NUMBERS,
    _TEXTS,
    SELF_DECLARED,
    Claim,
    _asked_as,
    _claim,
    _names,
    _strange,
)
from panel.errors import StudyError
from panel.plan.codes import moment
from panel.study.numbers_read import typed_number
from panel.study.study import Study
from panel.study.tables import TABLES, heading
from panel.words import when_words

if TYPE_CHECKING:
    from cryptography.x509 import Certificate

_INTEGER, _OCTETS, _OID, _UTC, _TIME, _SEQUENCE, _SET, _OWN = 0x02, 0x04, 0x06, 0x17, 0x18, 0x30, 0x31, 0xA0
_SIGNED_DATA, _TST_INFO = "2a864886f70d010702", "2a864886f70d0109100104"  # RFC 5652, 5.1; RFC 3161, 2.4.2
_CONTENT_TYPE, _DIGEST = "2a864886f70d010903", "2a864886f70d010904"  # RFC 5652, 11.1 and 11.2
_SIGNER, _SIGNER_2 = "2a864886f70d010910020c", "2a864886f70d010910022f"  # RFC 2634, 5.4; RFC 5035, 3
_HASHES = {
    "608648016503040201": "sha256",
    "608648016503040202": "sha384",
    "608648016503040203": "sha512",
}  # RFC 5754, 2
_PSS, _MASK = "2a864886f70d01010a", "2a864886f70d010108"  # RSASSA-PSS and its mask, RFC 8017, A.2.3; RFC 4056
_SHA256 = bytes.fromhex("608648016503040201")
_GRANTED = (0, 1)  # granted, granted with changes
_STATUS = {2: "rejected", 3: "waiting", 4: "a revocation is near", 5: "revoked"}  # RFC 3161, 2.4.2
_NO_LIBRARY = (
    "A time stamp cannot be verified here: the library 'cryptography' is not installed. Install it with "
    "'pip install afterfeel[tls]'."
)
_BROKEN = "The file is no reply of a time-stamping authority (RFC 3161, in DER). Give the .tsr file as it came."


@dataclass(frozen=True, slots=True)
class _TimeStamp:
    """What a reply shows: `claims` that stood (1 to this number; 0: none), when, and by whose certificate.

    `problems` say why it shows nothing; `notes` what was not checked.
    """

    claims: int
    when: str
    authority: str
    problems: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def words(self) -> str:
        """One sentence for a reader."""
        if self.problems:
            return f"The reply shows nothing: {self.problems[0]}"
        return f"Claims 1 to {self.claims} stood as they are on {self.when}, by {self.authority}."


def time_stamp_request(digest: str, nonce: int = 0) -> bytes:
    """Return a request for a time stamp over a SHA-256 (hexadecimal), to be sent to any authority.

    Source: RFC 3161, 2.4.1: TimeStampReq of version 1 with a message imprint, a nonce where it is not 0, and the
    certificate asked for, in DER.
    """
    algorithm = _der(_SEQUENCE, _der(_OID, _SHA256) + _der(0x05, b""))
    imprint = _der(_SEQUENCE, algorithm + _der(_OCTETS, bytes.fromhex(digest)))
    number = _der(_INTEGER, nonce.to_bytes(nonce.bit_length() // 8 + 1, "big")) if nonce else b""
    return _der(_SEQUENCE, _der(_INTEGER, b"\x01") + imprint + number + _der(0x01, b"\xff"))


def _der(tag: int, content: bytes) -> bytes:
    length = len(content)
    short = bytes([length]) if length < 128 else b""
    size = length.to_bytes((length.bit_length() + 7) // 8, "big")
    return bytes([tag]) + (short or bytes([0x80 | len(size)]) + size) + content


@dataclass(frozen=True, slots=True)
class _Part:
    """One value in DER: its tag, its content, and the whole of it."""

    tag: int
    content: bytes
    whole: bytes

    def parts(self) -> list[_Part]:
        """Return the values it holds."""
        return list(_parts(self.content))

    def number(self) -> int:
        return int.from_bytes(self.content, "big", signed=True)


def _parts(data: bytes) -> Iterator[_Part]:
    place = 0
    while place < len(data):
        start, size = place + 2, data[place + 1]
        if size & 0x80:
            start, size = start + (size & 0x7F), int.from_bytes(data[start : start + (size & 0x7F)], "big")
        if start + size > len(data):
            raise ValueError
        yield _Part(data[place], data[start : start + size], data[place : start + size])
        place = start + size


def verify_time_stamp(
    reply: bytes, claims: pd.DataFrame, *, request: bytes | None = None, roots: bytes | None = None
) -> _TimeStamp:
    """Return what the reply of an authority shows about the claims of a study.

    Checked are the status, the hash (of all claims, or of the first ones, where others were fixed later), the nonce of
    the request, the digest and the signature by the certificate in the reply, that this is one for time stamps and held
    at that time, and the chain from it to one of `roots`.

    Parameters
    ----------
    reply, request
        The files as they came and went, in DER.
    claims
        The table of claims.
    roots
        Certificates that she trusts, in PEM or DER.

    Raises
    ------
    StudyError
        If a file cannot be read, or `cryptography` is not installed.
    """
    if find_spec("cryptography") is None:
        raise StudyError(_NO_LIBRARY)
    try:
        status, *tokens = next(_parts(reply)).parts()
        granted = status.parts()[0].number()
        token = _Token.read(tokens[0]) if tokens else None
        wanted = None if request is None else _nonce(next(_parts(request)).parts()[2:])
    except (ValueError, IndexError, StopIteration) as error:
        raise StudyError(_BROKEN) from error
    trusted = [] if roots is None else _certificates(roots)
    if granted not in _GRANTED or token is None:
        said = _STATUS.get(granted, f"status {granted}")
        return _TimeStamp(0, "", "", (f"the authority did not grant it ({said}).",), ())
    stands = next((n for n in range(len(claims), 0, -1) if stamps_hash(claims.iloc[:n]) == token.imprint), 0)
    problems, notes = [], []
    if not stands:
        problems.append("it was made over another hash than that of these claims.")
    if wanted is not None and wanted != token.nonce:
        problems.append("its nonce is not that of the request.")
    elif wanted is None and token.nonce is not None:
        notes.append("The nonce was not checked: the request was not given.")
    signer = token.signer()
    problems += ["the certificate that signed it is not in it."] if signer is None else token.wrong(signer)
    if signer is not None and not trusted:
        notes.append("The authority was not checked: no certificate that you trust was given.")
    elif signer is not None and not _leads_to(signer, token.certificates, trusted, token.when):
        problems.append("its certificate does not lead to one that you trust.")
    name = "" if signer is None else signer.subject.rfc4514_string()
    return _TimeStamp(
        0 if problems else stands, f"{token.when:%Y-%m-%d %H:%M:%S} UTC", name, tuple(problems), tuple(notes)
    )


@dataclass(frozen=True, eq=False, slots=True)
class _Token:
    """What is read of the signed part of a reply."""

    info: bytes
    imprint: str
    when: datetime
    nonce: int | None
    certificates: Sequence[Certificate]
    issuer: bytes
    serial: int
    algorithm: str
    way: _Part
    attributes: dict[str, _Part]
    signed: bytes
    signature: bytes

    @classmethod
    def read(cls, token: _Part) -> _Token:
        kind, body = token.parts()
        if kind.content.hex() != _SIGNED_DATA:
            raise ValueError
        _, _, content, *others = body.parts()[0].parts()
        what, octets = content.parts()
        if what.content.hex() != _TST_INFO:
            raise ValueError
        info = octets.parts()[0].content
        _, _, imprint, _, when, *rest = next(_parts(info)).parts()
        algorithm, hashed = imprint.parts()
        over = hashed.content.hex() if algorithm.parts()[0].content == _SHA256 else ""
        held = [part.whole for part in others[0].parts()] if others[0].tag == _OWN else []
        _, who, digest, attributes, way, signature = [
            part for part in others[-1].parts()[0].parts() if part.tag != 0xA1
        ]
        issuer, serial = who.parts()
        named = {part.parts()[0].content.hex(): part.parts()[1].parts()[0] for part in attributes.parts()}
        return cls(
            info, over, _moment(when), _nonce(rest), _certificates(*held), issuer.whole, serial.number(),
            _HASHES.get(digest.parts()[0].content.hex(), ""), way, named,
            _der(_SET, attributes.content), signature.content,
        )  # fmt: skip

    def signer(self) -> Certificate | None:
        """Return the certificate that is said to have signed; None where it is not in the reply."""
        fitting = (c for c in self.certificates if c.serial_number == self.serial)
        return next((c for c in fitting if c.issuer.public_bytes() == self.issuer), None)

    def wrong(self, signer: Certificate) -> list[str]:
        """Return what is wrong with digest, signature and certificate."""
        if not self.algorithm:
            return ["it is signed by an algorithm that is not known here."]
        found = []
        digest, kind = (self.attributes.get(name) for name in (_DIGEST, _CONTENT_TYPE))
        whole = hashlib.new(self.algorithm, self.info).digest()
        if digest is None or digest.content != whole or kind is None or kind.content.hex() != _TST_INFO:
            found.append("its signed digest is not that of its content.")
        if not _signed_by(signer, self.signature, self.signed, self.algorithm, self.way):
            found.append("its signature is not that of its certificate.")
        if not self._names(signer):
            found.append("what was signed names another certificate.")
        if not _for_time_stamps(signer):
            found.append("its certificate is not one for time stamps.")
        if not signer.not_valid_before_utc <= self.when <= signer.not_valid_after_utc:
            found.append("its certificate was not valid at that time.")
        return found

    def _names(self, signer: Certificate) -> bool:
        """Return whether the signed attribute holds the hash of this certificate (RFC 3161, 2.4.2; RFC 5816)."""
        from cryptography.hazmat.primitives.serialization import Encoding

        whole = signer.public_bytes(Encoding.DER)
        for name in (_SIGNER, _SIGNER_2):
            if name in self.attributes:
                own = self.attributes[name].parts()[0].parts()[0].parts()
                stated = _HASHES.get(own[0].parts()[0].content.hex(), "") if own[0].tag == _SEQUENCE else "sha256"
                way = "sha1" if name == _SIGNER else stated
                digest = next(part.content for part in own if part.tag == _OCTETS)
                return bool(way) and hashlib.new(way, whole, usedforsecurity=False).digest() == digest
        return False


def _moment(part: _Part) -> datetime:
    """Return a GeneralizedTime; parts of a second are cut."""
    return datetime.strptime(part.content.decode()[:14], "%Y%m%d%H%M%S").replace(tzinfo=UTC)


def _nonce(parts: Sequence[_Part]) -> int | None:
    return next((part.number() for part in parts if part.tag == _INTEGER), None)


def _certificates(*held: bytes) -> list[Certificate]:
    """Return certificates in PEM or DER."""
    from cryptography import x509

    try:
        found = [
            x509.load_pem_x509_certificates(each) if b"-----BEGIN" in each else [x509.load_der_x509_certificate(each)]
            for each in held
        ]
    except ValueError as error:
        raise StudyError("A certificate cannot be read. Give it in PEM or DER, as the authority offers it.") from error
    return [each for few in found for each in few]


def _salt(way: _Part, algorithm: str) -> int | None:
    """Return the bytes of salt of a signature by RSASSA-PSS; None for another signature, an error for another hash.

    Hash and mask have to be those of the digest, as RFC 4056 recommends.
    """
    name, *rest = way.parts()
    if name.content.hex() != _PSS:
        return None
    stated = {part.tag: part.parts()[0] for part in rest[0].parts()} if rest else {}
    by, mask = (stated[tag].parts() if tag in stated else [] for tag in (0xA0, 0xA1))
    fits = bool(by) and _HASHES.get(by[0].content.hex()) == algorithm
    fits = fits and bool(mask) and mask[0].content.hex() == _MASK and mask[1].parts()[0].content == by[0].content
    if not fits or (0xA3 in stated and stated[0xA3].number() != 1):
        raise ValueError
    return stated[0xA2].number() if 0xA2 in stated else 20


def _signed_by(signer: Certificate, signature: bytes, signed: bytes, algorithm: str, way: _Part) -> bool:
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.asymmetric import ec, padding, rsa

    how: Any = getattr(hashes, algorithm.upper())()
    key = signer.public_key()
    try:
        if isinstance(key, rsa.RSAPublicKey):
            salt = _salt(way, algorithm)
            pss = None if salt is None else padding.PSS(padding.MGF1(how), salt)
            key.verify(signature, signed, pss or padding.PKCS1v15(), how)
        elif isinstance(key, ec.EllipticCurvePublicKey):
            key.verify(signature, signed, ec.ECDSA(how))
        else:
            return False
    except (InvalidSignature, ValueError, IndexError):
        return False
    return True


def _for_time_stamps(signer: Certificate) -> bool:
    """Return whether time stamps are what a certificate is for, as a critical extension (RFC 3161, 2.3)."""
    from cryptography import x509
    from cryptography.x509.oid import ExtendedKeyUsageOID

    try:
        found = signer.extensions.get_extension_for_class(x509.ExtendedKeyUsage)
    except x509.ExtensionNotFound:
        return False
    return found.critical and list(found.value) == [ExtendedKeyUsageOID.TIME_STAMPING]


def _leads_to(
    signer: Certificate, others: Sequence[Certificate], trusted: Sequence[Certificate], when: datetime
) -> bool:
    """Return whether a chain of valid issuers leads from a certificate to one that is trusted."""
    now, left = signer, [each for each in (*trusted, *others) if each != signer]
    if signer in trusted:
        return True
    while True:
        above = next((each for each in left if _issued(each, now, when)), None)
        if above is None or above in trusted:
            return above is not None
        now = above
        left.remove(above)


def _issued(above: Certificate, below: Certificate, when: datetime) -> bool:
    from cryptography import x509
    from cryptography.exceptions import InvalidSignature

    try:
        below.verify_directly_issued_by(above)
        authority = above.extensions.get_extension_for_class(x509.BasicConstraints).value.ca
    except (ValueError, TypeError, InvalidSignature, x509.ExtensionNotFound):
        return False
    return authority and above.not_valid_before_utc <= when <= above.not_valid_after_utc


# Claims are stamped, and withdrawn, by a named person; a page of them is signed on paper.


_MOST_TOLD = 5  # rows that cannot be stamped


def with_claim(study: Study, row: Mapping[str, Any], *, who: str, when: str) -> Study:
    """Return the study with one more claim, stamped.

    Parameters
    ----------
    row
        Columns of the table of claims, without those of the stamp.
    who, when
        Who stamps it, and when (ISO 8601).

    Raises
    ------
    StudyError
        If the sentence, the kind or the name is missing, or the moment is none.
    """
    if not who.strip():
        raise StudyError("A claim is stamped by a named person. Write who stamps it.")
    if not str(row.get("claim", "")).strip() or not str(row.get("kind", "")).strip():
        raise StudyError("A claim needs its sentence, exactly as it is to be said, and its kind.")
    moment(when, "The time of the stamp")
    stamped = {**row, "stamped_at": when, "stamped_by": who.strip()}
    stamped["stamp"] = claim_seal(stamped)
    stamped["chain"] = next_link(study.table("claims"), stamped["stamp"])
    new = {}
    for column in TABLES["claims"].columns:
        empty: Any = float("nan") if column.kind == "number" else ""
        value = stamped.get(column.name, empty)
        new[column.name] = empty if value is None else value
    longer = pd.concat([study.table("claims"), pd.DataFrame([new])], ignore_index=True)
    return replace(study, tables={**study.tables, "claims": longer})


def with_statements(study: Study, texts: pd.DataFrame, who: str, when: str) -> Study:
    """Return the study with statements fixed that stand in a table of texts, each stamped, in the order of the rows.

    A question is found by its words, whatever the signs in it. What is listed nowhere yet may still come.

    Raises
    ------
    StudyError
        If one lacks its sentence or kind, a number cannot be read, nobody is named, or a statement names a kind,
        prototype, attribute or question that there is none of: then none is stamped.
    """
    numbers = {column.name: heading(column) for column in TABLES["claims"].columns if column.kind == "number"}
    names, rows, wrong = _names_to_come(study), [], []
    for place, row in enumerate(texts.to_dict("records"), start=1):
        read = {name: typed_number(row[name], f"Row {place}, {numbers[name]}") for name in numbers if name in row}
        stated = {str(name): cell for name, cell in _asked_as(row, names["questions"]).items()} | read
        whole = {**dict.fromkeys(_TEXTS, ""), **stated, **{name: read.get(name) or math.nan for name in _NUMBERS}}
        claim = _claim(study, place, whole)
        wrong += [f"Row {place}: {problem}" for problem in _strange(claim, names) if claim.kind]
        rows.append(stated)
    if wrong:
        raise StudyError(f"Nothing was stamped. {' '.join(wrong[:_MOST_TOLD])}")
    for stated in rows:
        study = with_claim(study, stated, who=who, when=when)
    return study


def _names_to_come(study: Study) -> dict[str, tuple[str, ...]]:
    """Return what a statement may name when it is stamped: questions that are to be asked, too."""
    stated = study.facts.get("questions")
    planned = [row.get("question") for row in stated if isinstance(row, dict)] if isinstance(stated, list) else []
    names = _names(study)
    return {**names, "questions": tuple(dict.fromkeys([*names["questions"], *map(str, filter(None, planned))]))}


def with_withdrawn(study: Study, number: int, *, who: str, when: str, why: str) -> Study:
    """Return the study with claim `number` (counted from 1) withdrawn; it stays in the table, and in its family.

    Raises
    ------
    StudyError
        If there is no such claim, it is withdrawn already, or a name or the reason is missing.
    """
    claims = study.table("claims").copy()
    if not 1 <= number <= len(claims):
        raise StudyError(f"There is no claim {number}. Choose one of the {len(claims)} in the table claims.")
    if not (who.strip() and why.strip()):
        raise StudyError("A claim is withdrawn by a named person, with a reason. Give both.")
    moment(when, "The time of the withdrawal")
    if str(claims["withdrawn_at"].iloc[number - 1]):
        raise StudyError(f"Claim {number} is withdrawn already.")
    for name, text in {"withdrawn_at": when, "withdrawn_by": who, "withdrawn_because": why}.items():
        column = claims[name].astype("object")
        column.iloc[number - 1] = text.strip()
        claims[name] = column.astype("str")
    return replace(study, tables={**study.tables, "claims": claims})


def page_to_sign(study: Study) -> str:
    """Return a page with every claim fixed so far and the hash over them, to be printed, dated and signed."""
    title = str(study.facts.get("title", "")) or "without a title"
    lines = [
        f"{place}. “{row['claim']}”, stamped at {when_words(str(row['stamped_at']))} by {row['stamped_by']}"
        for place, row in enumerate(study.table("claims").to_dict("records"), start=1)
    ]
    foot = (
        "Read and dated on paper by somebody who gains nothing from the claims:",
        "",
        "Date:",
        "Name:",
        "Signature:",
    )
    whole = f"SHA-256 over all stamps: {stamps_hash(study.table('claims'))}"
    return "\n".join([f"Claims of the study {title}", "", *lines, "", whole, SELF_DECLARED, "", *foot, ""])


def standing(study: Study, claim: Claim) -> tuple[str, str]:
    """Return whether a claim was stamped before its data, not, or not that it shows; and why, in one sentence."""
    row = study.table("claims").iloc[claim.number - 1].to_dict()
    read = {name: getattr(claim, name) for name in (*_TEXTS, *_NUMBERS) if name not in _FILLED_IN}
    return when_stamped(study, claim.number, row | read)
