"""Which tables does the record of ballots have? What was collected is added to and never changed.

One database can hold the ballots of several studies. Prototype names are not among what it holds: a serving is known
by its three-digit code, so that nobody who reads the record, and no phone, can learn what a sample is.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import (
    REAL,
    Column,
    Connection,
    Double,
    Engine,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
    func,
    insert,
    inspect,
    select,
    text,
)

from panel.errors import StudyError

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

_METADATA = MetaData()
_number: Double[float] = Double().with_variant(REAL(), "sqlite")


def _texts(*names: str) -> list[Column]:
    return [Column(name, Text, nullable=False) for name in names]


def _only(condition: str) -> dict[str, Any]:
    """Return how an index holds only rows that fulfil a condition."""
    return {"sqlite_where": text(condition), "postgresql_where": text(condition)}


def _table(name: str, *parts: Column | ForeignKeyConstraint | UniqueConstraint | Index) -> Table:
    return Table(name, _METADATA, *parts, sqlite_strict=True)


_VERSION = _table(
    "schema_version", Column("version", Integer, primary_key=True), Column("applied_at", Text, nullable=False)
)

COLLECTION = _table(
    "collection",
    Column("collection", Integer, primary_key=True),
    Column("study", Text, nullable=False),
    Column("rehearsal", Integer, nullable=False),
    Column("started_at", Text, nullable=False),
    Index("one_real_collection", "study", unique=True, **_only("rehearsal = 0")),
)

SAFETY = _table(
    "safety",
    Column("safety", Integer, primary_key=True),
    Column("collection", ForeignKey("collection.collection"), nullable=False, index=True),
    Column("signed", Integer, nullable=False),
    *_texts("who", "note", "at"),
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
    *_texts("session", "assessor"),
    Column("position", Integer, nullable=False),
    *_texts("code", "site"),
    ForeignKeyConstraint(["collection", "session"], ["session.collection", "session.session"]),
    UniqueConstraint("collection", "session", "assessor", "position"),
    UniqueConstraint("collection", "session", "assessor", "code"),
)

QUESTION = _table(
    "question",
    Column("collection", Integer, primary_key=True),
    Column("session", Text, primary_key=True),
    Column("place", Integer, primary_key=True),
    *_texts("attribute", "name", "stage"),
    Column("minutes", _number),
    Column("earliest", _number),
    Column("latest", _number),
    *_texts("definition", "procedure", "low_end", "high_end"),
    Column("scale_min", _number, nullable=False),
    Column("scale_max", _number, nullable=False),
    ForeignKeyConstraint(["collection", "session"], ["session.collection", "session.session"]),
    UniqueConstraint("collection", "session", "attribute"),
)

TOKEN = _table(
    "token",
    Column("token_sha256", Text, primary_key=True),
    Column("collection", Integer, nullable=False),
    *_texts("session", "assessor", "made_at"),
    Column("revoked_at", Text),
    ForeignKeyConstraint(["collection", "session"], ["session.collection", "session.session"]),
    Index("one_token_in_force", "collection", "session", "assessor", unique=True, **_only("revoked_at IS NULL")),
)

SUBMISSION = _table(
    "submission",
    Column("submission", Text, primary_key=True),
    Column("turn", Integer, primary_key=True),
    *_texts("content_sha256", "received_at"),
)

EVENT = _table(
    "event",
    Column("event", Integer, primary_key=True),
    Column("submission", Text, nullable=False),
    Column("turn", Integer, nullable=False),
    Column("collection", Integer, nullable=False),
    *_texts("session", "assessor"),
    Column("serving", ForeignKey("serving.serving")),
    *_texts("kind", "attribute"),
    Column("value", _number),
    *_texts("text", "flag"),
    Column("minutes", _number),
    *_texts("at", "who", "why"),
    Column("rehearsal", Integer, nullable=False),
    ForeignKeyConstraint(["submission", "turn"], ["submission.submission", "submission.turn"]),
    ForeignKeyConstraint(["collection", "session"], ["session.collection", "session.session"]),
    Index("event_of_session", "collection", "session", "assessor"),
    Index("event_of_score", "serving", "attribute"),
    Index("event_of_skin", "collection", "session", **_only("kind IN ('reaction', 'resumed')")),
)

# The view is no table of METADATA's: it is made by `schema`, and read here.
SCORE = Table("score", MetaData(), *(Column(c.name, c.type) for c in EVENT.columns))


_CURRENT_VERSION = 1  # a record of another version is refused

_KEPT = ("event", "submission", "collection", "safety")  # tables of which no row is changed or taken out


def make_tables(engine: Engine, place: str) -> None:
    """Make the tables in an empty database; those that are there stay as they are.

    StudyError if the record is of a newer version, or the database holds tables that are not a record of ballots.
    """
    with engine.connect().execution_options(writing=True) as connection, connection.begin():
        alone(connection)
        names = set(inspect(connection).get_table_names())
        if _VERSION.name not in names:
            if names:
                raise StudyError(f"{place} holds other tables, not ballots; choose another database.")
            _METADATA.create_all(connection)
            for statement in _view_and_guards(connection.dialect.name):
                connection.execute(text(statement))
            now = datetime.now(UTC).isoformat(timespec="seconds")
            connection.execute(insert(_VERSION).values(version=_CURRENT_VERSION, applied_at=now))
            return
        found = int(connection.execute(select(func.coalesce(func.max(_VERSION.c.version), 0))).scalar_one())
    if found > _CURRENT_VERSION:
        raise StudyError(
            f"{place} was made by a newer version of this program (record version {found}; this one knows up to "
            f"{_CURRENT_VERSION}). Install the newer version, then open it again; nothing was changed."
        )


def alone(connection: Connection) -> None:
    """Wait until nobody else makes or changes tables; holds until the end of the transaction."""
    if connection.dialect.name == "postgresql":  # SQLite has one writer anyway
        connection.execute(text("SELECT pg_advisory_xact_lock(7234190)"))


def _view_and_guards(dialect: str) -> tuple[str, ...]:
    """Return the SQL of the view of last scores, and of the triggers that keep what was collected as it was."""
    kinds = ", ".join(f"'{kind}'" for kind in SCORE_KINDS)
    view = f"""CREATE VIEW score AS SELECT * FROM event WHERE kind IN ({kinds}) AND event.event =
        (SELECT MAX(other.event) FROM event AS other WHERE other.serving = event.serving
        AND other.attribute = event.attribute AND other.kind IN ({kinds}))"""  # noqa: S608  # words of this program only
    return (view, *(_sqlite_guards() if dialect == "sqlite" else _postgresql_guards()))


def _locked(row: str) -> str:
    kinds = ", ".join(f"'{kind}'" for kind in FROZEN_KINDS)
    return f"""{row}.kind IN ({kinds}) AND EXISTS (SELECT 1 FROM session WHERE session.collection = {row}.collection
        AND session.session = {row}.session AND session.locked_at IS NOT NULL)"""  # noqa: S608  # the same


def _sqlite_guards() -> tuple[str, ...]:
    kept = [
        f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, 'what was collected is never changed'); END"
        for table in _KEPT
        for verb in ("UPDATE", "DELETE")
    ]
    locked = "BEGIN SELECT RAISE(ABORT, 'the session is locked'); END"
    return (
        *kept,
        f"CREATE TRIGGER event_not_after_lock BEFORE INSERT ON event WHEN {_locked('NEW')} {locked}",
        f"CREATE TRIGGER session_stays_locked BEFORE UPDATE ON session WHEN OLD.locked_at IS NOT NULL {locked}",
        "CREATE TRIGGER rehearsal_stays_rehearsal BEFORE INSERT ON event WHEN NEW.rehearsal <> "
        "(SELECT rehearsal FROM collection WHERE collection.collection = NEW.collection) "
        "BEGIN SELECT RAISE(ABORT, 'rehearsed and real answers are kept apart'); END",
    )


def _postgresql_guards() -> tuple[str, ...]:
    def function(name: str, body: str) -> str:
        return f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN {body} END $$"

    def trigger(name: str, when: str, called: str) -> str:
        return f"CREATE TRIGGER {name} BEFORE {when} FOR EACH ROW EXECUTE FUNCTION {called}()"

    refuse_locked = "RAISE EXCEPTION 'the session is locked';"
    rehearsal = "(SELECT rehearsal FROM collection WHERE collection.collection = NEW.collection)"
    return (
        function("refuse_change", "RAISE EXCEPTION 'what was collected is never changed';"),
        *(trigger(f"{table}_kept", f"UPDATE OR DELETE ON {table}", "refuse_change") for table in _KEPT),
        function("refuse_locked", f"IF {_locked('NEW')} THEN {refuse_locked} END IF; RETURN NEW;"),
        trigger("event_not_after_lock", "INSERT ON event", "refuse_locked"),
        function("refuse_unlock", f"IF OLD.locked_at IS NOT NULL THEN {refuse_locked} END IF; RETURN NEW;"),
        trigger("session_stays_locked", "UPDATE ON session", "refuse_unlock"),
        function(
            "refuse_mixture",
            f"IF NEW.rehearsal <> {rehearsal} "
            "THEN RAISE EXCEPTION 'rehearsed and real answers are kept apart'; END IF; RETURN NEW;",
        ),
        trigger("rehearsal_stays_rehearsal", "INSERT ON event", "refuse_mixture"),
    )
