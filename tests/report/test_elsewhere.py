"""A second process answers: the same answer, and none is lost when it fails."""

import os
import threading
from pathlib import Path

import pytest

from panel.errors import ModelError
from panel.report import elsewhere as other_process
from panel.report.contents.blocks import Picture, Report, Section, said
from panel.report.contents.evidence import evidence_report
from panel.report.elsewhere import elsewhere
from panel.report.html import html_bytes
from panel.report.pdf import drawn_ahead
from panel.study.open_study import open_study

DEMO = open_study(Path(__file__).parents[2] / "data_demo" / "reading_room")
HERE = os.getpid()

# The test runner's own threads are idle; a real call splits only where there are none.
pytestmark = pytest.mark.filterwarnings("ignore:.*multi-threaded.*fork:DeprecationWarning")


@pytest.fixture
def split(monkeypatch):
    monkeypatch.setattr(other_process, "_can_be_split", lambda: True)


def where():
    return "here" if os.getpid() == HERE else "there"


def test_the_other_process_answers(split):
    assert elsewhere(lambda: (where(), [1, 2]))() == ("there", [1, 2])


def test_an_answer_of_nothing_is_an_answer(split):
    asked = []
    assert elsewhere(lambda: asked.append(1))() is None
    assert asked == []  # the other process has its own list


@pytest.mark.parametrize("end", [lambda: os._exit(3), lambda: threading.Lock()])
def test_what_it_cannot_answer_is_answered_here(split, end):
    # the second one gives something that cannot be sent
    assert elsewhere(lambda: end() if where() == "there" else "answered after all")() == "answered after all"


def test_too_long_a_wait_is_given_up(split, monkeypatch):
    monkeypatch.setattr(other_process, "_LONGEST_WAIT", 0.05)
    never = threading.Event()
    assert elsewhere(lambda: never.wait() if where() == "there" else "here")() == "here"


def test_a_failure_is_heard_where_the_answer_is_asked_for(split):
    def fails():
        raise ModelError("It cannot be done.")

    waiting = elsewhere(fails)
    with pytest.raises(ModelError, match="It cannot be done"):
        waiting()


def test_nothing_is_split_beside_another_thread_or_with_one_processor(monkeypatch):
    stop = threading.Event()
    thread = threading.Thread(target=stop.wait)
    thread.start()
    try:
        assert elsewhere(where)() == "here"
    finally:
        stop.set()
        thread.join()
    monkeypatch.setattr(threading, "active_count", lambda: 1)
    monkeypatch.setattr(os, "sched_getaffinity", lambda pid: {0}, raising=False)
    assert elsewhere(where)() == "here"


def test_every_other_picture_is_drawn_there_and_comes_back_in_its_place(split):
    pictures = [Picture(f"p{n}", "Title", "alt", lambda n=n: f"{n} {where()}", str, bytes) for n in range(5)]
    summary = Section("", "Summary", (said("paragraph", "words"), pictures[0]))
    made = drawn_ahead(
        Report("Title", "", "", "2026-02-03", "hash", "1", summary, (), (Section("1", "Part", tuple(pictures[1:])),)),
        "svg",
    )
    blocks = [block for section in made.all_sections for block in section.blocks if isinstance(block, Picture)]
    assert [block.svg() for block in blocks] == ["0 here", "1 there", "2 here", "3 there", "4 here"]
    assert made.summary.blocks[0] == said("paragraph", "words")


def test_the_evidence_file_is_the_same_by_one_process_and_by_two(monkeypatch):
    monkeypatch.setattr(other_process, "_can_be_split", lambda: False)
    alone = html_bytes(evidence_report(DEMO))
    monkeypatch.setattr(other_process, "_can_be_split", lambda: True)
    assert html_bytes(drawn_ahead(evidence_report(DEMO), "svg")) == alone
