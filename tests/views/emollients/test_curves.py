"""Reduced curves: what is told, drawn and tabled is what was measured, and what was not measured is said."""

import numpy as np
import pytest
from matplotlib.colors import to_hex

from panel.models.emollients.curves import reduce_curves
from panel.study.naming import Naming
from panel.study.shown import shown
from panel.views.emollients.curves import (
    _FLOW,
    _FLOW_MODELS_COMPARED,
    _FORCE,
    _PULL,
    _VISCOSITIES,
    _WORK,
    _curve_name,
    _flow_figure,
    _flow_picture,
    _flow_sentences,
    _force_figure,
    _force_picture,
    _force_sentences,
    _unit_words,
    format_reading,
    measure_title,
    tell_curves,
    with_unit,
)
from tests.reading_studies import curve, curve_study, flow_rows, force_rows
from tests.views.examples import words_covering_words, words_outside

NO_NAMES = Naming()


def flow_of(prototypes=3, repeats=2, **how):
    rng = np.random.default_rng(3)
    rows = [
        flow_rows(rng, f"P{p + 1}", repeat=f"{r + 1}", yield_stress=15.0 + 4 * p, **how)
        for p in range(prototypes)
        for r in range(repeats)
    ]
    return reduce_curves(curve_study(*rows))


def force_of(prototypes=3, **how):
    return reduce_curves(
        curve_study(
            *(
                force_rows(f"P{p + 1}", size=50.0 + 10 * p, repeat=f"{r}", **how)
                for p in range(prototypes)
                for r in (1, 2)
            )
        )
    )


def test_points_and_lines_are_the_numbers():
    result = flow_of()
    (axes,) = _flow_figure(result, Naming()).axes
    marks = [line for line in axes.lines if str(line.get_gid()).startswith("prototype ")]
    points = np.vstack([line.get_xydata() for line in marks])
    assert len(points) == 6 * 16
    np.testing.assert_allclose(np.sort(points[:, 1]), np.sort(result.flow.points["stress"]))
    lines = [line for line in axes.lines if len(line.get_xdata()) > 3 and line not in marks]
    assert len(lines) == 6
    drawn = np.sort(np.concatenate([line.get_ydata() for line in lines]))
    np.testing.assert_allclose(drawn, np.sort(result.flow.lines["stress"]))
    assert (axes.get_xscale(), axes.get_yscale()) == ("log", "log")


def test_prototypes_are_named_and_rates_of_use_marked():
    figure = _flow_figure(flow_of(), Naming())
    (axes,) = figure.axes
    words = [text.get_text() for text in axes.texts]
    assert words == ["picking up", "end of rubbing in, cream", "P1", "P2", "P3"]
    assert figure.texts[0].get_text() == "Flow curves; lines: Herschel-Bulkley"


@pytest.mark.parametrize(("prototypes", "how"), [(1, {}), (8, {}), (8, {"lowest": 100.0, "consistency": 90.0})])
def test_no_word_leaves_the_flow_picture_or_covers_another(prototypes, how):
    figure = _flow_figure(flow_of(prototypes, 1, **how), Naming())
    assert words_outside(figure) == []
    assert words_covering_words(figure) == []


def area(filled):
    """Area of a filled shape from its corners (the shoelace formula)."""
    x, y = filled.get_paths()[0].vertices[:-1].T
    return abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2


@pytest.mark.parametrize("ends", [(0.1, 10_000), (8, 6_000), (9, 11)])
def test_words_over_the_rates_of_use_do_not_touch(ends):
    rates = np.geomspace(*ends, 12)
    result = reduce_curves(curve_study(curve("flow", "P1", rates, "1/s", 20 + 5 * rates**0.45, "Pa")))
    figure = _flow_figure(result, Naming())
    assert words_outside(figure) == []
    assert words_covering_words(figure) == []


def test_areas_are_the_ones_that_were_taken():
    rows = [force_rows(f"P{p}", size=50.0 + 10 * p, repeat=f"{r}") for p in range(3) for r in (1, 2)]
    result = reduce_curves(curve_study(*rows))
    figure = _force_figure(result)
    assert [axes.get_title(loc="left") for axes in figure.axes] == ["P0", "P1", "P2"]
    taken = result.force.quantities.query("used and repeat == '1'").pivot_table(
        index="prototype", columns="measure", values="estimate"
    )
    per_unit = 9.80665e-3  # g mm to N mm
    for axes in figure.axes:
        work, pull = axes.collections
        assert (to_hex(work.get_facecolor()[0]), to_hex(pull.get_facecolor()[0])) == (_WORK, _PULL)
        expected = taken.loc[axes.get_title(loc="left"), ["work of shear", "work of adhesion"]].astype(float)
        np.testing.assert_allclose([area(work) * per_unit, area(pull) * per_unit], expected, rtol=1e-9)
    assert len({axes.get_ylim() for axes in figure.axes}) == 1
    points = result.force.points
    for (low, high), values in (
        (figure.axes[0].get_xlim(), points["along"]),
        (figure.axes[0].get_ylim(), points["force"]),
    ):
        assert low < min(values.min(), 0) < values.max() < high
        assert max(values.max(), 0) - min(values.min(), 0) > 0.8 * (high - low)  # what was measured fills the picture


@pytest.mark.parametrize("prototypes", [1, 3, 6])
def test_no_word_leaves_the_force_picture_or_covers_another(prototypes):
    figure = _force_figure(force_of(prototypes))
    assert words_outside(figure) == []
    assert words_covering_words(figure) == []


def test_axes_say_what_was_measured():
    assert _force_figure(force_of()).axes[0].get_xlabel() == "Way, mm"
    assert _force_figure(force_of(along="s", unit="N")).axes[0].get_xlabel() == "Time, s"
    assert _force_figure(force_of(unit="N")).axes[0].get_ylabel() == "Force, N"


RNG = np.random.default_rng(3)
RESULT = reduce_curves(
    curve_study(flow_rows(RNG, "P1", repeat="1"), flow_rows(RNG, "P1", repeat="2"), flow_rows(RNG, "P2", repeat=""))
)
FORCED = reduce_curves(curve_study(force_rows("P1", repeat="")))


def test_every_model_on_every_curve():
    table = shown(_FLOW_MODELS_COMPARED, RESULT, NO_NAMES)
    assert table["Curve"].tolist() == ["P1, repeat 1", "P1, repeat 2", "P2"]
    assert table["Herschel-Bulkley"].tolist() == ["0.0"] * 3


def test_parameters_with_units_and_intervals():
    table = shown(_FLOW, RESULT, NO_NAMES)
    assert table.columns.tolist() == ["Curve", "yield stress, Pa", "consistency index K, Pa s^n", "flow index n"]
    estimate = RESULT.flow.parameters.iloc[0]
    assert table.iloc[0, 1].startswith(("19.", "20."))
    assert f"({estimate['ci_low']:.1f} to {estimate['ci_high']:.1f})" in table.iloc[0, 1]


def test_viscosities_say_whether_they_were_measured():
    table = shown(_VISCOSITIES, RESULT, NO_NAMES)
    assert len(table) == 9
    assert table["Shear rate, 1/s"].tolist()[:3] == ["10", "500", "5000"]
    assert table["Stands for"].tolist()[:3] == ["picking up", "end of rubbing in, cream", "end of rubbing in, lotion"]
    assert table["Measured"].tolist()[:3] == ["yes", "yes", "no, beyond the measured rates"]


def test_force_quantities_say_what_they_were_taken_over():
    table = shown(_FORCE, FORCED, NO_NAMES)
    assert table["Quantity"].tolist() == [
        *("firmness", "work of shear", "work of shear", "stickiness", "work of adhesion")
    ]
    assert table.loc[1, ["Value", "Unit", "Taken as", "Joined to the panel"]].tolist() == [
        *("2.94", "N mm", "area above zero, from the start to the peak", "yes")
    ]
    assert table.loc[2, "Joined to the panel"] == "no"


def flow(lowest=0.1, lowest_yield=20.0, highest_yield=40.0):
    rng = np.random.default_rng(3)
    rows = [flow_rows(rng, "P1", yield_stress=lowest_yield, lowest=lowest)]
    rows.append(flow_rows(rng, "P2", yield_stress=highest_yield, lowest=lowest))
    return reduce_curves(curve_study(*rows))


def test_the_model_is_told_with_its_rivals():
    first = _flow_sentences(flow())[0]
    assert first.startswith(
        "All flow curves are told by Herschel-Bulkley. AICc (summed over 2 curves; lower is better): "
        "Herschel-Bulkley 0.0, "
    )
    assert "Casson +" in first
    assert "power law +" in first
    assert "as well" not in first


def test_rivals_about_as_good_are_named():
    result = reduce_curves(curve_study(flow_rows(np.random.default_rng(1), "P1", lowest=200.0, scatter=0.05)))
    first = _flow_sentences(result)[0]
    assert "one curve" in first
    assert "would do about as well." in first


def test_viscosities_run_from_thin_to_thick_and_say_when_not_measured():
    sentences = _flow_sentences(flow())
    at_use = next(text for text in sentences if text.startswith("At 500 1/s (end of rubbing in, cream)"))
    assert "Pa s (P1)" in at_use
    assert at_use.index("(P1)") < at_use.index("(P2)")
    assert "beyond" not in at_use
    lotion = next(text for text in sentences if text.startswith("At 5000 1/s"))
    assert lotion.endswith("This lies beyond what was measured: the model speaks alone.")


def test_some_curves_beyond_what_was_measured():
    rng = np.random.default_rng(3)
    result = reduce_curves(curve_study(flow_rows(rng, "P1"), flow_rows(rng, "P2", lowest=100.0)))
    at_pick_up = next(text for text in _flow_sentences(result) if text.startswith("At 10 1/s"))
    assert at_pick_up.endswith("For some curves this lies beyond what was measured.")


def test_the_yield_stress_is_told_or_not():
    assert any(text.startswith("The yield stress runs from ") for text in _flow_sentences(flow()))
    high = flow(lowest=50.0, highest_yield=20.0)
    assert high.flow.model == "herschel_bulkley"
    assert "No yield stress can be told from these curves." in _flow_sentences(high)
    without = flow(lowest_yield=0.0, highest_yield=0.0)
    assert without.flow.model == "power_law"
    assert not any("yield stress" in text for text in _flow_sentences(without))


def test_force_quantities_carry_unit_and_limits():
    rows = [
        force_rows("P1", repeat="1"),
        force_rows("P2", size=80.0, repeat="1"),
        force_rows("P2", size=90.0, repeat="2"),
    ]
    result = reduce_curves(curve_study(*rows))
    sentences = _force_sentences(result)
    assert sentences[0] == "Firmness runs from 60.0 g (P1, repeat 1) to 90.0 g (P2, repeat 2): largest force."
    assert sentences[1].endswith("area above zero, from the start to the peak.")
    assert len(sentences) == 4
    assert _flow_sentences(result) == ()
    assert _force_picture(result).alt.startswith("Force curves with the areas that were taken. Firmness runs")


def test_one_curve_has_no_range():
    assert (
        _force_sentences(reduce_curves(curve_study(force_rows("P1"))))[0]
        == "Firmness runs to 60.0 g (P1): largest force."
    )


def test_without_force_curves_nothing_is_said():
    result = flow()
    assert _force_sentences(result) == ()
    assert _flow_picture(result, Naming()).alt.startswith("Flow curves, shear stress by shear rate")


@pytest.mark.parametrize(("repeat", "repeats", "name"), [("2", 3, "P1, repeat 2"), ("2", 1, "P1"), ("", 3, "P1")])
def test_names_of_curves(repeat, repeats, name):
    assert _curve_name("P1", repeat, repeats) == name


def test_how_thick_they_are_comes_before_the_model():
    told = tell_curves(RESULT, NO_NAMES)
    assert told.headline.startswith("At 10 1/s (picking up) viscosity runs from ")
    assert told.picture.name == "flow"
    titles = [each.title for each in told.every_drawer()]
    assert "Flow curves in numbers" in titles
    assert "Force curves in numbers" not in titles
    forced = tell_curves(FORCED, NO_NAMES)
    assert forced.headline.startswith("Firmness runs to")
    assert forced.picture.name == "force"


@pytest.mark.parametrize(
    ("value", "written"),
    [
        *((24486.7, "24500"), (62.04, "62.0"), (0.3149, "0.315"), (3.4, "3.40"), (0, "0"), (-21.37, "−21.4")),
        *((9.996, "10.0"), (99.96, "100"), (0.00012345, "0.000123"), (1e6, "1000000"), (float("nan"), "–")),
        (float("inf"), "∞"),
    ],
)
def test_readings_carry_three_digits_that_mean_something(value, written):
    assert format_reading(value) == written


def test_units_as_they_are_printed():
    assert _unit_words("1") == ""
    assert _unit_words("mm2/s") == "mm²/s"
    assert _unit_words("kg/m3") == "kg/m³"
    assert _unit_words("Pa s^n") == "Pa s^n"
    assert with_unit("5", "1") == "5"
    assert with_unit("5", "g s") == "5 g s"
    assert measure_title("firmness", "g") == "firmness, g"
    assert measure_title("friction at 5 min", "1") == "friction at 5 min"
    assert np.all([_unit_words(unit) == unit for unit in ("mPa s", "0.1 mm", "GU", "%")])
