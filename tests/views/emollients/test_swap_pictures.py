"""The pictures show the numbers they are given, say everything in words too, and never rely on colour alone."""

import re

import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure

from panel.models.emollients.swaps import trace_swaps
from panel.study.formulas import emollient_blend
from panel.study.naming import Naming, naming
from panel.views.emollients.swap_pictures import blend_figure, blend_svg, swap_figure, swap_svg
from tests.formula_studies import ALKANE, CARBONATE, hand_cream_formulas, scores_of, study_of

PROTOTYPES = [f"P{number}" for number in range(1, 9)]


@pytest.fixture(scope="module")
def study():
    runs = np.arange(8)
    values = 50 + np.random.default_rng(3).normal(0, 4, (10, 3, 2, 8)) - 12.0 * (runs & 1)
    return study_of(hand_cream_formulas(), scores=scores_of(values, PROTOTYPES, ["AF_GREASE", "GLOSS"]))


@pytest.fixture(scope="module")
def traced(study):
    return trace_swaps(study)


def inside(figure):
    """Whether every text lies in the figure."""
    figure.draw_without_rendering()
    width, height = figure.bbox.size
    texts = [
        text for axes in figure.axes for text in [*axes.texts, axes.title, axes.xaxis.label, *axes.get_yticklabels()]
    ]
    boxes = [text.get_window_extent() for text in texts if text.get_text()]
    return all(box.x0 >= -1 and box.y0 >= -1 and box.x1 <= width + 1 and box.y1 <= height + 1 for box in boxes)


def dots_of(axes):
    """The two rows of dots of one swap, those that stand out and the others."""
    return [line for line in axes.lines if line.get_linestyle() == "None"]


def test_every_effect_is_drawn_where_it_is_with_its_interval(study, traced):
    figure = swap_figure(traced, naming(study))
    assert isinstance(figure, Figure)
    assert len(figure.axes) == 3
    for axes, (swap, part) in zip(figure.axes, traced.swaps.groupby("swap", sort=False), strict=True):
        assert axes.get_title().replace("\n", " ") == swap.replace("->", "→")
        dots = sorted((y, x) for line in dots_of(axes) for x, y in zip(*line.get_data(), strict=True))
        assert [x for _, x in dots] == part["estimate"].tolist()
        spans = [(ends[0, 0], ends[1, 0]) for ends in axes.collections[-1].get_segments()]
        assert spans == list(zip(part["ci_low"], part["ci_high"], strict=True))
        low, high = axes.get_xlim()
        assert low < part["ci_low"].min()
        assert part["ci_high"].max() < high
    assert len({axes.get_xlim() for axes in figure.axes}) == 1  # the same scale in all panels
    assert inside(figure)


def test_swaps_differ_in_shape_and_what_is_seen_is_filled(study, traced):
    figure = swap_figure(traced, naming(study))
    assert len({dots_of(axes)[0].get_marker() for axes in figure.axes}) == 3
    drawn_filled = []
    for axes in figure.axes:
        kinds = [(dots.get_markerfacecolor() != "white", dots.get_ydata()) for dots in dots_of(axes)]
        by_line = {int(y): filled for filled, lines in kinds for y in lines}
        drawn_filled += [by_line[line] for line in sorted(by_line)]
    by_swap = pd.concat([part for _, part in traced.swaps.groupby("swap", sort=False)])
    assert drawn_filled == (by_swap["p_adjusted"] < 0.05).tolist()
    assert any(drawn_filled)
    assert not all(drawn_filled)
    key = " ".join(text.get_text() for legend in figure.legends for text in legend.texts)
    assert "stands out after adjusting" in key
    assert "95 % interval, not adjusted" in key


def test_more_swaps_than_fit_beside_each_other_go_below(traced):
    many = pd.concat([traced.swaps.assign(swap=f"{traced.swaps['swap'].iloc[0]}, {n} %") for n in range(6)])
    fields = {name: getattr(traced, name) for name in type(traced).__dataclass_fields__}
    figure = swap_figure(type(traced)(**(fields | {"swaps": many})), Naming())
    assert len(figure.axes) == 6
    assert len({round(axes.get_position().y0, 6) for axes in figure.axes}) == 2
    assert inside(figure)


def test_long_names_get_the_room_they_need(study, traced):
    names = Naming(attributes={"AF_GREASE": "greasy film that stays on the palm after two minutes of rubbing"})
    assert inside(swap_figure(traced, names))


def test_nothing_to_draw_is_no_error(traced):
    fields = {name: getattr(traced, name) for name in type(traced).__dataclass_fields__}
    empty = type(traced)(**(fields | {"swaps": traced.swaps.head(0), "joint": traced.joint.head(0)}))
    assert swap_figure(empty, Naming()).axes == []


def test_every_part_of_a_blend_is_drawn_to_scale_and_named_on_it(study):
    blend = emollient_blend(study)
    figure = blend_figure(blend, naming(study))
    (axes,) = figure.axes
    assert len(axes.patches) == blend.size
    widths = np.array([patch.get_width() for patch in axes.patches]).reshape(blend.shape[1], -1).T
    np.testing.assert_allclose(widths, blend.to_numpy())
    ends = np.array([patch.get_x() + patch.get_width() for patch in axes.patches]).reshape(blend.shape[1], -1)
    np.testing.assert_allclose(ends[-1], 100)
    words = [text.get_text().replace("\n", " ") for text in axes.texts if text.get_text()]
    assert len(words) == int((blend > 0).to_numpy().sum())
    assert words.count("Dicaprylyl Carbonate 40 %") == 4
    assert [label.get_text() for label in axes.get_yticklabels()] == PROTOTYPES
    assert inside(figure)


def test_the_words_on_a_part_stay_on_it(study):
    figure = blend_figure(emollient_blend(study), naming(study))
    figure.draw_without_rendering()
    (axes,) = figure.axes
    parts = [patch.get_window_extent() for patch in axes.patches if patch.get_width() > 0]
    for text in axes.texts:
        if text.get_text():
            box = text.get_window_extent()
            assert any(
                part.x0 <= box.x0 and box.x1 <= part.x1 and part.y0 <= box.y0 and box.y1 <= part.y1 for part in parts
            )


def test_a_swapped_in_emollient_stands_where_the_other_stood(study, traced):
    figure = blend_figure(emollient_blend(study), naming(study), traced.pairs)
    texts = {text.get_text(): text.get_position() for text in figure.axes[0].texts}
    assert texts["Dicaprylyl Carbonate 40 %"][0] == texts["C13-15 Alkane 40 %"][0] == pytest.approx(20)


def test_parts_too_narrow_for_their_name_are_named_at_the_end_of_the_bar():
    blend = pd.DataFrame({CARBONATE: [97.0], ALKANE: [3.0]}, index=["P1"])
    texts = [text.get_text() for text in blend_figure(blend, Naming()).axes[0].texts]
    assert texts == ["Dicaprylyl Carbonate 97 %", "C13-15 Alkane 3 %"]
    assert inside(blend_figure(blend, Naming()))


def test_more_emollients_than_colours_get_patterns():
    blend = pd.DataFrame({f"Oil {number}": [10.0] for number in range(10)}, index=["P1"])
    patches = blend_figure(blend, Naming()).axes[0].patches
    looks = {(patch.get_edgecolor(), patch.get_hatch()) for patch in patches}
    assert len(looks) == 10


def test_svg_is_the_same_every_time_and_carries_its_words(study, traced):
    names = naming(study)
    for draw in (lambda: swap_svg(traced, names), lambda: blend_svg(emollient_blend(study), names, traced.pairs)):
        assert draw() == draw()
    svg = swap_svg(traced, names, text_as_paths=False)
    assert re.search(r"<desc>Effect of each swap.*In this base, replacing 6 % Dicaprylyl Carbonate", svg)
    assert "GLOSS" in svg
    svg = blend_svg(emollient_blend(study), names, text_as_paths=False)
    assert "<desc>Emollient part of each prototype. P1: 40 % Dicaprylyl Carbonate" in svg
