"""The sections about consumer answers, each in a script of a few lines: the demo, and a study without answers."""

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from panel.app.state import STUDY_VARIABLE
from panel.study.folder import write_study
from tests.studies import small_study

SECONDS = 60  # a section takes one or two; a busy machine may take many times as long
SCRIPT = """
from panel.app import consumer_sections
from panel.app.widgets import page
from panel.study.naming import naming

study = page("Consumers")
consumer_sections.{section}(study, naming(study.study))
"""
SECTIONS = ("just_about_right_section", "check_all_section", "agreement_section")


def opened(section: str) -> AppTest:
    return AppTest.from_string(SCRIPT.format(section=section), default_timeout=SECONDS).run()


def shown(app: AppTest) -> str:
    """Return everything the page says, without the signs that keep it from being taken for formatting."""
    parts = [*app.header, *app.markdown, *app.caption, *app.warning]
    return " ".join(part.value for part in parts).replace("\\", "")


@pytest.fixture
def demo(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(STUDY_VARIABLE, raising=False)


@pytest.mark.parametrize(
    ("section", "words", "tables"),
    [
        (SECTIONS[0], ["Worth testing a change", "too thin", "Would P2 still be too thin", "Welch"], 7),
        (SECTIONS[1], ["All 16 terms but white marks", "greasy: where it is ticked", "Cochran"], 5),
        (SECTIONS[2], ["of 8 bars", "44 of 58 (75.8 %)", "scent", "never rounded up"], 3),
    ],
)
def test_the_demo(demo: None, section: str, words: list[str], tables: int):
    app = opened(section)
    assert not app.exception
    assert not app.warning
    told = shown(app).replace("**", "")
    for part in words:
        assert part in told
    assert len(app.table) == tables
    # the answer comes first, in bold
    assert app.markdown[0].value.startswith("**")


def test_another_question_can_be_chosen(demo: None):
    app = opened(SECTIONS[0])
    app.selectbox[0].select("glide").run()
    assert not app.exception
    assert any("Too little" in table.value.columns for table in app.table)


@pytest.mark.parametrize("section", SECTIONS)
def test_a_study_without_answers_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, section: str):
    write_study(small_study(), tmp_path / "small")
    monkeypatch.setenv(STUDY_VARIABLE, str(tmp_path / "small"))
    app = opened(section)
    assert not app.exception
    assert "answers. Add them to the table answers" in shown(app)
