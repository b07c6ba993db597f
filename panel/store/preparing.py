"""How does a study get ready for its ballots, and are they open? Codes and questions are copied, prototypes left out.

What was copied for a session stays as it is from its first event on, whatever happens to the study meanwhile. The
ballots follow the study's safety gate, and anybody may stop them; each turn is kept. The tool records who says so; it
approves nothing itself: `panel.plan.safety` alone decides whether the gate is open.
"""

from __future__ import annotations

import math
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Row, bindparam, delete, insert, select

from panel.errors import StudyError
from panel.plan.protocol import read_protocol
from panel.plan.safety import safety_gate
from panel.store.database import Store, written
from panel.store.events import hold_session
from panel.store.tables import COLLECTION, EVENT, QUESTION, SAFETY, SERVING, SESSION
from panel.study.study import Study, is_rehearsed

_STAGES = ("appearance", "pick-up", "rub-out", "after-feel", "later after-feel", "any", "")
_WORDS = ("attribute", "name", "stage", "definition", "procedure", "low_end", "high_end")


_OWN_GATE = "the safety gate of the study"
_ALL_SESSIONS = "the safety gate"  # who holds this decides about the ballots of a collection
_LAST = (
    select(SAFETY.c.signed, SAFETY.c.who, SAFETY.c.note)
    .where(SAFETY.c.collection == bindparam("number"))
    .order_by(SAFETY.c.safety.desc())
    .limit(1)
)


def prepare(
    store: Store, study: Study, name: str, *, at: datetime, rehearsal: bool = False
) -> tuple[int, tuple[str, ...]]:
    """Copy the sessions of a study's serving plan that are not in the record yet; return collection and sessions.

    A study has one real collection; each rehearsal is one of its own and stays a rehearsal for ever. Consumers get no
    ballot here: they are never asked for intensities.

    `name` is what the study is called in the record: always the same for the same study. StudyError if the study has no
    servings for trained assessors or no attributes, if it does not say the ends of a scale, if a serving is incomplete
    or a code is used twice for one person in a session, if a session that has begun differs from the plan, or if real
    ballots are asked for in a study that was rehearsed.
    """
    if is_rehearsed(study) and not rehearsal:
        raise StudyError("This study is a rehearsal and stays one. Open the ballots of the study it was made from.")
    questions = _questions(study)
    sessions = _servings(study)
    with store.writing() as connection:
        there = select(COLLECTION.c.collection).where(COLLECTION.c.study == name, COLLECTION.c.rehearsal == 0)
        number = None if rehearsal else connection.execute(there).scalar_one_or_none()
        if number is None:
            row = {"study": name, "rehearsal": int(rehearsal), "started_at": written(at)}
            number = connection.execute(insert(COLLECTION).values(row).returning(COLLECTION.c.collection)).scalar_one()
        for session, servings in sessions.items():
            _copy_session(connection, number, session, servings, questions)
    return number, tuple(sessions)


def _copy_session(
    connection: Connection, number: int, session: str, servings: list[dict[str, Any]], questions: list[dict[str, Any]]
) -> None:
    """Copy one session; if it has begun, make sure that the copy still is what the study says."""
    place = {"collection": number, "session": session}
    of_session = [SESSION.c.collection == number, SESSION.c.session == session]
    if connection.execute(select(SESSION.c.session).where(*of_session)).first() is None:
        connection.execute(insert(SESSION).values(place))
    changed = _changed(connection, number, session, servings, questions)
    begun = select(EVENT.c.event).where(EVENT.c.collection == number, EVENT.c.session == session).limit(1)
    if changed and connection.execute(begun).first() is not None:
        raise StudyError(
            f"The {changed} of session {session} changed after its ballots had begun; what was answered would no "
            f"longer fit. Put the {changed} back as before, or give the changed part a new session name."
        )
    if changed:
        for table in (SERVING, QUESTION):
            connection.execute(delete(table).where(table.c.collection == number, table.c.session == session))
        connection.execute(insert(SERVING), [place | serving for serving in servings])
        connection.execute(insert(QUESTION), [place | question for question in questions])


def _changed(
    connection: Connection, number: int, session: str, servings: list[dict[str, Any]], questions: list[dict[str, Any]]
) -> str:
    """Return what differs between the copy of a session and the study, in words; empty if nothing does."""
    for table, wanted, what in ((SERVING, servings, "serving plan"), (QUESTION, questions, "attributes")):
        columns = [table.c[name] for name in wanted[0]]
        rows = select(*columns).where(table.c.collection == number, table.c.session == session)
        if {tuple(row) for row in connection.execute(rows)} != {tuple(row.values()) for row in wanted}:
            return what
    return ""


def _servings(study: Study) -> dict[str, list[dict[str, Any]]]:
    """Return session to the servings of its trained assessors, without the prototypes."""
    people = study.table("assessors")
    consumers = set(people.loc[people["kind"] == "consumer", "assessor"])
    table = study.table("servings")
    sessions: dict[str, list[dict[str, Any]]] = {}
    seen: set[tuple[str, ...]] = set()
    for row, (session, assessor, position, code, site) in enumerate(
        zip(*(table[name] for name in ("session", "assessor", "position", "code", "site")), strict=True)
    ):
        if assessor in consumers:
            continue
        if not (session and assessor and code) or math.isnan(position):
            raise StudyError(f"servings.csv, line {row + 2}: session, assessor, position or code is missing; add it.")
        for key in ((session, assessor, f"position {position:g}"), (session, assessor, f"code {code}")):
            if key in seen:
                raise StudyError(f"servings.csv, line {row + 2}: {assessor} has {key[2]} twice in session {session}.")
            seen.add(key)
        serving = {"assessor": str(assessor), "position": int(position), "code": str(code), "site": str(site)}
        sessions.setdefault(str(session), []).append(serving)
    if not sessions:
        raise StudyError("The study has no servings for trained assessors. Make a serving plan first.")
    return sessions


def _questions(study: Study) -> list[dict[str, Any]]:
    """Return the attributes in the order in which they are judged."""
    table = study.table("attributes")
    if table.empty:
        raise StudyError("The study has no attributes to ask for. Fill its table of attributes first.")
    ends = {name: scale for name in table["attribute"] if (scale := study.scale(name)) is not None}
    unknown = [name for name in table["attribute"] if name not in ends]
    if unknown:
        raise StudyError(
            f"The study does not say where the scale of {', '.join(unknown)} begins and ends. Fill in scale_min and "
            "scale_max in the table attributes: a line without ends cannot be marked."
        )
    times = read_protocol(study).times
    rows: list[dict[str, Any]] = []
    for row, (minutes, earliest, latest) in zip(
        table.to_dict("records"), times[["minutes", "earliest", "latest"]].to_numpy().tolist(), strict=True
    ):
        low, high = ends[row["attribute"]]
        if not low < high:
            raise StudyError(f"The scale of {row['attribute']} goes from {low:g} to {high:g}; correct its ends.")
        words = {name: str(row[name]) for name in _WORDS}
        words["name"] = words["name"] or words["attribute"]
        times_of = {"minutes": minutes, "earliest": earliest, "latest": latest}
        timed = {name: None if math.isnan(each) else float(each) for name, each in times_of.items()}
        rows.append(words | timed | {"scale_min": low, "scale_max": high})
    rank = {stage: place for place, stage in enumerate(_STAGES)}
    rows.sort(key=lambda question: (question["minutes"] or 0.0, rank.get(question["stage"], len(rank))))
    return [{"place": place} | question for place, question in enumerate(rows)]


def refuse_scored(study: Study, session: str) -> None:
    """Raise StudyError if a session that is about to begin has scores in the study: locking would refuse it."""
    served = study.table("servings")
    people = set(served.loc[served["session"] == session, "assessor"])
    scores = study.scores
    there = scores.loc[(scores["session"] == session) & scores["assessor"].isin(people), "assessor"]
    if len(there):
        who = ", ".join(sorted(set(there)))
        raise StudyError(
            f"The study already holds scores of session {session} ({who}); what its ballots say could not be taken in. "
            "Name another session with --session, or give the sitting a new session name in the serving plan."
        )


def safety_signed(store: Store, collection: int) -> bool:
    """Return True if the ballots are open: the last thing kept about them is that the gate is signed."""
    with store.reading() as connection:
        last = connection.execute(_LAST, {"number": collection}).first()
    return last is not None and bool(last.signed)


def follow_gate(store: Store, collection: int, study: Study, *, at: datetime, who: str = "", why: str = "") -> str:
    """Open or close the ballots as the study's safety gate says at this moment; return a sentence about it.

    The ballots are open while each prototype served in a session that is not locked has a batch whose gate is open,
    and none of its batches is frozen by a reaction. What a person stopped stays closed until a person ends the stop.

    `who` ends a stop, and `why`, without which that is a StudyError; it opens nothing that the gate keeps closed.
    """
    if who.strip() and not why.strip():
        raise StudyError("Write why the ballots may go on.")
    batches = safety_gate(study, at.astimezone().date().isoformat()).batches
    with store.writing() as connection:
        hold_session(connection, collection, _ALL_SESSIONS, exclusive=True)
        last = connection.execute(_LAST, {"number": collection}).first()
        here = (SESSION.c.collection == collection, SESSION.c.locked_at.is_(None))
        sessions = set(connection.execute(select(SESSION.c.session).where(*here)).scalars())
        plan = study.table("servings")
        wanted = set(plan.loc[plan["session"].isin(sessions), "prototype"])
        frozen = set(batches.loc[batches["frozen"] != "", "prototype"]) & wanted
        cleared = (set(batches.loc[batches["open"].astype(bool), "prototype"]) & wanted) - frozen
        signed = bool(wanted) and cleared == wanted
        note = f"{len(cleared)} of {len(wanted)} served prototypes have a batch that may be applied"
        note += f"; a reaction that is not settled freezes {len(frozen)}" if frozen else ""
        if last is not None and _stopped(last) and not who.strip():
            return f"The ballots stay closed: {last.who} stopped them. Somebody has to say that they may go on."
        ended = _stopped(last) and signed
        row = (signed, who.strip() if ended else _OWN_GATE, why.strip() if ended else note)
        if last is None or (bool(last.signed), last.note) != (signed, row[2]):
            _keep(connection, collection, row, at)
    return f"The safety gate is {'open' if signed else 'not open'}: {note}."


def stop_ballots(store: Store, collection: int, *, who: str, why: str, at: datetime) -> None:
    """Close all ballots at once, whatever the gate says; StudyError if nobody or no reason is named."""
    if not who.strip() or not why.strip() or who.strip() == _OWN_GATE:
        raise StudyError("Ballots are stopped by somebody, for a reason. Write who stops them, and why.")
    with store.writing() as connection:
        hold_session(connection, collection, _ALL_SESSIONS, exclusive=True)
        _keep(connection, collection, (False, who.strip(), why.strip()), at)


def stopped_by(store: Store, collection: int) -> str:
    """Return who stopped the ballots, and why, as `who: why`; empty if nobody did."""
    with store.reading() as connection:
        last = connection.execute(_LAST, {"number": collection}).first()
    return f"{last.who}: {last.note}" if last is not None and _stopped(last) else ""


def _stopped(last: Row | None) -> bool:
    return last is not None and not last.signed and last.who != _OWN_GATE


def _keep(connection: Connection, collection: int, row: tuple[bool, str, str], at: datetime) -> None:
    signed, who, note = row
    values = {"collection": collection, "signed": int(signed), "who": who, "note": note, "at": written(at)}
    connection.execute(insert(SAFETY).values(values))
