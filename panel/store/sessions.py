"""Which sessions does a record hold, which of them are locked, and what is the record of one, word for word?

A record has one line of JSON for each event; its SHA-256 seals it.
"""

from __future__ import annotations

import hashlib
import json
from typing import Any

import pandas as pd
from sqlalchemy import Connection, select

from panel.errors import StudyError
from panel.store.database import Store
from panel.store.tables import COLLECTION, EVENT, FROZEN_KINDS, SERVING, SESSION

_COLUMNS = ("collection", "study", "rehearsal", "started_at", "session", "locked_at", "locked_by", "events_sha256")
_FIELDS = ("assessor", "kind", "attribute", "value", "text", "flag", "minutes", "at", "who", "why")


def sessions_table(store: Store) -> pd.DataFrame:
    """Return all sessions of all collections, one a row; `rehearsal` is True or False, text is empty where unknown.

    Columns: `collection study rehearsal started_at session locked_at locked_by events_sha256`.
    """
    columns = [COLLECTION.c[name] if name in COLLECTION.c else SESSION.c[name] for name in _COLUMNS]
    wanted = select(*columns).join(SESSION, SESSION.c.collection == COLLECTION.c.collection)
    with store.reading() as connection:
        rows = connection.execute(wanted.order_by(COLLECTION.c.collection, SESSION.c.session)).all()
    frame = pd.DataFrame([tuple(row) for row in rows], columns=list(_COLUMNS))
    text = [name for name in _COLUMNS if name not in ("collection", "rehearsal")]
    return frame.astype({"collection": "int64", "rehearsal": "bool"}).assign(
        **{name: frame[name].fillna("").astype("str") for name in text}
    )


def real_collection(store: Store, study: str) -> int:
    """Return the number of the real collection of a study; StudyError if its ballots were never prepared."""
    wanted = select(COLLECTION.c.collection).where(COLLECTION.c.study == study, COLLECTION.c.rehearsal == 0)
    with store.reading() as connection:
        number = connection.execute(wanted).scalar_one_or_none()
    if number is None:
        raise StudyError(f"{store.place} has no ballots of {study}; prepare them first.")
    return int(number)


def session_record(store: Store, collection: int, session: str) -> bytes:
    """Return the record of a session: a line for each event in its order, as UTF-8.

    Skin reactions are not part of it: they may come after the lock, and they are health data.
    """
    with store.reading() as connection:
        return record_bytes(connection, collection, session)


def record_bytes(connection: Connection, collection: int, session: str) -> bytes:
    """Return the same, within a transaction."""
    columns = [EVENT.c[name] for name in _FIELDS]
    wanted = (
        select(*columns, EVENT.c.rehearsal, SERVING.c.position, SERVING.c.code)
        .outerjoin_from(EVENT, SERVING, SERVING.c.serving == EVENT.c.serving)
        .where(EVENT.c.collection == collection, EVENT.c.session == session, EVENT.c.kind.in_(FROZEN_KINDS))
        .order_by(EVENT.c.event)
    )
    lines = [_line(number, session, row._mapping) for number, row in enumerate(connection.execute(wanted), start=1)]
    return "".join(f"{line}\n" for line in lines).encode()


def sha256(record: bytes) -> str:
    """Return the seal of a record."""
    return hashlib.sha256(record).hexdigest()


def _line(number: int, session: str, row: Any) -> str:
    content = {"number": number, "session": session, **{name: row[name] for name in _FIELDS}}
    content |= {"position": row["position"], "code": row["code"], "rehearsal": bool(row["rehearsal"])}
    return json.dumps(content, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
