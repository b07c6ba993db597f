"""The drawers of the differences on what was planned beforehand, and on what is alike or not worse."""

import pandas as pd
import pytest

from panel.app.state import STUDY_VARIABLE
from panel.study.folder import write_study
from tests.app.test_pages import labelled, opened, shown
from tests.studies import small_study

PLAN = [{"prototype": "P2", "versus": "P1", "attribute": "AF_GREASE"}, {"prototype": "P9", "versus": "P1"}]


@pytest.fixture
def page(tmp_path, monkeypatch):
    def open_with(**facts):
        write_study(small_study(facts), tmp_path / "study")
        monkeypatch.setenv(STUDY_VARIABLE, str(tmp_path / "study"))
        app = opened("differences")
        for drawer in ("Differences planned beforehand", "Alike within the margin, or not worse"):
            app.session_state[f"drawer {drawer}"] = True
        return app.run()

    return open_with


def test_a_planned_difference_is_told_and_a_wrong_one_is_said(page):
    app = page(planned_differences=PLAN, margin=5)
    words = shown(app)
    assert not app.exception
    assert "The one difference planned beforehand is shown." in words
    assert "the study has no prototype 'P9'. Choose among P1, P2, P3, P4." in words


def test_nothing_planned_says_how_to_state_it(page):
    words = shown(page())
    assert "The study states no difference that was planned beforehand." in words
    assert "Write it into planned_differences as a row: prototype" in words


def test_likeness_with_the_benchmark_and_the_planned_pairs(page):
    app = page(planned_differences=PLAN[:1], margin=5)
    words = shown(app)
    assert "9 differences" in words or "Not one of 9" in words
    which = labelled(app.segmented_control, "Which differences")
    which.set_value("The planned pairs").run()
    assert "3 differences" in shown(app)
    assert not app.exception


def test_without_a_margin_it_says_what_to_do(page):
    words = shown(page())
    assert "No margin was set, so nothing can be called alike." in words


def test_the_table_of_likeness_can_be_taken_away(page):
    app = page(margin=5)
    tables = [one.value for one in app.table]
    assert any(
        "Interval that decides likeness" in " ".join(map(str, frame.columns)).replace("\\", "") for frame in tables
    )
    assert all(isinstance(frame, pd.DataFrame) for frame in tables)
