"""The page Over time: only what the study has, and what to do where it has nothing."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from panel.app.state import STUDY_VARIABLE
from panel.study.folder import write_study
from panel.study.study import Study
from tests.app.running import part_of_app, with_open_drawers
from tests.studies import small_study
from tests.time_studies import everything_over_time


def opened(study: Study, folder: Path, monkeypatch: pytest.MonkeyPatch) -> AppTest:
    write_study(study, folder)
    monkeypatch.setenv(STUDY_VARIABLE, str(folder))
    app = with_open_drawers(part_of_app("over_time"))
    assert not app.exception
    return app


def shown(app: AppTest) -> str:
    parts = [*app.title, *app.header, *app.subheader, *app.markdown, *app.caption, *app.warning]
    return " ".join(part.value for part in parts).replace("\\", "").replace("\u00a0", " ")


def test_everything(tmp_path, monkeypatch):
    app = opened(everything_over_time(), tmp_path / "all", monkeypatch)
    assert app.title[0].value == "Result"
    assert "**After-feel over the minutes**" in [part.value for part in app.markdown]
    assert [drawer.label for drawer in app.expander if drawer.label in ("Courses of intensity", "Dominant sensations")]
    words = shown(app)
    assert "The prototypes do not change alike over time on greasy film in these batches." in words
    assert "Not a safety assessment." in words
    assert not app.warning


def test_only_what_the_study_has(tmp_path, monkeypatch):
    whole = everything_over_time()
    study = Study({"dominances": whole.table("dominances"), "prototypes": whole.table("prototypes")})
    app = opened(study, tmp_path / "one", monkeypatch)
    assert "**Dominant sensations**" in [part.value for part in app.markdown]


def test_a_study_in_which_nothing_runs_over_time(tmp_path, monkeypatch):
    words = shown(opened(small_study(), tmp_path / "none", monkeypatch))
    assert "Nothing in this study runs over time yet." in words
    assert "each time has a row of its own, with the same name and other minutes" in words


def test_what_cannot_be_read_is_a_sentence(tmp_path, monkeypatch):
    whole = everything_over_time()
    broken = whole.table("dominances").loc[lambda rows: rows["attribute"] != "stop"]
    app = opened(Study({"dominances": broken, "prototypes": whole.table("prototypes")}), tmp_path / "odd", monkeypatch)
    assert "No evaluation of dominance can be read" in shown(app)
