"""Means of readings: repeats, batches, units, signs, and what must be said of them."""

import numpy as np
import pandas as pd
import pytest

from panel.errors import ModelError
from panel.models.emollients.readings import _reading_means
from panel.study.study import Study
from tests.reading_studies import hand_cream_readings, measured, readings_table, true_readings

EXACT = 1e-12


def reading(prototype, value, measure="firmness", unit="g", **more):
    return {"prototype": prototype, "measure": measure, "unit": unit, "value": value, **more}


def gathered(*rows, from_curves=None):
    return _reading_means(hand_cream_readings(readings_table(list(rows))), from_curves)


def test_means_equal_pandas():
    readings = measured(np.random.default_rng(1))
    found = _reading_means(hand_cream_readings(readings))
    judge = readings.groupby(["prototype", "measure"])["value"].agg(["mean", "std", "sem", "size"])
    rows = found.means.set_index(["prototype", "measure"])
    judge = judge.loc[rows.index]
    for column, name in (("estimate", "mean"), ("sd", "std"), ("std_error", "sem"), ("n", "size")):
        np.testing.assert_allclose(rows[column], judge[name], rtol=EXACT)
    np.testing.assert_allclose(rows["cv"], judge["std"] / judge["mean"], rtol=EXACT)
    assert (rows["n_batches"] == 1).all()
    assert found.wide.shape == (8, 4)
    assert found.notes == ()


def test_columns_and_order():
    found = gathered(reading("P2", 5), reading("P1", 4), reading("P1", 20, "gloss", "GU"), reading("P1", 6))
    assert found.means.columns.tolist() == [
        *("prototype", "measure", "unit", "estimate", "sd", "n", "std_error", "cv", "n_batches")
    ]
    keys = list(zip(found.means["measure"], found.means["prototype"], strict=True))
    assert keys == [("firmness", "P1"), ("firmness", "P2"), ("gloss", "P1")]
    assert found.measures["measure"].tolist() == ["firmness", "gloss"]
    assert found.measures["fewest"].tolist() == [1, 1]
    assert found.measures["most"].tolist() == [2, 1]
    assert np.isnan(found.wide.loc["P2", "gloss"])


def test_several_batches_are_averaged_and_give_the_error():
    # Batch means 2 and 6, of 3 and 1 readings: their mean is 4, not the mean of the four readings.
    rows = [reading("P1", value, batch="a") for value in (1, 2, 3)] + [reading("P1", 6, batch="b")]
    (row,) = gathered(*rows).means.to_dict("records")
    assert (row["estimate"], row["n"], row["n_batches"]) == (4, 4, 2)
    assert row["sd"] == 1
    np.testing.assert_allclose(row["std_error"], np.std([2, 6], ddof=1) / np.sqrt(2), rtol=EXACT)


def test_one_reading_has_no_scatter():
    found = gathered(reading("P1", 5), reading("P2", 6))
    assert found.means[["sd", "std_error", "cv"]].isna().all(axis=None)
    assert any("Fewer than 3 readings" in note for note in found.notes)


def test_units_of_one_measure_are_brought_together_and_that_is_said():
    # 0.5 N is 50.99 g (standard gravity).
    found = gathered(reading("P1", 60), reading("P2", 70), reading("P3", 0.5, unit="N"))
    np.testing.assert_allclose(found.wide.loc["P3", "firmness"], 500 / 9.80665, rtol=EXACT)
    assert found.measures["unit"].tolist() == ["g"]
    assert "firmness comes in several units: 1 readings in N became g." in found.notes


def test_the_same_unit_written_in_two_ways_is_one_unit():
    rows = [reading("P1", 1, "viscosity", "mPa.s"), reading("P2", 2, "viscosity", "mPas")]
    found = gathered(*rows)
    assert found.measures["unit"].tolist() == ["mPa s"]
    assert not any("several units" in note for note in found.notes)


def test_units_that_measure_different_things_leave_the_measure_out():
    found = gathered(reading("P1", 60), reading("P2", 3, unit="mm"), reading("P1", 20, "gloss", "GU"))
    assert found.left_out.to_dict("records") == [
        {"measure": "firmness", "why": "its units do not measure the same thing: g, mm"}
    ]
    assert found.measures["measure"].tolist() == ["gloss"]
    assert any(note.startswith("Left out, because its units do not") and "firmness" in note for note in found.notes)


def test_an_unknown_unit_is_kept_and_said():
    found = gathered(reading("P1", 60, unit="clicks"), reading("P2", 50, unit="clicks"))
    assert found.measures["unit"].tolist() == ["clicks"]
    assert "The unit clicks of firmness is not known here; its values are taken as they stand." in found.notes


def test_a_pull_written_as_negative_force_becomes_a_size():
    rows = [
        reading("P1", -20, "film tack"),
        reading("P2", -30, "film tack"),
        reading("P1", 3, "x"),
        reading("P2", -3, "x"),
    ]
    found = gathered(*rows)
    assert found.wide["film tack"].tolist() == [20, 30]
    assert found.wide["x"].tolist() == [3, -3]
    assert "All values lie below zero, so their size is used: film tack." in found.notes
    assert "Some values lie below and some above zero; check the sign: x." in found.notes


def test_names_of_measures_may_differ_in_capitals_and_spaces():
    found = gathered(reading("P1", 5, "Paper  Blot", "mg"), reading("P2", 6, "paper blot", "mg"))
    assert found.measures["measure"].tolist() == ["Paper Blot"]
    assert len(found.means) == 2


def test_ratios_of_ph_say_nothing():
    rows = [reading("P1", 5.4, "pH", "1"), reading("P1", 5.5, "pH", "1"), reading("P1", 25, "t", "°C")]
    found = gathered(*rows)
    assert found.measures["ratios"].tolist() == [False, False]
    assert found.means["cv"].isna().all()


def test_temperatures_that_differ_are_said():
    found = gathered(reading("P1", 5, temperature_c=25.0), reading("P2", 6, temperature_c=32.0))
    assert any("firmness was read at 25 to 32 °C" in note for note in found.notes)


def test_scatter_as_large_as_the_differences_is_said():
    rng = np.random.default_rng(3)
    rows = [reading(f"P{p}", 50 + rng.normal(0, 5)) for p in range(1, 9) for _ in range(3)]
    found = gathered(*rows)
    assert found.measures["noise_share"].iloc[0] > 0.5
    assert any("variance between prototypes is scatter between readings: firmness." in note for note in found.notes)
    clear = _reading_means(hand_cream_readings(measured(np.random.default_rng(1), measures=["firmness"])))
    assert clear.measures["noise_share"].iloc[0] < 0.1
    assert true_readings("firmness")[0] == 62


def test_scatter_beyond_the_differences_is_the_whole_of_them():
    noise = [reading(f"P{p}", value) for p in (1, 2) for value in (40 + p, 60.0)]
    assert gathered(*noise).measures["noise_share"].tolist() == [1.0]


def test_curves_add_measures_but_do_not_replace_readings():
    curves = pd.DataFrame(
        {
            "prototype": ["P1", "P1"],
            "measure": ["Firmness", "yield stress"],
            "unit": ["g", "Pa"],
            "value": [99.0, 12.0],
            "repeat": ["1", "1"],
        }
    )
    found = gathered(reading("P1", 60), from_curves=curves)
    assert found.wide.loc["P1"].to_dict() == {"firmness": 60, "yield stress": 12}
    assert "Taken from the table of readings, not from the curves: Firmness." in found.notes


def test_what_does_not_count_is_said():
    found = gathered(reading("P1", 5), reading("P1", float("nan")), reading("X9", 5))
    assert "1 of 3 readings have no value and do not count." in found.notes
    assert "Readings of what is no prototype of this study do not count: X9." in found.notes


def test_no_readings_are_refused():
    with pytest.raises(ModelError, match=r"no instrument readings that can be used\. Add the table readings"):
        _reading_means(Study(tables={}))
