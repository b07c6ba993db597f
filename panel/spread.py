"""How is work that falls into many tasks spread over processes or computers? The answers are the same, whoever does it.

A task knows nothing of the others and draws from a seed of its own (`numpy.random.SeedSequence.spawn`), on one thread
of the linear algebra: who works on it, how many do, and how often it is begun again change no digit.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import BrokenExecutor
from contextlib import ExitStack
from functools import cache
from typing import TypeVar

from joblib import Parallel, delayed, parallel_config
from threadpoolctl import ThreadpoolController

from panel.errors import PanelError

_Task = TypeVar("_Task")
_Result = TypeVar("_Result")

_MOST_LOSSES = 3  # so often in a row may a worker be lost without one task done
_ANSWERS_WITHIN = 10.0  # seconds


def spread(
    work: Callable[[_Task], _Result], tasks: Sequence[_Task], *, workers: int = 0, scheduler: str = ""
) -> Iterator[_Result]:
    """Yield what `work` makes of each task, in the order of the tasks, as soon as it is there.

    Parameters
    ----------
    work
        A function that can be imported by its name; what it needs and returns is copied between processes.
    workers
        Processes on this computer: 1 works here, 0 takes as many as there are processors.
    scheduler
        Address of a Dask scheduler such as `tcp://10.0.0.1:8786`, whose workers are used instead.

    Raises
    ------
    PanelError
        If workers are lost again and again, or the scheduler cannot be reached or used.
    """
    with ExitStack() as stack:
        if scheduler:
            stack.enter_context(_client(scheduler))
        done = losses = 0
        while done < len(tasks):
            try:
                for result in _results(work, tasks[done:], workers, bool(scheduler)):
                    done, losses = done + 1, 0
                    yield result
            except BrokenExecutor as error:  # a process was ended from outside: what it worked on is begun again
                losses += 1
                if losses >= _MOST_LOSSES:
                    raise PanelError(
                        f"Processes that worked on this were ended {losses} times in a row, perhaps because the "
                        "memory ran out. Use fewer at once with --workers."
                    ) from error


def _results(
    work: Callable[[_Task], _Result], tasks: Sequence[_Task], workers: int, on_cluster: bool
) -> Iterator[_Result]:
    with parallel_config(backend="dask" if on_cluster else "loky", n_jobs=workers or -1):
        yield from Parallel(return_as="generator")(delayed(_alone)(work, task) for task in tasks)


def _alone(work: Callable[[_Task], _Result], task: _Task) -> _Result:
    """Work on one thread: sums of several threads are added up in another order."""
    with _threads().limit(limits=1):
        return work(task)


@cache
def _threads() -> ThreadpoolController:
    import numpy  # noqa: F401  # its threads are looked for, in whichever process this is

    return ThreadpoolController()


def _client(scheduler: str) -> ExitStack:
    """Return a connection to a cluster, to be closed at the end."""
    try:
        from distributed import Client
    except ImportError as error:
        raise PanelError(
            "A cluster needs the library 'distributed'. Install it with 'pip install afterfeel[cluster]', here and on "
            "every worker."
        ) from error
    stack = ExitStack()
    try:
        stack.enter_context(Client(scheduler, timeout=_ANSWERS_WITHIN))
    except (OSError, ValueError) as error:
        raise PanelError(f"The scheduler {scheduler} cannot be reached ({error}). Start it first.") from error
    return stack
