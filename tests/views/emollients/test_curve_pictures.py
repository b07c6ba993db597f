"""Pictures of curves: measured points and fitted lines are the numbers, areas are the ones taken, nothing outside."""

import numpy as np
import pytest
from matplotlib.colors import to_hex

from panel.models.emollients.curves import reduce_curves
from panel.views.drawing.pictures import COLOURS, GREY
from panel.views.emollients.curves import PULL_COLOUR, WORK_COLOUR, flow_figure, flow_svg, force_figure, force_svg
from tests.reading_studies import curve, curve_study, flow_rows, force_rows
from tests.views.examples import svg_root, svg_words, words_covering_words, words_outside


def flow(prototypes=3, repeats=2, **how):
    rng = np.random.default_rng(3)
    rows = [
        flow_rows(rng, f"P{p + 1}", repeat=f"{r + 1}", yield_stress=15.0 + 4 * p, **how)
        for p in range(prototypes)
        for r in range(repeats)
    ]
    return reduce_curves(curve_study(*rows))


def force(prototypes=3, **how):
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
    result = flow()
    (axes,) = flow_figure(result).axes
    points = np.asarray(axes.collections[0].get_offsets())
    assert len(points) == 6 * 16
    np.testing.assert_allclose(np.sort(points[:, 1]), np.sort(result.flow.points["stress"]))
    lines = [line for line in axes.lines if len(line.get_xdata()) > 3]
    assert len(lines) == 6
    drawn = np.sort(np.concatenate([line.get_ydata() for line in lines]))
    np.testing.assert_allclose(drawn, np.sort(result.flow.lines["stress"]))
    assert (axes.get_xscale(), axes.get_yscale()) == ("log", "log")


def test_prototypes_are_named_and_rates_of_use_marked():
    (axes,) = flow_figure(flow()).axes
    words = [text.get_text() for text in axes.texts]
    assert words == ["picking up", "end of rubbing in, cream", "P1", "P2", "P3"]
    assert axes.get_title(loc="left") == "Flow curves; lines: Herschel-Bulkley"


def test_many_prototypes_are_grey_but_the_chosen():
    (axes,) = flow_figure(flow(8, 1), ["P4"]).axes
    colours = {to_hex(line.get_color()) for line in axes.lines if len(line.get_xdata()) > 3}
    assert colours == {GREY, COLOURS[0]}


@pytest.mark.parametrize(("prototypes", "how"), [(1, {}), (8, {}), (8, {"lowest": 100.0, "consistency": 90.0})])
def test_no_word_leaves_the_flow_picture_or_covers_another(prototypes, how):
    figure = flow_figure(flow(prototypes, 1, **how))
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
    figure = flow_figure(result)
    assert words_outside(figure) == []
    assert words_covering_words(figure) == []


@pytest.mark.parametrize("until", ["peak", "whole stroke"])
def test_areas_are_the_ones_that_were_taken(until):
    rows = [force_rows(f"P{p}", size=50.0 + 10 * p, repeat=f"{r}") for p in range(3) for r in (1, 2)]
    result = reduce_curves(curve_study(*rows), work_until=until)
    figure = force_figure(result)
    assert [axes.get_title(loc="left") for axes in figure.axes] == ["P0", "P1", "P2"]
    taken = result.force.quantities.query("used and repeat == '1'").pivot_table(
        index="prototype", columns="measure", values="estimate"
    )
    per_unit = 9.80665e-3  # g mm to N mm
    for axes in figure.axes:
        work, pull = axes.collections
        assert (to_hex(work.get_facecolor()[0]), to_hex(pull.get_facecolor()[0])) == (WORK_COLOUR, PULL_COLOUR)
        expected = taken.loc[axes.get_title(loc="left"), ["work of shear", "work of adhesion"]].astype(float)
        np.testing.assert_allclose([area(work) * per_unit, area(pull) * per_unit], expected, rtol=1e-9)
    assert len({axes.get_ylim() for axes in figure.axes}) == 1


@pytest.mark.parametrize("prototypes", [1, 3, 6])
def test_no_word_leaves_the_force_picture_or_covers_another(prototypes):
    figure = force_figure(force(prototypes))
    assert words_outside(figure) == []
    assert words_covering_words(figure) == []


def test_axes_say_what_was_measured():
    assert force_figure(force()).axes[0].get_xlabel() == "Way, mm"
    assert force_figure(force(along="s", unit="N")).axes[0].get_xlabel() == "Time, s"
    assert force_figure(force(unit="N")).axes[0].get_ylabel() == "Force, N"


def test_the_svgs_are_the_same_each_time_and_say_what_they_show():
    for result, draw, title in ((flow(), flow_svg, "Flow curves"), (force(), force_svg, "Force curves")):
        svg = draw(result)
        assert svg == draw(result)
        root = svg_root(svg)
        assert root.attrib["aria-label"] == title
        assert root[1].text.startswith(title)
        assert "P1" in svg_words(draw(result, text_as_paths=False))
