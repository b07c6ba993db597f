import sqlite3
from pathlib import Path

import pytest
from sqlalchemy import inspect, text

from panel.errors import StudyError
from panel.store.database import now, open_store
from panel.store.events import Entry, record
from panel.store.preparing import prepare
from panel.store.tables import _CURRENT_VERSION, _STEPS, bring_up_to_date
from tests.ballot_studies import ballot_study

NEXT = (
    _CURRENT_VERSION + 1,
    ("ALTER TABLE serving ADD COLUMN dose_mg REAL", "CREATE TABLE extra (a TEXT) STRICT"),
    ("ALTER TABLE serving ADD COLUMN dose_mg float8", "CREATE TABLE extra (a text)"),
)
AFTER = (_CURRENT_VERSION + 2, ("INSERT INTO extra VALUES ('third')",), ("INSERT INTO extra VALUES ('third')",))


def version(store):
    with store.reading() as connection:
        return connection.execute(text("SELECT max(version) FROM schema_version")).scalar_one()


def with_an_answer(store):
    number = prepare(store, ballot_study(), "hills", at=now())[0]
    entry = Entry("answer", 1, "GLOSS", 48.7)
    record(store, [entry], submission="s", collection=number, session="1", assessor="A01", at=now())
    return number


def test_there_is_a_step_for_each_version_after_the_first():
    assert [step[0] for step in _STEPS] == list(range(2, _CURRENT_VERSION + 1))


def test_a_new_record_has_the_current_version(store):
    assert version(store) == _CURRENT_VERSION


def test_steps_are_taken_in_order_and_keep_what_was_there(store):
    with_an_answer(store)
    bring_up_to_date(store.engine, store.place, (NEXT, AFTER), _CURRENT_VERSION + 2)
    assert version(store) == _CURRENT_VERSION + 2
    with store.reading() as connection:
        assert connection.execute(text("SELECT value FROM event")).scalar_one() == 48.7
        assert connection.execute(text("SELECT a FROM extra")).scalar_one() == "third"
        assert connection.execute(text("SELECT count(dose_mg) FROM serving")).scalar_one() == 0
    bring_up_to_date(store.engine, store.place, (NEXT, AFTER), _CURRENT_VERSION + 2)  # nothing more to do
    with store.reading() as connection:
        assert connection.execute(text("SELECT count(*) FROM extra")).scalar_one() == 1


def test_a_copy_is_made_before_the_first_step(store, where):
    with_an_answer(store)
    bring_up_to_date(store.engine, store.place, (NEXT,), _CURRENT_VERSION + 1)
    if store.engine.dialect.name == "postgresql":
        with store.reading() as connection:
            (copy,) = [s for s in inspect(connection).get_schema_names() if s.startswith(f"{where[1]}_version_1")]
            assert connection.execute(text(f'SELECT value FROM "{copy}".event')).scalar_one() == 48.7
            columns = {column["name"] for column in inspect(connection).get_columns("serving", schema=copy)}
        assert "dose_mg" not in columns
        return
    (copy,) = Path(where[0]).parent.glob("ballots.sqlite.version-1.*")
    with sqlite3.connect(copy) as connection:
        assert connection.execute("SELECT value FROM event").fetchall() == [(48.7,)]
        assert connection.execute("SELECT max(version) FROM schema_version").fetchone() == (_CURRENT_VERSION,)
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    connection.close()


def test_a_step_that_fails_changes_nothing(store):
    with_an_answer(store)
    broken = (_CURRENT_VERSION + 1, (NEXT[1][0], "NO SUCH WORDS"), (NEXT[2][0], "NO SUCH WORDS"))
    with pytest.raises(Exception, match="syntax error"):
        bring_up_to_date(store.engine, store.place, (broken,), _CURRENT_VERSION + 1)
    assert version(store) == _CURRENT_VERSION
    with store.reading() as connection:
        assert "dose_mg" not in {column["name"] for column in inspect(connection).get_columns("serving")}


def test_a_record_of_a_newer_version_is_refused_unchanged(store, where):
    with store.writing() as connection:
        connection.execute(text(f"INSERT INTO schema_version VALUES ({_CURRENT_VERSION + 1}, '2027-01-01')"))
    with pytest.raises(StudyError, match=r"newer version of this program \(record version 2; this one knows up to 1\)"):
        open_store(where[0], schema=where[1])
    assert version(store) == _CURRENT_VERSION + 1


CHANGES = (
    "UPDATE event SET value = 1",
    "DELETE FROM event",
    "UPDATE submission SET received_at = ''",
    "DELETE FROM submission",
    "UPDATE collection SET rehearsal = 1",
    "DELETE FROM collection",
    "UPDATE safety SET signed = 1",
    "DELETE FROM safety",
)


def test_what_was_collected_is_never_changed(store):
    number = with_an_answer(store)
    with store.writing() as connection:
        connection.execute(
            text(f"INSERT INTO safety (collection, signed, who, note, at) VALUES ({number}, 0, 'x', '', '')")
        )
    for change in CHANGES:
        with pytest.raises(StudyError, match="What was collected is never changed; add"), store.writing() as connection:
            connection.execute(text(change))


def test_rehearsed_and_real_events_cannot_be_mixed(store):
    number = with_an_answer(store)
    insert = text(
        "INSERT INTO event (submission, turn, collection, session, assessor, kind, attribute, text, flag, at, who, why,"
        f" rehearsal) VALUES ('s', 1, {number}, '1', 'A01', 'resumed', '', '', '', '', '', '', 1)"
    )
    with pytest.raises(StudyError, match="Rehearsed and real answers are kept"), store.writing() as connection:
        connection.execute(insert)


def test_a_locked_session_stays_locked_whoever_writes(store):
    with_an_answer(store)
    with store.writing() as connection:
        connection.execute(text("UPDATE session SET locked_at = '2025', locked_by = 'x' WHERE session = '1'"))
    insert = (
        "INSERT INTO event (submission, turn, collection, session, assessor, kind, attribute, text, flag, at, who, why,"
        " rehearsal) VALUES ('s', 1, 1, '{}', 'A01', '{}', '', '', '', '', '', '', 0)"
    )
    for change in ("UPDATE session SET locked_at = NULL", insert.format("1", "comment"), insert.format("1", "answer")):
        with pytest.raises(StudyError, match="The session is locked"), store.writing() as connection:
            connection.execute(text(change))
    with store.writing() as connection:  # another session, and what may come later
        connection.execute(text(insert.format("2", "comment")))
        connection.execute(text(insert.format("1", "reaction")))
