"""The page Forced choice: with the demo, with a study that has no such answers, and the count typed in."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from panel.app.state import STUDY_VARIABLE
from panel.study.folder import write_study
from tests.app.running import part_of_app, with_open_drawers
from tests.choice_studies import choice_study, named_rows, votes
from tests.studies import small_study


def shown(app: AppTest) -> str:
    parts = [*app.title, *app.header, *app.subheader, *app.markdown, *app.caption, *app.warning]
    return " ".join(part.value for part in parts).replace("\\", "").replace("\u00a0", " ")


def opened(study, folder: Path, monkeypatch: pytest.MonkeyPatch) -> AppTest:
    write_study(study, folder)
    monkeypatch.setenv(STUDY_VARIABLE, str(folder))
    return with_open_drawers(part_of_app("forced_choice"))


def labelled(widgets, label: str):
    return next(widget for widget in widgets if widget.label == label)


def test_the_demo(monkeypatch):
    monkeypatch.delenv(STUDY_VARIABLE, raising=False)
    app = with_open_drawers(part_of_app("forced_choice"))
    assert not app.exception
    assert not app.warning
    words = shown(app)
    assert app.title[0].value == "Consumers"
    assert "P4 and P8: people can tell them apart." in words
    assert "32 preferred P4" in shown(with_open_drawers(part_of_app("preference")))


def test_a_study_without_such_answers_says_how_to_record_them_and_offers_a_count(tmp_path, monkeypatch):
    app = opened(small_study(), tmp_path / "none", monkeypatch)
    assert not app.exception
    words = shown(app)
    assert "The study has no forced-choice answers" in words
    assert "duo_trio" in words
    assert "18 of 36 right" in words
    labelled(app.text_input, "Right answers").set_value("20")
    labelled(app.selectbox, "Test").set_value("duo_trio")
    app.run()
    assert "Duo-trio test of one sample and the other, 20 of 36 right" in shown(app)
    labelled(app.text_input, "People who may tell, % (empty: no test of similarity)").set_value("30,0")
    app.run()
    assert "fewer than 30 % can tell" in shown(app)


@pytest.mark.parametrize(
    ("label", "text", "words"),
    [
        ("Right answers", "50", "50 right answers of 36 cannot be"),
        ("Answers", "7.5", "Answers must be a whole number."),
        ("Answers", "many", "Answers cannot be read"),
        ("People who may tell, % (empty: no test of similarity)", "120", "must lie between 0 and 1"),
    ],
)
def test_what_cannot_be_is_answered_by_a_sentence(label, text, words, tmp_path, monkeypatch):
    app = opened(small_study(), tmp_path / "none", monkeypatch)
    labelled(app.text_input, label).set_value(text)
    app.run()
    assert not app.exception
    assert words in shown(app)


def test_only_preferences(tmp_path, monkeypatch):
    app = opened(choice_study(named_rows("preference", votes(30, 10))), tmp_path / "preferences", monkeypatch)
    assert not app.exception
    assert "P4 is preferred to P1" not in shown(app)
    assert "P4 is preferred to P1" in shown(with_open_drawers(part_of_app("preference")))
