"""A record of ballots to test with, in each kind of database."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from panel.store.database import Store, now, open_store
from panel.store.preparing import prepare
from tests.ballot_studies import ballot_study
from tests.databases import KINDS, empty_database


@pytest.fixture(params=KINDS)
def where(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[tuple[str, str]]:
    """Give the address of an empty database and the schema to use in it."""
    with empty_database(request.param, tmp_path) as place:
        yield place


@pytest.fixture
def store(where: tuple[str, str]) -> Iterator[Store]:
    opened = open_store(where[0], schema=where[1])
    yield opened
    opened.close()


@pytest.fixture
def collection(store: Store) -> int:
    return prepare(store, ballot_study(), "hills", at=now())[0]
