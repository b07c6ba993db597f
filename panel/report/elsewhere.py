"""A question answered by a second process meanwhile, where the system can split a process in two."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Mapping
from multiprocessing import get_all_start_methods, get_context
from multiprocessing.connection import Connection
from typing import Any, TypeVar

from panel import answers as asked
from panel.answers import Answers, Question
from panel.claims.judge import CLAIMS

T = TypeVar("T")

# Two halves that take about as long; the preference map rests on both and comes last.
_FIRST: tuple[Question[Any], ...] = (asked.DIFFERENCES, asked.SWAPS)
_HERE: tuple[Question[Any], ...] = (
    *(asked.FILES, asked.FINDINGS, asked.PANEL, asked.MAP, asked.LADDER, CLAIMS, asked.RANKS, asked.READINGS),
)
_THERE: tuple[Question[Any], ...] = (
    *(asked.LIKING, asked.SEGMENTS, asked.JUST_ABOUT_RIGHT, asked.CHECK_ALL, asked.AGREEMENT, asked.PREFERENCES),
    *(asked.FORCED_CHOICES, asked.DECISION, asked.SCALE_USE, asked.SENSITIVITY),
)

_LONGEST_WAIT = 60.0  # seconds for the other process once our own half is done; both take a second or two


def elsewhere(question: Callable[[], T]) -> Callable[[], T]:
    """Let a copy of this process answer; return what waits for the answer and gives it.

    Where no copy can be made (another thread is running, one processor, a system that only starts new processes), or
    where it fails, the question is answered here when the answer is asked for.
    """
    if not _can_be_split():
        return question
    here, there = get_context("fork").Pipe(duplex=False)
    other = get_context("fork").Process(target=_answer, args=(question, there), daemon=True)
    other.start()
    there.close()  # the copy in the other process stays open; when that one ends, waiting ends

    def answer() -> T:
        try:
            return here.recv()[0] if here.poll(_LONGEST_WAIT) else question()
        except EOFError:  # it ended without an answer
            return question()
        finally:
            here.close()
            other.kill()
            other.join()

    return answer


def work_out(answers: Answers) -> None:
    """Work everything out, half of it in a second process; what each half rests on is worked out before."""

    def there() -> Mapping[Any, Any]:
        for question in _THERE:
            answers.ask(question)
        return answers.given()

    for question in _FIRST:
        answers.ask(question)
    theirs = elsewhere(there)
    for question in _HERE:
        answers.ask(question)
    answers.take(theirs())


def _can_be_split() -> bool:
    """Return True if a copy of this process can do without its other threads, and has a processor to itself."""
    several = len(os.sched_getaffinity(0)) > 1 if hasattr(os, "sched_getaffinity") else False
    return several and "fork" in get_all_start_methods() and threading.active_count() == 1


def _answer(question: Callable[[], Any], there: Connection) -> None:
    """Send the answer in a tuple; where the question fails, end: it is asked again and fails where it is heard."""
    try:
        there.send((question(),))
    except Exception:  # whatever it is, the other side asks again and meets it
        os._exit(1)
