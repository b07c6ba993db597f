"""Who has answered what so far? Counts for the panel leader, who sees codes and never what they stand for."""

from __future__ import annotations

import hashlib
import json
from datetime import datetime
from typing import Any

import pandas as pd
from sqlalchemy import Connection, case, func, select

from panel.store.database import Store, local, read
from panel.store.tables import COLLECTION, EVENT, FROZEN_KINDS, QUESTION, SCORE, SERVING, SESSION, SKIN_KINDS


def board_of_servings(store: Store, collection: int, session: str = "") -> pd.DataFrame:
    """Return how far each serving has come.

    Parameters
    ----------
    session
        Only this one; all of the collection if empty.

    Returns
    -------
    DataFrame
        One row a serving, in serving order: `session assessor position code site asked answered cannot_judge early
        comments opened last_at`. `answered` counts marks, `asked` attributes; `early` counts answers before their
        time; `opened` is True once the sample was shown; `last_at` is local time, empty if nothing came.
    """
    asked = dict(_rows(store, _asked(collection)))
    wanted = (
        select(
            SERVING.c.serving,
            SERVING.c.session,
            SERVING.c.assessor,
            SERVING.c.position,
            SERVING.c.code,
            SERVING.c.site,
        )
        .where(SERVING.c.collection == collection)
        .order_by(SERVING.c.session, SERVING.c.assessor, SERVING.c.position)
    )
    servings = [row for row in _rows(store, wanted) if session in ("", row.session)]
    scores = {row.serving: row for row in _rows(store, _score_counts(collection))}
    events = {row.serving: row for row in _rows(store, _event_counts(collection))}
    rows = []
    for serving in servings:
        score, happened = scores.get(serving.serving), events.get(serving.serving)
        rows.append(
            {
                **{name: getattr(serving, name) for name in ("session", "assessor", "position", "code", "site")},
                "asked": asked.get(serving.session, 0),
                "answered": int(score.answered) if score else 0,
                "cannot_judge": int(score.cannot_judge) if score else 0,
                "early": int(score.early) if score else 0,
                "comments": int(happened.comments) if happened else 0,
                "opened": happened is not None,
                "last_at": local(happened.last_at) if happened else "",
            }
        )
    return pd.DataFrame(rows, columns=_SERVING_COLUMNS)


def board_of_assessors(store: Store, collection: int, session: str = "") -> pd.DataFrame:
    """Return how far each assessor has come, from the board of servings.

    Columns: `session assessor servings finished asked answered cannot_judge early comments stopped phones last_at`;
    `stopped` is True after a skin reaction until the assessor was let go on; `phones` counts those on which the link
    was opened.
    """
    board = board_of_servings(store, collection, session)
    done = board["answered"] + board["cannot_judge"] >= board["asked"]
    counted = board.assign(servings=1, finished=done.astype("int64"))
    sums = ["servings", "finished", "asked", "answered", "cannot_judge", "early", "comments"]
    by = counted.groupby(["session", "assessor"], sort=False)
    table = by[sums].sum().join(by["last_at"].max()).reset_index()
    stopped = _stopped(store, collection)
    places = list(zip(table["session"], table["assessor"], strict=True))
    table["stopped"] = [place in stopped for place in places]
    phones = {(row.session, row.assessor): row.phones for row in _rows(store, _phone_counts(collection))}
    table["phones"] = [int(phones.get(place, 0)) for place in places]
    return table[["session", "assessor", *sums, "stopped", "phones", "last_at"]]


def reactions_table(store: Store, collection: int) -> pd.DataFrame:
    """Return the skin reactions that were reported: `at session assessor code site text`, oldest first.

    These are health data: for the panel leader and the safety assessor, not for a report.
    """
    wanted = (
        select(EVENT.c.at, EVENT.c.session, EVENT.c.assessor, SERVING.c.code, SERVING.c.site, EVENT.c.text)
        .outerjoin_from(EVENT, SERVING, SERVING.c.serving == EVENT.c.serving)
        .where(EVENT.c.collection == collection, EVENT.c.kind == "reaction")
        .order_by(EVENT.c.event)
    )
    rows = [(local(row[0]), *(word or "" for word in row[1:])) for row in _rows(store, wanted)]
    return pd.DataFrame(rows, columns=["at", "session", "assessor", "code", "site", "text"], dtype="str")


_SERVING_COLUMNS = [
    *("session", "assessor", "position", "code", "site", "asked"),
    *("answered", "cannot_judge", "early", "comments", "opened", "last_at"),
]


def _rows(store: Store, wanted: Any) -> list[Any]:
    with store.reading() as connection:
        return list(connection.execute(wanted))


def _asked(collection: int) -> Any:
    return (
        select(QUESTION.c.session, func.count()).where(QUESTION.c.collection == collection).group_by(QUESTION.c.session)
    )


def _score_counts(collection: int) -> Any:
    judged = SCORE.c.value.is_not(None)
    return (
        select(
            SCORE.c.serving,
            func.sum(case((judged, 1), else_=0)).label("answered"),
            func.sum(case((judged, 0), else_=1)).label("cannot_judge"),
            func.sum(case((SCORE.c.flag == "early", 1), else_=0)).label("early"),
        )
        .where(SCORE.c.collection == collection)
        .group_by(SCORE.c.serving)
    )


def _event_counts(collection: int) -> Any:
    return (
        select(
            EVENT.c.serving,
            func.sum(case((EVENT.c.kind == "comment", 1), else_=0)).label("comments"),
            func.max(EVENT.c.at).label("last_at"),
        )
        .where(EVENT.c.collection == collection, EVENT.c.serving.is_not(None))
        .group_by(EVENT.c.serving)
    )


def _phone_counts(collection: int) -> Any:
    """Select the phones on which the link of each person was opened."""
    return (
        select(EVENT.c.session, EVENT.c.assessor, func.count(EVENT.c.text.distinct()).label("phones"))
        .where(EVENT.c.collection == collection, EVENT.c.kind == "shown", EVENT.c.serving.is_(None))
        .group_by(EVENT.c.session, EVENT.c.assessor)
    )


def _stopped(store: Store, collection: int) -> set[tuple[str, str]]:
    wanted = (
        select(EVENT.c.session, EVENT.c.assessor, EVENT.c.kind)
        .where(EVENT.c.collection == collection, EVENT.c.kind.in_(SKIN_KINDS))
        .order_by(EVENT.c.event)
    )
    last = {(session, assessor): kind for session, assessor, kind in _rows(store, wanted)}
    return {place for place, kind in last.items() if kind == "reaction"}


# Which sessions does a record hold, which of them are locked, and what is the record of one, word for word?
#
# A record has one line of JSON for each event; its SHA-256 seals it.


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


def last_moment(store: Store) -> datetime | None:
    """Return when the last thing in the record happened; None if nothing did."""
    with store.reading() as connection:
        last = connection.execute(select(func.max(EVENT.c.at))).scalar_one_or_none()
    return read(last) if last else None


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
