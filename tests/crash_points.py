"""A program that dies at a chosen step: each step that changes the disk is counted, and at one of them everything ends.

The steps are those that Python itself announces (sys.addaudithook) below a folder: a folder made, a file opened for
writing, renamed, removed; and each fsync. A dead program does nothing more: whatever a `finally` still tries fails too.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest


class Killed(BaseException):
    """The program is dead."""


class _Death:
    """How many steps are left, and which were gone through; an audit hook cannot be taken away, so it is switched."""

    def __init__(self) -> None:
        self.folder = ""
        self.dies_at = 0
        self.steps: list[str] = []

    def hook(self, event: str, given: tuple[object, ...]) -> None:
        if self.folder and event in ("os.mkdir", "os.rename", "os.remove", "os.rmdir", "open"):
            if event == "open" and not (isinstance(given[2], int) and given[2] & (os.O_WRONLY | os.O_RDWR)):
                return
            if isinstance(given[0], str | os.PathLike) and os.fspath(given[0]).startswith(self.folder):
                self.step(f"{event} {os.path.relpath(os.fspath(given[0]), self.folder)}")

    def step(self, name: str) -> None:
        if len(self.steps) + 1 >= self.dies_at > 0:
            raise Killed(name)
        self.steps.append(name)


_DEATH = _Death()
sys.addaudithook(_DEATH.hook)


@contextmanager
def dying(folder: Path, at: int) -> Iterator[list[str]]:
    """Let the program die before its step number `at` below a folder; with 0 it lives and the steps are counted."""
    _DEATH.folder, _DEATH.dies_at, _DEATH.steps = str(folder), at, []
    with pytest.MonkeyPatch.context() as changed:
        changed.setattr(os, "fsync", lambda _number: _DEATH.step("fsync"))  # the program dies here, not the computer
        try:
            yield _DEATH.steps
        finally:
            _DEATH.folder = ""


def deaths(make: Callable[[], Path], act: Callable[[Path], object]) -> Iterator[tuple[int, str, Path]]:
    """Let `act` die at each of its steps in turn, each time on a folder made anew; give the folder it left.

    Yields
    ------
    step, name, folder
        The number of the step that was not done any more, what it was, and the folder.
    """
    folder = make()
    with dying(folder.parent, 0) as steps:
        act(folder)
    names = list(steps)
    for number, name in enumerate(names, start=1):
        folder = make()
        with dying(folder.parent, number), suppress(Killed):
            act(folder)
            raise AssertionError(f"{name} was not reached again")
        yield number, name, folder
