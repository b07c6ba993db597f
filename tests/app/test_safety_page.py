"""The page about the safety gate: the demo, a sign-off taken to green, and what a reaction does to the ballots."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from panel.app.state import STUDY_VARIABLE
from panel.plan.safety import safety_gate
from panel.store.ballot import prepare_ballots
from panel.store.database import open_store, store_url
from panel.store.preparing import safety_signed
from panel.study.folder import read_folder, write_study
from panel.study.knowledge import shared_table
from panel.study.study import Study
from tests.app.running import part_of_app, with_open_drawers
from tests.ballot_studies import PROTOTYPES, ballot_study, cleared

TODAY = "2027-01-01"  # a day on which whatever is signed today counts


def shown(app: AppTest) -> str:
    parts = [*app.title, *app.header, *app.subheader, *app.markdown, *app.caption, *app.warning, *app.success]
    return " ".join(part.value for part in parts).replace("\\", "").replace("\u00a0", " ")


def labelled(widgets, label: str):
    return next(widget for widget in widgets if widget.label == label)


def opened(folder: Path, study: Study, monkeypatch: pytest.MonkeyPatch) -> AppTest:
    monkeypatch.delenv("AFTERFEEL_DATABASE_URL", raising=False)
    write_study(study, folder)
    monkeypatch.setenv(STUDY_VARIABLE, str(folder))
    return with_open_drawers(part_of_app("safety"))


def is_open(folder: Path) -> bool:
    store = open_store(store_url(folder))
    try:
        return safety_signed(store, 1)
    finally:
        store.close()


def test_the_demo_is_signed_by_invented_people_and_the_cautions_stay(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.delenv(STUDY_VARIABLE, raising=False)
    app = with_open_drawers(part_of_app("safety"))
    assert not app.exception
    assert not app.warning
    words = shown(app)
    assert "The ballots may open for all 8 batches: a named person signed every item." in words
    assert "This record does not replace a safety assessor" in words
    assert words.count("Not a safety assessment.") == 1


def test_all_items_signed_open_the_gate_and_the_ballots(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    folder = tmp_path / "hills"
    app = opened(folder, ballot_study(), monkeypatch)
    prepare_ballots(folder, ballot_study())
    assert not is_open(folder)
    labelled(app.multiselect, "Items").set_value(list(shared_table("safety_gate")["item"]))
    labelled(app.text_input, "Who signed (name)").set_value("Dr S. Assessor")
    labelled(app.text_input, "In which role").set_value("safety assessor")
    labelled(app.text_input, "Document, and where it is").set_value("SA 7")
    labelled(app.button, "Record it").click().run()
    assert not app.exception
    assert "The safety gate is open: 3 of 3 served prototypes" in shown(app)
    assert f"{len(shared_table('safety_gate'))} sign-offs recorded." in shown(app)
    assert safety_gate(read_folder(folder), TODAY).batches["open"].all()
    assert is_open(folder)
    assert "Hand out the ballots" in [link.proto.label for link in app.get("page_link")]


@pytest.mark.parametrize(
    ("items", "who", "words"),
    [([], "Dr S.", "Choose the items that were signed"), (["preservation"], "", "needs a named person, her role")],
)
def test_what_is_missing_is_said_and_nothing_is_kept(
    items: list[str], who: str, words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    app = opened(tmp_path / "hills", ballot_study(), monkeypatch)
    labelled(app.multiselect, "Items").set_value(items)
    labelled(app.text_input, "Who signed (name)").set_value(who)
    labelled(app.button, "Record it").click().run()
    assert words in shown(app)
    assert "safety" not in read_folder(tmp_path / "hills").tables


def test_a_reaction_freezes_its_batch_closes_the_ballots_and_is_settled(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    folder = tmp_path / "hills"
    app = opened(folder, cleared(ballot_study()), monkeypatch)
    prepare_ballots(folder, cleared(ballot_study()))
    assert is_open(folder)
    labelled(app.selectbox, "Batch that was applied").set_value(f"{PROTOTYPES[0]}-1")
    for label, value in (
        ("Who writes it down", "lead"),
        ("What was seen or felt, and where", "red patch"),
        ("What was done", "rinsed"),
    ):
        labelled(app.text_input, label).set_value(value)
    labelled(app.button, "Write it down and freeze the batch").click().run()
    assert not app.exception
    assert "is frozen: the reaction of somebody" in shown(app)
    assert not is_open(folder)
    for label, value in (
        ("Who settles it", "Dr S."),
        ("What was concluded", "not the sample"),
        ("Document about it", "AE 1"),
    ):
        labelled(app.text_input, label).set_value(value)
    labelled(app.button, "Settle it").click().run()
    assert not app.exception
    assert is_open(folder)
    assert len(read_folder(folder).table("reactions")) == 2


def test_without_batches_it_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    app = opened(tmp_path / "hills", ballot_study(batches=ballot_study().table("batches").iloc[:0]), monkeypatch)
    assert not app.exception
    assert "no batches are written down. Fill in the table of batches first." in shown(app)


def test_a_study_that_is_only_in_this_window_is_told_to_be_saved(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.delenv(STUDY_VARIABLE, raising=False)
    app = with_open_drawers(part_of_app("safety"))
    labelled(app.multiselect, "Items").set_value(["preservation"])
    labelled(app.text_input, "Who signed (name)").set_value("Dr S.")
    labelled(app.text_input, "In which role").set_value("safety assessor")
    labelled(app.text_input, "Document, and where it is").set_value("SA 7")
    labelled(app.button, "Record it").click().run()
    assert not app.exception
    assert "It is not saved yet: save a copy on the page Study." in shown(app)
