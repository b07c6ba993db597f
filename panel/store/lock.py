"""How does a session end? Its record is closed and sealed, and its scores go into the study, under their prototypes.

The record is closed first: whatever interrupts the writing of the study, locking again finishes it. Here each code on a
cup is looked up in the serving plan.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pandas as pd
from sqlalchemy import Connection, select, update

from panel.errors import StudyError
from panel.store.board import record_bytes
from panel.store.database import Store, local, written
from panel.store.events import hold_session
from panel.store.tables import COLLECTION, EVENT, PAPER, SCORE_KINDS, SERVING, SESSION
from panel.study.folder import read_folder
from panel.study.saving import save
from panel.study.study import LOCKED_FACT, REHEARSAL_FACT, REHEARSED, RawFile, Study, is_rehearsed
from panel.study.tables import CANNOT_JUDGE


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

    StudyError, and an unchanged study, if nobody is named, the session is unknown or empty, its serving plan is no
    longer that of the study, the study has scores of the same servings, a rehearsal would be mixed with real scores, or
    the study cannot be written.
    """
    if not who.strip():
        raise StudyError("A session is locked by somebody. Write who locks it.")
    study = read_folder(folder)
    with store.reading() as connection:
        collected = _collected(connection, collection, session)
        seal = hashlib.sha256(record_bytes(connection, collection, session)).hexdigest()
    if not _holds(study, seal):
        _with_collected(study, collected)  # refuses before the record is closed for good
    with store.writing() as connection:
        locked_at, by = _close(connection, collection, session, who.strip(), at)
        collected = _collected(connection, collection, session)
        record = record_bytes(connection, collection, session)
    locked = Locked(
        session,
        sum(row["kind"] == "answer" for row in collected.answers),
        sum(row["kind"] == "cannot_judge" for row in collected.answers),
        len(collected.corrections),
        hashlib.sha256(record).hexdigest(),
        local(locked_at),
        collected.rehearsal,
    )

    def change(now: Study) -> Study:
        done = _holds(now, locked.events_sha256)
        return now if done else _with_record(_with_collected(now, collected), record, locked, by)

    save(folder, study, change, who=by, what=f"Session {session} was locked; its scores are in the study.")
    return locked


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
    seal = hashlib.sha256(record_bytes(connection, collection, session)).hexdigest()
    connection.execute(update(SESSION).where(*here).values(locked_at=written(at), locked_by=who, events_sha256=seal))
    return written(at), who


def _collected(connection: Connection, collection: int, session: str) -> _Collected:
    """Return the last answer of each serving and attribute, and all corrections, in their order."""
    of_collection = select(COLLECTION.c.rehearsal).where(COLLECTION.c.collection == collection)
    rehearsal = connection.execute(of_collection).scalar_one_or_none()
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
    return _Collected(session, bool(rehearsal), plan, tuple(ordered), tuple(corrections))


def _with_record(study: Study, record: bytes, locked: Locked, who: str) -> Study:
    """Return the study with the sealed record among its imported files and the lock among its facts."""
    file = RawFile(f"ballots of session {locked.session}.jsonl", locked.events_sha256, record)
    known = study.facts.get(LOCKED_FACT)
    entry = {
        "session": locked.session,
        "locked_at": locked.locked_at,
        "who": who,
        "events_sha256": locked.events_sha256,
        "begun_at": str(json.loads(record.split(b"\n", 1)[0])["at"]),
    }
    facts = {**study.facts, LOCKED_FACT: [*(known if isinstance(known, list) else []), entry]}
    if locked.rehearsal:
        facts[REHEARSAL_FACT] = True
    return replace(study, facts=facts, raw_files=(*study.raw_files, file))


_BALLOT, _TYPED = "ballot", "typed"
_NUMBERS = ("score", "position")


@dataclass(frozen=True, eq=False, slots=True)
class _Collected:
    """What a session brought.

    Parameters
    ----------
    servings
        (assessor, position) to the code on the cup.
    answers
        The last answer to each question: `assessor position code attribute value flag kind at why`.
    corrections
        Corrections that came after those answers: the same, and `text` (the value before) and `who`.
    """

    session: str
    rehearsal: bool
    servings: Mapping[tuple[str, int], str]
    answers: tuple[Mapping[str, Any], ...]
    corrections: tuple[Mapping[str, Any], ...]


def _with_collected(study: Study, collected: _Collected) -> Study:
    """Return the study with the answers as scores and the corrections as corrections; those it holds are not repeated.

    StudyError if the serving plan is not the one the ballots were made from, other scores of the same servings are
    there already, or rehearsed scores would stand beside real ones.
    """
    _keep_apart(study, collected)
    prototypes = _prototypes(study, collected)
    alone = study.table("batches").drop_duplicates("prototype", keep=False)  # prototypes that have one batch
    batches = dict(zip(alone["prototype"], alone["batch"], strict=True))
    rows = [_score_row(row, collected, prototypes, batches) for row in collected.answers]
    scores = _not_there_yet(study, pd.DataFrame(rows), collected.session)
    tables = dict(study.tables)
    tables["scores"] = _below(study.table("scores"), scores)
    known = study.table("corrections").to_dict("records")
    rows = [_correction_row(row, collected, prototypes) for row in collected.corrections]
    rows = [row for row in rows if not any(row.items() <= other.items() for other in known)]
    if rows:
        tables["corrections"] = _below(study.table("corrections"), pd.DataFrame(rows, dtype="str"))
    return replace(study, tables=tables)


def _keep_apart(study: Study, collected: _Collected) -> None:
    rehearsed = is_rehearsed(study)
    if collected.rehearsal and not rehearsed and len(study.scores):
        raise StudyError(
            "This session was rehearsed, and the study holds real scores; nothing was written. "
            "Write a rehearsal into a copy of the study without scores."
        )
    if rehearsed and not collected.rehearsal:
        raise StudyError(
            "The study in this folder is a rehearsal; real scores do not go into it. Choose the folder of the real one."
        )


def _prototypes(study: Study, collected: _Collected) -> dict[tuple[str, int], str]:
    """Return (assessor, position) to the prototype; StudyError if a code on a cup is not the one in the plan."""
    plan = study.table("servings")
    plan = plan.loc[plan["session"] == collected.session]
    keys = zip(plan["assessor"], plan["position"], strict=True)
    planned = dict(zip(keys, zip(plan["code"], plan["prototype"], strict=True), strict=True))
    found = {}
    for (assessor, position), code in collected.servings.items():
        now, prototype = planned.get((assessor, float(position)), ("", ""))
        if now != code or not prototype:
            raise StudyError(
                f"Session {collected.session}, {assessor}, position {position}: the cup had the code {code}, the "
                f"serving plan now says {now or 'nothing'}. Put the plan back as it was when the ballots were made."
            )
        found[assessor, position] = str(prototype)
    return found


def _score_row(
    row: Mapping[str, Any], collected: _Collected, prototypes: Mapping[tuple[str, int], str], batches: Mapping[str, str]
) -> dict[str, Any]:
    prototype = prototypes[row["assessor"], row["position"]]
    value = row["value"]
    return {
        "assessor": row["assessor"],
        "prototype": prototype,
        "attribute": row["attribute"],
        "score": float("nan") if value is None else float(value),
        "session": collected.session,
        "position": float(row["position"]),
        "batch": batches.get(prototype, ""),
        "recorded_at": local(row["at"]),
        "source": REHEARSED if collected.rehearsal else _TYPED if row["why"] == PAPER else _BALLOT,
        "flag": CANNOT_JUDGE if row["kind"] == "cannot_judge" else row["flag"],
    }


def _correction_row(
    row: Mapping[str, Any], collected: _Collected, prototypes: Mapping[tuple[str, int], str]
) -> dict[str, str]:
    place = {
        "assessor": row["assessor"],
        "session": collected.session,
        "prototype": prototypes[row["assessor"], row["position"]],
        "attribute": row["attribute"],
        "position": str(float(row["position"])),
    }
    return {
        "when": local(row["at"]),
        "who": row["who"],
        "table": "scores",
        "key": "; ".join(f"{name}={value}" for name, value in place.items()),
        "old": row["text"],
        "new": "" if row["value"] is None else _plain(float(row["value"])),
        "why": row["why"],
    }


def _plain(value: float) -> str:
    text = repr(value)
    return f"{text}0" if len(text.partition(".")[2]) == 3 else text  # 1.234 could be read as a thousand and more


def _not_there_yet(study: Study, scores: pd.DataFrame, session: str) -> pd.DataFrame:
    """Return the scores that the study does not hold; StudyError if it holds others of the same samples.

    A study may hold its own rows of the session already: an earlier version could be stopped between two files.
    """
    there = study.scores.loc[study.scores["session"] == session]
    place = ["assessor", "prototype", "attribute", "position"]
    said = ["score", "recorded_at", "source", "flag"]
    kept = {_cells(row, place): _cells(row, said) for row in there.to_dict("records")}
    own = [(_cells(row, place), _cells(row, said)) for row in scores.to_dict("records")]
    others = sorted({str(where[0]) for where, cells in own if kept.get(where, cells) != cells})
    if others:
        raise StudyError(
            f"The study already holds scores of session {session} for the same samples ({', '.join(others)}); nothing "
            "was written. Remove one of the two first."
        )
    return scores.loc[[where not in kept for where, _ in own]]


def _cells(row: Mapping[Any, Any], names: list[str]) -> tuple[Any, ...]:
    """Return cells of a row in a form that can be compared: a missing one is the empty text."""
    return tuple("" if pd.isna(row.get(name)) else row[name] for name in names)


def _below(table: pd.DataFrame, rows: pd.DataFrame) -> pd.DataFrame:
    """Return a table with rows below it; text that is missing on either side is empty."""
    columns = list(dict.fromkeys([*table.columns, *rows.columns]))
    parts = [_complete(part.reindex(columns=columns)) for part in (table, rows) if len(part)]
    return pd.concat(parts, ignore_index=True)


def _complete(part: pd.DataFrame) -> pd.DataFrame:
    text = [name for name in part.columns if name not in _NUMBERS]
    filled = {name: part[name].astype("object").where(part[name].notna(), "").astype("str") for name in text}
    return part.assign(**filled, **{name: part[name].astype("float64") for name in _NUMBERS if name in part.columns})
