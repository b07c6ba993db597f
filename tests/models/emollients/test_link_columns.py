"""What attributes may be set against: known, varying, no copies, and the emollients that stand in the way."""

from panel.models.emollients.descriptors import find_descriptors
from panel.models.emollients.prediction_model import link_columns, prototype_level
from tests.blend_studies import DEMO
from tests.formula_studies import ALKANE, SHEA

COLUMNS = link_columns(prototype_level(DEMO), find_descriptors(DEMO))


def test_copies_of_a_property_are_counted_once():
    # in the demo the hydrocarbon share is the volatile share, and the triglyceride share the monoester share turned
    assert COLUMNS.copies["hydrocarbon_share"] == "volatile_share"
    assert COLUMNS.copies["monoester_share"] == "triglyceride_share"
    assert not set(COLUMNS.copies) & set(COLUMNS.names)


def test_the_copy_that_stays_is_one_with_a_direction_said_beforehand():
    assert COLUMNS.copies["slow_share_300_1000"] == "solid_share"
    assert "solid_share" in COLUMNS.names


def test_what_has_a_copy_or_goes_with_an_emollient_is_aliased():
    aliased = dict(zip(COLUMNS.names, COLUMNS.aliased, strict=True))
    assert aliased["volatile_share"]
    assert aliased["solid_share"]
    assert aliased[ALKANE]
    assert not aliased["log10_viscosity_liquids"]


def test_weak_and_constant_descriptors_are_left_out():
    assert "surface_tension" not in COLUMNS.names  # known for too little of the mass
    assert "emollient_total" not in COLUMNS.names
    assert "fast_share_300_1000" not in COLUMNS.names


def test_emollients_come_last_and_are_no_descriptors():
    own = dict(zip(COLUMNS.names, COLUMNS.is_descriptor, strict=True))
    assert own["log10_viscosity_liquids"]
    assert not own[SHEA]
    assert COLUMNS.values.shape == (8, len(COLUMNS.names))
