"""The record of ballots of a study folder: opened for one purpose, and closed again."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from panel.store.collecting import prepare
from panel.store.database import Store, name_in_record, open_store, store_exists, store_url
from panel.store.moments import now
from panel.store.safety import follow_gate
from panel.store.sessions import sessions_table
from panel.study.study import Study


@dataclass(frozen=True, eq=False, slots=True)
class BallotRecord:
    """The open record, the number of the study's collection in it, and session to the time of its lock (or empty)."""

    store: Store
    collection: int
    locked: dict[str, str]


@contextmanager
def ballot_record(folder: Path) -> Iterator[BallotRecord | None]:
    """Give the record of a study folder; None if its ballots were never prepared. No file is made by looking."""
    url = store_url(folder)
    if not store_exists(url):
        yield None
        return
    store = open_store(url)
    try:
        table = sessions_table(store)
        own = table.loc[(table["study"] == name_in_record(folder)) & ~table["rehearsal"]]
        locked = dict(zip(own["session"], own["locked_at"], strict=True))
        yield BallotRecord(store, int(own["collection"].iloc[0]), locked) if len(own) else None
    finally:
        store.close()


def prepare_ballots(folder: Path, study: Study) -> str:
    """Copy what is asked and served into the record, made if there is none; return what the safety gate says."""
    store = open_store(store_url(folder))
    try:
        collection = prepare(store, study, name_in_record(folder), at=now())
        return follow_gate(store, collection.number, study, at=now())
    finally:
        store.close()
