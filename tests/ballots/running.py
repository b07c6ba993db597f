"""A ballot server in a process of its own, as a laboratory runs it, and small studies to serve."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import insert

from panel.store.board import sessions_table
from panel.store.database import Store, now, open_store
from panel.store.events import make_tokens
from panel.store.preparing import _OWN_GATE, prepare
from panel.store.tables import SAFETY
from panel.study.study import Study

ROOT = Path(__file__).resolve().parents[2]
_STARTED_WITHIN = 60.0  # seconds; about two on an idle machine

_PROGRAM = (
    "import sys; from panel.ballots.serving import serve; "
    "serve(sys.argv[1], sys.argv[2], port=0, new_links=True, tell=lambda words: print(words, flush=True))"
)


@contextmanager
def serving_process(
    study: Path, store: Path, *, new_links: bool = True
) -> Iterator[tuple[subprocess.Popen[str], list[str]]]:
    """Start `serve` on any free port; give the process and what it has told so far, stop it at the end."""
    process = subprocess.Popen(
        [sys.executable, "-c", _PROGRAM, str(study), str(store)],
        cwd=store.parent,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    told: list[str] = []
    try:
        end = time.monotonic() + _STARTED_WITHIN
        while time.monotonic() < end and not any("Ctrl+C" in line for line in told):
            line = process.stdout.readline() if process.stdout else ""
            if not line and process.poll() is not None:
                raise AssertionError(f"the server ended with {process.returncode}: {told}")
            told.append(line.rstrip("\n"))
        yield process, told
    finally:
        process.send_signal(signal.SIGINT)
        try:
            rest, _ = process.communicate(timeout=10)
        except subprocess.TimeoutExpired:
            process.kill()
            rest, _ = process.communicate()
        told += rest.splitlines()


def say_signed(store: Store, collection: int, *, signed: bool = True) -> None:
    """Put into the record that the safety gate is open, or not, without a study that says so."""
    row = {"collection": collection, "signed": int(signed), "who": _OWN_GATE, "note": "", "at": ""}
    with store.writing() as connection:
        connection.execute(insert(SAFETY).values(row))


def only_collection(store: Store) -> int:
    """Return the number of the one collection in a record."""
    (number,) = sessions_table(store)["collection"].unique()
    return int(number)


def address_and_links(told: list[str]) -> tuple[str, dict[str, str]]:
    """Return the address that was told, and assessor to path of the personal link told so far."""
    address = next(found[0] for line in told if (found := re.search(r"http://[^/,\s]+", line)))
    links = {found[1]: found[2] for line in told if (found := re.search(r"session \S+, (\S+): \S+?(/b/\S+)", line))}
    return address.rstrip("."), links


def ready_store(file: Path, study: Study, *, signed: bool = True, rehearsal: bool = False) -> tuple[Store, int]:
    """Return an open record with one prepared collection."""
    store = open_store(file)
    collection, _ = prepare(store, study, "study", at=now(), rehearsal=rehearsal)
    if signed:
        say_signed(store, collection)
    return store, collection


def tokens_of(store: Store, collection: int, session: str = "1") -> dict[str, str]:
    """Return assessor to a new token for a session."""
    tokens = make_tokens(store, collection, session, at=now())
    return dict(zip(tokens["assessor"], tokens["token"], strict=True))
