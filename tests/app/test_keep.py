"""One function saves a change from any page: what several windows write in the same second is all kept."""

from __future__ import annotations

import threading
from dataclasses import replace
from pathlib import Path

import pytest

from panel.app.state import StudyHandle, StudyInUse, keep
from panel.errors import StudyError
from panel.plan.safety import record_reaction
from panel.study.folder import read_folder, write_study
from panel.study.saving import journal_faults, journal_rows
from panel.study.study import Study
from tests.ballot_studies import ballot_study

WINDOWS = 4


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_study(ballot_study(), tmp_path / "hills")
    return tmp_path / "hills"


def in_use(folder: Path) -> StudyInUse:
    return StudyInUse(read_folder(folder), StudyHandle(folder.name, str(folder)))


def with_reaction(study: Study, signs: str) -> Study:
    facts = {"who": "Lead", "when": "2025-03-01", "assessor": "A01", "signs": signs, "action": "washed off"}
    longer = record_reaction(study.table("reactions"), severity="mild", batch="Matterhorn-1", **facts)
    return replace(study, tables={**study.tables, "reactions": longer})


def test_reactions_from_several_windows_are_all_on_record(folder: Path):
    together = threading.Barrier(WINDOWS)
    told: list[str] = []

    def press(window: int) -> None:
        for number in range(5):
            study, signs = in_use(folder), f"{window} {number}"
            together.wait()
            told.append(keep(study, lambda now, signs=signs: with_reaction(now, signs), "The reaction is on record."))

    windows = [threading.Thread(target=press, args=(number,)) for number in range(WINDOWS)]
    for window in windows:
        window.start()
    for window in windows:
        window.join()
    assert told == [f"The reaction is on record. It is saved in {folder}."] * (5 * WINDOWS)
    kept = read_folder(folder).table("reactions")
    assert sorted(kept["signs"]) == sorted(f"{window} {number}" for window in range(WINDOWS) for number in range(5))
    assert kept["reaction"].nunique() == len(kept)
    assert journal_faults(folder) == ()
    assert set(journal_rows(folder)["what"]) == {"The reaction is on record."}


def test_what_does_not_go_together_is_refused(folder: Path):
    mine, theirs = in_use(folder), in_use(folder)
    keep(theirs, lambda now: replace(now, facts={**now.facts, "title": "Theirs"}), "Done.")
    with pytest.raises(StudyError, match="Somebody else changed the same rows since you opened the study"):
        keep(mine, lambda now: replace(now, facts={**now.facts, "title": "Mine"}), "Done.")
    assert read_folder(folder).facts["title"] == "Theirs"
