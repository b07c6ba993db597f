import sqlite3

import pytest
from sqlalchemy.exc import InvalidRequestError

from panel.errors import StudyError
from panel.store.database import _told_trouble as told_trouble
from panel.store.database import _trouble


@pytest.mark.parametrize(
    ("said", "sentence"),
    [
        ("database or disk is full", "The disk of X is full"),  # SQLITE_FULL
        ('could not extend file "base/1": No space left on device', "The disk of X is full"),  # PostgreSQL 53100
        ("database is locked", "X is in use by another program"),  # SQLITE_BUSY
        ("attempt to write a readonly database", "X cannot be opened or written to"),  # SQLITE_READONLY
        ("unable to open database file", "X cannot be opened or written to"),  # SQLITE_CANTOPEN
        ("file is not a database", "X is not a record of ballots"),  # SQLITE_NOTADB
        ("database disk image is malformed", "X is not a record of ballots"),  # SQLITE_CORRUPT
        ("disk I/O error", "the disk refused it"),  # SQLITE_IOERR
        (
            'connection failed: connection to server at "127.0.0.1" failed',
            "The database X cannot be reached",
        ),  # psycopg
        ("server closed the connection unexpectedly", "The database X cannot be reached"),  # libpq
        ("the session is locked", "The session is locked"),
        ("what was collected is never changed", "What was collected is never changed"),
        ("rehearsed and real answers are kept apart", "Rehearsed and real answers are kept apart"),
    ],
)
def test_each_refusal_has_its_sentence(said, sentence):
    # https://www.sqlite.org/rescode.html and PostgreSQL, appendix A, for the words of the databases
    assert sentence in _trouble(said, "X")


def test_an_unknown_refusal_is_passed_on():
    assert _trouble("odd\n  things", "X") == "X could not be read or written: odd things. Nothing of this was kept."


@pytest.mark.parametrize("error", [sqlite3.OperationalError("database is locked"), InvalidRequestError("odd")])
def test_whatever_the_database_raises_becomes_a_sentence(error):
    with pytest.raises(StudyError, match=r"(?i)nothing of this was kept"), told_trouble("X"):
        raise error


def test_our_own_errors_pass():
    with pytest.raises(StudyError, match="own"), told_trouble("X"):
        raise StudyError("own")
