"""A failed write leaves what was there, at whatever step it fails."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from panel.errors import StudyError
from panel.study import safe_write
from panel.study.safe_write import replace_files, write_file, write_new_folder


def content_of(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


@pytest.fixture
def failing(monkeypatch: pytest.MonkeyPatch):
    """Let the n-th call of os.replace, and no other, fail."""

    def fail_at(number: int) -> None:
        real, calls = os.replace, []

        def replace(source: Path, target: Path) -> None:
            calls.append(target)
            if len(calls) == number:
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


def test_new_folder(tmp_path: Path):
    write_new_folder(tmp_path / "s", {"a": b"1", "raw/b": b"2"})
    assert content_of(tmp_path) == {"s/a": b"1", "s/raw/b": b"2"}
    (tmp_path / "empty").mkdir()
    write_new_folder(tmp_path / "empty", {"a": b"1"})
    with pytest.raises(StudyError, match="cannot be written"):
        write_new_folder(tmp_path / "s", {"a": b"3"})
    assert content_of(tmp_path) == {"empty/a": b"1", "s/a": b"1", "s/raw/b": b"2"}
    assert not list(tmp_path.glob(".*"))


def test_new_folder_that_fails_half_way(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    def full(number: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(safe_write.os, "fsync", full)
    with pytest.raises(StudyError, match="No space left"):
        write_new_folder(tmp_path / "s", {"a": b"1"})
    assert list(tmp_path.iterdir()) == []


def test_replaced_files_leave_others_alone(tmp_path: Path):
    write_new_folder(tmp_path / "s", {"a": b"1", "b": b"1", "mine.txt": b"kept"})
    replace_files(tmp_path / "s", {"a": b"2", "raw/new": b"2"}, leftover=["b", "a", "absent"])
    assert content_of(tmp_path / "s") == {"a": b"2", "mine.txt": b"kept", "raw/new": b"2"}


@pytest.mark.parametrize("step", [1, 2, 3])
def test_replacing_fails_at_any_file(tmp_path: Path, failing, step: int):
    before = {"a": b"1", "b": b"1", "old": b"1"}
    write_new_folder(tmp_path / "s", before)
    failing(step)
    with pytest.raises(StudyError, match="nothing was changed"):
        replace_files(tmp_path / "s", {"a": b"2", "new": b"2", "b": b"2"}, leftover=["old"])
    assert content_of(tmp_path / "s") == before


def test_replacing_fails_before_anything_is_touched(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    write_new_folder(tmp_path / "s", {"a": b"1"})
    monkeypatch.setattr(safe_write.os, "fsync", lambda number: (_ for _ in ()).throw(OSError("disk full")))
    with pytest.raises(StudyError, match="nothing was changed: disk full"):
        replace_files(tmp_path / "s", {"a": b"2"})
    assert content_of(tmp_path / "s") == {"a": b"1"}
