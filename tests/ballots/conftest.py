"""A small study being served on this computer, with a clock that the test sets."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import httpx
import pytest

from panel.ballots.rehearsal import _Visitor
from panel.ballots.serving import served
from panel.store.database import Store, now
from tests.ballot_studies import ballot_study
from tests.ballots.running import ready_store, tokens_of


class SetClock:
    """A clock that stands still until the test moves it."""

    def __init__(self) -> None:
        self.time = now()

    def __call__(self) -> datetime:
        return self.time

    def later(self, minutes: float) -> None:
        self.time += timedelta(minutes=minutes)


@dataclass
class Running:
    """A server, its record, the tokens of session 1, and a plain HTTP client."""

    store: Store
    collection: int
    address: str
    tokens: dict[str, str]
    clock: SetClock
    client: httpx.Client

    def visitor(self, assessor: str = "A01") -> _Visitor:
        return _Visitor(self.address, self.tokens[assessor])

    def get(self, path: str) -> httpx.Response:
        return self.client.get(path)

    def post(self, path: str, **fields: str) -> httpx.Response:
        return self.client.post(path, data=fields)


@pytest.fixture
def running(tmp_path: Path) -> Iterator[Running]:
    store, number = ready_store(tmp_path / "ballots.sqlite", ballot_study())
    clock = SetClock()
    with served(store, clock=clock) as address, httpx.Client(base_url=address, trust_env=False) as client:
        yield Running(store, number, address, tokens_of(store, number), clock, client)
    store.close()
