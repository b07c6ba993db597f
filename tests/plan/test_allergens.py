"""Who must not get what: words understood, words not understood, formulas not known."""

import pytest

from panel.plan.safety import match_allergens
from tests.formula_studies import ALMOND, SHEA, hand_cream_formulas, study_of

FORMULAS = hand_cream_formulas()
EVERYTHING = set(FORMULAS)
WITH_ALMOND = {name for name, lines in FORMULAS.items() if ALMOND in lines}


def matched(avoid, formulas=FORMULAS, **how):
    people = [
        {"assessor": "A01", "kind": "trained", "avoid": avoid},
        {"assessor": "A02", "kind": "trained", "avoid": ""},
    ]
    return match_allergens(study_of(formulas, assessors=people), **how)


def forbidden(avoid, formulas=FORMULAS, **how):
    found = matched(avoid, formulas, **how)["forbidden"]
    assert set(found["assessor"]) <= {"A01"}  # whoever avoids nothing gets everything
    return set(found["prototype"])


@pytest.mark.parametrize(
    "avoid", ["nuts", "Nut", "tree nuts", "almond", "almond oil", "shea", "hazelnut", "nut allergy", "lanolin; nuts"]
)
def test_a_nut_allergy_forbids_almond_and_shea(avoid):
    # sweet almond and shea are tree-nut derived; every prototype of the invented cream holds one of them
    assert forbidden(avoid) == EVERYTHING


@pytest.mark.parametrize(
    "avoid", ["lanolin", "peanuts", "soy", "wheat", "gluten", "bees", "honey", "fragrance", "sesame"]
)
def test_an_allergen_that_is_in_no_formula_forbids_nothing(avoid):
    found = matched(avoid)
    assert not len(found["forbidden"])
    assert not len(found["not_understood"])


def test_an_ingredient_can_be_avoided_by_name():
    assert forbidden("phenoxyethanol") == EVERYTHING
    assert forbidden("C13-15 Alkane") == {name for name, lines in FORMULAS.items() if "C13-15 Alkane" in lines}
    # a name with commas or slashes is not torn apart
    triglyceride = {name for name, lines in FORMULAS.items() if "Caprylic/Capric Triglyceride" in lines}
    assert forbidden("Caprylic/Capric Triglyceride") == triglyceride


def test_one_nut_stands_for_all_of_them():
    only_shea = {"P1": {"Aqua": 90.0, SHEA: 10.0}}
    assert forbidden(ALMOND, only_shea) == {"P1"}


def test_preservatives_are_known_as_a_kind():
    assert forbidden("preservatives") == EVERYTHING


def test_nut_does_not_mean_coconut():
    assert forbidden("nuts", {"P1": {"Cocos Nucifera (Coconut) Oil": 100.0}}) == set()
    assert forbidden("coconut", {"P1": {"Cocos Nucifera (Coconut) Oil": 100.0}}) == {"P1"}


@pytest.mark.parametrize("avoid", ["", "none", "-", "no", "None known"])
def test_nothing_to_avoid_forbids_nothing(avoid):
    assert forbidden(avoid) == set()


@pytest.mark.parametrize("avoid", ["xyz", "that cream", "E202?"])
def test_a_word_that_is_not_understood_blocks_everything(avoid):
    found = matched(avoid)
    assert set(found["forbidden"]["prototype"]) == EVERYTHING
    assert found["not_understood"].to_numpy().tolist() == [["A01", avoid]]
    assert "is not understood" in found["forbidden"]["reason"].iloc[0]


def test_a_prototype_without_a_formula_is_for_those_who_avoid_nothing():
    assert forbidden("lanolin", FORMULAS | {"P9": {}}) == {"P9"}
    found = matched("lanolin", also=["warm-up"])
    assert found["forbidden"]["prototype"].tolist() == ["warm-up"]
    assert "warm-up has no formula" in found["forbidden"]["reason"].iloc[0]


def test_a_blend_is_looked_into():
    blend = {"P1": {"Aqua": 90.0, f"Cetearyl Alcohol (and) {SHEA}": 10.0}}
    assert forbidden("nuts", blend) == {"P1"}


def test_an_ingredient_of_zero_per_cent_is_not_there():
    assert forbidden("nuts", {"P1": {"Aqua": 100.0, ALMOND: 0.0}}) == set()


def test_unknown_ingredients_are_named_and_forbid_nothing_by_themselves():
    found = matched("nuts", {"P1": {"Aqua": 90.0, "Unheard-of Extract": 10.0}})
    assert not len(found["forbidden"])
    assert found["not_known"].to_numpy().tolist() == [["P1", "Unheard-of Extract"]]


def test_a_word_is_found_in_an_unknown_ingredient():
    assert forbidden("almond", {"P1": {"Bitter Almond Distillate": 1.0, "Aqua": 99.0}}) == {"P1"}


def test_only_the_people_asked_for_are_looked_at():
    assert not len(matched("nuts", assessors=["A02"])["forbidden"])
    assert len(matched("nuts", assessors=["A01"])["forbidden"])
