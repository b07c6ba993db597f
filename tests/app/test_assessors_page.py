"""The page about the assessors: with the demo, with a small study, and with one that has too little to say."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from panel.app.state import STUDY_VARIABLE
from panel.study.folder import write_study
from tests.app.running import part_of_app, with_open_drawers
from tests.studies import small_study


def shown(app: AppTest) -> str:
    """Return everything the page says, without the signs that keep it from being taken for formatting."""
    parts = [*app.title, *app.header, *app.subheader, *app.markdown, *app.caption, *app.warning]
    return " ".join(part.value for part in parts).replace("\\", "").replace("\u00a0", " ")


def opened() -> AppTest:
    return part_of_app("assessors")


def labelled(widgets, label: str):
    return next(widget for widget in widgets if widget.label == label)


@pytest.fixture
def demo(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(STUDY_VARIABLE, raising=False)


def test_the_demo(demo: None):
    app = with_open_drawers(opened())
    assert not app.exception
    assert not app.warning
    words = shown(app)
    assert "Talk to A03 about using the whole scale, A06 about repeating, A07 about speed of soaking in" in words
    assert "Training comes first." in words
    assert "Correcting for use of the scale" in words


def test_somebody_who_calls_for_something_is_shown_first_and_others_can_be_chosen(demo: None):
    app = with_open_drawers(opened())
    assert labelled(app.selectbox, "Assessor").value == "A03"
    labelled(app.selectbox, "Assessor").set_value("A07").run()
    assert not app.exception
    assert labelled(app.selectbox, "Attribute").value == "RO_ABS"


def test_a_small_study(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    write_study(small_study(), tmp_path / "small")
    monkeypatch.setenv(STUDY_VARIABLE, str(tmp_path / "small"))
    app = with_open_drawers(opened())
    assert not app.exception
    assert "in line" in shown(app) or "Talk to" in shown(app)


def test_a_study_without_scores_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    write_study(small_study(scores=small_study().scores.iloc[:0]), tmp_path / "empty")
    monkeypatch.setenv(STUDY_VARIABLE, str(tmp_path / "empty"))
    app = with_open_drawers(opened())
    assert not app.exception
    assert "has no scores" in shown(app)
