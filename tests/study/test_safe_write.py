"""A failed, killed or second writer leaves files whole, at whatever step it happens."""

from __future__ import annotations

import json
import os
import threading
import time
from pathlib import Path

import pytest

from panel.errors import StudyError
from panel.study import safe_write
from panel.study.safe_write import OWN, files_at_one_moment, one_writer, replace_files, write_file
from tests.crash_points import deaths

BEFORE = {"a": b"1", "b": b"1", "old": b"1", "mine.txt": b"kept"}
FILES = {"a": b"2", "raw/new": b"2", "b": b"2"}
AFTER = {"a": b"2", "raw/new": b"2", "b": b"2", "mine.txt": b"kept"}


def content_of(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return made(tmp_path / "s")


def made(folder: Path) -> Path:
    folder.mkdir(parents=True)
    for path, content in BEFORE.items():
        (folder / path).write_bytes(content)
    return folder


def change(folder: Path) -> None:
    with one_writer(folder):
        replace_files(folder, FILES, gone=["old", "a", "absent"])


def seen(folder: Path, paths=("b", "old", "raw/new", "mine.txt")) -> dict[str, bytes]:
    files = files_at_one_moment(folder, "a", lambda _: paths, 100)
    return {path: content for path, content in files.items() if content is not None}


@pytest.fixture
def failing(monkeypatch: pytest.MonkeyPatch):
    """Let the n-th call of os.replace, and no other, fail."""

    def fail_at(number: int, times: int = 1) -> None:
        real, calls = os.replace, []

        def replace(source: Path, target: Path) -> None:
            calls.append(target)
            if number <= len(calls) < number + times:
                raise OSError("the file is open in another program")
            real(source, target)

        monkeypatch.setattr(safe_write.os, "replace", replace)

    return fail_at


def test_one_file(tmp_path: Path):
    path = tmp_path / "a.zip"
    write_file(path, b"1")
    with pytest.raises(StudyError, match="is there already"):
        write_file(path, b"2")
    assert content_of(tmp_path) == {"a.zip": b"1"}
    write_file(path, b"2", overwrite=True)
    assert content_of(tmp_path) == {"a.zip": b"2"}


def test_one_file_that_cannot_be_written(tmp_path: Path, failing):
    write_file(tmp_path / "a", b"1")
    failing(1)
    with pytest.raises(StudyError, match="cannot be written: the file is open in another program"):
        write_file(tmp_path / "a", b"2", overwrite=True)
    assert content_of(tmp_path) == {"a": b"1"}
    with pytest.raises(StudyError, match="cannot be written"):
        write_file(tmp_path / "missing" / "a", b"1")


def test_replaced_files_leave_others_alone_and_nothing_behind(folder: Path):
    change(folder)
    assert content_of(folder) == AFTER
    assert sorted(path.name for path in folder.iterdir()) == ["a", "b", "mine.txt", "raw"]


@pytest.mark.parametrize("step", [1, 2, 3, 4])
def test_replacing_fails_at_any_file(folder: Path, failing, step: int):
    failing(step)
    with pytest.raises(StudyError, match="nothing was changed: the file is open"):
        change(folder)
    assert content_of(folder) == BEFORE
    assert not (folder / OWN).exists()


def test_replacing_fails_before_anything_is_touched(folder: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(safe_write.os, "fsync", lambda number: (_ for _ in ()).throw(OSError("disk full")))
    with pytest.raises(StudyError, match="nothing was changed: disk full"):
        change(folder)
    assert content_of(folder) == BEFORE
    assert not (folder / OWN).exists()


def test_a_write_that_can_be_neither_finished_nor_taken_back_counts_and_is_finished_later(
    folder: Path, monkeypatch: pytest.MonkeyPatch
):
    with monkeypatch.context() as broken:
        real = os.replace

        def replace(source: Path, target: Path) -> None:
            taken_back = str(target).endswith("waiting.json") and (folder / OWN / "waiting.json").exists()
            if str(source).endswith("raw/new") or taken_back:
                raise OSError("the disk does not answer")
            real(source, target)

        broken.setattr(safe_write.os, "replace", replace)
        with pytest.raises(StudyError, match=r"The change is written, but not every file of .* Close the programs"):
            change(folder)
    assert seen(folder) == AFTER
    assert content_of(folder) == AFTER


def test_every_point_at_which_a_writer_can_die_leaves_all_or_nothing(tmp_path: Path):
    """Seen by a reader who may not write, by one who may, and by the next writer."""
    places = (made(tmp_path / str(number) / "s") for number in range(1000))
    outcomes = []
    for number, name, folder in deaths(lambda: next(places), change):
        with pytest.MonkeyPatch.context() as changed:
            changed.setattr(safe_write, "finish_interrupted", lambda folder: None)
            unfinished = seen(folder)
        assert unfinished in (BEFORE, AFTER), (number, name)
        assert seen(folder) == unfinished, (number, name)
        assert content_of(folder) == unfinished, (number, name)
        change(folder)
        assert content_of(folder) == AFTER, (number, name)
        assert not (folder / OWN).exists(), (number, name)
        outcomes.append(unfinished == AFTER)
    assert len(outcomes) > 25
    assert sorted(outcomes) == outcomes  # before, and from one step on after
    assert 0 < sum(outcomes) < len(outcomes)


def test_leftovers_of_earlier_versions_are_cleared_away(folder: Path):
    (folder / ".writing.0a1b2c3d.tmp" / "new").mkdir(parents=True)
    (folder / ".writing.0a1b2c3d.tmp" / "new" / "a").write_bytes(b"half")
    assert seen(folder)["a"] == b"1"
    assert content_of(folder) == BEFORE


def test_a_second_writer_waits_or_is_told(folder: Path):
    with one_writer(folder):
        second = one_writer(folder, wait=0.02)
        with pytest.raises(StudyError, match="s is being written by another program; try again in a moment"):
            second.__enter__()
        assert seen(folder) == {**BEFORE}
        late = threading.Thread(target=change, args=(folder,))
        late.start()
        time.sleep(0.05)
        assert content_of(folder)["a"] == b"1"
    late.join()
    assert content_of(folder) == AFTER


def test_the_lock_of_a_dead_process_holds_nobody_up(folder: Path):
    (folder / OWN).mkdir()
    (folder / OWN / "lock").write_bytes(b"")
    change(folder)
    assert content_of(folder) == AFTER


@pytest.mark.parametrize(
    ("broken", "words"),
    [
        ("mkdir", "s cannot be written, nothing was changed: .*Read-only file system"),
        ("open", "s cannot be written, nothing was changed: .*No locks available"),
    ],
)
def test_a_folder_that_cannot_be_locked_is_refused_in_one_sentence(folder: Path, monkeypatch, broken: str, words: str):
    def refuse(*_, **__):
        raise OSError(30, "Read-only file system") if broken == "mkdir" else OSError(37, "No locks available")

    if broken == "mkdir":
        monkeypatch.setattr(Path, "mkdir", refuse)
    else:
        monkeypatch.setattr(safe_write, "_lock_now", refuse)
    with pytest.raises(StudyError, match=words):
        change(folder)
    assert {path: content_of(folder)[path] for path in BEFORE} == BEFORE


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ("{", "waiting.json is damaged; delete the folder"),
        ('{"new": "x"}', "waiting.json is damaged"),
        ('{"new": "x", "files": ["../../evil"], "gone": []}', "leads out of the study"),
        ('{"new": "../..", "files": ["a"], "gone": []}', "leads out of the study"),
        ('{"new": "x", "files": [], "gone": ["../precious"]}', "leads out of the study"),
    ],
)
def test_a_made_up_interrupted_write_moves_and_removes_nothing(folder: Path, said: str, words: str):
    (folder.parent / "precious").write_bytes(b"kept")
    (folder / OWN).mkdir()
    (folder / OWN / "waiting.json").write_text(said)
    with pytest.raises(StudyError, match=words):
        seen(folder)
    with pytest.raises(StudyError, match=words):
        change(folder)
    assert (folder.parent / "precious").read_bytes() == b"kept"
    assert json.loads(json.dumps(said)) == (folder / OWN / "waiting.json").read_text()


def test_a_hidden_folder_that_leads_out_is_refused(folder: Path, tmp_path: Path):
    (tmp_path / "elsewhere").mkdir()
    (folder / OWN).symlink_to(tmp_path / "elsewhere")
    with pytest.raises(StudyError, match="leads out of the study"):
        change(folder)
    assert list((tmp_path / "elsewhere").iterdir()) == []


def test_a_reader_sees_one_moment_while_somebody_writes(folder: Path):
    over, moments = threading.Event(), []

    def write() -> None:
        number = 0
        while not over.is_set():
            number += 1
            with one_writer(folder):
                replace_files(folder, {path: str(number).encode() for path in ("a", "b", "old")})

    writer = threading.Thread(target=write)
    writer.start()
    until = time.monotonic() + 30
    while len({moment["a"] for moment in moments}) < 8 and time.monotonic() < until:
        moments.append(seen(folder, ("b", "old")))
    over.set()
    writer.join()
    assert all(len(set(moment.values())) == 1 for moment in moments)
    assert len({moment["a"] for moment in moments}) == 8


def test_writers_are_served_in_the_order_in_which_they_came(folder: Path):
    order: list[int] = []

    def work(number: int) -> None:
        with one_writer(folder):
            order.append(number)
            time.sleep(0.02)

    with one_writer(folder):
        threads = []
        for number in range(12):
            threads.append(threading.Thread(target=work, args=(number,)))
            threads[-1].start()
            until = time.monotonic() + 10
            while len(list((folder / OWN).glob("ticket.*"))) <= number:
                assert time.monotonic() < until
                time.sleep(0.001)
    for thread in threads:
        thread.join()
    assert order == list(range(12))
    assert not (folder / OWN).exists()


def test_who_died_in_the_queue_is_not_waited_for(folder: Path):
    (folder / OWN).mkdir()
    (folder / OWN / "ticket.00000000000000000001.dead").touch()
    with one_writer(folder, wait=0.0):
        pass
    assert not (folder / OWN).exists()


def test_who_gave_up_leaves_the_queue(folder: Path):
    with one_writer(folder):
        with pytest.raises(StudyError, match="is being written by another program"), one_writer(folder, wait=0.05):
            pass
        assert not list((folder / OWN).glob("ticket.*"))
    change(folder)
