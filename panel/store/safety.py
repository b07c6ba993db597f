"""Are the ballots open? They follow the study's safety gate, and anybody may stop them; each turn is kept.

The tool records who says so; it approves nothing itself. `panel.plan.safety` alone decides whether the gate is open.
"""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection, Row, bindparam, insert, select

from panel.errors import StudyError
from panel.plan.safety import safety_gate
from panel.store.database import Store, written
from panel.store.events import hold_session
from panel.store.tables import SAFETY, SESSION
from panel.study.study import Study

OWN_GATE = "the safety gate of the study"
_ALL_SESSIONS = "the safety gate"  # who holds this decides about the ballots of a collection
_LAST = (
    select(SAFETY.c.signed, SAFETY.c.who, SAFETY.c.note)
    .where(SAFETY.c.collection == bindparam("number"))
    .order_by(SAFETY.c.safety.desc())
    .limit(1)
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

    Parameters
    ----------
    who, why
        Somebody who ends a stop, and the reason; it opens nothing that the gate keeps closed.

    Raises
    ------
    StudyError
        If a stop is ended without a reason.
    """
    if who.strip() and not why.strip():
        raise StudyError("Write why the ballots may go on.")
    batches = safety_gate(study, at.astimezone().date().isoformat()).batches
    with store.writing() as connection:
        hold_session(connection, collection, _ALL_SESSIONS, exclusive=True)
        last = connection.execute(_LAST, {"number": collection}).first()
        wanted = _served(connection, collection, study)
        frozen = set(batches.loc[batches["frozen"] != "", "prototype"]) & wanted
        cleared = (set(batches.loc[batches["open"].astype(bool), "prototype"]) & wanted) - frozen
        signed = bool(wanted) and cleared == wanted
        note = f"{len(cleared)} of {len(wanted)} served prototypes have a batch that may be applied"
        note += f"; a reaction that is not settled freezes {len(frozen)}" if frozen else ""
        if last is not None and _stopped(last) and not who.strip():
            return f"The ballots stay closed: {last.who} stopped them. Somebody has to say that they may go on."
        ended = _stopped(last) and signed
        row = (signed, who.strip() if ended else OWN_GATE, why.strip() if ended else note)
        if last is None or (bool(last.signed), last.note) != (signed, row[2]):
            _keep(connection, collection, row, at)
    return f"The safety gate is {'open' if signed else 'not open'}: {note}."


def stop_ballots(store: Store, collection: int, *, who: str, why: str, at: datetime) -> None:
    """Close all ballots at once, whatever the gate says; StudyError if nobody or no reason is named."""
    if not who.strip() or not why.strip() or who.strip() == OWN_GATE:
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
    return last is not None and not last.signed and last.who != OWN_GATE


def _served(connection: Connection, collection: int, study: Study) -> set[str]:
    """Return the prototypes that are served in the sessions of a collection that are not locked yet."""
    here = (SESSION.c.collection == collection, SESSION.c.locked_at.is_(None))
    sessions = set(connection.execute(select(SESSION.c.session).where(*here)).scalars())
    plan = study.table("servings")
    return set(plan.loc[plan["session"].isin(sessions), "prototype"])


def _keep(connection: Connection, collection: int, row: tuple[bool, str, str], at: datetime) -> None:
    signed, who, note = row
    values = {"collection": collection, "signed": int(signed), "who": who, "note": note, "at": written(at)}
    connection.execute(insert(SAFETY).values(values))
