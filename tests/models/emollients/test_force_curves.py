"""Force curves of a study: quantities by hand, units, limits, and curves that cannot be used."""

import numpy as np
import pytest

from panel.models.emollients.curves import _force_curves
from tests.reading_studies import curve, curves_table, force_rows

EXACT = 1e-12
GRAVITY = 9.80665
# The curve of `force_rows`: 60 g after 10 mm, zero at 11 mm, -20 g at 12 mm, zero at 20 mm. Areas on paper.
TO_PEAK, ABOVE, BELOW = 300.0, 330.0, 90.0


def read(*parts, speed=None):
    return _force_curves(curves_table(*parts), speed)


def values(found, used=True):
    rows = found.quantities.loc[found.quantities["used"].astype(bool)] if used else found.quantities
    return {row["measure"]: (row["estimate"], row["unit"]) for row in rows.to_dict("records")}


def test_over_a_distance_areas_are_work():
    found = values(read(force_rows("P1")))
    assert found["firmness"] == (60, "g")
    assert found["stickiness"] == (20, "g")
    # g mm to N mm: 9.80665e-3
    np.testing.assert_allclose(found["work of shear"][0], TO_PEAK * GRAVITY / 1000, rtol=EXACT)
    np.testing.assert_allclose(found["work of adhesion"][0], BELOW * GRAVITY / 1000, rtol=EXACT)
    assert (found["work of shear"][1], found["work of adhesion"][1]) == ("N mm", "N mm")


@pytest.mark.parametrize("unit", ["N", "mN", "kg"])
def test_other_forces_give_the_same_work(unit):
    per_unit = {"N": 1.0, "mN": 1e-3, "kg": GRAVITY}[unit]
    size, pull = 60e-3 * GRAVITY / per_unit, 20e-3 * GRAVITY / per_unit
    found = values(read(force_rows("P1", size=size, pull=pull, unit=unit)))
    np.testing.assert_allclose(found["work of shear"][0], TO_PEAK * GRAVITY / 1000, rtol=EXACT)
    np.testing.assert_allclose(found["firmness"][0], 60e-3 * GRAVITY, rtol=EXACT)
    assert found["firmness"][1] == "N"


def test_over_time_areas_are_areas_and_that_is_said():
    found = read(force_rows("P1", along="s"))
    assert values(found)["work of shear"] == (TO_PEAK, "g s")
    assert values(found)["work of adhesion"] == (BELOW, "g s")
    assert any("over time, not work" in note and "probe_speed_mm_s" in note for note in found.notes)
    assert set(found.points["along_unit"]) == {"s"}


def test_the_speed_turns_time_into_way():
    # 2 mm/s: twice the way, twice the area in g mm.
    found = read(force_rows("P1", along="s"), speed=2.0)
    np.testing.assert_allclose(values(found)["work of shear"][0], 2 * TO_PEAK * GRAVITY / 1000, rtol=EXACT)
    assert values(found)["work of shear"][1] == "N mm"
    assert found.notes == ()
    assert set(found.points["along_unit"]) == {"mm"}


def test_both_limits_of_the_work_of_shear_are_told_and_one_is_used():
    found = read(force_rows("P1"))
    works = found.quantities.loc[found.quantities["measure"] == "work of shear"]
    np.testing.assert_allclose(works["estimate"], np.array([TO_PEAK, ABOVE]) * GRAVITY / 1000, rtol=EXACT)
    assert works["limits"].tolist() == [
        "area above zero, from the start to the peak",
        "area above zero, over the whole stroke",
    ]
    assert works["used"].tolist() == [True, False]
    assert found.peaks[["peak_at", "pull_at"]].to_numpy().tolist() == [[10, 12]]


def test_repeats_are_curves_of_their_own():
    found = read(force_rows("P1", repeat="1"), force_rows("P1", size=70, repeat="2"))
    firmness = found.quantities.query("measure == 'firmness'")
    assert firmness[["repeat", "estimate"]].to_numpy().tolist() == [["1", 60.0], ["2", 70.0]]


def test_a_curve_that_does_not_begin_at_zero_is_said():
    found = read(curve("force", "P1", [0, 1, 2], "mm", [6, 60, 0], "g"))
    assert found.notes == ("The force is not near zero where the curve begins; check the zero: P1 1.",)


def test_curves_that_cannot_be_used_are_left_out_with_the_reason():
    found = read(
        curve("force", "P1", [0, 1, 2], "mm", [0, -5, 0], "g"),
        curve("force", "P2", [0, 2, 1], "s", [0, 5, 0], "g"),
        curve("force", "P3", [0, 1, 2], "mm", [0, 5, 0], "Pa"),
        [*curve("force", "P4", [0, 1], "mm", [0, 5], "g"), *curve("force", "P4", [2], "mm", [0], "N")],
        curve("force", "P5", [0, 1, 2], "°", [0, 5, 0], "g"),
        force_rows("P6"),
    )
    why = found.left_out.set_index("prototype")["why"]
    assert "turn the sign of the force round" in why["P1"]
    assert "run backwards" in why["P2"]
    assert "Pa cannot be turned into N: stress is not force" in why["P3"]
    assert "One curve has several units" in why["P4"]
    assert "° cannot be turned into s" in why["P5"]
    assert set(found.quantities["prototype"]) == {"P6"}


def test_without_force_curves_there_is_nothing():
    found = read(curve("flow", "P1", [1, 2, 3], "1/s", [1, 2, 3], "Pa"))
    for frame in (found.quantities, found.points, found.peaks, found.left_out):
        assert frame.empty
    assert found.notes == ()
