"""The page Consumers: each kind of question of the demo, a small liking study, and a study without consumers."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from panel.app.state import STUDY_VARIABLE
from panel.study.folder import write_study
from tests.consumer_studies import answers_study, one_group_panel
from tests.studies import small_study

PAGE = Path(__file__).resolve().parents[2] / "panel" / "app" / "pages" / "consumers.py"
SECONDS = 60


def shown(app: AppTest) -> str:
    parts = [*app.title, *app.header, *app.markdown, *app.caption, *app.warning]
    return " ".join(part.value for part in parts).replace("\\", "")


def opened(study, folder: Path, monkeypatch: pytest.MonkeyPatch) -> AppTest:
    write_study(study, folder)
    monkeypatch.setenv(STUDY_VARIABLE, str(folder))
    return AppTest.from_file(str(PAGE), default_timeout=SECONDS).run()


def test_the_demo_answers_first_and_says_there_is_no_single_winner(monkeypatch):
    monkeypatch.delenv(STUDY_VARIABLE, raising=False)
    app = AppTest.from_file(str(PAGE), default_timeout=SECONDS).run()
    assert not app.exception
    assert not app.warning
    assert app.markdown[0].value.startswith("**There is no single winner")
    assert app.header[0].value == "Do they want different things?"
    words = shown(app)
    assert "There is no single winner: P4, P8" in words
    assert "The prototypes please different people: 2 groups of 39 and 18 consumers." in words
    assert "P8 against P4" in words
    assert "Liking goes along, for group 1" in words
    assert "not buying" in words


@pytest.mark.parametrize("kind", ["just_about_right", "check_all", "agreement"])
def test_the_other_kinds_of_the_demo(kind, monkeypatch):
    monkeypatch.delenv(STUDY_VARIABLE, raising=False)
    app = AppTest.from_file(str(PAGE), default_timeout=SECONDS).run()
    app.segmented_control[0].set_value(kind).run()
    assert not app.exception
    assert "There is no single winner" not in shown(app)


def test_liking_without_a_panel_has_no_preference_map_and_says_why(tmp_path, monkeypatch):
    study = answers_study(one_group_panel(np.random.default_rng(1), "even", 45, 6))
    app = opened(study, tmp_path / "study", monkeypatch)
    assert not app.exception
    words = shown(app)
    assert "One group: no stable groups of consumers were found." in words
    assert "The study has no scores" in words


def test_too_few_prototypes_for_groups_still_show_liking(tmp_path, monkeypatch):
    study = answers_study(one_group_panel(np.random.default_rng(1), "even", 20, 2))
    app = opened(study, tmp_path / "study", monkeypatch)
    assert not app.exception
    words = shown(app)
    assert "Groups are looked for from 4 prototypes on; consumers tried 2." in words
    assert "not buying" in words


def test_a_study_without_consumers_says_what_to_do(tmp_path, monkeypatch):
    app = opened(small_study(), tmp_path / "study", monkeypatch)
    assert not app.exception
    assert "This study has no answers of consumers yet. Add them to its table answers" in shown(app)
