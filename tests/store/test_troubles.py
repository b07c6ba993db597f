import sqlite3

import pytest
from sqlalchemy.exc import InvalidRequestError

from panel.errors import StudyError
from panel.store import database as troubles
from panel.store.database import told_trouble, trouble


@pytest.mark.parametrize(
    ("said", "sentence"),
    [
        ("database or disk is full", troubles.FULL),  # SQLITE_FULL
        ('could not extend file "base/1": No space left on device', troubles.FULL),  # PostgreSQL 53100
        ("database is locked", troubles.LOCKED),  # SQLITE_BUSY
        ("attempt to write a readonly database", troubles.NOT_WRITABLE),  # SQLITE_READONLY
        ("unable to open database file", troubles.NOT_WRITABLE),  # SQLITE_CANTOPEN
        ("file is not a database", troubles.NO_DATABASE),  # SQLITE_NOTADB
        ("database disk image is malformed", troubles.NO_DATABASE),  # SQLITE_CORRUPT
        ("disk I/O error", troubles.TOO_LARGE),  # SQLITE_IOERR
        ('connection failed: connection to server at "127.0.0.1" failed', troubles.UNREACHABLE),  # psycopg
        ("server closed the connection unexpectedly", troubles.UNREACHABLE),  # libpq
        ("the session is locked", troubles.ALREADY_LOCKED),
        ("what was collected is never changed", troubles.KEPT),
        ("rehearsed and real answers are kept apart", troubles.MIXED),
    ],
)
def test_each_refusal_has_its_sentence(said, sentence):
    # https://www.sqlite.org/rescode.html and PostgreSQL, appendix A, for the words of the databases
    assert trouble(said, "X") == sentence.format(place="X")


def test_an_unknown_refusal_is_passed_on():
    assert trouble("odd\n  things", "X") == "X could not be read or written: odd things. Nothing of this was kept."


@pytest.mark.parametrize("error", [sqlite3.OperationalError("database is locked"), InvalidRequestError("odd")])
def test_whatever_the_database_raises_becomes_a_sentence(error):
    with pytest.raises(StudyError, match=r"(?i)nothing of this was kept"), told_trouble("X"):
        raise error


def test_our_own_errors_pass():
    with pytest.raises(StudyError, match="own"), told_trouble("X"):
        raise StudyError("own")
