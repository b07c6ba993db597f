"""A study as a folder. Outside judges: frictionless validates what is written, pandas reads it."""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path

import frictionless
import numpy as np
import pandas as pd
import pytest

from panel.checks.structure import _changed_raw_files
from panel.errors import StudyError
from panel.study import folder as study_files
from panel.study import safe_write
from panel.study.folder import read_folder, write_study
from panel.study.study import Study
from tests.study.small_study import RAW, frame, small_study


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_study(small_study(), tmp_path / "s")
    return tmp_path / "s"


def content_of(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def judged(folder: Path) -> list[tuple[str, int, str]]:
    """Return what frictionless finds wrong: kind of fault, row and column."""
    report = frictionless.Package(str(folder / "datapackage.json")).validate()
    return [tuple(row) for row in report.flatten(["type", "rowNumber", "fieldName"])]


def test_written_study_is_a_valid_data_package(folder: Path):
    assert judged(folder) == []
    package = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))
    assert {entry["name"] for entry in package["resources"]} == set(small_study().tables)


def test_outside_judge_enforces_what_the_description_says(tmp_path: Path):
    study = small_study()
    tables = dict(study.tables)
    tables["prototypes"] = frame("prototypes", {"prototype": "P1", "role": "best"}, {"prototype": "P1"})
    tables["formulas"] = frame("formulas", {"prototype": "", "ingredient": "Aqua", "percent": 1})
    write_study(Study(tables, study.facts), tmp_path / "s")
    path = tmp_path / "s" / "scores.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("48.7", "4o"), encoding="utf-8")
    found = judged(tmp_path / "s")
    assert ("constraint-error", 2, "role") in found
    assert ("primary-key", 3, None) in found
    assert ("constraint-error", 2, "prototype") in found
    assert ("type-error", 2, "score") in found
    assert ("foreign-key", 4, None) in found  # prototype 017 is no longer listed


def test_pandas_reads_the_same_table(folder: Path):
    outside = pd.read_csv(folder / "scores.csv", dtype={"session": "str", "prototype": "str"}, keep_default_na=False,
                          na_values={"score": [""]})  # fmt: skip
    scores = small_study().tables["scores"]
    np.testing.assert_array_equal(outside["score"], scores["score"])
    assert outside["prototype"].tolist() == ["P1", "P1", "017"]
    assert outside["remark"].tolist() == ["NA", "", "None"]


def test_study_comes_back(folder: Path):
    study, back = small_study(), read_folder(folder)
    assert back.content_hash == study.content_hash
    assert back.facts == study.facts
    assert back.raw_files == study.raw_files
    assert (folder / "raw" / "panel.csv").read_bytes() == RAW
    assert back.unread.empty
    for name, table in study.tables.items():
        pd.testing.assert_frame_equal(back.tables[name], table)
    assert back.tables["prototypes"]["note"].tolist() == ["=1+1", "@home\nsecond line"]


def test_hand_made_changes_are_tolerated(folder: Path):
    """What a spreadsheet program in a country with decimal commas makes of a table, and what people forget."""
    (folder / "scores.csv").write_bytes(
        "Assessor;prototype;attribute;score;extra\r\nÅsa;P1;GREASY;48,7;x\r\n;;;;\r\nÅsa;017;GREASY;4o;\r\n".encode(
            "cp1252"
        )
    )
    (folder / "batches.csv").unlink()
    description = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))
    description["resources"] = [
        entry for entry in description["resources"] if entry["name"] not in ("batches", "claims")
    ]
    (folder / "datapackage.json").write_text(json.dumps(description), encoding="utf-8")
    study = read_folder(folder)
    assert study.tables["scores"]["assessor"].tolist() == ["Åsa", "", "Åsa"]
    np.testing.assert_array_equal(study.tables["scores"]["score"], [48.7, np.nan, np.nan])
    assert study.tables["scores"]["extra"].tolist() == ["x", "", ""]
    assert study.scores["batch"].tolist() == ["", "", ""]
    assert study.unread.to_numpy().tolist() == [["scores", "4", "score", "4o", "not a number"]]
    assert "batches" not in study.tables
    assert len(study.table("claims")) == 1  # a table that nobody listed is read all the same


def test_unreadable_cells_survive_being_written(folder: Path, tmp_path: Path):
    path = folder / "scores.csv"
    path.write_bytes(path.read_bytes().replace(b"48.7", b"4o"))
    write_study(read_folder(folder), tmp_path / "again")
    assert (tmp_path / "again" / "scores.csv").read_bytes() == path.read_bytes()
    assert len(read_folder(tmp_path / "again").unread) == 1


def test_existing_study_is_only_replaced_when_told(folder: Path):
    before = content_of(folder)
    other = Study({"scores": frame("scores", {"assessor": "B", "score": 1})}, {"title": "other"})
    with pytest.raises(StudyError, match="is there already; choose another name"):
        write_study(other, folder)
    assert content_of(folder) == before

    (folder / "photo.jpg").write_bytes(b"mine")
    package = json.loads(before["datapackage.json"])
    package["resources"].append({"name": "photo", "path": "photo.jpg"})
    (folder / "datapackage.json").write_text(json.dumps(package), encoding="utf-8")
    write_study(other, folder, overwrite=True)
    assert read_folder(folder).content_hash == other.content_hash
    assert set(content_of(folder)) == {
        "datapackage.json",
        "journal.jsonl",
        "scores.csv",
        "photo.jpg",
        "raw/panel.csv",
    }
    kept = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))["resources"]
    assert {"name": "photo", "path": "photo.jpg"} in kept


def test_folder_with_something_else_is_never_replaced(tmp_path: Path):
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "scores.csv").write_text("precious")
    (tmp_path / "file").write_text("precious")
    for name in ("letters", "file"):
        with pytest.raises(StudyError, match="is not a study; choose another name"):
            write_study(small_study(), tmp_path / name, overwrite=True)
    assert (tmp_path / "letters" / "scores.csv").read_text() == "precious"
    assert (tmp_path / "file").read_text() == "precious"


def test_failed_write_leaves_the_old_study(folder: Path, monkeypatch: pytest.MonkeyPatch):
    before = content_of(folder)

    def full(number: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(safe_write.os, "fsync", full)
    with pytest.raises(StudyError, match="nothing was changed"):
        write_study(Study({}, {"title": "other"}), folder, overwrite=True)
    with pytest.raises(StudyError, match="cannot be written"):
        write_study(small_study(), folder.parent / "new")
    assert content_of(folder) == before
    assert [path.name for path in folder.parent.iterdir()] == ["s"]


@pytest.mark.parametrize(
    "study",
    [
        Study({"photos": pd.DataFrame({"x": ["1"]})}),
        Study({"prototypes": pd.DataFrame({"prototype": pd.Series(["a\0"], dtype="str")})}),
        Study({}, {"margin": float("inf")}),
    ],
)
def test_study_that_no_folder_can_hold(study: Study, tmp_path: Path):
    with pytest.raises(StudyError):
        write_study(study, tmp_path / "s")
    assert list(tmp_path.iterdir()) == []


def test_links_out_of_the_study(folder: Path, tmp_path: Path):
    secret = tmp_path / "secret.csv"
    secret.write_text("assessor,score\nX,1\n")
    (folder / "scores.csv").unlink()
    (folder / "scores.csv").symlink_to(secret)
    with pytest.raises(StudyError, match="is a link that leads out of the study"):
        read_folder(folder)
    with pytest.raises(StudyError, match="is a link that leads out of the study"):
        write_study(small_study(), folder, overwrite=True)
    assert secret.read_text() == "assessor,score\nX,1\n"


def test_raw_folder_that_is_a_link(folder: Path, tmp_path: Path):
    shutil.rmtree(folder / "raw")
    (tmp_path / "elsewhere").mkdir()
    (folder / "raw").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(StudyError, match="leads out of the study"):
        write_study(small_study(), folder, overwrite=True)
    assert list((tmp_path / "elsewhere").iterdir()) == []


def broken_path(path: str):
    def change(folder: Path) -> None:
        text = (folder / "datapackage.json").read_text(encoding="utf-8")
        (folder / "datapackage.json").write_text(text.replace('"scores.csv"', json.dumps(path)), encoding="utf-8")

    return change


def replaced(name: str, content: bytes):
    def change(folder: Path) -> None:
        (folder / name).write_bytes(content)

    return change


def as_folder(folder: Path) -> None:
    (folder / "scores.csv").unlink()
    (folder / "scores.csv").mkdir()


def as_pipe(folder: Path) -> None:
    (folder / "scores.csv").unlink()
    os.mkfifo(folder / "scores.csv")


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (broken_path("../evil.csv"), "not inside the study"),
        (broken_path("/etc/passwd"), "not inside the study"),
        (broken_path("nowhere.csv"), r"lacks the file nowhere\.csv"),
        (replaced("datapackage.json", b"\0\1"), "not a text file"),
        (replaced("datapackage.json", b"{"), "not valid JSON"),
        (replaced("scores.csv", b""), r"scores\.csv is empty"),
        (replaced("scores.csv", b"\x89PNG\0"), "not a text file"),
        (replaced("scores.csv", b"score,score\n1,2\n"), "more than one column called 'score'"),
        (replaced("scores.csv", b"a,b\n1,2,3\n"), "more cells than the header"),
        (replaced("scores.csv", b"," * 1_000_000), "1000001 columns"),
        (as_folder, "is not a file"),
        (as_pipe, "is not a file"),
        (lambda folder: (folder / "datapackage.json").unlink(), r"is not a study: it has no datapackage\.json"),
        (replaced("datapackage.json", b'{"resources": []}'), None),
    ],
)
def test_broken_folder_gives_one_sentence(folder: Path, change, sentence: str | None):
    change(folder)
    before = sorted(path.name for path in folder.rglob("*"))
    if sentence is None:  # its tables are there, so it is a study, only without facts
        assert read_folder(folder).facts == {}
        return
    with pytest.raises(StudyError, match=sentence) as caught:
        read_folder(folder)
    assert "\n" not in str(caught.value)
    assert sorted(path.name for path in folder.rglob("*")) == before


def test_package_of_other_data(tmp_path: Path):
    (tmp_path / "datapackage.json").write_text('{"resources": [{"name": "x", "path": "x.csv"}]}')
    with pytest.raises(StudyError, match="describes other data"):
        read_folder(tmp_path)
    with pytest.raises(StudyError, match="There is no folder"):
        read_folder(tmp_path / "missing")


def test_table_larger_than_allowed(folder: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(study_files, "_MAX_TABLE_BYTES", 50)
    with pytest.raises(StudyError, match="larger than 50 bytes"):
        read_folder(folder)
    with pytest.raises(StudyError, match="would be larger than 50 bytes"):
        write_study(small_study(), folder.parent / "new")


def test_imported_files_that_changed_are_seen(folder: Path, tmp_path: Path):
    assert _changed_raw_files(read_folder(folder).raw_files) == ()
    (folder / "raw" / "panel.csv").write_bytes(RAW + b"A02;P1;50\r\n")
    assert _changed_raw_files(read_folder(folder).raw_files) == ("panel.csv",)
    write_study(read_folder(folder), tmp_path / "again")  # writing it again does not hide it
    assert _changed_raw_files(read_folder(tmp_path / "again").raw_files) == ("panel.csv",)
    (folder / "raw" / "panel.csv").unlink()
    assert _changed_raw_files(read_folder(folder).raw_files) == ("panel.csv",)
