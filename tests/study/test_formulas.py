"""Reading formulas: names, emollients, totals, differences."""

import numpy as np
import pytest

from panel.errors import StudyError
from panel.study.formulas import (
    emollient_percents,
    formula,
    formula_difference,
    formula_lines,
    formula_percents,
    formula_totals,
    formulated,
)
from panel.study.study import Study
from tests.formula_studies import (
    ALKANE,
    ALMOND,
    BASE,
    CARBONATE,
    ISOSTEARATE,
    SHEA,
    TRIGLYCERIDE,
    hand_cream_formulas,
    study_of,
    table,
)

HAND_CREAM = study_of(hand_cream_formulas())
SUMS = 1e-9  # sums of 13 amounts written to 0.01


def test_every_formula_of_the_hand_cream_holds_15_per_cent_of_emollients():
    totals = formula_totals(HAND_CREAM)
    assert totals["prototype"].tolist() == [f"P{number}" for number in range(1, 9)]
    np.testing.assert_allclose(totals["total"], 100, atol=SUMS)
    np.testing.assert_allclose(totals["emollient_total"], 15, atol=SUMS)


def test_emollients_are_known_by_name_where_no_kind_is_given():
    emollients = tuple(emollient_percents(HAND_CREAM))
    assert set(emollients) == {CARBONATE, TRIGLYCERIDE, ALMOND, ALKANE, ISOSTEARATE, SHEA}


def test_a_kind_that_is_given_decides():
    formulas = {"P1": {"Aqua": 90.0, "Our Own Ester": 6.0, CARBONATE: 4.0}}
    study = study_of(formulas, kinds={"Our Own Ester": "emollient", CARBONATE: "other"})
    assert tuple(emollient_percents(study)) == ("Our Own Ester",)


def test_one_row_that_says_emollient_speaks_for_all_rows_of_the_ingredient():
    rows = [
        {"prototype": "P1", "ingredient": "Our Own Ester", "percent": 5, "kind": "emollient"},
        {"prototype": "P2", "ingredient": "Our Own Ester", "percent": 5},
    ]
    assert formula_lines(Study({"formulas": table("formulas", rows)}))["emollient"].tolist() == [True, True]


def test_names_are_read_in_other_ways_of_writing_and_lines_of_one_ingredient_add_up():
    rows = [
        {"prototype": "P1", "ingredient": "sweet almond oil", "percent": 3},
        {"prototype": "P1", "ingredient": ALMOND, "percent": 1},
        {"prototype": "P1", "ingredient": " Secret Blend ", "percent": 2},
        {"prototype": "", "ingredient": "Aqua", "percent": 9},
        {"prototype": "P1", "ingredient": "", "percent": 9},
    ]
    percent = formula_percents(Study({"formulas": table("formulas", rows)}))
    assert percent.to_dict("index") == {"P1": {ALMOND: 4.0, "Secret Blend": 2.0}}


def test_an_ingredient_that_is_absent_is_zero_and_one_without_an_amount_is_unknown():
    study = study_of({"P1": {"Aqua": np.nan, CARBONATE: 5.0}, "P2": {CARBONATE: 5.0}})
    percent = formula_percents(study)
    assert np.isnan(percent.loc["P1", "Aqua"])
    assert percent.loc["P2", "Aqua"] == 0
    assert np.isnan(formula_totals(study)["total"][0])
    assert formula_totals(study)["emollient_total"].tolist() == [5.0, 5.0]


def test_prototypes_come_in_the_order_of_their_table():
    study = study_of({"P2": BASE, "P1": BASE}, prototypes=[{"prototype": "P1"}, {"prototype": "P9"}])
    assert formulated(study) == ("P1", "P2")


def test_the_difference_names_what_changed_and_nothing_else():
    difference = formula_difference(HAND_CREAM, "P2", "P1").set_index("ingredient")
    assert difference["change"].to_dict() == {CARBONATE: -6.0, ALKANE: 6.0}
    assert difference["percent"].to_dict() == {CARBONATE: 0.0, ALKANE: 6.0}
    assert difference["percent_versus"].to_dict() == {CARBONATE: 6.0, ALKANE: 0.0}


@pytest.mark.parametrize(("amount", "differs"), [(5.005, False), (5.006, True), (4.995, False), (4.99, True)])
def test_amounts_within_half_a_hundredth_are_the_same(amount, differs):
    study = study_of({"P1": {CARBONATE: 5.0}, "P2": {CARBONATE: amount}})
    assert bool(len(formula_difference(study, "P2", "P1"))) == differs


def test_one_formula_as_it_was_written():
    lines = formula(HAND_CREAM, "P8")
    assert lines.columns.tolist() == ["ingredient", "percent", "phase", "kind", "emollient"]
    assert lines.loc[lines["emollient"], "percent"].tolist() == [6.0, 5.0, 4.0]


@pytest.mark.parametrize("ask", [lambda: formula(HAND_CREAM, "P9"), lambda: formula_difference(HAND_CREAM, "P1", "P9")])
def test_a_prototype_without_a_formula_is_named(ask):
    with pytest.raises(StudyError, match=r"Prototype 'P9' has no formula. Add its ingredients to the table formulas"):
        ask()


def test_a_study_without_formulas_has_empty_tables():
    empty = Study({})
    assert formula_lines(empty).empty
    assert formula_percents(empty).shape == (0, 0)
    assert tuple(emollient_percents(empty)) == ()
    assert formula_totals(empty).columns.tolist() == ["prototype", "total", "emollient_total"]
