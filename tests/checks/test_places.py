import numpy as np
import pytest

from panel.checks.finding import gathered
from panel.words import counted, first_few, format_typed


def test_a_number_carries_its_noun():
    assert counted(1, "score") == "1 score"
    assert counted(1200, "score") == "1,200 scores"
    assert counted(2, "batch", "batches") == "2 batches"


def test_names_are_listed_up_to_three():
    assert first_few(["P1", "P2", "P3"]) == "P1, P2 and P3"
    assert first_few(["P1", "P2", "P3", "P4", "P5"]) == "P1, P2, P3 and 2 more"
    assert first_few([]) == ""


@pytest.mark.parametrize(
    ("cell", "text"), [(330.0, "330"), (33.05, "33.05"), (120000.0, "120000"), (-0.5, "−0.5"), ("P1", "P1")]
)
def test_a_cell_is_written_as_the_user_writes_it(cell, text):
    assert format_typed(cell) == text


def test_a_missing_number_is_told_as_such():
    assert format_typed(float("nan")) == "nan"


def where(case):
    return f"row {case}"


def test_up_to_three_cases_stand_alone():
    found = list(gathered(np.array([0, 0, 1]), where))
    assert [(text, cases.tolist()) for text, cases in found] == [("row 0", [0]), ("row 1", [1]), ("row 2", [2])]


def test_more_cases_are_gathered_by_place_in_the_order_met():
    found = list(gathered(np.array([7, 2, 7, 7, 7, 2]), where))
    assert [text for text, _ in found] == ["row 0; row 2; row 3; and 1 more", "row 1; row 5"]
    assert [cases.tolist() for _, cases in found] == [[0, 2, 3, 4], [1, 5]]


def test_very_many_places_give_one_finding():
    ((text, cases),) = gathered(np.arange(13), where)
    assert text == "row 0; row 1; row 2; and 10 more"
    assert len(cases) == 13
    assert len(list(gathered(np.arange(12), where))) == 12


def test_no_case_gives_nothing():
    assert not list(gathered(np.empty(0), where))
