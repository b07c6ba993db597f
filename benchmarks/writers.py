"""Is every reaction that several writers were told is on record really kept?

Run: `python -m benchmarks.writers [--writers 8] [--rows 1000]`. Each writer is a process of its own; every other one
writes as a page of the app does, the rest as a command does. All start at once and write as fast as they can.
"""

from __future__ import annotations

import argparse
import multiprocessing
import sys
import time
from collections import Counter
from dataclasses import dataclass, replace
from multiprocessing.context import BaseContext
from pathlib import Path
from tempfile import TemporaryDirectory

from panel.app.state import StudyHandle, StudyInUse, keep
from panel.errors import StudyError
from panel.plan.safety import record_reaction
from panel.study.folder import read_folder, write_study
from panel.study.saving import journal_faults, save
from panel.study.study import Study
from tests.studies import small_study


@dataclass(frozen=True)
class Kept:
    """How many rows were acknowledged, are there, are there twice, were refused; faults of the journal; seconds."""

    acknowledged: int
    kept: int
    twice: int
    refused: int
    faults: int
    seconds: float


def write_together(folder: Path, writers: int, rows: int) -> Kept:
    """Let so many writers add so many rows together to a study in a new folder, and count what is kept."""
    write_study(small_study(), folder)
    each = [rows // writers + (number < rows % writers) for number in range(writers)]
    context = writing_processes(__name__)
    told = [folder.parent / f"told {number}" for number in range(writers)]
    jobs = [(str(folder), number, each[number], str(told[number])) for number in range(writers)]
    running = [context.Process(target=_write, args=job) for job in jobs]
    began = time.monotonic()
    for process in running:
        process.start()
    for process in running:
        process.join()
    lasted = time.monotonic() - began
    lines = [line for path in told for line in path.read_text(encoding="utf-8").splitlines()]
    acknowledged = [line.partition(" ")[2] for line in lines if line.startswith("kept ")]
    there = Counter(read_folder(folder).table("reactions")["signs"])
    return Kept(
        len(acknowledged),
        sum(signs in there for signs in acknowledged),
        sum(count > 1 for count in there.values()),
        sum(line.startswith("refused ") for line in lines),
        len(journal_faults(folder)),
        lasted,
    )


def writing_processes(module: str) -> BaseContext:
    """Return how processes that run functions of a module are started: its libraries are loaded once for all."""
    if sys.platform == "win32":
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload([module])
    return context


def _write(folder: str, number: int, rows: int, told: str) -> None:
    with Path(told).open("w", encoding="utf-8") as file:
        for row in range(rows):
            signs = f"writer {number}, row {row}"
            study = read_folder(folder)

            def with_reaction(now: Study, signs: str = signs) -> Study:
                facts = {"who": "Lead", "when": "2025-03-01", "assessor": "A01", "signs": signs, "action": "washed off"}
                longer = record_reaction(now.table("reactions"), severity="mild", batch="", **facts)
                return replace(now, tables={**now.tables, "reactions": longer})

            try:
                if number % 2:
                    save(folder, study, with_reaction, who="Lead")
                else:
                    keep(StudyInUse(study, StudyHandle("s", folder)), with_reaction, "On record.", who="Lead")
                file.write(f"kept {signs}\n")
            except StudyError as error:
                file.write(f"refused {signs}: {error}\n")
            file.flush()


def main() -> int:
    """Run it and print what came out; 1 if anything that was acknowledged is not there once."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--writers", type=int, default=8)
    asked.add_argument("--rows", type=int, default=1000)
    given = asked.parse_args()
    with TemporaryDirectory() as folder:
        found = write_together(Path(folder) / "s", given.writers, given.rows)
    print(f"{given.writers} writers: {found}")
    return int(found.kept < found.acknowledged or found.twice > 0 or found.faults > 0)


if __name__ == "__main__":
    sys.exit(main())
