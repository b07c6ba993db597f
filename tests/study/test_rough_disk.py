"""What happens around a study folder is said in one sentence: a clock, an open file, a folder that is gone."""

import errno
import os
import shutil
from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from panel.app.state import StudyHandle, StudyInUse, keep
from panel.checks.structure import check_folder
from panel.errors import StudyError
from panel.study import journal, safe_write
from panel.study.folder import read_folder, write_study
from panel.study.saving import save
from tests.study.small_study import small_study


@pytest.fixture
def folder(tmp_path):
    write_study(small_study(), tmp_path / "s")
    return tmp_path / "s"


def titled(title):
    return lambda now: replace(now, facts={**now.facts, "title": title})


def test_a_clock_that_went_back_is_a_finding_and_the_order_of_changes_holds(folder, monkeypatch):
    save(folder, read_folder(folder), titled("one"), who="Ada")

    class Yesterday(datetime):
        @classmethod
        def now(cls, tz=None):
            return datetime.now(tz) - timedelta(days=1)

    monkeypatch.setattr(journal, "datetime", Yesterday)
    save(folder, read_folder(folder), titled("two"), who="Ada")
    (found,) = check_folder(folder)
    assert (found.kind, found.where) == ("clock_went_back", "journal.jsonl, change 2")
    assert "a clock had gone back" in found.message


@pytest.mark.parametrize("mark", [".~lock.scores.csv#", "~$scores.csv"])
def test_a_file_that_an_office_program_has_open_is_told(folder, mark):
    (folder / mark).write_text("somebody")
    (found,) = check_folder(folder)
    assert (found.severity, found.where) == ("note", "scores.csv")
    assert found.message == "scores.csv is open in another program."


def test_a_file_that_is_open_on_windows_is_named_and_nothing_is_changed(folder, monkeypatch):
    before = {file.name: file.read_bytes() for file in folder.glob("*.*")}
    real = os.replace

    def refused(one, other):
        if str(other).endswith("datapackage.json"):
            error = PermissionError(errno.EACCES, "denied", str(one), None, str(other))
            error.winerror = 32
            raise error
        real(one, other)

    monkeypatch.setattr(safe_write.os, "replace", refused)
    with pytest.raises(StudyError, match=r"nothing was changed: datapackage.json is open in another program"):
        save(folder, read_folder(folder), titled("new"))
    monkeypatch.undo()
    assert {file.name: file.read_bytes() for file in folder.glob("*.*")} == before


def test_a_folder_that_is_deleted_under_the_open_app_is_one_sentence(folder):
    study = StudyInUse(read_folder(folder), StudyHandle("s", str(folder)))
    shutil.rmtree(folder)
    with pytest.raises(StudyError, match=r"s is not there any more; nothing was saved\. Put it back"):
        keep(study, titled("new"), "Done.")
    assert not folder.exists()
