from __future__ import annotations

import io
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from panel.errors import StudyError
from panel.study.folder import write_study
from panel.study.open_study import _study_of_zip, zip_bytes
from tests.study.small_study import small_study
from tests.study.test_archive_limits import packed


def members() -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(zip_bytes(small_study()))) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def test_study_comes_back():
    back = _study_of_zip(zip_bytes(small_study()), "f.zip")
    assert back.content_hash == small_study().content_hash
    assert back.raw_files == small_study().raw_files


def test_same_study_gives_the_same_bytes():
    assert zip_bytes(small_study()) == zip_bytes(small_study())


def test_folder_packed_by_another_program(tmp_path: Path):
    """Python's own command packs the folder with its name on top, as file managers do."""
    write_study(small_study(), tmp_path / "my study")
    command = [sys.executable, "-m", "zipfile", "-c", str(tmp_path / "f.zip"), str(tmp_path / "my study")]
    subprocess.run(command, check=True)
    assert _study_of_zip((tmp_path / "f.zip").read_bytes(), "f").content_hash == small_study().content_hash


def test_other_things_beside_the_study():
    content = packed({f"s/{name}": data for name, data in members().items()} | {"__MACOSX/s/._scores.csv": b"\0"})
    assert _study_of_zip(content, "f").content_hash == small_study().content_hash


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (packed({"scores.csv": b"a"}), "no study: datapackage.json is missing"),
        (packed({"a/datapackage.json": b"{}", "b/datapackage.json": b"{}"}), "more than one study"),
        (packed(members() | {"../evil": b"x"}), "leads out of it"),
        (packed(members() | {"scores.csv": b"score\n1\n\0"}), "not a text file"),
        (packed(members() | {"datapackage.json": b"{"}), "not valid JSON"),
        (b"junk", "not a whole zip"),
    ],
)
def test_broken_zip_gives_one_sentence(content: bytes, sentence: str):
    with pytest.raises(StudyError, match=sentence):
        _study_of_zip(content, "f.zip")


def test_a_study_too_large_to_be_opened_again_is_not_packed(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("panel.study.open_study._MAX_CELLS", 3)
    with pytest.raises(StudyError, match="more than 3 cells, too many for a zip; keep it as a folder"):
        zip_bytes(small_study())
