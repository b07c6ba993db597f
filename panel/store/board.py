"""Who has answered what so far? Counts for the panel leader, who sees codes and never what they stand for."""

from __future__ import annotations

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
    asked, scores, events = (each.subquery() for each in _counts(collection))
    counts = [(asked, "asked"), *((scores, name) for name in _OF_SCORES), (events, "comments")]
    wanted = (
        select(*(SERVING.c[name] for name in _OF_SERVING))
        .add_columns(*(func.coalesce(part.c[name], 0) for part, name in counts))
        .add_columns(events.c.serving.is_not(None), func.coalesce(events.c.last_at, ""))
        .outerjoin(asked, asked.c.session == SERVING.c.session)
        .outerjoin(scores, scores.c.serving == SERVING.c.serving)
        .outerjoin(events, events.c.serving == SERVING.c.serving)
        .where(SERVING.c.collection == collection, *([SERVING.c.session == session] if session else []))
        .order_by(SERVING.c.session, SERVING.c.assessor, SERVING.c.position)
    )
    names = [*_OF_SERVING, *(name for _, name in counts), "opened", "last_at"]
    board = pd.DataFrame([tuple(row) for row in _rows(store, wanted)], columns=names)
    last = [local(moment) if moment else "" for moment in board["last_at"]]
    return board.assign(opened=board["opened"].astype("bool"), last_at=pd.Series(last, index=board.index, dtype="str"))


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
    wanted = (
        select(EVENT.c.session, EVENT.c.assessor, EVENT.c.kind)
        .where(EVENT.c.collection == collection, EVENT.c.kind.in_(SKIN_KINDS))
        .order_by(EVENT.c.event)
    )
    last = {(session, assessor): kind for session, assessor, kind in _rows(store, wanted)}
    stopped = {place for place, kind in last.items() if kind == "reaction"}
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


_OF_SERVING = ("session", "assessor", "position", "code", "site")
_OF_SCORES = ("answered", "cannot_judge", "early")


def _rows(store: Store, wanted: Any) -> list[Any]:
    with store.reading() as connection:
        return list(connection.execute(wanted))


def _counts(collection: int) -> tuple[Any, Any, Any]:
    """Select what is asked in each session, what each serving has of scores, and of other events."""

    def number(condition: Any) -> Any:
        return func.sum(case((condition, 1), else_=0))

    asked = select(QUESTION.c.session, func.count().label("asked")).group_by(QUESTION.c.session)
    judged = (number(SCORE.c.value.is_not(None)), number(SCORE.c.value.is_(None)), number(SCORE.c.flag == "early"))
    scores = select(SCORE.c.serving, *(each.label(name) for each, name in zip(judged, _OF_SCORES, strict=True)))
    others = (number(EVENT.c.kind == "comment").label("comments"), func.max(EVENT.c.at).label("last_at"))
    events = select(EVENT.c.serving, *others).where(EVENT.c.serving.is_not(None)).group_by(EVENT.c.serving)
    return (
        asked.where(QUESTION.c.collection == collection),
        scores.where(SCORE.c.collection == collection).group_by(SCORE.c.serving),
        events.where(EVENT.c.collection == collection),
    )


def _phone_counts(collection: int) -> Any:
    """Select the phones on which the link of each person was opened."""
    return (
        select(EVENT.c.session, EVENT.c.assessor, func.count(EVENT.c.text.distinct()).label("phones"))
        .where(EVENT.c.collection == collection, EVENT.c.kind == "shown", EVENT.c.serving.is_(None))
        .group_by(EVENT.c.session, EVENT.c.assessor)
    )


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


def _line(number: int, session: str, row: Any) -> str:
    content = {"number": number, "session": session, **{name: row[name] for name in _FIELDS}}
    content |= {"position": row["position"], "code": row["code"], "rehearsal": bool(row["rehearsal"])}
    return json.dumps(content, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
