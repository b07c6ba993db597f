"""What does one token open? The servings of one assessor in one session, what is asked, and how far it has come."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Table, and_, bindparam, exists, select, text

from panel.store.board import sessions_table
from panel.store.database import Store, name_in_record, now, open_store, read, store_exists, store_url
from panel.store.events import Entry, token_sha256
from panel.store.preparing import follow_gate, prepare
from panel.store.tables import COLLECTION, EVENT, QUESTION, SAFETY, SCORE_KINDS, SERVING, SESSION, SKIN_KINDS, TOKEN
from panel.study.folder import read_folder
from panel.study.study import Study


def _here(table: Table) -> tuple[Any, ...]:
    own = (table.c.assessor == bindparam("assessor"),) if "assessor" in table.c else ()
    return (table.c.collection == bindparam("number"), table.c.session == bindparam("session"), *own)


@dataclass(frozen=True, slots=True)
class Serving:
    """One sample put before the assessor, known by its code."""

    serving: int
    position: int
    code: str
    site: str


@dataclass(frozen=True, slots=True)
class Question:
    """One attribute as it is asked: `minutes` after the end of rubbing, in time from `earliest` to `latest`.

    The three are None for an attribute that is not tied to the end of rubbing.
    """

    attribute: str
    name: str
    stage: str
    minutes: float | None
    earliest: float | None
    latest: float | None
    definition: str
    procedure: str
    low_end: str
    high_end: str
    scale_min: float
    scale_max: float


_Prepared = tuple[tuple[Serving, ...], tuple[Question, ...]]
Known = dict[tuple[Any, ...], _Prepared]
"""Collection, session and assessor to what was prepared for them."""


@dataclass(frozen=True, eq=False, slots=True)
class Ballot:
    """The ballot of one assessor in one session.

    Parameters
    ----------
    given
        (serving, attribute) to the kind of the last event that says its score: `answer`, `cannot_judge`,
        `correction`. The values stay in the record.
    rubbing_ended
        Serving to the moment the assessor stopped rubbing it.
    shown
        (serving, stage) that were opened.
    stopped
        True after a skin reaction was reported and nobody let the assessor go on.
    held
        Codes of this session that somebody reacted to and that nobody has given free again: not to be applied.
    phones
        Names of the phones, made up, on which the link of this person was opened.
    """

    collection: int
    session: str
    assessor: str
    rehearsal: bool
    locked: bool
    safety_signed: bool
    servings: tuple[Serving, ...]
    questions: tuple[Question, ...]
    given: Mapping[tuple[int, str], str]
    rubbing_ended: Mapping[int, datetime]
    shown: frozenset[tuple[int, str]]
    stopped: bool
    held: frozenset[str]
    phones: frozenset[str] = frozenset()

    @property
    def place(self) -> dict[str, Any]:
        """Collection, session and assessor: where the entries of this ballot belong."""
        return {"collection": self.collection, "session": self.session, "assessor": self.assessor}

    def after(self, entries: Iterable[Entry], at: datetime) -> Ballot:
        """Return the ballot as it is once these entries are in the record."""
        scores = {(e.serving, e.attribute): e.kind for e in entries if e.kind in SCORE_KINDS and e.serving is not None}
        ended = {e.serving: at for e in entries if e.kind == "rubbing_ended" and e.serving is not None}
        return replace(self, given={**self.given, **scores}, rubbing_ended={**self.rubbing_ended, **ended})


# Made once: every page of a ballot needs these statements.
_SIGNED = (
    select(SAFETY.c.signed)
    .where(SAFETY.c.collection == TOKEN.c.collection)
    .order_by(SAFETY.c.safety.desc())
    .limit(1)
    .scalar_subquery()
)
_ABOUT_SKIN = text("event.kind IN ({})".format(", ".join(f"'{kind}'" for kind in SKIN_KINDS)))
"""Events about skin, as a condition in letters: a database finds its small index of them by no other."""
_REACTED = exists().where(EVENT.c.collection == TOKEN.c.collection, EVENT.c.session == TOKEN.c.session, _ABOUT_SKIN)
_PLACE = ("collection", "session", "assessor")
_OPENED = (
    select(TOKEN.c.collection, TOKEN.c.session, TOKEN.c.assessor, COLLECTION.c.rehearsal, SESSION.c.locked_at)
    .add_columns(_SIGNED.label("signed"), _REACTED.label("reacted"))
    .join(SESSION, (SESSION.c.collection == TOKEN.c.collection) & (SESSION.c.session == TOKEN.c.session))
    .join(COLLECTION, COLLECTION.c.collection == TOKEN.c.collection)
    .where(TOKEN.c.token_sha256 == bindparam("token"), TOKEN.c.revoked_at.is_(None))
    .cte("opened")
)
_OPENED_WITH_EVENTS = (  # one question in place of two: the way to a server and back takes longer than the answer
    select(_OPENED, EVENT.c.kind, EVENT.c.serving, EVENT.c.attribute, EVENT.c.text, EVENT.c.at)
    .outerjoin_from(_OPENED, EVENT, and_(*(EVENT.c[name] == _OPENED.c[name] for name in _PLACE)))
    .order_by(EVENT.c.event)
)
_SERVINGS = select(*(SERVING.c[name] for name in Serving.__slots__)).where(*_here(SERVING)).order_by(SERVING.c.position)
_QUESTIONS = (
    select(*(QUESTION.c[name] for name in Question.__slots__)).where(*_here(QUESTION)).order_by(QUESTION.c.place)
)
_REACTIONS = (
    select(EVENT.c.kind, EVENT.c.assessor, SERVING.c.code)
    .outerjoin_from(EVENT, SERVING, SERVING.c.serving == EVENT.c.serving)
    .where(EVENT.c.collection == bindparam("number"), EVENT.c.session == bindparam("session"), _ABOUT_SKIN)
    .order_by(EVENT.c.event)
)


_LAST_SENT = (
    select(EVENT.c.attribute, EVENT.c.submission, EVENT.c.at)
    .where(EVENT.c.serving == bindparam("serving"), EVENT.c.kind.in_(SCORE_KINDS))
    .order_by(EVENT.c.event)
)


def find_ballot(store: Store, token: str, known: Known | None = None) -> Ballot | None:
    """Return the ballot that a token opens; None for a token that is wrong or was revoked.

    `known` keeps what was prepared between two calls: servings and questions, which the record never changes.
    """
    with store.reading() as connection:
        return ballot_of(connection, token, known)


def ballot_of(connection: Connection, token: str, known: Known | None = None) -> Ballot | None:
    """Return the same, within a transaction."""
    rows = connection.execute(_OPENED_WITH_EVENTS, {"token": token_sha256(token)}).all()
    if not rows:
        return None
    number, session, assessor, rehearsal, locked_at, signed, reacted, *_ = rows[0]
    place = {"number": number, "session": session, "assessor": assessor}
    given, rubbing_ended, opened, stopped = _so_far([row[7:] for row in rows])
    shown = frozenset((serving, words) for serving, words in opened if serving is not None)
    phones = frozenset(words for serving, words in opened if serving is None)
    return Ballot(
        number,
        session,
        assessor,
        bool(rehearsal),
        locked_at is not None,
        bool(signed),
        *_prepared(connection, place, {} if known is None else known),
        given,
        rubbing_ended,
        shown,
        stopped,
        _held(connection, place) if reacted else frozenset(),
        phones,
    )


def last_sent(connection: Connection, serving: int) -> dict[str, tuple[str, datetime]]:
    """Return attribute to the identifier under which its last answer about a sample was sent, and when it came."""
    rows = connection.execute(_LAST_SENT, {"serving": serving})
    return {attribute: (submission, read(at)) for attribute, submission, at in rows}


def _prepared(connection: Connection, place: dict[str, Any], known: Known) -> _Prepared:
    """Return the servings and the questions of one assessor in one session."""
    key = tuple(place.values())
    if key not in known:
        servings = tuple(Serving(*row) for row in connection.execute(_SERVINGS, place))
        known[key] = servings, tuple(Question(*row) for row in connection.execute(_QUESTIONS, place))
    return known[key]


def _so_far(
    events: Iterable[Sequence[Any]],
) -> tuple[dict[tuple[int, str], str], dict[int, datetime], frozenset[tuple[int | None, str]], bool]:
    """Go through the events in their order; later ones replace earlier ones."""
    given: dict[tuple[int, str], str] = {}
    rubbing_ended: dict[int, datetime] = {}
    shown: set[tuple[int | None, str]] = set()
    stopped = False
    for kind, serving, attribute, words, at in events:
        if kind in SCORE_KINDS:
            given[serving, attribute] = kind
        elif kind == "rubbing_ended":
            rubbing_ended[serving] = read(at)
        elif kind == "shown":
            shown.add((serving, words))
        elif kind in ("reaction", "resumed"):
            stopped = kind == "reaction"
    return given, rubbing_ended, frozenset(shown), stopped


def _held(connection: Connection, place: dict[str, Any]) -> frozenset[str]:
    """Return the codes of the session that somebody reacted to, until she is let go on."""
    held: dict[str, set[str]] = {}
    for kind, assessor, code in connection.execute(_REACTIONS, place):
        if kind == "resumed":
            held.pop(assessor, None)
        elif code is not None:
            held.setdefault(assessor, set()).add(code)
    return frozenset(code for codes in held.values() for code in codes)


@dataclass(frozen=True, eq=False, slots=True)
class BallotRecord:
    """The open record, the number of the study's collection in it, and session to the time of its lock (or empty)."""

    store: Store
    collection: int
    locked: dict[str, str]


@contextmanager
def ballot_record(folder: Path) -> Iterator[BallotRecord | None]:
    """Give the record of a study folder; None if its ballots were never prepared. No file is made by looking."""
    url = store_url(folder)
    if not store_exists(url):
        yield None
        return
    with closing(open_store(url)) as store:
        table = sessions_table(store)
        own = table.loc[(table["study"] == name_in_record(folder)) & ~table["rehearsal"]]
        locked = dict(zip(own["session"], own["locked_at"], strict=True))
        yield BallotRecord(store, int(own["collection"].iloc[0]), locked) if len(own) else None


def tell_ballots(folder: Path) -> str:
    """Open or close the ballots of a folder, if prepared, as its safety gate says now; return a sentence about it."""
    with ballot_record(folder) as record:
        if record is None:
            return ""
        return follow_gate(record.store, record.collection, read_folder(folder), at=now())


def prepare_ballots(folder: Path, study: Study) -> str:
    """Copy what is asked and served into the record, made if there is none; return what the safety gate says."""
    with closing(open_store(store_url(folder))) as store:
        collection, _ = prepare(store, study, name_in_record(folder), at=now())
        return follow_gate(store, collection, study, at=now())
