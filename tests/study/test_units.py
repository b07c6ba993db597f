"""Units: ways of writing them, conversions against scipy.constants, and what is refused."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from panel.errors import StudyError
from panel.study.numbers_read import (
    _KNOWN_UNITS,
    _STANDARD_GRAVITY,
    convert,
    known_unit,
    read_unit,
    same_quantity,
)

ROUNDING = 1e-12
GRAM_FORCE = constants.gram * constants.g  # N; scipy's values are CODATA's, standard gravity is exact by definition

# value of one unit in the other, by scipy.constants
CONVERSIONS = [
    ("g", "N", GRAM_FORCE),
    ("N", "g", 1 / GRAM_FORCE),
    ("kg", "N", constants.kilogram_force),
    ("g s", "N s", GRAM_FORCE),
    ("N mm", "mJ", constants.milli / constants.milli),
    ("J", "N mm", 1 / constants.milli),
    ("g mm", "mJ", GRAM_FORCE * constants.milli / constants.milli),
    ("mPa s", "Pa s", constants.milli),
    ("Pa s", "mPa s", 1 / constants.milli),
    ("cP", "mPa s", constants.centi * 0.1 / constants.milli),  # 1 poise is 0.1 Pa s
    ("P", "Pa s", 0.1),
    ("cSt", "mm2/s", 1.0),
    ("kPa", "Pa", constants.kilo),
    ("1/min", "1/s", 1 / constants.minute),
    ("mg", "g", constants.milli),
    ("µg", "mg", constants.micro / constants.milli),
    ("0.1 mm", "mm", 0.1),
    ("mm", "µm", constants.milli / constants.micro),
    ("cm2", "mm2", (constants.centi / constants.milli) ** 2),
    ("mm/min", "mm/s", 1 / constants.minute),
    ("min", "s", constants.minute),
    ("h", "min", constants.hour / constants.minute),
    ("%", "1", constants.centi),
    ("g/mL", "kg/m3", constants.gram / constants.milli / constants.liter),
    ("mL", "µL", constants.milli / constants.micro),
    ("µS/cm", "S/m", constants.micro / constants.centi),
    ("mN/m", "N/m", constants.milli),
]


@pytest.mark.parametrize(("first", "second", "factor"), CONVERSIONS)
def test_conversions_equal_scipy(first, second, factor):
    np.testing.assert_allclose(convert([1.0, -3.0, 0.0], first, second), [factor, -3 * factor, 0], rtol=ROUNDING)
    np.testing.assert_allclose(convert(convert(7.0, first, second), second, first), 7.0, rtol=ROUNDING)
    assert same_quantity(first, second)


def test_standard_gravity_is_scipys():
    assert constants.g == _STANDARD_GRAVITY


@pytest.mark.parametrize(
    ("written", "unit"),
    [
        ("mPa.s", "mPa s"),
        ("mPa·s", "mPa s"),
        ("mPa⋅s", "mPa s"),
        ("mPas", "mPa s"),
        ("Pa.s", "Pa s"),
        ("s-1", "1/s"),
        ("s⁻¹", "1/s"),
        ("s^-1", "1/s"),
        ("g.s", "g s"),
        ("g*s", "g s"),
        ("N.s", "N s"),
        ("N·mm", "N mm"),
        ("gf", "g"),
        ("mm²", "mm2"),
        ("0.1 mm", "0.1 mm"),
        ("0,1 mm", "0.1 mm"),
        ("1/10 mm", "0.1 mm"),
        ("um", "µm"),
        ("\u03bcm", "µm"),  # Greek mu
        ("\u00b5m", "µm"),  # micro sign
        ("", "1"),
        ("-", "1"),
        (" GU ", "GU"),
        ("ph", "pH"),
    ],
)
def test_ways_of_writing(written, unit):
    assert known_unit(written) == unit
    assert read_unit(written) == unit


@pytest.mark.parametrize("name", _KNOWN_UNITS)
def test_every_unit_stands_for_itself(name):
    assert known_unit(name) == name
    np.testing.assert_array_equal(convert([1.5], name, name), [1.5])


@pytest.mark.parametrize("written", ["MPa", "nm", "MJ", "Mg", "M", "bananas", "Pa^2", "mm.g", "01 mm"])
def test_what_is_not_known_is_not_guessed(written):
    # Capitals tell units apart: MPa is not mPa, nm is not N m.
    assert known_unit(written) is None
    with pytest.raises(StudyError, match=r"The unit '.+' is not known\. Write one of: N, .*For a plain number write 1"):
        read_unit(written)


def test_unlike_quantities_do_not_turn_into_each_other():
    with pytest.raises(StudyError, match="mPa s cannot be turned into g: viscosity is not force or mass"):
        convert(1, "mPa.s", "g")
    with pytest.raises(StudyError, match="The unit 'furlong' is not known"):
        convert(1, "mm", "furlong")
    assert not same_quantity("mg", "N")
    assert not same_quantity("GU", "%")
    assert same_quantity("furlong", "furlong")
    assert not same_quantity("furlong", "mm")


@given(st.sampled_from(_KNOWN_UNITS), st.sampled_from(_KNOWN_UNITS), st.sampled_from(_KNOWN_UNITS))
def test_going_round_comes_back(first, second, third):
    # A gram is a mass or a force: only ways through one quantity come back, and there they agree.
    if "g" in (first, second, third) or "kg" in (first, second, third):
        return
    if same_quantity(first, second) and same_quantity(second, third):
        straight, round_trip = convert(1, first, third), convert(convert(1, first, second), second, third)
        np.testing.assert_allclose(round_trip, straight, rtol=ROUNDING)
