"""The page Decide, run as Streamlit runs it: the answer, other weights, and the record of a decision."""

import pytest

from tests.app.running import part_of_app, with_open_drawers


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
