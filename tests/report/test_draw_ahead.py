"""Pictures drawn by two processes: the same pictures, and none is lost when the other process fails."""

import os
import threading

import pytest

from panel.report import draw_ahead
from panel.report.contents.blocks import Paragraph, Picture, Report, Section
from panel.report.draw_ahead import drawn_ahead

HERE = os.getpid()

# The test runner's own threads are idle; a real call splits only where there are none.
pytestmark = pytest.mark.filterwarnings("ignore:.*multi-threaded.*fork:DeprecationWarning")


def report(draws):
    pictures = [Picture(f"p{n}", "Title", "alt", draw, lambda: b"") for n, draw in enumerate(draws)]
    summary = Section("", "Summary", (Paragraph("words"), *pictures[:1]))
    return Report("Title", "", "", "hash", "version", summary, (Section("1", "Part", tuple(pictures[1:])),))


def drawings(made):
    blocks = [block for section in made.all_sections for block in section.blocks if isinstance(block, Picture)]
    return [block.draw() for block in blocks]


@pytest.fixture
def can_be_split(monkeypatch):
    monkeypatch.setattr(draw_ahead, "_can_be_split", lambda: True)


def says(number):
    return lambda: f"{number} {'here' if os.getpid() == HERE else 'there'}"


def test_every_other_picture_is_drawn_by_another_process_and_comes_back_in_its_place(can_be_split):
    asked = report([says(0), says(1), says(2), says(3), says(4)])
    made = drawn_ahead(asked)
    assert drawings(made) == ["0 here", "1 there", "2 here", "3 there", "4 here"]
    assert made.summary.blocks[0] == Paragraph("words")


def test_what_the_other_process_cannot_draw_is_drawn_when_asked_for(can_be_split, capfd):
    def dies():
        if os.getpid() != HERE:
            os._exit(3)
        return "drawn after all"

    assert drawings(drawn_ahead(report([says(0), dies, says(2), says(3)]))) == [
        *("0 here", "drawn after all", "2 here", "3 here"),
    ]


def test_nothing_is_split_beside_another_thread_or_with_one_processor(monkeypatch):
    wait = threading.Event()
    other = threading.Thread(target=wait.wait)
    other.start()
    try:
        assert not draw_ahead._can_be_split()
    finally:
        wait.set()
        other.join()
    monkeypatch.setattr(os, "sched_getaffinity", lambda pid: {0}, raising=False)
    assert not draw_ahead._can_be_split()
    assert drawings(drawn_ahead(report([says(0), says(1)]))) == ["0 here", "1 here"]


def test_one_picture_needs_no_other_process(can_be_split):
    asked = report([says(0)])
    assert drawn_ahead(asked) is asked
