import pytest
from sqlalchemy import text

from panel.errors import StudyError
from panel.store.database import now, open_store
from panel.store.events import Entry, record
from panel.store.preparing import prepare
from panel.store.tables import _CURRENT_VERSION
from tests.ballot_studies import ballot_study


def version(store):
    with store.reading() as connection:
        return connection.execute(text("SELECT max(version) FROM schema_version")).scalar_one()


def with_an_answer(store):
    number = prepare(store, ballot_study(), "hills", at=now())[0]
    entry = Entry("answer", 1, "GLOSS", 48.7)
    record(store, [entry], submission="s", collection=number, session="1", assessor="A01", at=now())
    return number


def test_a_new_record_has_the_current_version(store):
    assert version(store) == _CURRENT_VERSION


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
