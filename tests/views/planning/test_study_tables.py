"""Formulas, batches and changed scores as a person reads them."""

import pandas as pd
import pytest

from panel.study.formulas import formula_difference
from panel.study.naming import Naming, naming
from panel.study.scores_used import scores_used
from panel.study.shown import shown
from panel.views.planning.study import BATCHES, CHANGED_SCORES, formula_difference_table, formulas_table
from tests.studies import small_study


def test_formulas_stand_side_by_side_with_their_sums():
    table = formulas_table(small_study())
    assert list(table.columns) == ["Ingredient (per cent by mass)", "Kind", "P1", "P2", "P3", "P4"]
    rows = table.set_index(table.columns[0])
    assert rows.loc["Total", ["P1", "P2", "P3", "P4"]].tolist() == ["100.00"] * 4
    assert rows.loc["All emollients", "P1"] == "11.00"
    assert rows.loc["C13-15 Alkane", ["Kind", "P1", "P2"]].tolist() == ["emollient", "–", "6"]


def test_an_amount_that_is_missing_is_not_a_zero():
    formulas = small_study().table("formulas")
    gone = formulas["percent"].mask((formulas["ingredient"] == "Glycerin") & (formulas["prototype"] == "P1"))
    table = formulas_table(small_study(formulas=formulas.assign(percent=gone)))
    rows = table.set_index(table.columns[0])
    assert rows.loc["Glycerin", "P1"] == "not given"
    assert rows.loc["Total", "P1"] == "–"


def test_the_difference_of_two_formulas_is_signed():
    difference = formula_difference(small_study(), "P2", "P1")
    table = formula_difference_table(difference, "P2", "P1").set_index("Ingredient (per cent by mass)")
    assert table.loc["C13-15 Alkane"].tolist() == ["–", "6", "+6.00"]
    assert table.loc["Dicaprylyl Carbonate"].tolist() == ["6", "–", "−6.00"]


@pytest.mark.parametrize(
    ("made", "tested", "age"),
    [
        ("2025-03-13T18:00:00", "2025-03-14T14:00:00", "20 h"),
        ("2025-03-11T10:00:00", "2025-03-14T14:00:00", "3 days"),
        ("2025-03-13", "2025-03-14T14:00:00", "1 day"),
        ("", "2025-03-14T14:00:00", "not known"),
        ("2025-03-14T16:00:00", "2025-03-14T14:00:00", "−2 h"),
    ],
)
def test_the_age_at_test_is_told_in_hours_or_days(made: str, tested: str, age: str):
    batches = small_study().table("batches").iloc[:1].assign(made_on=made, tested_on=tested)
    assert shown(BATCHES, small_study(batches=batches), Naming())["Age at test"].tolist() == [age]


def test_changed_scores_say_what_happened_and_why():
    study = small_study()
    key = "assessor=A02; session=2; prototype=P4; attribute={}"
    corrections = pd.DataFrame(
        {
            "when": "2025-04-01",
            "who": "panel leader",
            "table": "scores",
            "key": [key.format("AF_GREASE"), key.format("RO_ABS")],
            "old": "",
            "new": ["33.5", ""],
            "why": "ballot",
        },
        dtype="str",
    )
    used = scores_used(small_study(corrections=corrections))
    table = shown(CHANGED_SCORES, used, naming(study))
    assert table["What happened"].tolist() == ["set aside", "corrected"]
    assert table["Why"].tolist() == ["ballot (panel leader, 2025-04-01)"] * 2


@pytest.mark.parametrize(
    ("made", "told"),
    [
        ("2025-03-10", "2025-03-10"),
        ("2025-03-10T10:00", "2025-03-10 10:00"),
        ("2025-03-10T10:00:00", "2025-03-10 10:00"),
        ("2025-03-10T10:00:30", "2025-03-10 10:00:30"),
        ("", "–"),
    ],
)
def test_a_moment_keeps_hours_and_minutes(made, told):
    batches = small_study().table("batches").iloc[[0]].assign(made_on=made)
    assert shown(BATCHES, small_study(batches=batches), Naming())["Made"].tolist() == [told]


def test_ph_is_written_as_chemists_write_it():
    assert "pH" in shown(BATCHES, small_study(), Naming()).columns
