"""The place Consumers: each kind of answer of the demo, a small liking study, and a study without consumers."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from panel.app.state import STUDY_VARIABLE
from panel.study.folder import write_study
from tests.app.running import part_of_app, with_open_drawers
from tests.consumer_studies import answers_study, one_group_panel
from tests.studies import small_study

KINDS = ("just_about_right", "check_all", "agreement")


def shown(app: AppTest) -> str:
    """Return everything the page says, without the signs that keep it from being taken for formatting."""
    parts = [*app.title, *app.header, *app.subheader, *app.markdown, *app.caption, *app.warning]
    return " ".join(part.value for part in parts).replace("\\", "").replace("\u00a0", " ")


def opened(part: str, study, folder: Path, monkeypatch: pytest.MonkeyPatch) -> AppTest:
    write_study(study, folder)
    monkeypatch.setenv(STUDY_VARIABLE, str(folder))
    return with_open_drawers(part_of_app(part))


@pytest.fixture
def demo(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(STUDY_VARIABLE, raising=False)


@pytest.mark.parametrize(
    ("part", "answer", "words"),
    [
        ("liking", "There is no single winner: P4, P8", "not buying"),
        ("groups", "The prototypes please different people: 2 groups of 38 and 19 consumers.", "start from seed"),
        ("preference_map", "Liking goes along in group 1", "component"),
    ],
)
def test_liking_answers_first(demo: None, part: str, answer: str, words: str):
    app = with_open_drawers(part_of_app(part))
    assert not app.exception
    assert not app.warning
    assert app.header[0].value.replace("\\", "").replace("\u00a0", " ").startswith(answer)
    assert words in shown(app)


def test_where_nobody_was_asked_for_liking_the_way_leads_to_what_was_answered(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    study = answers_study(one_group_panel(np.random.default_rng(1), "even", 12, 2))
    answers = study.table("answers").assign(kind="agreement", question="soft", answer="4")
    app = opened("liking", replace(study, tables={**study.tables, "answers": answers}), tmp_path, monkeypatch)
    assert not app.exception
    links = [link.label for link in app.get("page_link")]
    assert [label for label in links if ": " in label] == ["Statements: How many agree with a statement."]


@pytest.mark.parametrize(
    ("part", "words", "tables"),
    [
        (KINDS[0], ["Over all prototypes consumers like it less where they find", "too thin", "Welch"], 6),
        (KINDS[1], ["All 16 terms but white marks", "greasy: where it is ticked", "Cochran"], 5),
        (KINDS[2], ["agree in 6 of 8 cases", "44 of 58 (75.8 %)", "scent", "never rounded up"], 3),
    ],
)
def test_the_other_kinds_of_the_demo(demo: None, part: str, words: list[str], tables: int):
    app = with_open_drawers(part_of_app(part))
    assert not app.exception
    assert not app.warning
    told = shown(app).replace("**", "")
    for some in words:
        assert some in told
    assert len(app.table) == tables
    assert "There is no single winner" not in told


def test_another_question_can_be_chosen(demo: None):
    app = with_open_drawers(part_of_app(KINDS[0]))
    app.selectbox[0].select("glide").run()
    assert not app.exception
    assert any("Too little" in table.value.columns for table in app.table)


def test_liking_without_a_panel_has_no_preference_map_and_says_why(tmp_path, monkeypatch):
    study = answers_study(one_group_panel(np.random.default_rng(1), "even", 45, 6))
    words = shown(opened("groups", study, tmp_path / "study", monkeypatch))
    assert "One group: no stable groups of consumers were found." in words
    assert "The study has no scores" in shown(with_open_drawers(part_of_app("preference_map")))


def test_too_few_prototypes_for_groups_still_show_liking(tmp_path, monkeypatch):
    study = answers_study(one_group_panel(np.random.default_rng(1), "even", 20, 2))
    assert "not buying" in shown(opened("liking", study, tmp_path / "study", monkeypatch))
    words = shown(with_open_drawers(part_of_app("groups")))
    assert "Groups are looked for from 4 prototypes on; consumers tried 2." in words


@pytest.mark.parametrize("part", ["liking", *KINDS])
def test_a_study_without_answers_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, part: str):
    app = opened(part, small_study(), tmp_path / "small", monkeypatch)
    assert not app.exception
    assert "answers. Bring a survey that asks for them" in shown(app)
    assert "Bring a survey of consumers" in [button.label for button in app.button]


def test_beside_answers_of_another_kind_the_way_to_a_survey_stays(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    study = answers_study(one_group_panel(np.random.default_rng(1), "even", 20, 4))
    app = opened("check_all", study, tmp_path / "study", monkeypatch)
    assert "Bring a survey of consumers" in [button.label for button in app.button]
