import base64
import hashlib

import pytest
from sqlalchemy import select

from panel.errors import StudyError
from panel.store.ballot import find_ballot
from panel.store.database import now
from panel.store.events import _TOKEN_BYTES, assessors_with_token, make_tokens, revoke_token, token_sha256
from panel.store.tables import _METADATA, TOKEN
from tests.ballot_studies import ASSESSORS


def made(store, collection, session="1", **options):
    table = make_tokens(store, collection, session, at=now(), **options)
    return dict(zip(table["assessor"], table["token"], strict=True))


def test_each_assessor_has_a_token_of_her_own(store, collection):
    tokens = made(store, collection)
    assert tuple(tokens) == ASSESSORS
    assert len(set(tokens.values())) == 3
    assert {find_ballot(store, token).assessor for token in tokens.values()} == set(ASSESSORS)


def test_a_token_is_long_enough_not_to_be_guessed(store, collection):
    # OWASP, Session Management Cheat Sheet: at least 64 bits of entropy; ours has 144
    token = made(store, collection)["A01"]
    assert len(base64.urlsafe_b64decode(token)) == _TOKEN_BYTES >= 16


def test_only_the_hash_of_a_token_is_kept(store, collection):
    tokens = made(store, collection)
    with store.reading() as connection:
        held = str([connection.execute(select(table)).all() for table in _METADATA.sorted_tables])
        hashes = set(connection.execute(select(TOKEN.c.token_sha256)).scalars())
    assert not any(token in held for token in tokens.values())
    assert hashes == {hashlib.sha256(token.encode()).hexdigest() for token in tokens.values()}


def test_a_new_token_ends_the_one_before(store, collection):
    before, after = made(store, collection), made(store, collection, assessors=("A01",))
    assert find_ballot(store, before["A01"]) is None
    assert find_ballot(store, after["A01"]).assessor == "A01"
    assert find_ballot(store, before["A02"]).assessor == "A02"


def test_a_revoked_token_opens_nothing(store, collection):
    tokens = made(store, collection)
    assert revoke_token(store, collection, "1", "A02", at=now())
    assert find_ballot(store, tokens["A02"]) is None
    assert not revoke_token(store, collection, "1", "A02", at=now())
    assert assessors_with_token(store, collection, "1") == ("A01", "A03")


def test_a_token_is_for_one_session(store, collection):
    assert find_ballot(store, made(store, collection, "2")["A01"]).session == "2"
    assert assessors_with_token(store, collection, "1") == ()


def test_anything_else_opens_nothing(store, collection):
    made(store, collection)
    for token in ("", "x", "A01", "' OR 1=1 --", "\udcff", "x" * 10_000, "é"):
        assert find_ballot(store, token) is None
        assert len(token_sha256(token)) == 64


def test_a_person_or_session_without_servings_gets_none(store, collection):
    with pytest.raises(StudyError, match="Session 1 has no servings for C01, Z99; make the serving plan first"):
        made(store, collection, assessors=("Z99", "C01", "A01"))
    with pytest.raises(StudyError, match="Session 9 has no servings; make"):
        made(store, collection, "9")
    assert assessors_with_token(store, collection, "1") == ()
