"""Changes of several people go together or are refused with both sides shown; the journal tells of each of them."""

from __future__ import annotations

import hashlib
import json
import time
from dataclasses import replace
from pathlib import Path

import frictionless
import numpy as np
import pandas as pd
import pytest

from benchmarks.writers import writing_processes
from panel.errors import StudyError
from panel.plan.safety import _record_sign_off, record_reaction
from panel.study.folder import read_folder, version_of, write_study
from panel.study.journal import _COLUMNS, _MOST_ROWS_LISTED, _OUTSIDE, next_line, row_changes
from panel.study.saving import journal_faults, journal_rows, save, undo
from panel.study.study import Study, empty_table
from panel.study.table_cells import rows_of_study
from tests.study.small_study import frame, small_study

REACTION = {"who": "Lead", "when": "2025-03-01", "assessor": "A01", "signs": "redness", "action": "washed off"}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_study(small_study(), tmp_path / "s")
    return tmp_path / "s"


def with_rows(study: Study, table: str, /, **columns: object) -> Study:
    return replace(study, tables={**study.tables, table: study.table(table).assign(**columns)})


def with_reaction(study: Study, signs: str = "redness") -> Study:
    longer = record_reaction(study.table("reactions"), severity="mild", batch="B1", **{**REACTION, "signs": signs})
    return replace(study, tables={**study.tables, "reactions": longer})


def with_fact(study: Study, **facts: object) -> Study:
    return replace(study, facts={**study.facts, **facts})


def lines(folder: Path) -> list[dict]:
    return [json.loads(line) for line in (folder / "journal.jsonl").read_bytes().splitlines()]


# what goes together, and what does not


def test_two_that_saw_the_same_study_both_have_their_reaction_on_record(folder: Path):
    seen = read_folder(folder)
    for signs in ("redness", "itching"):
        save(folder, seen, lambda now, signs=signs: with_reaction(now, signs))
    kept = read_folder(folder).table("reactions")
    assert kept["signs"].tolist() == ["redness", "itching"]
    assert kept["reaction"].nunique() == 2


def test_changes_of_different_tables_rows_and_facts_go_together(folder: Path):
    seen = read_folder(folder)
    names = seen.table("prototypes")["name"]
    save(folder, seen, with_rows(seen, "prototypes", name=["mine", names[1]]))
    save(folder, seen, with_rows(seen, "prototypes", name=[names[0], "yours"]))
    save(folder, seen, with_rows(seen, "batches", ph=6.25))
    save(folder, seen, with_fact(seen, purpose="which one"))
    save(folder, seen, with_fact(seen, dose="20 mg"))
    now = read_folder(folder)
    assert now.table("prototypes")["name"].tolist() == ["mine", "yours"]
    assert now.table("batches")["ph"].tolist() == [6.25]
    assert (now.facts["purpose"], now.facts["dose"]) == ("which one", "20 mg")
    for name, table in seen.tables.items():
        if name not in ("prototypes", "batches"):
            pd.testing.assert_frame_equal(now.tables[name], table)
    assert list(now.tables["prototypes"].columns) == list(seen.tables["prototypes"].columns)
    assert now.raw_files == seen.raw_files


def test_rows_without_a_key_are_known_by_what_they_hold(folder: Path):
    seen = read_folder(folder)
    scores = seen.table("scores")["score"]
    save(folder, seen, with_rows(seen, "scores", score=[1.5, *scores[1:]]))
    save(folder, seen, with_rows(seen, "scores", score=[*scores[:2], 2.5]))
    np.testing.assert_array_equal(read_folder(folder).table("scores")["score"], [1.5, scores[1], 2.5])
    with pytest.raises(StudyError, match=r"yours 'score=9'; in the study now 'score=1\.5'"):
        save(folder, seen, with_rows(seen, "scores", score=[9.0, *scores[1:]]))


def test_the_same_row_changed_twice_is_refused_with_both_sides(folder: Path):
    seen = read_folder(folder)
    save(folder, seen, with_rows(seen, "prototypes", name=["theirs", "b"]))
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    with pytest.raises(StudyError) as caught:
        save(folder, seen, with_rows(seen, "prototypes", name=["mine", "b"]))
    said = str(caught.value)
    assert "Somebody else changed the same rows since you opened the study; nothing was saved." in said
    assert "prototypes, prototype=P1: before 'name=base'; yours 'name=mine'; in the study now 'name=theirs'." in said
    assert said.endswith("Look at what is there now, then make your change again.")
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before


@pytest.mark.parametrize("as_function", [True, False])
def test_a_fact_changed_twice_is_refused_but_a_list_that_both_made_longer_is_not(folder: Path, as_function: bool):
    seen = read_folder(folder)

    def change(**facts):
        return (lambda now: with_fact(now, **facts)) if as_function else with_fact(seen, **facts)

    save(folder, seen, change(dose="20 mg"))
    with pytest.raises(StudyError, match=r"yours .*30 mg"):
        save(folder, seen, change(dose="30 mg"))
    for name in ("a", "b"):
        longer = lambda now, name=name: with_fact(now, notes=[*now.facts.get("notes", []), name])  # noqa: E731
        save(folder, seen, longer if as_function else longer(seen))
    assert read_folder(folder).facts["notes"] == ["a", "b"]


def test_a_row_removed_by_one_and_changed_by_the_other_is_refused(folder: Path):
    seen = read_folder(folder)
    shorter = replace(seen, tables={**seen.tables, "prototypes": seen.table("prototypes").iloc[1:]})
    save(folder, seen, shorter)
    with pytest.raises(StudyError, match="in the study now 'nothing'"):
        save(folder, seen, with_rows(seen, "prototypes", name=["mine", "b"]))


def test_two_edited_copies_never_give_one_number_to_two_reactions(folder: Path):
    seen = read_folder(folder)
    save(folder, seen, with_reaction(seen, "redness"))
    with pytest.raises(StudyError, match="Somebody else changed the same rows"):
        save(folder, seen, with_reaction(seen, "itching"))


def test_both_may_bring_in_a_row_of_readings_but_not_one_prototype(folder: Path):
    seen = read_folder(folder)
    same = frame("readings", {"prototype": "P1", "measure": "pH", "unit": "1", "value": 5.5})
    for _ in range(2):
        save(folder, seen, replace(seen, tables={**seen.tables, "readings": pd.concat([seen.table("readings"), same])}))
    assert len(read_folder(folder).table("readings")) == len(seen.table("readings")) + 2
    for name, refused in (("mine", False), ("yours", True)):
        new = frame("prototypes", {"prototype": "P9", "name": name})
        longer = pd.concat([seen.table("prototypes"), new], ignore_index=True).fillna("")
        changed = replace(seen, tables={**seen.tables, "prototypes": longer})
        if refused:
            with pytest.raises(StudyError, match="yours 'prototype=P9; name=yours'; in the study now 'prototype=P9"):
                save(folder, seen, changed)
        else:
            save(folder, seen, changed)


def test_cells_that_cannot_be_read_stay_as_they_are(folder: Path):
    path = folder / "scores.csv"
    path.write_bytes(path.read_bytes().replace(b"48.7", b"4o"))
    seen = read_folder(folder)
    save(folder, seen, with_fact(seen, dose="20 mg"))
    save(folder, seen, with_rows(seen, "scores", position=[1.0, 2.0, 3.0]))
    now = read_folder(folder)
    assert now.unread.to_numpy().tolist() == seen.unread.to_numpy().tolist()
    assert b"4o" in path.read_bytes()


def test_nothing_is_written_where_nothing_changes(folder: Path):
    before = {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in folder.rglob("*") if path.is_file()}
    save(folder, read_folder(folder), lambda now: now)
    write_study(small_study(), folder, overwrite=True)
    assert {p: (p.read_bytes(), p.stat().st_mtime_ns) for p in folder.rglob("*") if p.is_file()} == before


def test_a_folder_that_is_no_study_is_refused(tmp_path: Path):
    with pytest.raises(StudyError, match="There is no folder"):
        save(tmp_path / "no", small_study(), small_study())
    with pytest.raises(StudyError, match="is not a study"):
        save(tmp_path, small_study(), small_study())
    assert list(tmp_path.iterdir()) == []


# the journal


def test_the_journal_says_who_changed_what_and_the_study_stays_a_valid_package(folder: Path):
    seen = read_folder(folder)
    save(folder, seen, with_rows(seen, "batches", ph=6.25), who="Ada", what="pH measured again.")
    save(folder, seen, with_reaction, who="Lead", what="A reaction.")
    table = journal_rows(folder)
    assert tuple(table.columns) == _COLUMNS
    first = table.loc[table["change"] == 1].iloc[0]
    assert first[["who", "what", "table", "key", "before", "after"]].tolist() == [
        "Ada", "pH measured again.", "batches", "batch B1", "ph 5.5", "ph 6.25"]  # fmt: skip
    assert table["change"].tolist() == [2, 1]
    assert table["before"].iloc[0] == ""
    assert "signs redness" in table["after"].iloc[0]
    one, two = (folder / "journal.jsonl").read_bytes().splitlines()
    assert json.loads(one)["previous"] == ""
    assert json.loads(two)["previous"] == hashlib.sha256(one).hexdigest()
    assert json.loads(one)["version"]["after"] == json.loads(two)["version"]["before"]
    assert json.loads(two)["version"]["after"] == version_of(read_folder(folder))
    assert journal_faults(folder) == ()
    package = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))
    stated = package["afterfeel"]["journal_sha256"]
    assert stated == hashlib.sha256((folder / "journal.jsonl").read_bytes()).hexdigest()
    assert "journal_sha256" not in read_folder(folder).facts
    report = frictionless.Package(str(folder / "datapackage.json")).validate()  # the outside judge
    assert report.flatten(["type", "note"]) == []


def test_a_study_without_a_journal_has_no_faults_and_no_changes(folder: Path):
    assert journal_faults(folder) == ()
    assert journal_rows(folder).empty


@pytest.mark.parametrize(
    ("edit", "words"),
    [
        (lambda lines: [lines[0].replace(b"Ada", b"Eve"), *lines[1:]], "line 2 does not follow from the line before"),
        (lambda lines: [lines[0], *lines[2:]], "line 2 does not follow"),
        (lambda lines: [lines[1], lines[0], lines[2]], "line 1 does not follow"),
        (lambda lines: lines[:2], "was edited at its end"),
        (lambda lines: [*lines[:2], lines[2].replace(b"Ada", b"Eve")], "was edited at its end"),
        (lambda lines: [b"{", *lines[1:]], "Line 1 of journal.jsonl cannot be read"),
        (lambda lines: [b"[]", *lines[1:]], "Line 1 of journal.jsonl cannot be read"),
        (None, "journal.jsonl is missing"),
    ],
)
def test_an_edit_of_the_journal_is_found_and_remembered(folder: Path, edit, words: str):
    for number in range(3):
        save(folder, read_folder(folder), lambda now, n=number: with_fact(now, dose=f"{n} mg"), who="Ada")
    path = folder / "journal.jsonl"
    if edit is None:
        path.unlink()
    else:
        path.write_bytes(b"\n".join(edit(path.read_bytes().splitlines())) + b"\n")
    assert any(words in fault for fault in journal_faults(folder))
    save(folder, read_folder(folder), lambda now: with_fact(now, dose="9 mg"))
    assert journal_faults(folder) != ()  # a later change does not cover it up


def test_a_change_by_hand_is_told_of(folder: Path):
    save(folder, read_folder(folder), lambda now: with_fact(now, dose="1 mg"))
    path = folder / "scores.csv"
    path.write_bytes(path.read_bytes().replace(b"48.7", b"48.8"))
    assert journal_rows(folder)["what"].iloc[0] == _OUTSIDE
    save(folder, read_folder(folder), lambda now: with_fact(now, dose="2 mg"))
    assert _OUTSIDE in journal_rows(folder)["what"].tolist()


def test_of_a_very_long_change_what_is_on_record_is_listed_in_full():
    rows = [{"assessor": "A", "prototype": "P", "attribute": "G", "score": str(n)} for n in range(_MOST_ROWS_LISTED)]
    after = {"scores": rows, "safety": [{"item": "patch"}, {"item": "dose"}]}
    changes = row_changes({}, after)
    entry = json.loads(next_line(b"", changes, who="", what="x", version=("a", "b")))
    assert [row["table"] for row in entry["rows"][:3]] == ["safety", "safety", "scores"]
    assert entry["not_listed"] == 2
    assert len(entry["rows"]) == _MOST_ROWS_LISTED


# taking back


def test_a_change_is_taken_back_as_a_new_change(folder: Path):
    before = read_folder(folder)
    fewer = before.table("scores").iloc[:-1]
    save(folder, before, lambda now: replace(with_fact(now, dose="9 mg"), tables={**now.tables, "scores": fewer}))
    undo(folder, 1, who="Ada", why="wrong study")
    now = read_folder(folder)
    rows = rows_of_study(now)
    assert row_changes(rows_of_study(before), rows) == ()
    assert lines(folder)[1]["what"] == "Change 1 taken back: wrong study"
    undo(folder, 2, who="Ada", why="it was right")
    assert len(read_folder(folder).table("scores")) == len(fewer)
    assert journal_faults(folder) == ()


def test_what_cannot_be_taken_back(folder: Path):
    save(folder, read_folder(folder), with_reaction)
    save(folder, read_folder(folder), lambda now: with_fact(now, dose="1 mg"))
    save(folder, read_folder(folder), lambda now: with_fact(now, dose="2 mg"))
    with pytest.raises(StudyError, match=r"Change 1 put something on record \(reactions\), and that stays"):
        undo(folder, 1, who="Ada", why="x")
    with pytest.raises(StudyError, match=r"Somebody else changed the same rows .* in the study now '.*2 mg"):
        undo(folder, 2, who="Ada", why="x")
    with pytest.raises(StudyError, match="The journal has no change 9; it has 3"):
        undo(folder, 9, who="Ada", why="x")
    with pytest.raises(StudyError, match="needs a name and a reason"):
        undo(folder, 2, who=" ", why="x")
    (folder / "journal.jsonl").write_bytes(b"{\n")
    with pytest.raises(StudyError, match=r"Line 1 of journal\.jsonl cannot be read; put the journal back"):
        undo(folder, 1, who="Ada", why="x")


# several at once


def _writer(folder: Path, name: str, count: int, told: Path) -> None:
    """Put sign-offs and reactions on record as the app does, and note each one that was acknowledged."""
    with told.open("w") as notes:
        for number in range(count):
            seen = read_folder(folder)
            if number % 2:
                save(folder, seen, lambda now, n=number: with_reaction(now, f"{name} {n}"), who=name)
            else:
                save(folder, seen, lambda now, n=number: _signed(now, f"{name} {n}"), who=name)
            notes.write(f"{name} {number}\n")
            notes.flush()


def _signed(study: Study, note: str) -> Study:
    facts = {"who": "Dr S", "role": "assessor", "date": "2025-03-01", "document": "SA 7", "note": note}
    signed = _record_sign_off(study.table("safety"), sign_offs_item(), batch="B1", outcome="signed", **facts)
    return replace(study, tables={**study.tables, "safety": signed})


def sign_offs_item() -> str:
    from panel.study.knowledge import shared_table

    return str(shared_table("safety_gate")["item"].iloc[0])


@pytest.mark.parametrize("writers", [2, 8])
def test_every_acknowledged_row_of_several_processes_is_kept(folder: Path, tmp_path: Path, writers: int):
    each = 48 // writers
    started = writing_processes(__name__)
    notes = [tmp_path / f"told {number}" for number in range(writers)]
    running = [started.Process(target=_writer, args=(folder, f"W{n}", each, notes[n])) for n in range(writers)]
    for process in running:
        process.start()
    seen = []
    while any(process.is_alive() for process in running):
        study = read_folder(folder)
        seen.append((len(study.table("safety")), len(study.table("reactions"))))
        time.sleep(0.05)
    for process in running:
        process.join()
        assert process.exitcode == 0
    acknowledged = sorted(line for path in notes for line in path.read_text().splitlines())
    study = read_folder(folder)
    kept = sorted([*study.table("safety")["note"], *study.table("reactions")["signs"]])
    assert len(acknowledged) == 48
    assert kept == acknowledged
    assert study.table("reactions")["reaction"].nunique() == len(study.table("reactions"))
    assert len(lines(folder)) == 48
    assert journal_faults(folder) == ()
    for counts in zip(*seen, strict=True):
        assert list(counts) == sorted(counts)  # whoever reads meanwhile sees the record grow, and nothing vanish
    assert empty_table("reactions").empty
