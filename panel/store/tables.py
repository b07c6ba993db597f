"""Which tables does the record of ballots have? What was collected is added to and never changed.

One database can hold the ballots of several studies. Prototype names are not among what it holds: a serving is known
by its three-digit code, so that nobody who reads the record, and no phone, can learn what a sample is.
"""

from __future__ import annotations

from sqlalchemy import (
    REAL,
    Column,
    Double,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
    text,
)

SCORE_KINDS = ("answer", "cannot_judge", "correction")
"""Events that say what the score of an attribute is; the last one counts."""

TYPED_KINDS = ("typed_first", "typed_second")
"""Events that say what somebody typed from a paper ballot; no score yet."""

PAPER = "paper"
"""The reason of events that come from paper ballots."""

FROZEN_KINDS = ("shown", "rubbing_ended", *SCORE_KINDS, "comment", *TYPED_KINDS)
"""Events of a session's record: none is taken any more once the session is locked."""

SKIN_KINDS = ("reaction", "resumed")
"""Events about somebody's skin; they may come at any time, because skin can react in the evening."""

METADATA = MetaData()
_number: Double[float] = Double().with_variant(REAL(), "sqlite")


def _table(name: str, *parts: Column | ForeignKeyConstraint | UniqueConstraint | Index) -> Table:
    return Table(name, METADATA, *parts, sqlite_strict=True)


VERSION = _table(
    "schema_version", Column("version", Integer, primary_key=True), Column("applied_at", Text, nullable=False)
)

COLLECTION = _table(
    "collection",
    Column("collection", Integer, primary_key=True),
    Column("study", Text, nullable=False),
    Column("rehearsal", Integer, nullable=False),
    Column("started_at", Text, nullable=False),
    Index(
        "one_real_collection",
        "study",
        unique=True,
        sqlite_where=text("rehearsal = 0"),
        postgresql_where=text("rehearsal = 0"),
    ),
)

SAFETY = _table(
    "safety",
    Column("safety", Integer, primary_key=True),
    Column("collection", ForeignKey("collection.collection"), nullable=False, index=True),
    Column("signed", Integer, nullable=False),
    Column("who", Text, nullable=False),
    Column("note", Text, nullable=False),
    Column("at", Text, nullable=False),
)

SESSION = _table(
    "session",
    Column("collection", ForeignKey("collection.collection"), primary_key=True),
    Column("session", Text, primary_key=True),
    Column("locked_at", Text),
    Column("locked_by", Text),
    Column("events_sha256", Text),
)

SERVING = _table(
    "serving",
    Column("serving", Integer, primary_key=True),
    Column("collection", Integer, nullable=False),
    Column("session", Text, nullable=False),
    Column("assessor", Text, nullable=False),
    Column("position", Integer, nullable=False),
    Column("code", Text, nullable=False),
    Column("site", Text, nullable=False),
    ForeignKeyConstraint(["collection", "session"], ["session.collection", "session.session"]),
    UniqueConstraint("collection", "session", "assessor", "position"),
    UniqueConstraint("collection", "session", "assessor", "code"),
)

QUESTION = _table(
    "question",
    Column("collection", Integer, primary_key=True),
    Column("session", Text, primary_key=True),
    Column("place", Integer, primary_key=True),
    Column("attribute", Text, nullable=False),
    Column("name", Text, nullable=False),
    Column("stage", Text, nullable=False),
    Column("minutes", _number),
    Column("earliest", _number),
    Column("latest", _number),
    Column("definition", Text, nullable=False),
    Column("procedure", Text, nullable=False),
    Column("low_end", Text, nullable=False),
    Column("high_end", Text, nullable=False),
    Column("scale_min", _number, nullable=False),
    Column("scale_max", _number, nullable=False),
    ForeignKeyConstraint(["collection", "session"], ["session.collection", "session.session"]),
    UniqueConstraint("collection", "session", "attribute"),
)

TOKEN = _table(
    "token",
    Column("token_sha256", Text, primary_key=True),
    Column("collection", Integer, nullable=False),
    Column("session", Text, nullable=False),
    Column("assessor", Text, nullable=False),
    Column("made_at", Text, nullable=False),
    Column("revoked_at", Text),
    ForeignKeyConstraint(["collection", "session"], ["session.collection", "session.session"]),
    Index(
        "one_token_in_force",
        "collection",
        "session",
        "assessor",
        unique=True,
        sqlite_where=text("revoked_at IS NULL"),
        postgresql_where=text("revoked_at IS NULL"),
    ),
)

SUBMISSION = _table(
    "submission",
    Column("submission", Text, primary_key=True),
    Column("turn", Integer, primary_key=True),
    Column("content_sha256", Text, nullable=False),
    Column("received_at", Text, nullable=False),
)

EVENT = _table(
    "event",
    Column("event", Integer, primary_key=True),
    Column("submission", Text, nullable=False),
    Column("turn", Integer, nullable=False),
    Column("collection", Integer, nullable=False),
    Column("session", Text, nullable=False),
    Column("assessor", Text, nullable=False),
    Column("serving", ForeignKey("serving.serving")),
    Column("kind", Text, nullable=False),
    Column("attribute", Text, nullable=False),
    Column("value", _number),
    Column("text", Text, nullable=False),
    Column("flag", Text, nullable=False),
    Column("minutes", _number),
    Column("at", Text, nullable=False),
    Column("who", Text, nullable=False),
    Column("why", Text, nullable=False),
    Column("rehearsal", Integer, nullable=False),
    ForeignKeyConstraint(["submission", "turn"], ["submission.submission", "submission.turn"]),
    ForeignKeyConstraint(["collection", "session"], ["session.collection", "session.session"]),
    Index("event_of_session", "collection", "session", "assessor"),
    Index("event_of_score", "serving", "attribute"),
    Index(
        "event_of_skin",
        "collection",
        "session",
        sqlite_where=text("kind IN ('reaction', 'resumed')"),
        postgresql_where=text("kind IN ('reaction', 'resumed')"),
    ),
)

# The view is no table of METADATA's: it is made by `schema`, and read here.
SCORE = Table("score", MetaData(), *(Column(c.name, c.type) for c in EVENT.columns))
