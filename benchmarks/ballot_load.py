"""How do the ballots hold up? A hundred phones posting at once, and the server killed under full load.

Run: `python benchmarks/ballot_load.py [--kills 20] [--postgres URL] [--json FILE]`. All traffic stays on 127.0.0.1,
every loop ends by itself. `--postgres` adds the same against PostgreSQL (a schema of its own is made and dropped).
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import resource
import secrets
import signal
import socket
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory
from urllib.parse import urlencode

import numpy as np
import pandas as pd
from sqlalchemy import create_engine, insert, text

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from panel.store.board import session_record
from panel.store.database import Store, now, open_store
from panel.store.events import make_tokens
from panel.store.preparing import prepare
from panel.store.tables import SAFETY
from panel.study.study import Study

SERVINGS, STAGES, LINES = 4, 5, 4
KEPT, _TRIES = 303, 20  # the status of a page that is kept; how often one that is not, as the record was busy, is sent
LIMIT_P95 = 0.5  # seconds


def load_study(phones: int) -> Study:
    """Return a plan for so many assessors: four samples each, five stages of four lines."""
    prototypes = [f"prototype-{number}" for number in range(SERVINGS)]
    servings = [
        ("1", f"A{person:03d}", float(place + 1), prototypes[(person + place) % SERVINGS], f"{211 + 7 * place}", "")
        for person in range(phones)
        for place in range(SERVINGS)
    ]
    stages = ("appearance", "pick-up", "rub-out", "after-feel", "later after-feel")
    attributes = [(f"T{s}{a}", stage, 0.0, 100.0) for s, stage in enumerate(stages) for a in range(LINES)]
    return Study(
        {
            "prototypes": pd.DataFrame({"prototype": prototypes}),
            "attributes": pd.DataFrame(attributes, columns=["attribute", "stage", "scale_min", "scale_max"]),
            "servings": pd.DataFrame(
                servings, columns=["session", "assessor", "position", "prototype", "code", "site"]
            ),
        }
    )


@dataclass
class Phone:
    """One phone: its link, its connection, what the server said it had kept."""

    token: str
    assessor: str
    port: int
    kept: dict[str, tuple[float, ...]] = field(default_factory=dict)
    seconds: list[float] = field(default_factory=list)
    refused: list[int] = field(default_factory=list)
    reader: asyncio.StreamReader | None = None
    writer: asyncio.StreamWriter | None = None

    async def post(self, position: int, stage: int, values: tuple[float, ...], submission: str) -> int:
        """Send one page; return the status, 0 if the server went away before it answered."""
        body = urlencode({"submission": submission, "act": "send", **{f"v{i}": v for i, v in enumerate(values)}})
        request = (
            f"POST /b/{self.token}/{position}/{stage} HTTP/1.1\r\nHost: 127.0.0.1:{self.port}\r\n"
            f"Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {len(body)}\r\n\r\n{body}"
        )
        began = time.perf_counter()
        try:
            if self.writer is None:
                self.reader, self.writer = await asyncio.open_connection("127.0.0.1", self.port)
            self.writer.write(request.encode())
            status = await asyncio.wait_for(self._answer(), timeout=60)
        except (OSError, EOFError, ValueError, TimeoutError):
            await self.hang_up()
            return 0
        self.seconds.append(time.perf_counter() - began)
        if status == KEPT:
            self.kept[f"{position} {stage}"] = values
        else:
            self.refused.append(status)
        return status

    async def _answer(self) -> int:
        assert self.reader is not None
        head = (await self.reader.readuntil(b"\r\n\r\n")).decode()
        length = next(
            (int(line.split(":")[1]) for line in head.splitlines() if line.lower().startswith("content-length")), 0
        )
        await self.reader.readexactly(length)
        return int(head.split()[1])

    async def hang_up(self) -> None:
        """Close the connection."""
        if self.writer is not None:
            self.writer.close()
        self.reader = self.writer = None


class Server:
    """The ballot server in a process of its own."""

    def __init__(self, url: str, schema: str) -> None:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = int(probe.getsockname()[1])
        program = (
            "import sys, uvicorn\n"
            "from panel.ballots.serving import _server_settings\n"
            "from panel.ballots.serving import _listening_socket\n"
            "from panel.store.database import open_store\n"
            "store = open_store(sys.argv[1], schema=sys.argv[3])\n"
            "settings = _server_settings(store, ('127.0.0.1',))\n"
            "uvicorn.Server(settings).run(sockets=[_listening_socket('127.0.0.1', int(sys.argv[2]))])\n"
        )
        self.process = subprocess.Popen(
            [sys.executable, "-c", program, url, str(self.port), schema],
            cwd=ROOT,
            env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        for _ in range(600):
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", self.port)) == 0:
                    return
            time.sleep(0.05)
        raise RuntimeError("the server did not start")

    def stop(self, how: int = signal.SIGTERM) -> None:
        """End the server with a signal and wait until it is gone."""
        self.process.send_signal(how)
        self.process.wait(20)


def prepared(store: Store, phones: int) -> tuple[int, list[tuple[str, str]]]:
    """Return a new collection whose gate is signed, and (assessor, token) of its session."""
    name = f"load {secrets.token_hex(4)}"
    number = prepare(store, load_study(phones), name, at=now())[0]
    row = {"collection": number, "signed": 1, "who": "load test", "note": "nobody applies anything", "at": ""}
    with store.writing() as connection:
        connection.execute(insert(SAFETY).values(row))
    tokens = make_tokens(store, number, "1", at=now())
    return number, list(zip(tokens["assessor"], tokens["token"], strict=True))


def kept_answers(store: Store, number: int) -> dict[tuple[str, int, str], list[float]]:
    """Return every answer in the record: (assessor, position, attribute) to its values, oldest first."""
    answers: dict[tuple[str, int, str], list[float]] = {}
    for line in session_record(store, number, "1").splitlines():
        event = json.loads(line)
        if event["kind"] == "answer":
            place = (event["assessor"], event["position"], event["attribute"])
            answers.setdefault(place, []).append(event["value"])
    return answers


def compare(phones: list[Phone], answers: dict[tuple[str, int, str], list[float]]) -> dict[str, int]:
    """Count the acknowledged answers that are lost, those there twice, and pages of which only a part is there."""
    lost = twice = partial = acknowledged = 0
    for phone in phones:
        for position in range(1, SERVINGS + 1):
            for stage in range(1, STAGES + 1):
                lines = [answers.get((phone.assessor, position, f"T{stage - 1}{i}"), []) for i in range(LINES)]
                there = sum(bool(values) for values in lines)
                partial += 0 < there < LINES
                twice += sum(len(values) > 1 for values in lines)
                sent = phone.kept.get(f"{position} {stage}")
                if sent is not None:
                    acknowledged += LINES
                    lost += sum(not values or values[-1] != value for values, value in zip(lines, sent, strict=True))
    return {"acknowledged": acknowledged, "lost": lost, "twice": twice, "partial": partial}


async def all_at_once(phones: list[Phone], rng: np.random.Generator, retries: float = 0.2) -> None:
    """Let all phones post each page at the same moment; some send the same page again, as a weak network does."""
    for position in range(1, SERVINGS + 1):
        for stage in range(1, STAGES + 1):
            jobs = []
            for phone in phones:
                values = tuple(float(value) for value in rng.integers(0, 1001, LINES) / 10.0)
                jobs.append(_page(phone, position, stage, values, again=bool(rng.random() < retries)))
            await asyncio.gather(*jobs)
    for phone in phones:
        await phone.hang_up()


async def _page(phone: Phone, position: int, stage: int, values: tuple[float, ...], *, again: bool) -> None:
    submission = secrets.token_urlsafe(16)
    await phone.post(position, stage, values, submission)
    if again:
        await phone.post(position, stage, values, submission)


def load(url: str, schema: str, phones: int, rng: np.random.Generator) -> dict[str, float]:
    """Return times and losses of one run with so many phones."""
    store = open_store(url, schema=schema)
    number, people = prepared(store, phones)
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    server = Server(url, schema)
    try:
        devices = [Phone(token, assessor, server.port) for assessor, token in people]
        began = time.perf_counter()
        asyncio.run(all_at_once(devices, rng))
        lasted = time.perf_counter() - began
    finally:
        server.stop()
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    seconds = np.concatenate([phone.seconds for phone in devices])
    counts = compare(devices, kept_answers(store, number))
    refused = sum(len(phone.refused) for phone in devices)
    store.close()
    return {
        "phones": phones,
        "posts": len(seconds),
        "posts_per_second": len(seconds) / lasted,
        "median_ms": 1e3 * float(np.median(seconds)),
        "p95_ms": 1e3 * float(np.quantile(seconds, 0.95)),
        "largest_ms": 1e3 * float(seconds.max()),
        "server_cpu_ms_each": 1e3 * (used.ru_utime + used.ru_stime - before.ru_utime - before.ru_stime) / len(seconds),
        "refused": refused,
        **counts,
    }


def kill(url: str, schema: str, phones: int, rng: np.random.Generator, after: float) -> dict[str, int]:
    """Kill the server so many seconds after its first answer, while all phones post.

    Return what was acknowledged and what is there after a new start.
    """
    store = open_store(url, schema=schema)
    number, people = prepared(store, phones)
    store.close()
    server = Server(url, schema)
    devices = [Phone(token, assessor, server.port) for assessor, token in people]

    async def run() -> None:
        posting = [asyncio.create_task(_until_gone(phone, rng)) for phone in devices]
        while server.process.poll() is None and not (
            any(phone.kept for phone in devices) or all(task.done() for task in posting)
        ):
            await asyncio.sleep(0.002)
        await asyncio.sleep(after)
        server.process.send_signal(signal.SIGKILL)
        await asyncio.gather(*posting)

    asyncio.run(run())
    server.process.wait(20)
    store = open_store(url, schema=schema)
    counts = compare(devices, kept_answers(store, number))
    if store.engine.dialect.name == "sqlite":
        with store.reading() as connection:
            counts["damaged"] = int(connection.execute(text("PRAGMA integrity_check")).scalar_one() != "ok")
    store.close()
    return counts


async def _until_gone(phone: Phone, rng: np.random.Generator) -> None:
    """Post page after page until the server does not answer any more, or all are sent; what was refused again."""
    for position in range(1, SERVINGS + 1):
        for stage in range(1, STAGES + 1):
            values = tuple(float(value) for value in rng.integers(0, 1001, LINES) / 10.0)
            submission = secrets.token_urlsafe(16)
            for _ in range(_TRIES):
                if not (status := await phone.post(position, stage, values, submission)):
                    return
                if status == KEPT:
                    break
                await asyncio.sleep(0.05)
    await phone.hang_up()


def full_disk(folder: Path, phones: int, rng: np.random.Generator) -> dict[str, int]:
    """Let the disk run full under load; return what was acknowledged, refused and is there (empty: no such disk).

    The disk is a small one in memory, which only root may mount.
    """
    place = folder / "small disk"
    place.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=900k", "tmpfs", str(place)], capture_output=True, check=False
    )
    if mounted.returncode:
        return {}
    try:
        url = str(place / "ballots.sqlite")
        store = open_store(url)
        number, people = prepared(store, phones)
        server = Server(url, "afterfeel")
        devices = [Phone(token, assessor, server.port) for assessor, token in people]
        asyncio.run(all_at_once(devices, rng))
        server.stop()
        counts = compare(devices, kept_answers(store, number))
        counts["refused"] = sum(status == 503 for phone in devices for status in phone.refused)
        counts["other"] = sum(status != 503 for phone in devices for status in phone.refused)
        with store.reading() as connection:
            counts["damaged"] = int(connection.execute(text("PRAGMA integrity_check")).scalar_one() != "ok")
        store.close()
        return counts
    finally:
        subprocess.run(["umount", str(place)], check=False)


def main() -> None:
    """Run everything that was asked for and print what came out."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--phones", type=int, default=100)
    asked.add_argument("--kills", type=int, default=20)
    asked.add_argument("--postgres", default=os.environ.get("AFTERFEEL_TEST_POSTGRES_URL", ""))
    asked.add_argument("--folder", type=Path, default=None, help="where the SQLite file is made")
    asked.add_argument("--json", type=Path, default=None)
    words = asked.parse_args()
    rng = np.random.default_rng(1)
    result: dict[str, object] = {}
    with TemporaryDirectory(dir=words.folder) as folder:
        targets = [("sqlite", str(Path(folder) / "ballots.sqlite"), "afterfeel")]
        if words.postgres:
            targets.append(("postgresql", words.postgres, f"load_{secrets.token_hex(4)}"))
        for name, url, schema in targets:
            result[f"{name} load"] = loaded = load(url, schema, words.phones, rng)
            print(name, "load:", _told(loaded), "" if loaded["p95_ms"] < 1e3 * LIMIT_P95 else "TOO SLOW")
            kills = [kill(url, schema, words.phones, rng, 0.15 + 1.2 * float(rng.random())) for _ in range(words.kills)]
            if kills:
                total = {key: sum(each[key] for each in kills) for key in kills[0]}
                result[f"{name} kills"] = total
                print(name, f"killed {len(kills)} times:", _told(total))
            if name == "postgresql":
                engine = create_engine(url.replace("postgresql://", "postgresql+psycopg://"))
                with engine.begin() as connection:
                    connection.execute(text(f'DROP SCHEMA "{schema}" CASCADE'))
                engine.dispose()
        full = full_disk(Path(folder), words.phones, rng)
        result["full disk"] = full
        print("sqlite, disk full:", _told(full) if full else "left out, this needs root")
    if words.json:
        words.json.write_text(json.dumps(result, indent=2) + "\n")


def _told(values: dict[str, float] | dict[str, int]) -> str:
    return ", ".join(f"{key} {value:.{1 if 'cpu' in key else 0}f}" for key, value in values.items())


if __name__ == "__main__":
    main()
