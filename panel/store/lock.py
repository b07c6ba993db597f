"""How does a session end? Its record is closed and sealed, and its scores go into the study, under their prototypes.

The record is closed first: whatever interrupts the writing of the study, locking again finishes it.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, select, update

from panel.errors import StudyError
from panel.store.board import record_bytes, sha256
from panel.store.database import Store, local, written
from panel.store.events import hold_session
from panel.store.score_rows import Collected, with_collected
from panel.store.tables import COLLECTION, EVENT, SCORE_KINDS, SERVING, SESSION
from panel.study.facts import LockedSession, with_lock
from panel.study.folder import read_folder
from panel.study.saving import save
from panel.study.study import REHEARSAL_FACT, RawFile, Study


@dataclass(frozen=True, slots=True)
class Locked:
    """What locking a session did: how many scores, blanks and corrections it has, and the seal of its record."""

    session: str
    scores: int
    cannot_judge: int
    corrections: int
    events_sha256: str
    locked_at: str
    rehearsal: bool


def lock_session(store: Store, collection: int, session: str, folder: str | Path, *, who: str, at: datetime) -> Locked:
    """Close the record of a session for good and write its scores into the study in a folder.

    Each last answer becomes a row of scores, `cannot judge` a row without a score, each correction a row of
    corrections; the record itself is kept among the imported files. Locking again changes nothing, and finishes
    what an interruption left undone.

    Raises
    ------
    StudyError
        If nobody is named, the session is unknown or empty, its serving plan is no longer that of the study, the
        study has scores of the same servings, a rehearsal would be mixed with real scores, or the study cannot be
        written. The study is then unchanged.
    """
    if not who.strip():
        raise StudyError("A session is locked by somebody. Write who locks it.")
    study = read_folder(folder)
    with store.reading() as connection:
        collected = _collected(connection, collection, session)
        seal = sha256(record_bytes(connection, collection, session))
    if not _holds(study, seal):
        with_collected(study, collected)  # refuses before the record is closed for good
    with store.writing() as connection:
        locked_at, by = _close(connection, collection, session, who.strip(), at)
        collected = _collected(connection, collection, session)
        record = record_bytes(connection, collection, session)
    locked = Locked(
        session,
        sum(row["kind"] == "answer" for row in collected.answers),
        sum(row["kind"] == "cannot_judge" for row in collected.answers),
        len(collected.corrections),
        sha256(record),
        local(locked_at),
        collected.rehearsal,
    )
    save(
        folder,
        study,
        lambda now: _with_session(now, collected, record, locked, by),
        who=by,
        what=f"Session {session} was locked; its scores are in the study.",
    )
    return locked


def _with_session(study: Study, collected: Collected, record: bytes, locked: Locked, by: str) -> Study:
    """Return the study with the scores and the record of a session, unless it has them."""
    if _holds(study, locked.events_sha256):
        return study
    return _with_record(with_collected(study, collected), record, locked, by)


def _holds(study: Study, seal: str) -> bool:
    """Return True if the record with this seal is in the study already, and so are its scores."""
    return any(file.sha256 == seal for file in study.raw_files)


def _close(connection: Connection, collection: int, session: str, who: str, at: datetime) -> tuple[str, str]:
    """Close and seal the record, or find it closed; return when and by whom."""
    here = (SESSION.c.collection == collection, SESSION.c.session == session)
    hold_session(connection, collection, session, exclusive=True)
    row = connection.execute(select(SESSION).where(*here)).first()
    if row is None:
        raise StudyError(f"There is no session {session} in the record.")
    if row.locked_at is not None:
        return row.locked_at, row.locked_by
    seal = sha256(record_bytes(connection, collection, session))
    connection.execute(update(SESSION).where(*here).values(locked_at=written(at), locked_by=who, events_sha256=seal))
    return written(at), who


def _collected(connection: Connection, collection: int, session: str) -> Collected:
    """Return the last answer of each serving and attribute, and all corrections, in their order."""
    rehearsal = connection.execute(
        select(COLLECTION.c.rehearsal).where(COLLECTION.c.collection == collection)
    ).scalar_one_or_none()
    wanted = (
        select(EVENT, SERVING.c.position, SERVING.c.code)
        .join_from(EVENT, SERVING, SERVING.c.serving == EVENT.c.serving)
        .where(EVENT.c.collection == collection, EVENT.c.session == session, EVENT.c.kind.in_(SCORE_KINDS))
        .order_by(EVENT.c.event)
    )
    answers: dict[tuple[int, str], dict[str, Any]] = {}
    corrections: list[dict[str, Any]] = []
    for row in connection.execute(wanted):
        event = dict(row._mapping)
        if event["kind"] == "correction":
            corrections.append(event)
        else:
            answers[event["serving"], event["attribute"]] = event
            corrections = [c for c in corrections if (c["serving"], c["attribute"]) != (row.serving, row.attribute)]
    if not answers:
        raise StudyError(f"Session {session} has no answers; there is nothing to lock.")
    servings = select(SERVING).where(SERVING.c.collection == collection, SERVING.c.session == session)
    plan = {(row.assessor, row.position): row.code for row in connection.execute(servings)}
    ordered = sorted(answers.values(), key=lambda row: (row["assessor"], row["position"], row["event"]))
    return Collected(session, bool(rehearsal), plan, tuple(ordered), tuple(corrections))


def _with_record(study: Study, record: bytes, locked: Locked, who: str) -> Study:
    """Return the study with the sealed record among its imported files and the lock among its facts."""
    file = RawFile(f"ballots of session {locked.session}.jsonl", locked.events_sha256, record)
    begun = str(json.loads(record.split(b"\n", 1)[0])["at"])
    entry = LockedSession(locked.session, locked.locked_at, who, locked.events_sha256, begun)
    facts = with_lock(study.facts, entry)
    if locked.rehearsal:
        facts[REHEARSAL_FACT] = True
    return replace(study, facts=facts, raw_files=(*study.raw_files, file))
