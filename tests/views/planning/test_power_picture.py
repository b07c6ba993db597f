"""Pictures of chances: what is drawn, that no words collide, and the words for those who do not see them."""

import numpy as np
import pytest

from panel.plan.consumer_numbers import parity_numbers, preferred_numbers, told_apart
from panel.plan.sample_size import panel_sizes
from panel.views.planning.sizes import power_alt_text, power_figure, power_svg, teeth_figure, teeth_svg
from tests.views.examples import svg_root, svg_words, words_covering_words, words_outside

RESULT = panel_sizes(8.0, 8)


@pytest.mark.parametrize("assessors", [[10], [6, 8, 10, 12, 15], [6, 7, 8, 9, 10, 11, 12], [28, 29, 30]])
@pytest.mark.parametrize("replicates", [1, 3])
def test_no_word_leaves_the_picture_or_covers_another(assessors, replicates):
    figure = power_figure(RESULT, assessors, replicates)
    assert words_outside(figure) == []
    assert words_covering_words(figure) == []


def test_each_line_is_the_curve_of_its_panel():
    figure = power_figure(RESULT, [8, 12], 2)
    lines = [line for line in figure.axes[0].lines if len(line.get_xdata()) > 2]
    assert len(lines) == 2
    for line, count in zip(lines, (8, 12), strict=True):
        rows = RESULT.curve.query("assessors == @count and replicates == 2")
        np.testing.assert_array_equal(line.get_ydata(), rows["power"])
        assert line.get_label() == f"{count} assessors"
    words = svg_words(power_svg(RESULT, [8, 12], 2, text_as_paths=False))
    assert {"8 assessors", "12 assessors", "matters from 8.0"} <= set(words)


def test_panels_that_were_not_worked_out_are_left_out():
    figure = power_figure(RESULT, [8, 99], 2)
    assert [text.get_text() for text in figure.axes[0].get_legend().get_texts()] == ["8 assessors"]


def test_the_words_for_those_who_do_not_see_it():
    text = power_alt_text(RESULT, [6, 10], 2)
    assert "With a chance of 80 %, 6 assessors find 12.6 and 10 assessors find 9.6 scale units." in text
    root = svg_root(power_svg(RESULT, [6, 10], 2))
    assert root.get("role") == "img"


@pytest.mark.parametrize(
    "result", [told_apart("triangle", 0.3), preferred_numbers(0.55), parity_numbers()], ids=["a", "b", "c"]
)
def test_teeth_show_first_and_always(result):
    figure = teeth_figure(result)
    assert words_outside(figure) == []
    assert words_covering_words(figure) == []
    words = svg_words(teeth_svg(result, text_as_paths=False))
    assert f"first {result.first:,d}, always from {result.always:,d}" in words
    assert f"{result.first:,d} answers" in teeth_svg(result)


def test_the_svg_is_the_same_each_time():
    assert power_svg(RESULT, [10], 2) == power_svg(RESULT, [10], 2)
