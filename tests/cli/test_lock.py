"""The command `lock`, as a user types it: it closes a session and takes its scores into the study."""

import json
import subprocess
import sys

import pytest
from click.testing import CliRunner

from panel.cli import main
from panel.store.ballot import ballot_record, prepare_ballots
from panel.store.database import now
from panel.store.events import Entry, record
from panel.study.folder import read_folder, write_study
from panel.study.saving import journal_faults
from tests.ballot_studies import ballot_study, cleared


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.delenv("AFTERFEEL_DATABASE_URL", raising=False)
    place = tmp_path / "hills"
    write_study(cleared(ballot_study()), place)
    return place


@pytest.fixture
def answered(folder):
    """Two of the marks of A01 in session 1 have come in."""
    prepare_ballots(folder, read_folder(folder))
    entries = [Entry("answer", 1, name, 10.0) for name in ("GLOSS", "SPREAD")]
    with ballot_record(folder) as found:
        record(found.store, entries, collection=found.collection, session="1", assessor="A01", at=now(), submission="s")
    return folder


def test_sessions_locked_by_several_commands_at_once_are_all_in_the_study(folder):
    prepare_ballots(folder, read_folder(folder))
    with ballot_record(folder) as found:
        for session, serving in (("1", 1), ("2", 10)):
            place = {"collection": found.collection, "session": session, "assessor": "A01", "at": now()}
            record(found.store, [Entry("answer", serving, "GLOSS", 10.0)], **place, submission=session)
    words = [sys.executable, "-m", "panel", "lock", str(folder), "--who", "lead", "--with-gaps"]
    running = [subprocess.Popen([*words, session], stdout=subprocess.DEVNULL) for session in ("1", "2")]
    assert [process.wait() for process in running] == [0, 0]
    study = read_folder(folder)
    assert sorted(study.scores["session"]) == ["1", "2"]
    assert sorted(entry["session"] for entry in study.facts["locked_sessions"]) == ["1", "2"]
    assert len(study.raw_files) == 2
    assert journal_faults(folder) == ()


def lock(*words):
    return CliRunner().invoke(main, ["lock", *map(str, words)])


def test_what_is_missing_is_said_and_nothing_is_locked(answered):
    result = lock(answered, "1", "--who", "lead")
    assert result.exit_code == 2
    assert "Session 1 is not complete: A01: 13 marks are missing (code" in result.stderr
    assert "To lock it so, add --with-gaps." in result.stderr
    assert read_folder(answered).scores.empty


def test_a_session_is_locked_once_with_what_there_is(answered):
    result = lock(answered, "1", "--who", "lead", "--with-gaps")
    assert result.exit_code == 0, result.stderr
    assert "A01: 13 marks are missing" in result.stdout
    assert "Session 1 is locked: 2 scores and 0 times cannot judge are in the study. Seal " in result.stdout
    study = read_folder(answered)
    assert sorted(study.scores["attribute"]) == ["GLOSS", "SPREAD"]
    again = lock(answered, "1", "--who", "somebody else", "--with-gaps", "--json")
    told = json.loads(again.stdout)
    assert told["scores"] == 2
    assert told["sha256"] in result.stdout
    assert read_folder(answered).content_hash == study.content_hash


def test_a_session_that_is_not_there_and_ballots_that_were_never_prepared(folder, answered, tmp_path):
    assert "Session 9 has no answers; there is nothing to lock." in lock(answered, "9", "--who", "lead").stderr
    bare = tmp_path / "bare"
    write_study(ballot_study(), bare)
    assert (
        "has no ballots yet. Prepare them with 'afterfeel ballots' or on the page"
        in lock(bare, "1", "--who", "x").stderr
    )
    assert "nowhere is no folder. Ballots are kept with a study" in lock(tmp_path / "nowhere", "1", "--who", "x").stderr
    assert "Missing option '--who'" in lock(answered, "1").stderr
