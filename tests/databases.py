"""The databases that ballots are tested with: SQLite always, PostgreSQL where AFTERFEEL_TEST_POSTGRES_URL names one."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import create_engine, select, text

from panel.store.database import Store
from panel.store.events import Entry, record
from panel.store.tables import SCORE

POSTGRES = os.environ.get("AFTERFEEL_TEST_POSTGRES_URL", "")
_MISSING = "AFTERFEEL_TEST_POSTGRES_URL names no database"
KINDS = (
    "sqlite",
    pytest.param("postgresql", marks=pytest.mark.skipif(not POSTGRES and not os.environ.get("CI"), reason=_MISSING)),
)


def add_correction(store: Store, serving: int, attribute: str, new: float | None, why: str = "as written") -> None:
    """Put a correction into a record as older versions did, which took them before locking."""
    with store.reading() as connection:
        last = connection.execute(select(SCORE).where(SCORE.c.serving == serving, SCORE.c.attribute == attribute)).one()
    record(
        store,
        [Entry("correction", serving, attribute, new, text="" if last.value is None else repr(last.value))],
        submission=f"correction {serving} {attribute} after {last.event}",
        **{"collection": last.collection, "session": last.session, "assessor": last.assessor},
        **{"at": datetime.now(UTC), "who": "lead", "why": why},
    )


@contextmanager
def empty_database(kind: str, folder: Path) -> Iterator[tuple[str, str]]:
    """Give the address of an empty database and the schema to use in it; remove it at the end."""
    if kind == "sqlite":
        yield str(folder / "ballots.sqlite"), "afterfeel"
        return
    if not POSTGRES:
        pytest.fail(f"{_MISSING}, so PostgreSQL was not tested.")
    schema = f"test_{secrets.token_hex(6)}"
    yield POSTGRES, schema
    engine = create_engine(POSTGRES.replace("postgresql://", "postgresql+psycopg://"))
    with engine.begin() as connection:
        names = connection.execute(
            text("SELECT schema_name FROM information_schema.schemata WHERE schema_name LIKE :like"),
            {"like": f"{schema}%"},
        )
        for name in names.scalars().all():
            connection.execute(text(f'DROP SCHEMA "{name}" CASCADE'))
    engine.dispose()
