"""Pictures of liking: every part carries its number, the letters stand beside the means."""

import pytest

from panel.views.consumers.liking import distribution_figure, distribution_svg, liking_figure, liking_svg
from tests.views.consumer_results import demo, demo_liking


def written(figure):
    return [text.get_text() for axes in figure.axes for text in axes.texts]


def test_each_part_carries_its_point_so_that_colour_is_not_the_only_sign():
    result = demo_liking()
    figure = distribution_figure(result, demo()[1])
    bars = figure.axes[0].patches
    assert len(bars) == 8 * 9
    for place in range(8):
        assert sum(bar.get_width() for bar in bars[place::8]) == pytest.approx(1)
    wide = (result.distribution["share"] >= 0.035).sum()
    assert len(written(figure)) == wide
    assert set(written(figure)) <= set("123456789")


def test_means_with_letters():
    figure = liking_figure(demo_liking(), demo()[1])
    assert [text for text in written(figure) if set(text) <= set("abc")] == ["a", "a", "a", "ab", "ab", "ab", "bc", "c"]


def test_as_svg_with_words_for_those_who_do_not_see_them():
    assert "Share of 7, 8 and 9: P2 51 %" in distribution_svg(demo_liking(), demo()[1])
    assert "P4 6.3 (5.9 to 6.8)" in liking_svg(demo_liking(), demo()[1])
    assert distribution_svg(demo_liking(), demo()[1]) == distribution_svg(demo_liking(), demo()[1])
