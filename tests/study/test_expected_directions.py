"""What is said beforehand: complete, sourced, about attributes and properties that exist, and never both ways."""

import pytest

from panel.models.emollients.descriptors import find_descriptors
from panel.study.formulas import expected_directions
from panel.study.knowledge import shared_table
from tests.formula_studies import study_of

TABLE = expected_directions()


def test_attributes_are_those_of_the_lexicon():
    assert set(TABLE["attribute"]) <= set(shared_table("lexicon")["attribute"])


def test_descriptors_are_those_that_can_be_computed():
    # a blend with every family of the emollient table, so that every share occurs
    families = shared_table("emollients").drop_duplicates("family")["ingredient"]
    study = study_of({"P1": dict.fromkeys(families, 1.0)}, dict.fromkeys(families, "emollient"))
    assert set(TABLE["descriptor"]) <= set(find_descriptors(study).wide.columns)


def test_every_row_has_a_direction_and_an_explained_source():
    assert set(TABLE["direction"]) == {"more", "less"}
    assert (TABLE["sign"] == TABLE["direction"].map({"more": 1, "less": -1})).all()
    assert set(TABLE["source"]) <= set(shared_table("sources")["source"])
    assert (TABLE["remark"] != "").all()


def test_nothing_is_said_twice():
    assert not TABLE.duplicated(["attribute", "descriptor"]).any()


@pytest.mark.parametrize(
    ("attribute", "descriptor", "direction", "source"),
    [
        # Parente, Gambaro and Solana (2005) through a second-hand account: spreading falls with viscosity and with
        # surface tension, tack rises with surface tension
        ("RO_SPREAD", "log10_viscosity_liquids", "less", "Parente 2005"),
        ("RO_SPREAD", "surface_tension", "less", "Parente 2005"),
        ("AF_STICK", "surface_tension", "more", "Parente 2005"),
        # Gore, Picard and Savary (2018): isohexadecane in place of stearic acid was easier to spread
        ("RO_SPREAD", "solid_share", "less", "Gore 2018"),
        # Baki et al. (2018): each cream with olive oil was called sticky more often than its partner
        ("AF_STICK", "triglyceride_share", "more", "Baki 2018"),
        # rank expectations of the trade, common practice, no source
        ("AF_GREASE", "triglyceride_share", "more", "common practice"),
        ("AF_GREASE", "volatile_share", "less", "common practice"),
    ],
)
def test_published_directions_are_there(attribute, descriptor, direction, source):
    row = TABLE.set_index(["attribute", "descriptor"]).loc[(attribute, descriptor)]
    assert (row["direction"], row["source"]) == (direction, source)


def test_directions_read_second_hand_say_so():
    second_hand = TABLE.loc[TABLE["source"] == "Parente 2005", "remark"]
    assert second_hand.str.contains("second-hand account").all()


def test_what_is_returned_is_a_copy():
    table = expected_directions()
    table.loc[0, "direction"] = "sideways"
    assert expected_directions().loc[0, "direction"] != "sideways"
