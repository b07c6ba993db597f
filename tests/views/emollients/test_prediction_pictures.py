"""The predicted profile as a picture: what is filled, what is shaded, and nothing outside the tested region."""

import pytest
from matplotlib.patches import Rectangle

from panel.models.emollients.prediction_model import prediction_model
from panel.models.emollients.predictions import study_targets, what_if
from panel.study.naming import Naming, naming
from panel.views.emollients.next_prototype import prediction_figure, prediction_svg
from tests.blend_studies import DEMO, hand_cream
from tests.formula_studies import ALKANE, ALMOND, ISOSTEARATE, SHEA
from tests.views.examples import svg_words, words_covering_words, words_outside

NAMES = naming(DEMO)
TOLD = what_if(prediction_model(DEMO), {ALKANE: 6, ISOSTEARATE: 5, ALMOND: 3, SHEA: 1}, study_targets(DEMO))
OUTSIDE = what_if(
    prediction_model(hand_cream([[-15.0, -8.0, 7.0]], kept=range(7))), {ALKANE: 6, ISOSTEARATE: 5, SHEA: 4}
)


def windows(figure):
    return [patch for patch in figure.axes[0].patches if isinstance(patch, Rectangle)]


def dots(figure):
    return [line for line in figure.axes[0].lines if line.get_marker() == "o"]


def test_every_attribute_has_a_dot_and_every_window_a_shade():
    figure = prediction_figure(TOLD, NAMES, (0, 100))
    assert len(dots(figure)) == 14
    assert len(windows(figure)) == 6
    filled = [dot for dot in dots(figure) if dot.get_markerfacecolor() != "white"]
    profile = TOLD.profile
    sure = (
        (profile["target_low"].isna() | (profile["ci_low"] >= profile["target_low"]))
        & (profile["target_high"].isna() | (profile["ci_high"] <= profile["target_high"]))
        & (profile["target_low"].notna() | profile["target_high"].notna())
    )
    assert len(filled) == sure.sum() > 0


def test_open_windows_reach_to_the_end_of_the_scale():
    spans = {
        (patch.get_x(), patch.get_x() + patch.get_width())
        for patch in windows(prediction_figure(TOLD, NAMES, (0, 100)))
    }
    assert (0, 38) in spans
    assert (55, 100) in spans


def test_outside_the_region_nothing_is_drawn_but_the_base():
    figure = prediction_figure(OUTSIDE, Naming())
    assert dots(figure) == []
    assert [line for line in figure.axes[0].lines if len(set(line.get_xdata())) == 1]


@pytest.mark.parametrize("told", [TOLD, OUTSIDE], ids=["inside", "outside"])
def test_words_are_inside_and_do_not_cover_each_other(told):
    figure = prediction_figure(told, NAMES)
    assert words_outside(figure) == []
    assert words_covering_words(figure) == []


def test_the_picture_says_what_it_shows():
    words = svg_words(prediction_svg(TOLD, NAMES, (0, 100), text_as_paths=False))
    assert "greasy film" in words
    assert "wanted" in words
    assert "95 % interval" in words
    svg = prediction_svg(TOLD, NAMES)
    assert "<title>Predicted profile of a blend</title>" in svg
    assert "greasy film: expect" in svg
