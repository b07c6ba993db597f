"""Tables of reduced curves: one row per curve or quantity, rounded, with units and intervals."""

import numpy as np

from panel.models.emollients.curves import reduce_curves
from panel.views.emollients.curves import flow_models_table, flow_table, force_table, viscosities_table
from tests.reading_studies import curve_study, flow_rows, force_rows

RNG = np.random.default_rng(3)
RESULT = reduce_curves(
    curve_study(flow_rows(RNG, "P1", repeat="1"), flow_rows(RNG, "P1", repeat="2"), flow_rows(RNG, "P2", repeat=""))
)
FORCE = reduce_curves(curve_study(force_rows("P1", repeat="")))


def test_every_model_on_every_curve():
    table = flow_models_table(RESULT)
    assert table["Prototype"].tolist() == ["P1", "P1", "P2"]
    assert table["Repeat"].tolist() == ["1", "2", "–"]
    assert table["Herschel-Bulkley, AICc above the best"].tolist() == ["0.0"] * 3
    assert table["Best by itself"].tolist() == ["Herschel-Bulkley"] * 3


def test_parameters_with_units_and_intervals():
    table = flow_table(RESULT)
    assert table.columns.tolist() == [
        "Prototype",
        "Repeat",
        "yield stress, Pa",
        "yield stress, Pa: 95 % interval",
        "consistency index K, Pa s^n",
        "consistency index K, Pa s^n: 95 % interval",
        "flow index n",
        "flow index n: 95 % interval",
        "Can a yield stress be told?",
    ]
    assert table.iloc[0, 2].startswith(("19.", "20."))
    assert " to " in table.iloc[0, 3]
    assert table["Can a yield stress be told?"].tolist() == ["yes"] * 3
    power = flow_table(reduce_curves(curve_study(flow_rows(RNG, "P1")), model="power_law"))
    assert "Can a yield stress be told?" not in power


def test_viscosities_say_whether_they_were_measured():
    table = viscosities_table(RESULT)
    assert len(table) == 9
    assert table["Shear rate, 1/s"].tolist()[:3] == ["10", "500", "5000"]
    assert table["Stands for"].tolist()[:3] == ["picking up", "end of rubbing in, cream", "end of rubbing in, lotion"]
    assert table["Measured"].tolist()[:3] == ["yes", "yes", "no, beyond the measured rates"]


def test_force_quantities_say_what_they_were_taken_over():
    table = force_table(FORCE)
    assert table["Quantity"].tolist() == [
        *("firmness", "work of shear", "work of shear", "stickiness", "work of adhesion")
    ]
    assert table.loc[1, ["Value", "Unit", "Taken as", "Joined to the panel"]].tolist() == [
        *("2.94", "N mm", "area above zero, from the start to the peak", "yes")
    ]
    assert table.loc[2, "Joined to the panel"] == "no"


def test_tables_of_the_other_kind_are_empty():
    assert flow_models_table(FORCE).empty
    assert flow_table(FORCE).empty
    assert viscosities_table(FORCE).empty
    assert force_table(RESULT).empty
