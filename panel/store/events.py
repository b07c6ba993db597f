"""How does something that happened get into the record? A submission whole or not at all, and once."""

from __future__ import annotations

import hashlib
import json
import math
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import pandas as pd
from sqlalchemy import Connection, Select, bindparam, insert, select, text, update
from sqlalchemy.dialects import postgresql, sqlite

from panel.errors import StudyError
from panel.store.database import ALREADY_LOCKED, Store, written
from panel.store.tables import COLLECTION, EVENT, FROZEN_KINDS, SERVING, SESSION, SKIN_KINDS, SUBMISSION, TOKEN

_LONGEST_TEXT = 4000
_OWN_CONTENT = ("kind", "serving", "attribute", "value", "text")

# The statements of `record` are made once: every ballot page needs them.
_HOLD = {
    exclusive: f"pg_advisory_xact_lock{'' if exclusive else '_shared'}(:collection, hashtext(:session))"
    for exclusive in (True, False)
}


def _at_hand(dialect: str, *, servings: bool) -> Select[Any]:
    """Select whether a session is locked, whether it is a rehearsal, and those of some servings that are a person's.

    In PostgreSQL this keeps the session from being locked meanwhile; where it was waited for, the guard of the events
    sees what was done. Events of one serving are then added one transaction at a time. SQLite has one writer anyway.
    """
    wanted = (
        select(SESSION.c.locked_at, COLLECTION.c.rehearsal)
        .join(COLLECTION, COLLECTION.c.collection == SESSION.c.collection)
        .where(SESSION.c.collection == bindparam("collection"), SESSION.c.session == bindparam("session"))
    )
    if servings:
        of_session = (SERVING.c.collection == SESSION.c.collection) & (SERVING.c.session == SESSION.c.session)
        own = SERVING.c.serving.in_(bindparam("servings", expanding=True))
        wanted = wanted.add_columns(SERVING.c.serving).join(SERVING, of_session)
        wanted = wanted.where(SERVING.c.assessor == bindparam("assessor"), own)
        wanted = wanted.order_by(SERVING.c.serving).with_for_update(of=SERVING)
    return wanted.add_columns(text(_HOLD[False])) if dialect == "postgresql" else wanted


_AT_HAND = {
    (dialect, servings): _at_hand(dialect, servings=servings)
    for dialect in ("sqlite", "postgresql")
    for servings in (True, False)
}
_TURNS = (
    select(SUBMISSION.c.turn, SUBMISSION.c.content_sha256)
    .where(SUBMISSION.c.submission == bindparam("submission"))
    .order_by(SUBMISSION.c.turn)
)
_TAKE_TURN: dict[str, Any] = {
    dialect.dialect.name: dialect.insert(SUBMISSION).on_conflict_do_nothing().returning(SUBMISSION.c.turn)
    for dialect in (sqlite, postgresql)
}


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing that happened.

    Parameters
    ----------
    kind
        One of `FROZEN_KINDS` or `SKIN_KINDS` of `panel.store.tables`.
    serving
        Which sample, None where it is about none.
    attribute, value, text
        What was answered; `text` is what was typed, a comment, or the name of a stage.
    flag
        `early` or `late` for an answer given out of its time, `no clock` where the end of rubbing was not noted,
        `out of order` before a sample or stage that comes earlier.
    minutes
        Minutes since the end of rubbing.
    """

    kind: str
    serving: int | None = None
    attribute: str = ""
    value: float | None = None
    text: str = ""
    flag: str = ""
    minutes: float | None = None


def record(
    store: Store,
    entries: Sequence[Entry],
    *,
    submission: str,
    collection: int,
    session: str,
    assessor: str,
    at: datetime,
    who: str = "",
    why: str = "",
) -> bool:
    """Add the entries of one submission to the record, in one transaction; False if all of it was there already.

    The same submission sent again adds nothing. If it comes again with other content (somebody went back and
    changed a mark), the change is added; the last one counts. StudyError if the session is locked or unknown, a serving
    is not one of this assessor and session, an entry cannot be kept, or the database refuses.
    """
    place = {"collection": collection, "session": session, "assessor": assessor}
    by = who or assessor
    return bool(
        store.add(lambda open_: add_entries(open_, entries, place, submission=submission, at=at, who=by, why=why))
    )


def add_entries(
    connection: Connection,
    entries: Sequence[Entry],
    place: Mapping[str, Any],
    *,
    submission: str,
    at: datetime,
    who: str,
    why: str = "",
    may_come_late: bool = False,
) -> bool:
    """Do what `record` does, within a transaction; `place` names collection, session and assessor.

    `may_come_late` says that content which was sent before, and changed since, is an old request and no change.
    """
    for entry in entries:
        _check(entry)
    rehearsal = _open_session(connection, place, entries)
    turn = _take_turn(connection, submission, _digest(entries), written(at), may_come_late=may_come_late)
    if turn is None:
        return False
    common = {"submission": submission, "turn": turn, "at": written(at), "who": who, "why": why}
    if entries:
        own = [{name: getattr(entry, name) for name in Entry.__slots__} for entry in entries]
        connection.execute(insert(EVENT), [{**each, **common, **place, "rehearsal": rehearsal} for each in own])
    return True


def let_go_on(store: Store, collection: int, session: str, assessor: str, *, who: str, why: str, at: datetime) -> None:
    """Let an assessor go on after a skin reaction, and give the sample free again for the others.

    The panel leader decides this with whoever is qualified to; StudyError if nobody or no reason is named.
    """
    if not who.strip() or not why.strip():
        raise StudyError("This is kept with a name and a reason. Write who does it, and why.")
    place: dict[str, Any] = {"collection": collection, "session": session, "assessor": assessor}
    key = f"resumed {collection} {session} {assessor} {who} {written(at)}"
    record(store, [Entry("resumed")], submission=key, **place, at=at, who=who.strip(), why=why.strip())


def hold_session(connection: Connection, collection: int, session: str, *, exclusive: bool = False) -> None:
    """Keep a session from being locked meanwhile, or, `exclusive`, wait for all that are adding to it.

    In PostgreSQL they queue fairly: a lock on the row could wait for ever behind phones that keep coming.
    """
    if connection.dialect.name == "postgresql":
        connection.execute(text(f"SELECT {_HOLD[exclusive]}"), {"collection": collection, "session": session})


def _check(entry: Entry) -> None:
    if entry.kind not in (*FROZEN_KINDS, *SKIN_KINDS):
        raise StudyError(f"{entry.kind!r} is not something the record keeps.")
    if len(entry.text) > _LONGEST_TEXT:
        raise StudyError(f"A text is longer than {_LONGEST_TEXT} characters; shorten it.")
    if entry.value is not None and not math.isfinite(entry.value):
        raise StudyError(f"The score of {entry.attribute} is not a finite number.")


def _open_session(connection: Connection, place: Mapping[str, Any], entries: Sequence[Entry]) -> int:
    """Return the rehearsal flag of a session that takes these entries; it cannot be locked meanwhile."""
    servings = sorted({entry.serving for entry in entries if entry.serving is not None})
    dialect = connection.dialect.name
    given = {**place, "servings": servings} if servings else dict(place)
    rows = connection.execute(_AT_HAND[dialect, bool(servings)], given).all()
    others = servings and [row.serving for row in rows] != servings
    if others and connection.execute(_AT_HAND[dialect, False], dict(place)).first() is not None:
        raise StudyError("This sample is not one of this person's in this session; nothing was kept.")
    if not rows:
        raise StudyError(f"There is no session {place['session']} in the record.")
    if rows[0].locked_at is not None and any(entry.kind in FROZEN_KINDS for entry in entries):
        raise StudyError(ALREADY_LOCKED)
    return int(rows[0].rehearsal)


def _take_turn(
    connection: Connection, submission: str, digest: str, received: str, *, may_come_late: bool
) -> int | None:
    """Return the number of this sending of a submission, None if its content is there already."""
    take = _TAKE_TURN[connection.dialect.name]
    turn = 1
    while True:
        row = {"submission": submission, "turn": turn, "content_sha256": digest, "received_at": received}
        if connection.execute(take, row).first() is not None:
            return turn
        turns = connection.execute(_TURNS, {"submission": submission}).all()
        if any(before.content_sha256 == digest for before in (turns if may_come_late else turns[-1:])):
            return None
        turn = int(turns[-1].turn) + 1


def _digest(entries: Sequence[Entry]) -> str:
    content = [[getattr(entry, name) for name in _OWN_CONTENT] for entry in entries]
    return hashlib.sha256(json.dumps(content).encode()).hexdigest()


_TOKEN_BYTES = 18  # 144 bits
_LONGEST_TOKEN = 64


def make_tokens(
    store: Store, collection: int, session: str, *, at: datetime, assessors: tuple[str, ...] = ()
) -> pd.DataFrame:
    """Make a new token for each of these assessors, all of a session if empty; return `session assessor token`.

    The tokens before are revoked. The new ones are nowhere else: they cannot be shown again. StudyError if the session
    has no servings, or none for one of the assessors.
    """
    with store.writing() as connection:
        wanted = (
            select(SERVING.c.assessor)
            .where(SERVING.c.collection == collection, SERVING.c.session == session)
            .order_by(SERVING.c.assessor)
            .distinct()
        )
        served = list(connection.execute(wanted).scalars())
        unknown = sorted(set(assessors) - set(served))
        if not served or unknown:
            who = f" for {', '.join(unknown)}" if unknown else ""
            raise StudyError(f"Session {session} has no servings{who}; make the serving plan first.")
        rows = []
        for assessor in assessors or served:
            _revoke(connection, collection, session, assessor, at)
            token = secrets.token_urlsafe(_TOKEN_BYTES)
            rows.append({"session": session, "assessor": assessor, "token": token})
            kept = {"collection": collection, "session": session, "assessor": assessor, "made_at": written(at)}
            connection.execute(insert(TOKEN).values(kept | {"token_sha256": token_sha256(token)}))
    return pd.DataFrame(rows, dtype="str")


def revoke_token(store: Store, collection: int, session: str, assessor: str, *, at: datetime) -> bool:
    """Revoke the token an assessor has for a session; return False if there was none."""
    with store.writing() as connection:
        return _revoke(connection, collection, session, assessor, at)


def assessors_with_token(store: Store, collection: int, session: str) -> tuple[str, ...]:
    """Return the assessors who have a token in force for a session."""
    wanted = (
        select(TOKEN.c.assessor)
        .where(TOKEN.c.collection == collection, TOKEN.c.session == session, TOKEN.c.revoked_at.is_(None))
        .order_by(TOKEN.c.assessor)
    )
    with store.reading() as connection:
        return tuple(connection.execute(wanted).scalars())


def token_sha256(token: str) -> str:
    """Return what is kept of a token: enough to recognise it, not enough to make it."""
    return hashlib.sha256(token[:_LONGEST_TOKEN].encode(errors="replace")).hexdigest()


def _revoke(connection: Connection, collection: int, session: str, assessor: str, at: datetime) -> bool:
    own = (TOKEN.c.collection == collection, TOKEN.c.session == session, TOKEN.c.assessor == assessor)
    in_force = update(TOKEN).where(*own, TOKEN.c.revoked_at.is_(None))
    return connection.execute(in_force.values(revoked_at=written(at))).rowcount > 0
