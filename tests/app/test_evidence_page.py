"""The page with the evidence file: what is missing first, downloads made on demand, a number traced back."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from panel.app.state import STUDY_VARIABLE
from panel.study.folder import write_study
from tests.app.running import part_of_app
from tests.studies import small_study


@pytest.fixture
def app(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> AppTest:
    write_study(small_study({"invented": True}), tmp_path / "small")
    monkeypatch.setenv(STUDY_VARIABLE, str(tmp_path / "small"))
    return part_of_app("evidence_file").run()


def shown(app: AppTest) -> str:
    parts = [*app.title, *app.header, *app.subheader, *app.markdown, *app.caption, *app.warning]
    return " ".join(part.value for part in parts).replace("\\", "").replace("\u00a0", " ")


def test_gaps_come_first_and_the_mark_is_said(app: AppTest):
    assert not app.exception
    words = shown(app)
    assert app.title[0].value == "Say"
    assert "gaps are named in it" in words
    assert "Part 1, Claim sheet: Nobody has written down a claim" in words
    assert "Invented data" in words
    assert words.index("Nobody has written down a claim") < words.index("PDF: to read and keep")


def test_there_are_four_forms_and_the_archive(app: AppTest):
    labels = [button.label for button in app.get("download_button")]
    for label in ("PDF", "DOCX", "HTML", "XLSX"):
        assert f"Evidence file, {label}" in labels
    assert "Archive of the study, ZIP" in labels


def test_a_number_is_traced_back(app: AppTest):
    app.text_input[0].set_value("D-AF_GREASE-P2-P1-estimate").run()
    assert not app.exception
    words = shown(app)
    assert "D-AF_GREASE-P2-P1-estimate = " in words
    assert "16 direct and 16 through the model" in words


def test_an_unknown_id_is_answered_with_near_ones(app: AppTest):
    app.text_input[0].set_value("D-AF_GREESE-P2-P1-estimate").run()
    assert not app.exception
    assert "Near to it: D-AF_GREASE-P2-P1-estimate" in shown(app)


def test_each_gap_stands_with_the_way_to_where_it_is_mended_and_with_a_command_only_where_there_is_none(app: AppTest):
    words = shown(app)
    assert "Nobody has written down a claim, so none is judged here." in words
    assert words.count("(afterfeel ") == 1
    assert "No rule for leaving out a score or a person was recorded before the key was opened. (afterfeel" in words
    button = next(each for each in app.button if each.label == "Open Attributes")
    button.click().run()
    assert app.session_state["editor"] == "attributes"
