"""Flow curves of a study: units, one model for all, what can be told, and curves that cannot be used."""

import numpy as np
import pytest

from panel.models.emollients.curves import PARAMETER_UNITS, _flow_curves
from panel.stats.curves.flow import _PARAMETERS
from tests.reading_studies import curve, curves_table, flow_rows

RATES = np.geomspace(0.1, 1000, 16)
STRESS = 20 + 5 * RATES**0.45
EXACT = 1e-5  # constructed curves; parameters are strongly correlated


def reduced(*parts):
    return _flow_curves(curves_table(*parts))


def estimates(found):
    return found.parameters.set_index("parameter")["estimate"]


@pytest.mark.parametrize(
    ("x", "x_unit", "y", "y_unit"),
    [
        (RATES, "1/s", STRESS, "Pa"),
        (RATES * 60, "1/min", STRESS / 1000, "kPa"),
        (RATES, "s-1", STRESS / RATES, "Pa.s"),
        (RATES, "1/s", 1000 * STRESS / RATES, "mPa·s"),
    ],
)
def test_stresses_and_viscosities_in_any_unit_give_the_same(x, x_unit, y, y_unit):
    found = reduced(curve("flow", "P1", x, x_unit, y, y_unit))
    assert found.model == "herschel_bulkley"
    np.testing.assert_allclose(estimates(found), [20, 5, 0.45], rtol=EXACT)
    np.testing.assert_allclose(found.points["stress"], STRESS, rtol=1e-9)
    viscosities = found.viscosities.set_index("rate")["estimate"]
    np.testing.assert_allclose(viscosities, (20 + 5 * viscosities.index**0.45) / viscosities.index, rtol=EXACT)
    assert found.parameters["unit"].tolist() == ["Pa", "Pa s^n", "1"]


def test_every_parameter_has_a_unit():
    assert {name for names in _PARAMETERS.values() for name in names} == set(PARAMETER_UNITS)


def test_one_model_serves_all_curves_and_the_order_is_shown():
    # Two curves with a clear yield stress and one without: together Herschel-Bulkley, by itself another model.
    rng = np.random.default_rng(2)
    rows = [flow_rows(rng, f"P{k}", scatter=0.01) for k in (1, 2)]
    rows.append(flow_rows(rng, "P3", yield_stress=0.0, consistency=10, scatter=0.03))
    found = reduced(*rows)
    assert found.model == "herschel_bulkley"
    assert set(found.parameters["model"]) == {"herschel_bulkley"}
    sums = found.models.groupby("model")["aicc"].sum()
    np.testing.assert_allclose(found.totals.set_index("model")["aicc"], sums.loc[found.totals["model"]], rtol=1e-12)
    assert found.totals["difference"].tolist() == sorted(found.totals["difference"])
    for _, rows in found.models.groupby("prototype"):
        assert rows["aicc"].is_monotonic_increasing
        assert rows["difference"].iloc[0] == 0
        assert rows["weight"].sum() == pytest.approx(1)
    assert found.models.query("prototype == 'P3'")["model"].iloc[0] == "power_law"
    assert found.yield_stresses["yield_stress_seen"].tolist() == [True, True, False]


def test_casson_is_chosen_where_it_made_the_curve():
    found = reduced(curve("flow", "P1", RATES, "1/s", (20**0.5 + (0.1 * RATES) ** 0.5) ** 2, "Pa"))
    assert found.model == "casson"
    assert found.parameters["parameter"].tolist() == ["yield_stress", "plastic_viscosity"]
    np.testing.assert_allclose(estimates(found), [20, 0.1], rtol=EXACT)


def test_repeats_are_curves_of_their_own():
    rng = np.random.default_rng(2)
    found = reduced(flow_rows(rng, "P1", repeat="1"), flow_rows(rng, "P1", repeat="2"))
    assert found.yield_stresses[["prototype", "repeat"]].to_numpy().tolist() == [["P1", "1"], ["P1", "2"]]
    assert len(found.viscosities) == 6
    assert len(found.lines) == 2 * len(found.lines.query("repeat == '1'"))
    assert found.viscosities.groupby("rate")["extrapolated"].all().to_dict() == {10: False, 500: False, 5000: True}


def test_points_that_are_not_above_zero_are_counted():
    rows = curve("flow", "P1", [0.0, *RATES], "1/s", [20.0, *STRESS], "Pa")
    found = reduced(rows)
    assert len(found.points) == 16
    assert found.notes == ("1 points of P1 1 do not count: rate or stress is not above zero.",)


def test_curves_that_cannot_be_used_are_left_out_with_the_reason():
    found = reduced(
        curve("flow", "P1", RATES[:4], "1/s", STRESS[:4], "Pa"),
        curve("flow", "P2", RATES, "1/s", STRESS, "bananas"),
        curve("flow", "P3", RATES, "mm", STRESS, "Pa"),
        curve("flow", "P4", RATES, "1/s", STRESS, "Pa"),
    )
    why = found.left_out.set_index("prototype")["why"]
    assert "at least 5 different shear rates; there are 4" in why["P1"]
    assert "The unit 'bananas' is not known" in why["P2"]
    assert "mm cannot be turned into 1/s: length is not shear rate" in why["P3"]
    assert set(found.parameters["prototype"]) == {"P4"}


def test_without_flow_curves_there_is_nothing():
    found = reduced(curve("force", "P1", [0, 1, 2], "mm", [0, 5, 0], "g"))
    assert found.model is None
    for frame in (found.models, found.totals, found.parameters, found.viscosities, found.points, found.lines):
        assert frame.empty
