"""What does a database mean when it refuses? A sentence that says what is wrong and what to do."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError, SQLAlchemyError
from sqlalchemy.exc import TimeoutError as PoolTimeoutError

from panel.errors import StudyError

FULL = "The disk of {place} is full; nothing of this was kept. Make room, then send it again."
LOCKED = (
    "{place} is in use by another program; nothing of this was kept. Close whatever else has it open (a database "
    "viewer, a backup, a synchronising folder), then send it again."
)
NOT_WRITABLE = "{place} cannot be opened or written to. Check that its folder exists and may be written to."
NO_DATABASE = "{place} is not a record of ballots, or is damaged. Put back a copy, or choose another file."
TOO_LARGE = (
    "{place} cannot be written: the disk refused it; nothing of this was kept. Check the disk and its free room."
)
UNREACHABLE = "The database {place} cannot be reached. Check that it runs, its address, user and password."
ALREADY_LOCKED = "The session is locked: its record is closed and takes nothing more. Write a correction in the study."
KEPT = "What was collected is never changed; add a correction instead."
MIXED = "Rehearsed and real answers are kept apart; this one belongs to the other record."

# what SQLite and PostgreSQL say, in the order in which it is looked for
_SAID = (
    ("database or disk is full", FULL),
    ("no space left on device", FULL),
    ("could not extend file", FULL),
    ("database is locked", LOCKED),
    ("database table is locked", LOCKED),
    ("readonly database", NOT_WRITABLE),
    ("unable to open database file", NOT_WRITABLE),
    ("permission denied", NOT_WRITABLE),
    ("not a database", NO_DATABASE),
    ("malformed", NO_DATABASE),
    ("disk i/o error", TOO_LARGE),
    ("the session is locked", ALREADY_LOCKED),
    ("never changed", KEPT),
    ("are kept apart", MIXED),
    ("connection failed", UNREACHABLE),
    ("connection timeout", UNREACHABLE),
    ("could not connect", UNREACHABLE),
    ("server closed the connection", UNREACHABLE),
    ("terminating connection", UNREACHABLE),
    ("the connection is closed", UNREACHABLE),
)


@contextmanager
def told_trouble(place: str) -> Iterator[None]:
    """Turn what a database says into a StudyError; `place` stands in its text."""
    try:
        yield
    except PoolTimeoutError as error:
        raise StudyError(LOCKED.format(place=place)) from error
    except DBAPIError as error:
        raise StudyError(trouble(str(error.orig), place)) from error
    except (SQLAlchemyError, sqlite3.Error) as error:  # the second while a connection is being set up
        raise StudyError(trouble(str(error), place)) from error


def trouble(said: str, place: str) -> str:
    """Return the sentence for what a database said."""
    lower = said.casefold()
    for words, sentence in _SAID:
        if words in lower:
            return sentence.format(place=place)
    return f"{place} could not be read or written: {' '.join(said.split())}. Nothing of this was kept."
