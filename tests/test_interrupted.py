"""Whatever writes into a study can die at any step: the study is as before or as after, and the job can be redone."""

from __future__ import annotations

import itertools
import os
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from panel.cli import main
from panel.store.ballot import ballot_record, prepare_ballots
from panel.store.database import now
from panel.store.events import Entry, record
from panel.store.lock import lock_session
from panel.study import safe_write
from panel.study.folder import read_folder, write_study
from panel.study.safe_write import OWN
from panel.study.saving import journal_faults, save
from panel.study.study import Study
from tests.ballot_studies import ballot_study, cleared
from tests.crash_points import deaths
from tests.databases import add_correction
from tests.study.small_study import small_study

AT = now()
SMALL = small_study()


@pytest.fixture(autouse=True)
def quick_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is the program that dies here, not the computer: nobody has to wait for the disk."""
    monkeypatch.setattr(os, "fsync", lambda _number: None)


def copies(made: Path, place: Path):
    """Give a function that copies a folder to a new place each time; without a folder only the place."""
    numbers = itertools.count()

    def make() -> Path:
        target = place / str(next(numbers)) / made.name
        if made.exists():
            shutil.copytree(made, target)
        else:
            target.parent.mkdir(parents=True)
        return target

    return make


def as_it_stands(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Study:
    """Read a study as somebody does who may not write into its folder."""
    with monkeypatch.context() as changed:
        changed.setattr(safe_write, "finish_interrupted", lambda folder: None)
        return read_folder(folder)


def every_death(made: Path, tmp_path: Path, monkeypatch, act) -> tuple[int, int]:
    """Let `act` die at each step; return how often the study was as before and how often as after."""
    make = copies(made, tmp_path / "copies")
    done = make()
    act(done)
    before, after = read_folder(made), read_folder(done)
    found = {before.content_hash: 0, after.content_hash: 0}
    assert len(found) == 2
    for number, name, folder in deaths(make, act):
        left = as_it_stands(folder, monkeypatch)
        assert left.content_hash in found, (number, name)
        assert len(left.raw_files) == len((after if left.content_hash == after.content_hash else before).raw_files)
        assert read_folder(folder).content_hash == left.content_hash, (number, name)
        assert not (folder / OWN).exists()
        found[left.content_hash] += 1
        act(folder)
        assert read_folder(folder).content_hash == after.content_hash, (number, name)
    return found[before.content_hash], found[after.content_hash]


def test_a_study_that_is_replaced(tmp_path, monkeypatch):
    write_study(ballot_study(), tmp_path / "hills")
    before, after = every_death(
        tmp_path / "hills", tmp_path, monkeypatch, lambda folder: write_study(SMALL, folder, overwrite=True)
    )
    assert min(before, after) > 10


def test_a_new_study_is_there_or_not(tmp_path, monkeypatch):
    found = []
    for _, name, folder in deaths(
        copies(tmp_path / "hills", tmp_path / "copies"), lambda folder: write_study(SMALL, folder)
    ):
        there = (folder / OWN / "waiting.json").exists() or (folder / "datapackage.json").exists()
        if there:
            assert as_it_stands(folder, monkeypatch).content_hash == SMALL.content_hash, name
            assert len(read_folder(folder).raw_files) == 1
        else:
            write_study(SMALL, folder)
        assert read_folder(folder).content_hash == SMALL.content_hash, name
        found.append(there)
    assert sorted(found) == found
    assert len(set(found)) == 2


def test_an_import_over_a_study(tmp_path, monkeypatch):
    write_study(SMALL, tmp_path / "creams")
    table = tmp_path / "scores.csv"
    table.write_text("assessor,prototype,GREASY\nA01,P1,10\nA02,P1,20\nA01,P2,30\nA02,P2,50\n")

    def act(folder: Path) -> None:
        done = CliRunner().invoke(main, ["import", str(table), "--out", str(folder), "--overwrite"])
        assert done.exit_code == 0, done.output

    before, after = every_death(tmp_path / "creams", tmp_path, monkeypatch, act)
    assert min(before, after) > 5


@pytest.fixture
def answered(tmp_path, monkeypatch) -> Path:
    """A study folder with a record in which A01 has answered in session 1."""
    monkeypatch.delenv("AFTERFEEL_DATABASE_URL", raising=False)
    folder = tmp_path / "hills"
    write_study(cleared(ballot_study()), folder)
    prepare_ballots(folder, read_folder(folder))
    entries = [
        Entry("answer", 1, "GLOSS", 10.0),
        Entry("answer", 1, "SPREAD", 480.0),
        Entry("cannot_judge", 2, "GLOSS"),
    ]
    with ballot_record(folder) as found:
        assert found is not None
        record(found.store, entries, collection=found.collection, session="1", assessor="A01", at=AT, submission="s")
        add_correction(found.store, found.collection, "SPREAD", 48.0, "one digit too many")
    return folder


def test_a_sign_off(tmp_path, monkeypatch):
    write_study(ballot_study(), tmp_path / "hills")
    signed = cleared(ballot_study()).tables["safety"]

    def act(folder: Path) -> None:
        seen = read_folder(folder)
        save(folder, seen, lambda now: replace(now, tables={**now.tables, "safety": signed}), who="Dr S. Assessor")
        assert journal_faults(folder) == ()

    before, after = every_death(tmp_path / "hills", tmp_path, monkeypatch, act)
    assert min(before, after) > 5


def locking(folder: Path) -> None:
    with ballot_record(folder) as found:
        assert found is not None
        done = lock_session(found.store, found.collection, "1", folder, who="lead", at=AT)
    assert (done.scores, done.cannot_judge, done.corrections) == (2, 1, 1)


def test_a_session_that_is_locked(answered, tmp_path, monkeypatch):
    before, after = every_death(answered, tmp_path, monkeypatch, locking)
    assert min(before, after) > 5


@pytest.mark.parametrize("there", [("scores.csv",), ("scores.csv", "corrections.csv")])
def test_a_lock_that_an_earlier_version_left_half_done_is_finished(answered, tmp_path, there):
    """It could die between two files: the scores were in the study, the seal and the record were not."""
    whole = tmp_path / "whole" / "hills"
    shutil.copytree(answered, whole)
    locking(whole)
    for name in there:
        shutil.copy(whole / name, answered / name)
    locking(answered)
    assert read_folder(answered).content_hash == read_folder(whole).content_hash
    assert read_folder(answered).raw_files == read_folder(whole).raw_files
