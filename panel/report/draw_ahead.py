"""Pictures drawn by two processes at a time, where the system can split a process in two."""

from __future__ import annotations

import os
import threading
from collections.abc import Mapping, Sequence
from dataclasses import replace
from multiprocessing import get_all_start_methods, get_context
from multiprocessing.connection import Connection

from panel.report.contents.blocks import Picture, Report, Section

LONGEST_WAIT = 30.0  # seconds for the other process after our own half is done, which took a second


def drawn_ahead(report: Report) -> Report:
    """Return the report with its pictures drawn: the same pictures, sooner.

    Every other picture is drawn by a second process. Where none can be split off (another thread is running, one
    processor, a system that only starts new processes), or where it does not answer, pictures are drawn when a writer
    asks for them.
    """
    pictures = [block for section in report.all_sections for block in section.blocks if isinstance(block, Picture)]
    if len(pictures) < 2 or not _can_be_split():
        return report
    drawn = _drawn_by_two(pictures[::2], pictures[1::2])
    return replace(
        report,
        summary=_with_drawn(report.summary, drawn),
        sections=tuple(_with_drawn(section, drawn) for section in report.sections),
    )


def _can_be_split() -> bool:
    """Return True if a copy of this process can do without its other threads, and has a processor to itself."""
    several = len(os.sched_getaffinity(0)) > 1 if hasattr(os, "sched_getaffinity") else False
    return several and "fork" in get_all_start_methods() and threading.active_count() == 1


def _drawn_by_two(ours: Sequence[Picture], theirs: Sequence[Picture]) -> dict[str, str]:
    """Return the SVG text of the pictures by name; without theirs if the other process failed."""
    here, there = get_context("fork").Pipe(duplex=False)
    other = get_context("fork").Process(target=_draw_all, args=(theirs, there), daemon=True)
    other.start()
    there.close()  # the copy in the other process stays open; when that one ends, waiting ends
    drawn = {picture.name: picture.draw() for picture in ours}
    try:
        if here.poll(LONGEST_WAIT):
            drawn |= here.recv()
    except EOFError:
        pass  # it ended without an answer: its pictures are drawn when they are asked for
    finally:
        here.close()
        other.kill()
        other.join()
    return drawn


def _draw_all(pictures: Sequence[Picture], answer: Connection) -> None:
    answer.send({picture.name: picture.draw() for picture in pictures})


def _with_drawn(section: Section, drawn: Mapping[str, str]) -> Section:
    return replace(
        section,
        blocks=tuple(
            replace(block, draw=drawn[block.name].__str__)
            if isinstance(block, Picture) and block.name in drawn
            else block
            for block in section.blocks
        ),
    )
