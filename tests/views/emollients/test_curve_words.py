"""Sentences about reduced curves: the choice of the model, ends of the range, and what was not measured."""

import numpy as np
import pytest

from panel.models.emollients.curves import reduce_curves
from panel.views.emollients.curves import (
    curve_name,
    flow_alt_text,
    flow_sentences,
    force_alt_text,
    force_sentences,
    what_curves_cannot_show,
)
from tests.reading_studies import curve_study, flow_rows, force_rows


def flow(lowest=0.1, highest_yield=40.0, **how):
    rng = np.random.default_rng(3)
    rows = [flow_rows(rng, "P1", lowest=lowest), flow_rows(rng, "P2", yield_stress=highest_yield, lowest=lowest)]
    return reduce_curves(curve_study(*rows), **how)


def test_the_model_is_told_with_its_rivals():
    first = flow_sentences(flow())[0]
    assert first.startswith(
        "All flow curves are told by Herschel-Bulkley. AICc (summed over 2 curves; lower is better): "
        "Herschel-Bulkley 0.0, "
    )
    assert "Casson +" in first
    assert "power law +" in first
    assert "as well" not in first


def test_rivals_about_as_good_are_named():
    result = reduce_curves(curve_study(flow_rows(np.random.default_rng(1), "P1", lowest=200.0, scatter=0.05)))
    first = flow_sentences(result)[0]
    assert "one curve" in first
    assert "would do about as well." in first


def test_viscosities_run_from_thin_to_thick_and_say_when_not_measured():
    sentences = flow_sentences(flow())
    at_use = next(text for text in sentences if text.startswith("At 500 1/s (end of rubbing in, cream)"))
    assert "Pa s (P1)" in at_use
    assert at_use.index("(P1)") < at_use.index("(P2)")
    assert "beyond" not in at_use
    lotion = next(text for text in sentences if text.startswith("At 5000 1/s"))
    assert lotion.endswith("This lies beyond what was measured: the model speaks alone.")


def test_some_curves_beyond_what_was_measured():
    rng = np.random.default_rng(3)
    result = reduce_curves(curve_study(flow_rows(rng, "P1"), flow_rows(rng, "P2", lowest=100.0)))
    at_pick_up = next(text for text in flow_sentences(result) if text.startswith("At 10 1/s"))
    assert at_pick_up.endswith("For some curves this lies beyond what was measured.")


def test_the_yield_stress_is_told_or_not():
    assert any(text.startswith("The yield stress runs from ") for text in flow_sentences(flow()))
    high = flow(lowest=400.0, highest_yield=20.0, model="herschel_bulkley")
    assert "No yield stress can be told from these curves." in flow_sentences(high)
    assert not any("yield stress" in text for text in flow_sentences(flow(model="power_law")))


def test_force_quantities_carry_unit_and_limits():
    rows = [
        force_rows("P1", repeat="1"),
        force_rows("P2", size=80.0, repeat="1"),
        force_rows("P2", size=90.0, repeat="2"),
    ]
    result = reduce_curves(curve_study(*rows))
    sentences = force_sentences(result)
    assert sentences[0] == "Firmness runs from 60.0 g (P1, repeat 1) to 90.0 g (P2, repeat 2): largest force."
    assert sentences[1].endswith("area above zero, from the start to the peak.")
    assert len(sentences) == 4
    assert flow_sentences(result) == ()
    assert force_alt_text(result).startswith("Force curves with the areas that were taken. Firmness runs")


def test_one_curve_has_no_range():
    assert (
        force_sentences(reduce_curves(curve_study(force_rows("P1"))))[0]
        == "Firmness runs to 60.0 g (P1): largest force."
    )


def test_without_force_curves_nothing_is_said():
    result = flow()
    assert force_sentences(result) == ()
    assert flow_alt_text(result).startswith("Flow curves, shear stress by shear rate")


@pytest.mark.parametrize(("repeat", "repeats", "name"), [("2", 3, "P1, repeat 2"), ("2", 1, "P1"), ("", 3, "P1")])
def test_names_of_curves(repeat, repeats, name):
    assert curve_name("P1", repeat, repeats) == name


def test_what_curves_cannot_show():
    assert len(what_curves_cannot_show()) == 3
