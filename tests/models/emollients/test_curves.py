"""Reduced curves of a study: what becomes a reading, what does not, how it is told, and what is refused."""

import numpy as np
import pytest

from panel.errors import ModelError
from panel.models.emollients import curves
from panel.models.emollients.curves import _USUAL_RATES, reduce_curves
from panel.study.study import Study
from tests.reading_studies import curve, curve_study, flow_rows, force_rows


def flow_study(**how):
    rng = np.random.default_rng(3)
    return curve_study(*(flow_rows(rng, f"P{k}", repeat=f"{r}", **how) for k in (1, 2) for r in (1, 2)))


def test_the_usual_rates():
    # Brummer and Godersky (1999) Colloids Surf. A 152:89-94: about 500 1/s (creams) and 5000 1/s (lotions).
    assert _USUAL_RATES == (10, 500, 5000)


def test_what_becomes_a_reading():
    study = curve_study(flow_rows(np.random.default_rng(1), "P1"), force_rows("P1"))
    found = reduce_curves(study)
    rows = found.readings.set_index("measure")
    assert rows["unit"].to_dict() == {
        "firmness": "g",
        "work of shear": "N mm",
        "stickiness": "g",
        "work of adhesion": "N mm",
        "viscosity at 10 1/s": "Pa s",
        "viscosity at 500 1/s": "Pa s",
        "yield stress": "Pa",
        "flow index": "1",
    }
    assert found.readings.columns.tolist() == ["prototype", "measure", "unit", "value", "repeat"]
    assert rows.loc["yield stress", "value"] == pytest.approx(20, rel=0.05)
    assert rows.loc["viscosity at 500 1/s", "value"] == pytest.approx((20 + 5 * 500**0.45) / 500, rel=0.05)


def test_a_rate_beyond_the_measured_ones_is_no_reading_and_is_said():
    found = reduce_curves(flow_study())
    assert not found.readings["measure"].str.contains("5000").any()
    assert found.flow.viscosities.query("rate == 5000")["extrapolated"].all()
    assert any(
        note.startswith("Beyond the measured rates of some curves") and "5000 1/s" in note for note in found.notes
    )


def test_a_yield_stress_that_cannot_be_told_is_no_reading_and_is_said(monkeypatch):
    monkeypatch.setattr(curves, "FLOW_MODELS", ("herschel_bulkley",))
    found = reduce_curves(flow_study(lowest=300.0))
    assert "yield stress" not in set(found.readings["measure"])
    notes = [note for note in found.notes if note.startswith("The yield stress of ")]
    assert len(notes) == 4
    assert all("cannot be told" in note for note in notes)
    needed = found.flow.parameters.query("parameter == 'yield_stress'")
    assert ((needed["ci_low"] < 20) & (needed["ci_high"] > 20)).all()
    assert (needed["ci_high"] - needed["ci_low"] > 20).all()


def test_a_yield_stress_not_needed_is_said(monkeypatch):
    rates = np.geomspace(0.01, 100, 16)
    rng = np.random.default_rng(5)
    study = curve_study(curve("flow", "P1", rates, "1/s", 8 * rates**0.4 * np.exp(rng.normal(0, 0.05, 16)), "Pa"))
    monkeypatch.setattr(curves, "FLOW_MODELS", ("casson",))
    found = reduce_curves(study)
    (note,) = [note for note in found.notes if "yield stress" in note]
    assert "cannot be told" in note


def test_curves_that_would_choose_another_model_are_named():
    rng = np.random.default_rng(2)
    rows = [flow_rows(rng, f"P{k}", scatter=0.01) for k in (1, 2)]
    rows.append(flow_rows(rng, "P3", yield_stress=0.0, consistency=10, scatter=0.03))
    found = reduce_curves(curve_study(*rows))
    assert "1 of 3 curves would by themselves be told by another model: P3 1." in found.notes


def test_how_it_was_done_is_told():
    found = reduce_curves(curve_study(flow_rows(np.random.default_rng(1), "P1"), force_rows("P1")))
    for words in ("relative errors", "Herschel-Bulkley, the smallest AICc", "95 % intervals", "crossings of zero"):
        assert words in found.method
    flow_only = reduce_curves(flow_study()).method
    assert "95 % intervals" in flow_only
    assert "Force curves" not in flow_only
    assert "Flow curves" not in reduce_curves(curve_study(force_rows("P1"))).method


def test_the_speed_of_the_probe_is_a_fact_of_the_study():
    rows = force_rows("P1", along="s")
    stated = reduce_curves(curve_study(rows, facts={"probe_speed_mm_s": 2}))
    assert set(stated.readings["unit"]) == {"g", "N mm"}
    for wrong in (0, -1, "fast", True, float("nan")):
        with pytest.raises(ModelError, match="speed of the probe must be a number of mm/s above zero"):
            reduce_curves(curve_study(rows, facts={"probe_speed_mm_s": wrong}))


def test_a_curve_that_is_left_out_is_said():
    study = curve_study(force_rows("P1"), curve("force", "P2", [0, 1], "mm", [0, 5], "g"))
    found = reduce_curves(study)
    assert any(note.startswith("The curve of P2 1 is left out: A force curve needs") for note in found.notes)


def test_no_curves_are_refused():
    with pytest.raises(ModelError, match=r"no measured curves\. Add the table curves, one row per point"):
        reduce_curves(Study(tables={}))
    with pytest.raises(ModelError, match=r"No curve can be reduced\. A force curve needs at least 3 points"):
        reduce_curves(curve_study(curve("force", "P2", [0, 1], "mm", [0, 5], "g")))
    with pytest.raises(ModelError, match=r"No curve can be reduced\. The kind of a curve is flow or force"):
        reduce_curves(curve_study(curve("creep", "P2", [0, 1], "s", [0, 5], "Pa")))
