"""How do many ballots that arrive together get onto the disk together? In one transaction, each whole or not at all.

A disk takes its time for each transaction, however small (group commit: DeWitt and others 1984, Implementation
techniques for main memory database systems, SIGMOD). Nobody is told that a ballot is kept before it is.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection

from panel.errors import PanelError

Work = Callable[[Connection], Any]


@dataclass(eq=False, slots=True)
class _Job:
    work: Work
    done: bool = False
    result: Any = None
    error: BaseException | None = None


class SharedWriting:
    """Runs pieces of work of several threads in shared transactions, one transaction at a time.

    Parameters
    ----------
    begin
        Opens a transaction that is kept when it ends well.
    """

    def __init__(self, begin: Callable[[], AbstractContextManager[Connection]]) -> None:
        self._begin = begin
        self._waiting: list[_Job] = []
        self._waiting_lock = threading.Lock()
        self._writing_lock = threading.Lock()

    def run(self, work: Work) -> Any:
        """Return what the work returns, once it is on the disk; raise what it or the database raises."""
        job = _Job(work)
        with self._waiting_lock:
            self._waiting.append(job)
        with self._writing_lock:  # whoever comes first writes for all who wait
            if not job.done:
                self._write_waiting()
        if job.error is not None:
            raise job.error
        return job.result

    def _write_waiting(self) -> None:
        """Do all waiting jobs in one transaction; what one of them refuses takes only itself back.

        If the database itself refuses one of them, the others are done again without it.
        """
        jobs: list[_Job] = []
        while True:
            refused = self._write_together(jobs)
            if refused is None:
                return
            jobs.remove(refused)
            if not jobs:
                return

    def _write_together(self, jobs: list[_Job]) -> _Job | None:
        """Do the jobs, or all that wait if there are none yet; return the one on which the database gave up."""
        at_work: _Job | None = None
        try:
            with self._begin() as connection:
                jobs += [] if jobs else self._taken()  # once the database is ours: meanwhile more may have come
                for job in jobs:
                    at_work, job.error = job, None
                    try:
                        with connection.begin_nested():
                            job.result = job.work(connection)
                    except PanelError as error:
                        job.error = error
                at_work = None
        except BaseException as error:
            if at_work is not None and isinstance(error, Exception):
                at_work.error, at_work.done = error, True
                return at_work
            jobs += [] if jobs else self._taken()
            for job in jobs:  # nothing of this transaction is on the disk
                job.error, job.done = job.error or error, True
            if not isinstance(error, Exception):
                raise
            return None
        for job in jobs:
            job.done = True
        return None

    def _taken(self) -> list[_Job]:
        with self._waiting_lock:
            jobs, self._waiting = self._waiting, []
        return jobs
