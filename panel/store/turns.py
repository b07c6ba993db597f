"""Whose turn is it at the one connection to a SQLite file? Threads come in the order in which they asked.

An ordinary lock goes to whichever thread happens to run, so that each ballot would be written alone while the others
still wait to be read.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager

from panel.errors import StudyError


class Turns:
    """A lock that is handed on in the order of asking.

    Parameters
    ----------
    patience
        Seconds to wait for a turn.
    complaint
        What is said when the wait was in vain.
    """

    def __init__(self, patience: float, complaint: str) -> None:
        self._patience = patience
        self._complaint = complaint
        self._guard = threading.Lock()
        self._taken = False
        self._waiting: deque[threading.Event] = deque()

    @contextmanager
    def mine(self) -> Iterator[None]:
        """Wait for a turn, hold it, hand it on; StudyError if it did not come in time."""
        self._take()
        try:
            yield
        finally:
            self._hand_on()

    def _take(self) -> None:
        with self._guard:
            if not self._taken:
                self._taken = True
                return
            called = threading.Event()
            self._waiting.append(called)
        if called.wait(self._patience):
            return
        with self._guard:
            if called.is_set():  # called at the very last moment
                return
            self._waiting.remove(called)
        raise StudyError(self._complaint)

    def _hand_on(self) -> None:
        with self._guard:
            if self._waiting:
                self._waiting.popleft().set()
            else:
                self._taken = False
