"""The reply of a time-stamping authority is verified. The authority is made here by OpenSSL, another implementation."""

import json
import shutil
import subprocess
from dataclasses import replace

import pytest
from click.testing import CliRunner

from panel.checks.moments_recorded import stamps_hash
from panel.claims.time_stamp import _der, _parts, time_stamp_request, verify_time_stamp, with_claim
from panel.cli.decide import claim
from panel.errors import StudyError
from panel.study.folder import write_study
from tests.claims.claim_studies import BEFORE, answer_rows, study_with

OPENSSL = shutil.which("openssl")
pytestmark = pytest.mark.skipif(OPENSSL is None, reason="openssl is not installed")
NONCE = 0xC0FFEE1234567890
CONFIGURATION = """
[tsa]
default_tsa = own
[own]
dir = .
serial = serial
crypto_device = builtin
signer_digest = sha256
default_policy = 1.2.3.4.1
digests = sha256
accuracy = secs:1
ess_cert_id_chain = no
ess_cert_id_alg = {ess}
[stamps]
basicConstraints = CA:FALSE
extendedKeyUsage = critical,timeStamping
[other]
extendedKeyUsage = serverAuth
[authority]
basicConstraints = critical,CA:TRUE
keyUsage = critical,keyCertSign
"""


def study(sentences):
    made = study_with([], answers=answer_rows(50, 60))
    for words in sentences:
        row = {"claim": words, "kind": "agreement", "prototype": "P1", "question": "soft", "bar": 50}
        made = with_claim(made, row, who="leader", when=BEFORE)
    return made


class Authority:
    """An authority with a root certificate, made by OpenSSL in a folder of its own."""

    def __init__(self, folder, key="rsa:2048", extensions="stamps", ess="sha256"):
        self.folder = folder
        (folder / "conf").write_text(CONFIGURATION.format(ess=ess))
        curve = ["ec", "-pkeyopt", f"ec_paramgen_curve:{key}"]
        self.key = ["-newkey", *([key] if key.startswith("rsa") else curve)]
        request = ["req", "-nodes", *self.key, "-config", "/dev/null", "-subj"]
        self.run("req", "-nodes", *self.key, "-subj", "/CN=Own root", "-x509", "-days", "30", "-keyout", "root.key",
                 "-out", "root.pem", "-config", "conf", "-extensions", "authority")  # fmt: skip
        self.run(*request, "/CN=Own stamps", "-keyout", "tsa.key", "-out", "tsa.csr")
        self.run("x509", "-req", "-in", "tsa.csr", "-CA", "root.pem", "-CAkey", "root.key", "-CAcreateserial",
                 "-days", "20", "-extfile", "conf", "-extensions", extensions, "-out", "tsa.pem")  # fmt: skip
        (folder / "serial").write_text("01")

    def run(self, *words):
        return subprocess.run([OPENSSL, *words], cwd=self.folder, capture_output=True, check=True).stdout

    def reply(self, request):
        (self.folder / "asked.tsq").write_bytes(request)
        self.run("ts", "-reply", "-config", "conf", "-section", "own", "-queryfile", "asked.tsq", "-signer", "tsa.pem",
                 "-inkey", "tsa.key", "-out", "reply.tsr")  # fmt: skip
        return (self.folder / "reply.tsr").read_bytes()

    def reply_by_pss(self, request, *options, parts):
        """The same reply, its content signed once more by RSASSA-PSS: `openssl ts` itself cannot."""
        whole = self.reply(request)
        (self.folder / "info.der").write_bytes(parts(whole))
        how = [word for option in ("rsa_padding_mode:pss", *options) for word in ("-keyopt", option)]
        self.run("cms", "-sign", "-binary", "-nodetach", "-cades", "-nosmimecap", "-md", "sha256", "-in", "info.der",
                 "-econtent_type", "1.2.840.113549.1.9.16.1.4", "-signer", "tsa.pem", "-inkey", "tsa.key", *how,
                 "-outform", "DER", "-out", "token.der")  # fmt: skip
        self.run("cms", "-verify", "-binary", "-in", "token.der", "-inform", "DER", "-CAfile", "root.pem",
                 "-purpose", "any", "-out", "/dev/null")  # fmt: skip
        return _der(0x30, _der(0x30, bytes.fromhex("020100")) + (self.folder / "token.der").read_bytes())

    @property
    def root(self):
        return (self.folder / "root.pem").read_bytes()


@pytest.fixture(scope="module")
def authority(tmp_path_factory):
    return Authority(tmp_path_factory.mktemp("authority"))


@pytest.fixture(scope="module")
def made():
    return study(["soft", "softer"])


@pytest.fixture(scope="module")
def request_(made):
    return time_stamp_request(stamps_hash(made.table("claims")), NONCE)


@pytest.fixture(scope="module")
def reply(authority, request_):
    return authority.reply(request_)


def test_the_request_is_the_one_openssl_makes_and_reads(authority, made):
    digest = stamps_hash(made.table("claims"))
    same = authority.run("ts", "-query", "-digest", digest, "-sha256", "-cert", "-no_nonce")
    assert time_stamp_request(digest) == same
    for nonce in (1, 0x7F, 0x80, 0xFFFF, NONCE, 2**70):  # a leading byte of noughts keeps a number positive
        (authority.folder / "own.tsq").write_bytes(time_stamp_request(digest, nonce))
        told = authority.run("ts", "-query", "-in", "own.tsq", "-text").decode()
        assert f"Nonce: 0x{nonce:0{2 * -(-nonce.bit_length() // 8)}X}" in told


def test_a_true_reply_shows_that_the_claims_stood(authority, made, request_, reply):
    found = verify_time_stamp(reply, made.table("claims"), request=request_, roots=authority.root)
    assert (found.claims, found.problems, found.notes, found.authority) == (2, (), (), "CN=Own stamps")
    told = authority.run("ts", "-reply", "-in", "reply.tsr", "-text").decode()  # the time by a second reader
    when = next(line.split(": ", 1)[1] for line in told.splitlines() if line.startswith("Time stamp: "))
    assert found.when.split()[1] == when.split()[2]
    assert found.words == f"Claims 1 to 2 stood as they are on {found.when}, by CN=Own stamps."


def test_claims_fixed_later_do_not_undo_it_and_what_was_not_given_is_said(made, reply):
    later = with_claim(made, {"claim": "softest", "kind": "agreement"}, who="leader", when=BEFORE)
    found = verify_time_stamp(reply, later.table("claims"))
    assert found.claims == 2
    assert found.notes == (
        "The nonce was not checked: the request was not given.",
        "The authority was not checked: no certificate that you trust was given.",
    )


def problems(reply, made, **how):
    return verify_time_stamp(reply, made.table("claims"), **how).problems


def test_a_reply_over_other_claims_shows_nothing(made, reply):
    found = verify_time_stamp(reply, study(["soft", "smoother"]).table("claims"))
    assert found.claims == 0
    assert found.words == "The reply shows nothing: it was made over another hash than that of these claims."


def test_another_nonce_and_another_authority_are_told(tmp_path, authority, made, reply):
    digest = stamps_hash(made.table("claims"))
    asked = time_stamp_request(digest, NONCE + 1)
    assert problems(reply, made, request=asked) == ("its nonce is not that of the request.",)
    assert problems(reply, made, request=time_stamp_request(digest)) == ()  # nothing was asked
    found = problems(reply, made, roots=Authority(tmp_path).root)
    assert found == ("its certificate does not lead to one that you trust.",)


def test_a_changed_byte_anywhere_in_what_was_signed_or_in_the_signature_shows(made, reply):
    start = reply.index(bytes.fromhex(stamps_hash(made.table("claims"))))
    for where in (*range(start - 24, start + 60), *range(len(reply) - 256, len(reply))):
        forged = bytearray(reply)
        forged[where] ^= 1
        try:
            found = problems(bytes(forged), made)
        except StudyError as error:
            found = (str(error),)
        assert found, where


@pytest.mark.parametrize("key", ["P-256", "P-384"])
def test_keys_on_curves_are_known_too(tmp_path, made, request_, key):
    own = Authority(tmp_path, key)
    assert problems(own.reply(request_), made, roots=own.root) == ()


def info_of(reply):
    """The content that the authority signed (TSTInfo), out of its reply."""
    body = next(_parts(reply)).parts()[1].parts()[1].parts()[0]
    return body.parts()[2].parts()[1].parts()[0].content


@pytest.mark.parametrize("options", [(), ("rsa_pss_saltlen:32",), ("rsa_pss_saltlen:20", "rsa_mgf1_md:sha256")])
def test_a_reply_signed_by_rsassa_pss_is_known(authority, made, request_, options):
    own = authority.reply_by_pss(request_, *options, parts=info_of)
    found = verify_time_stamp(own, made.table("claims"), request=request_, roots=authority.root)
    assert (found.claims, found.problems) == (2, ())
    start = own.index(info_of(own))
    for where in (start + 60, len(own) - 256, len(own) - 1):
        forged = bytearray(own)
        forged[where] ^= 1
        assert problems(bytes(forged), made)


def test_another_mask_than_its_hash_is_refused(authority, made, request_):
    own = authority.reply_by_pss(request_, "rsa_mgf1_md:sha1", parts=info_of)
    assert problems(own, made) == ("its signature is not that of its certificate.",)


def test_the_older_way_to_name_the_certificate_is_known_too(tmp_path, made, request_):
    own = Authority(tmp_path, ess="sha1")
    assert problems(own.reply(request_), made, roots=own.root) == ()


def with_optional_parts(reply):
    """The same reply with what RFC 5652 lets stand in it unsigned: lists of revoked certificates, attributes."""
    status, token = next(_parts(reply)).parts()
    kind, body = token.parts()
    *before, signers = body.parts()[0].parts()
    (signer,) = signers.parts()
    attribute = _der(0x30, kind.whole + _der(0x31, kind.whole))
    told = _der(0x30, signer.content + _der(0xA1, attribute))
    signed = b"".join(part.whole for part in before) + _der(0xA1, b"") + _der(0x31, told)
    return _der(0x30, status.whole + _der(0x30, kind.whole + _der(0xA0, _der(0x30, signed))))


def test_what_stands_in_a_reply_unsigned_changes_nothing(authority, made, request_, reply):
    """OpenSSL, a second reader, takes it too."""
    more = with_optional_parts(reply)
    assert problems(more, made, request=request_, roots=authority.root) == ()
    (authority.folder / "more.tsr").write_bytes(more)
    (authority.folder / "more.tsq").write_bytes(request_)
    authority.run("ts", "-verify", "-in", "more.tsr", "-queryfile", "more.tsq", "-CAfile", "root.pem")


def test_a_refusal_is_told(authority, made):
    refused = authority.reply(time_stamp_request("00" * 32)[:-3] + b"\x01\x01\xff")
    bad = bytes.fromhex("30053003020102")  # PKIStatusInfo with status 2 (rejection), no token
    assert problems(bad, made) == ("the authority did not grant it (rejected).",)
    assert problems(refused, made) == ("it was made over another hash than that of these claims.",)


@pytest.mark.parametrize("data", [b"", b"no reply", b"0", b"0\x82\xff\xff"])
def test_what_is_no_reply_is_said(made, data):
    with pytest.raises(StudyError, match=r"no reply of a time-stamping authority"):
        verify_time_stamp(data, made.table("claims"))


def test_a_root_that_cannot_be_read_is_said(made, reply):
    with pytest.raises(StudyError, match="A certificate cannot be read"):
        verify_time_stamp(reply, made.table("claims"), roots=b"no certificate")


def test_the_command_asks_and_verifies(tmp_path, authority, made):
    folder, asked = tmp_path / "study", tmp_path / "claims.tsq"
    write_study(replace(made), folder)
    run = CliRunner().invoke
    assert run(claim, [str(folder), "--ask-stamp", str(asked)]).exit_code == 0
    answer = tmp_path / "claims.tsr"
    assert asked.is_file()
    answer.write_bytes(authority.reply(asked.read_bytes()))
    words = [
        str(folder),
        "--stamp",
        str(answer),
        "--asked",
        str(asked),
        "--root",
        str(authority.folder / "root.pem"),
    ]
    told = run(claim, words)
    assert told.exit_code == 0, told.output
    assert told.output.startswith("Claims 1 to 2 stood as they are on ")
    told = run(claim, [*words, "--json"])
    assert json.loads(told.output)["claims"] == 2
    answer.write_bytes(authority.reply(time_stamp_request("11" * 32)))
    told = run(claim, words)
    assert told.exit_code == 1
    assert "another hash" in told.output
