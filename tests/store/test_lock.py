import hashlib
import json
import threading
import time
from dataclasses import replace

import pytest

from panel.errors import StudyError
from panel.store.board import session_record, sessions_table
from panel.store.database import now
from panel.store.events import Entry, record
from panel.store.lock import lock_session
from panel.store.preparing import prepare
from panel.study.folder import read_folder, write_study
from panel.study.scores_used import scores_used
from tests.ballot_studies import ballot_study
from tests.databases import add_correction


@pytest.fixture
def folder(tmp_path):
    write_study(ballot_study(), tmp_path / "hills")
    return tmp_path / "hills"


def send(store, *entries, key="s", number=1, assessor="A01"):
    record(store, entries, submission=key, collection=number, session="1", assessor=assessor, at=now())


@pytest.fixture
def answered(store, collection):
    send(
        store, Entry("answer", 1, "GLOSS", 10.0), Entry("answer", 1, "SPREAD", 480.0), Entry("cannot_judge", 2, "GLOSS")
    )
    send(store, Entry("answer", 1, "GLOSS", 20.0), Entry("comment", 1, text="x"), key="t")
    add_correction(store, 1, "SPREAD", 48.0, "one digit too many")
    return store


def lock(store, folder, number=1, **options):
    return lock_session(store, number, "1", folder, at=now(), **({"who": "lead"} | options))


def test_locking_writes_the_last_answers_into_the_study(answered, folder):
    locked = lock(answered, folder)
    study = read_folder(folder)
    assert (locked.scores, locked.cannot_judge, locked.corrections) == (2, 1, 1)
    first = ballot_study().table("servings").query("session == '1' and assessor == 'A01'")["prototype"].tolist()
    rows = study.scores[["assessor", "prototype", "attribute", "score"]].fillna(-1.0).to_numpy().tolist()
    assert sorted(rows) == sorted(
        [
            ["A01", first[0], "GLOSS", 20.0],
            ["A01", first[0], "SPREAD", 480.0],
            ["A01", first[1], "GLOSS", -1.0],
        ]
    )
    assert sorted(scores_used(study).frame["score"]) == [20.0, 48.0]


def test_the_record_is_sealed_and_kept_with_the_study(answered, folder):
    locked = lock(answered, folder)
    study = read_folder(folder)
    (raw,) = study.raw_files
    assert raw.content == session_record(answered, 1, "1")
    assert raw.sha256 == locked.events_sha256 == hashlib.sha256(raw.content).hexdigest()
    assert len(raw.content.splitlines()) == 6
    table = sessions_table(answered)
    assert table["events_sha256"].tolist() == [locked.events_sha256, ""]
    assert table["locked_by"].tolist() == ["lead", ""]
    (entry,) = study.facts["locked_sessions"]
    assert entry["events_sha256"] == locked.events_sha256
    package = json.loads((folder / "datapackage.json").read_text())
    assert package["afterfeel"]["raw_files"][0]["sha256"] == locked.events_sha256


def test_a_locked_session_takes_nothing_more(answered, folder):
    lock(answered, folder)
    before = session_record(answered, 1, "1")
    with pytest.raises(StudyError, match="The session is locked"):
        send(answered, Entry("answer", 1, "GLOSS", 99.0), key="late")
    with pytest.raises(StudyError, match="The session is locked"):
        add_correction(answered, 1, "GLOSS", 1.0, "late")
    assert session_record(answered, 1, "1") == before
    send(answered, Entry("reaction", 1, text="in the evening"), key="skin")  # may come at any time
    assert session_record(answered, 1, "1") == before


def test_locking_again_changes_nothing(answered, folder):
    first = lock(answered, folder)
    files = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    assert lock(answered, folder) == first
    assert lock(answered, folder, who="somebody else").locked_at == first.locked_at
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == files


def test_locking_again_finishes_what_was_interrupted(answered, folder, monkeypatch):
    def failing(*_, **__):
        raise StudyError("the disk of the study is full")

    with monkeypatch.context() as broken:
        broken.setattr("panel.store.lock.save", failing)
        with pytest.raises(StudyError, match="the disk of the study is full"):
            lock(answered, folder)
    assert read_folder(folder).scores.empty
    with pytest.raises(StudyError, match="The session is locked"):
        send(answered, Entry("answer", 1, "GLOSS", 99.0), key="late")
    lock(answered, folder)
    assert len(read_folder(folder).scores) == 3


def test_answers_that_arrive_while_the_session_is_locked_are_in_or_refused_never_half(answered, folder):
    accepted, refused = [], []

    def post(person):
        end = time.monotonic() + 30
        while not refused and time.monotonic() < end:
            number = len(accepted)
            try:
                send(answered, Entry("answer", 1, "STICK", float(number)), key=f"{person} {time.monotonic()}")
                accepted.append((person, number))
            except StudyError as error:
                refused.append(str(error))

    threads = [threading.Thread(target=post, args=(person,)) for person in range(4)]
    for thread in threads:
        thread.start()
    while len(accepted) < 20:
        time.sleep(0.001)
    locked = lock(answered, folder)
    for thread in threads:
        thread.join()
    record = session_record(answered, 1, "1")
    assert hashlib.sha256(record).hexdigest() == locked.events_sha256
    assert record.count(b'"STICK"') == len(accepted)
    assert refused
    assert all("The session is locked" in words for words in refused)


def test_an_answer_after_a_correction_is_the_one_that_counts(answered, folder):
    send(answered, Entry("answer", 1, "SPREAD", 50.0), key="again")
    lock(answered, folder)
    study = read_folder(folder)
    assert study.table("corrections").empty
    assert 50.0 in study.scores["score"].tolist()


def test_what_does_not_fit_is_refused_before_the_record_is_closed(answered, folder):
    changed = ballot_study().table("servings").copy()
    changed.loc[0, "code"] = "111"
    write_study(ballot_study(servings=changed), folder, overwrite=True)
    with pytest.raises(StudyError, match="the cup had the code"):
        lock(answered, folder)
    assert set(sessions_table(answered)["locked_at"]) == {""}
    send(answered, Entry("answer", 1, "GLOSS", 30.0), key="goes on")


def test_somebody_locks_a_session_that_has_answers(store, collection, folder):
    with pytest.raises(StudyError, match="A session is locked by somebody"):
        lock(store, folder, who=" ")
    with pytest.raises(StudyError, match="Session 1 has no answers; there is nothing to lock"):
        lock(store, folder)
    with pytest.raises(StudyError, match="There is no folder"):
        lock(store, folder / "no")


def test_a_rehearsal_stays_one_in_the_study_too(store, folder, tmp_path):
    rehearsed, _ = prepare(store, ballot_study(), "hills", at=now(), rehearsal=True)
    first = min(range(1, 19))
    send(store, Entry("answer", first, "GLOSS", 10.0), number=rehearsed)
    assert b'"rehearsal":true' in session_record(store, rehearsed, "1")
    assert lock(store, folder, number=rehearsed).rehearsal
    study = read_folder(folder)
    assert study.facts["rehearsal"] is True
    assert set(study.scores["source"]) == {"rehearsal"}
    real, _ = prepare(store, ballot_study(), "hills", at=now())
    record(
        store,
        [Entry("answer", 19, "GLOSS", 10.0)],
        submission="real",
        collection=real,
        session="1",
        assessor="A01",
        at=now(),
    )
    with pytest.raises(StudyError, match="The study in this folder is a rehearsal"):
        lock(store, folder, number=real)
    write_study(ballot_study(), tmp_path / "real")
    lock(store, tmp_path / "real", number=real)
    assert "rehearsal" not in read_folder(tmp_path / "real").facts


def test_facts_and_files_of_the_study_stay(answered, folder):
    study = read_folder(folder)
    write_study(replace(study, facts={**study.facts, "margin": 8}), folder, overwrite=True)
    (folder / "notes.txt").write_text("own")
    lock(answered, folder)
    assert read_folder(folder).facts["margin"] == 8
    assert (folder / "notes.txt").read_text() == "own"
