"""The page Decide, run as Streamlit runs it: the answer, other weights, and the record of a decision."""

from pathlib import Path

import pytest

from panel.app.state import STUDY_VARIABLE
from panel.study.folder import read_folder, write_study
from tests.app.running import part_of_app, with_open_drawers
from tests.studies import small_study


@pytest.fixture
def page():
    return with_open_drawers(part_of_app("decide"))


def field(items, label):
    return next(item for item in items if item.label == label)


def words(page):
    return " ".join(element.value for element in page.markdown).replace("\\", "")


def test_the_answer_comes_first_and_no_winner_is_made_up(page):
    assert not page.exception
    assert (
        page.header[0]
        .value.replace("\\", "")
        .startswith("No prototype meets the target for greasy film, which must be met.")
    )
    assert "they please different people" in words(page)
    assert len(page.header) == 1
    assert {"Every window", "Who can be told apart", "Write down the decision"} <= {e.label for e in page.expander}


def test_other_weights_are_taken_as_typed_and_bad_ones_are_told(page):
    page = field(page.text_input, "softness").set_value("7,5").run()
    assert not page.exception
    assert not page.warning
    page = field(page.text_input, "softness").set_value("much").run()
    assert "The weight of LA_SOFT" in page.warning[0].value.replace("\\", "")
    page = field(page.text_input, "softness").set_value("-1").run()
    assert "Write a number that is 0 or more" in page.warning[0].value.replace("\\", "")


def test_a_decision_is_recorded_only_with_a_person_and_reasons(page):
    page = field(page.button, "Record the decision").click().run()
    assert "cannot be recorded without who decided" in page.warning[0].value.replace("\\", "")
    field(page.selectbox, "Chosen").set_value("P4")
    field(page.text_area, "Why").set_value("nearest to the target")
    field(page.text_area, "What is not established").set_value("softness")
    field(page.text_input, "Who decides").set_value("head of development")
    page = field(page.button, "Record the decision").click().run()
    assert not page.exception
    assert "The decision is recorded" in page.success[0].value.replace("\\", "")
    recorded = next(table.value for table in page.table if "Not established" in table.value.columns)
    assert recorded["Chosen"].tolist() == ["P4"]
    assert recorded["Study since"].tolist() == ["unchanged"]


def test_targets_are_written_down_where_they_are_asked_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    write_study(small_study(), tmp_path / "small")
    monkeypatch.setenv(STUDY_VARIABLE, str(tmp_path / "small"))
    page = part_of_app("decide").run()
    assert page.header[0].value == "No attribute has a target yet."
    (low, high, *others) = page.text_input
    assert len(others) == 4
    low.set_value("60")
    high.set_value("37,5")
    page = field(page.button, "Write the targets down").click().run()
    assert "from lies above to" in page.warning[0].value
    page.text_input[0].set_value("")
    page = field(page.button, "Write the targets down").click().run()
    assert not page.exception
    assert "is nearest to the target" in page.header[0].value
    first = read_folder(tmp_path / "small").table("attributes").iloc[0]
    assert first["target_high"] == 37.5
    assert first["scale_max"] == small_study().table("attributes").iloc[0]["scale_max"]  # what else was said stays
