"""What to mind before making a blend: shares by hand, cost, people who must avoid it, and the usual cautions."""

import pytest

from panel.models.emollients.descriptors import blend_warnings
from tests.formula_studies import ALKANE, ALMOND, CARBONATE, SHEA, hand_cream_formulas, study_of

BASE = {CARBONATE: 6.0, ALMOND: 9.0}
NEXT = {ALKANE: 6.0, ALMOND: 5.0, SHEA: 4.0}


def warnings(blend=NEXT, base=BASE, **tables):
    return blend_warnings(study_of(hand_cream_formulas(), **tables), blend, base)


def by_kind(frame, kind):
    return frame.loc[frame["kind"] == kind]


def test_solid_and_volatile_share_of_the_emollient_part():
    found = warnings().set_index("kind")
    assert found.loc["solid", "value"] == pytest.approx(100 * 4 / 15)
    assert found.loc["solid", "versus"] == 0
    assert found.loc["solid", "about"] == SHEA
    assert found.loc["volatile", "value"] == pytest.approx(100 * 6 / 15)


def test_a_blend_without_solids_and_volatiles_is_not_warned_about_them():
    kinds = set(warnings({CARBONATE: 15.0})["kind"])
    assert not kinds & {"solid", "volatile"}


def test_losing_the_solid_of_the_base_is_said():
    found = warnings({CARBONATE: 15.0}, {SHEA: 15.0})
    assert by_kind(found, "solid")[["value", "versus"]].to_numpy().tolist() == [[0, 100]]


def costs(**per_unit):
    return [
        {"ingredient": name, "property": "cost", "value": value, "measured_on": day, "method": "quotation"}
        for name, (value, day) in per_unit.items()
    ]


def test_cost_of_the_emollients_with_the_latest_price():
    rows = costs(**{CARBONATE: (10.0, "2025-01-01"), ALMOND: (8.0, "2025-01-01"), SHEA: (6.0, "2025-01-01")})
    rows += costs(**{ALKANE: (20.0, "2025-02-01")})
    rows += costs(**{ALKANE: (12.0, "2025-03-01")})
    found = by_kind(warnings(ingredient_values=rows), "cost").iloc[0]
    assert found["value"] == pytest.approx(6 * 12 + 5 * 8 + 4 * 6)
    assert found["versus"] == pytest.approx(6 * 10 + 9 * 8)


def test_without_every_price_there_is_no_cost():
    assert by_kind(warnings(ingredient_values=costs(**{CARBONATE: (10.0, "2025-01-01")})), "cost").empty
    assert by_kind(warnings(), "cost").empty


def test_assessors_who_must_avoid_an_ingredient_are_named():
    people = [
        {"assessor": "A01", "kind": "trained", "avoid": "tree nut"},
        {"assessor": "A02", "kind": "trained", "avoid": ""},
        {"assessor": "A03", "kind": "trained", "avoid": "lanolin; Tree Nut"},
    ]
    found = by_kind(warnings(assessors=people), "assessors")
    assert found["words"].tolist() == ["A01, A03"]
    assert found["about"].iloc[0] in (ALMOND, SHEA)
    assert by_kind(warnings({CARBONATE: 15.0}, assessors=people), "assessors").empty


def test_the_usual_cautions_come_once_with_all_they_are_about():
    found = by_kind(warnings(), "caution")
    nuts = found.loc[found["words"].str.contains("nut allergy")]
    assert nuts["about"].tolist() == [f"{ALMOND}, {SHEA}"]
