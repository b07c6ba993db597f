"""What the app and the lock write about a test, the evidence file reads: seal, openings, locks, days, ages."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from panel.app.state import FOLDERS_VARIABLE, STUDY_VARIABLE
from panel.checks.batches import check_batches
from panel.plan.codes import first_opening, plan_fits_seal, sealed_key
from panel.report.contents.blocks import TextTable, Words
from panel.report.contents.evidence import evidence_report
from panel.store.ballot import prepare_ballots
from panel.store.database import now, open_store, store_url
from panel.store.events import Entry, record
from panel.study.folder import read_folder, write_study
from panel.study.study import Study
from tests.app.running import part_of_app
from tests.ballot_studies import ballot_study, cleared


def shown(app: AppTest) -> str:
    return " ".join(
        part.value for part in [*app.header, *app.subheader, *app.markdown, *app.warning, *app.success]
    ).replace("\\", "")


def labelled(widgets, label: str):
    return next(widget for widget in widgets if widget.label == label)


def page() -> AppTest:
    app = part_of_app("ballots").run()
    assert not app.exception
    return app


def lock(session: str) -> None:
    app = page()
    labelled(app.selectbox, "Session").set_value(session)
    app.run()
    labelled(app.text_input, "Who locks it").set_value("lead")
    labelled(app.checkbox, "Lock it, with what is missing").check()
    labelled(app.button, "Lock the session").click().run()
    assert not app.exception


def open_the_key() -> None:
    app = page()
    labelled(app.text_input, "Who opens it").set_value("analyst")
    labelled(app.text_input, "For which reason").set_value("analysis")
    labelled(app.button, "Write it down and open").click().run()
    assert not app.exception


@pytest.fixture(scope="module")
def collected(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Give the folder of a study that was planned, answered and locked once for all tests."""
    with pytest.MonkeyPatch.context() as monkeypatch:
        home = tmp_path_factory.mktemp("collected")
        monkeypatch.setenv(FOLDERS_VARIABLE, str(home))
        monkeypatch.setattr("panel.study.open_study._recent_file", lambda: home / "recent.json")
        yield _collected(home, monkeypatch)


@pytest.fixture
def folder(collected: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a copy of that study, which the app opens."""
    monkeypatch.setenv(STUDY_VARIABLE, str(tmp_path / collected.name))
    return Path(shutil.copytree(collected, tmp_path / collected.name))


def _collected(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a study whose plan the app wrote and whose sessions were answered and locked."""
    monkeypatch.delenv("AFTERFEEL_DATABASE_URL", raising=False)
    monkeypatch.setattr("panel.ballots.serving.lan_address", lambda: "127.0.0.1")
    study = cleared(ballot_study())
    batches = study.table("batches").assign(made_on="2025-03-01")
    tables = {name: table for name, table in study.tables.items() if name != "servings"} | {"batches": batches}
    folder = tmp_path / "hills"
    write_study(Study(tables, study.facts), folder)
    monkeypatch.setenv(STUDY_VARIABLE, str(folder))
    app = page()
    app.text_input[-1].set_value("trainer")
    labelled(app.button, "Write the plan into the study").click().run()
    assert not app.exception
    prepare_ballots(folder, read_folder(folder))
    store = open_store(store_url(folder))
    for number, session in enumerate(read_folder(folder).table("servings")["session"].unique()):
        plan = read_folder(folder).table("servings").query("session == @session and assessor == 'A01'")
        place = {"collection": 1, "session": session, "assessor": "A01", "at": now()}
        first = 1 + number * len(read_folder(folder).table("servings").query("session == @session"))
        entries = [Entry("answer", first + n, name, 10.0 + n) for n in range(len(plan)) for name in ("GLOSS", "SPREAD")]
        record(store, entries, submission=f"s{session}", **place)
    store.close()
    for session in read_folder(folder).table("servings")["session"].unique():
        lock(session)
    return folder


def part(study: Study, number: str):
    return next(section for section in evidence_report(study).sections if section.number == number)


def words(section) -> str:
    return "\n".join(text for block in section.blocks if isinstance(block, Words) for text in block.texts)


def test_the_seal_that_the_app_wrote_stands_in_the_evidence_file(folder: Path):
    study = read_folder(folder)
    seal = sealed_key(study)
    assert seal is not None
    assert seal["sealed_by"] == "trainer"
    assert plan_fits_seal(study)
    told = words(part(study, "7"))
    assert f"Seal of the key: SHA-256 {seal['sha256']}, {seal['codes']} codes, by trainer on " in told
    assert ", before the first score (" in told
    assert not any("seal" in gap.casefold() for gap in part(study, "7").gaps)


def test_a_plan_that_was_changed_after_the_seal_is_a_gap(folder: Path):
    study = read_folder(folder)
    servings = study.table("servings").copy()
    servings.loc[0, "code"] = "111"
    changed = Study({**study.tables, "servings": servings}, study.facts)
    assert any("no longer has the key that was sealed" in gap for gap in part(changed, "7").gaps)


def test_a_seal_after_the_first_score_is_a_gap(folder: Path):
    study = read_folder(folder)
    late = {**study.facts, "key": {**study.facts["key"], "sealed_at": "2999-01-01T00:00:00+00:00"}}
    assert any("not before the first score" in gap for gap in part(Study(study.tables, late), "7").gaps)


def test_without_a_seal_that_is_a_gap():
    assert any("No seal of the key is recorded" in gap for gap in part(ballot_study(), "7").gaps)


def test_the_days_of_the_test_are_those_of_the_scores(folder: Path):
    study = read_folder(folder)
    days = sorted({text[:10] for text in study.scores["recorded_at"]})
    for number in ("5", "12"):
        told = "\n".join(str(block) for block in part(study, number).blocks)
        assert all(day in told for day in days)
        assert "(by the times of the scores)" in told
    assert not any("on which days" in gap for gap in part(study, "5").gaps)


def test_the_locks_and_the_opening_stand_in_the_evidence_file(folder: Path):
    assert any("when the key was opened" in gap for gap in part(read_folder(folder), "7").gaps)
    open_the_key()
    study = read_folder(folder)
    section = part(study, "7")
    (opening,) = study.table("unblindings")["when"]
    assert first_opening(study) == opening
    assert f"Key first opened: {opening.replace('T', ' ')}" in words(section)
    assert not any("when the key was opened" in gap for gap in section.gaps)
    tables = {block.title: block.shown for block in section.blocks if isinstance(block, TextTable)}
    assert tables["Sessions locked"]["Session"].tolist() == list(study.table("servings")["session"].unique())
    assert tables["Sessions locked"]["Who"].unique().tolist() == ["lead"]


def test_the_age_of_a_batch_is_known_from_its_scores(folder: Path):
    study = read_folder(folder)
    assert "age_unknown" not in {finding.kind for finding in check_batches(study)}
    (table,) = [block for block in part(study, "3").blocks if getattr(block, "title", "") == "Batches"]
    assert "not known" not in table.shown["Age at test"].tolist()
    assert table.shown["Tested"].str.startswith(study.scores["recorded_at"].min()[:10]).all()


def test_after_the_last_lock_the_page_says_so_and_where_to_go(folder: Path):
    app = page()
    told = shown(app)
    assert "All sessions are locked" in told
    assert "Which prototypes differ?" in [link.proto.label for link in app.get("page_link")]
    assert "ballots are closed" not in told
    assert "can be answered" not in told
