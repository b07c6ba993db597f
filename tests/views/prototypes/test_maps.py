"""The picture of a map for reports: marks, words, nothing outside."""

import pytest

from panel.study.naming import Naming
from panel.views.drawing.pictures import GREY
from panel.views.prototypes.maps import map_figure, map_svg
from tests.views.examples import (
    NAMES,
    WORDS,
    panel_map,
    svg_root,
    svg_words,
    words_covering_words,
    words_outside,
)


def test_every_prototype_and_attribute_is_named():
    words = svg_words(map_svg(panel_map(prototypes=6), NAMES, text_as_paths=False))
    for expected in [f"P{number}" for number in range(1, 7)] + [text for text, _ in WORDS.values()]:
        assert words.count(expected) == 1
    assert "Prototypes with 95 % regions" in words
    assert sum("Component" in word for word in words) == 2
    assert {"pick-up", "rub-out", "after-feel", "later after-feel"} <= set(words)


@pytest.mark.parametrize(("prototypes", "assessors"), [(4, 5), (7, 8), (8, 10), (12, 10)])
def test_no_word_leaves_the_picture_or_covers_another(prototypes, assessors):
    figure = map_figure(panel_map(prototypes=prototypes, assessors=assessors), NAMES)
    assert words_outside(figure) == []
    assert words_covering_words(figure) == []


def test_long_names_are_cut_before_they_leave_the_picture():
    long = Naming({name: f"an attribute with quite a long name, {name}" for name in WORDS})
    figure = map_figure(panel_map(), long)
    assert words_outside(figure) == []
    assert words_covering_words(figure) == []


def test_marks_are_the_numbers():
    result = panel_map(prototypes=6)
    places, attributes = map_figure(result, NAMES).axes
    drawn = {
        (float(line.get_xdata()[0]), float(line.get_ydata()[0]))
        for line in places.lines
        if line.get_linestyle() == "None"
    }
    assert drawn == set(zip(result.prototypes["component_1"], result.prototypes["component_2"], strict=True))
    assert len(places.patches) == 2 * 6  # a filled and an outlined ellipse each
    arrows = [text for text in attributes.texts if getattr(text, "arrow_patch", None) is not None]
    assert len(arrows) == len(WORDS)
    assert places.get_aspect() == 1.0


def test_many_prototypes_are_grey_but_the_chosen():
    places = map_figure(panel_map(prototypes=9), NAMES, ["P3"]).axes[0]
    colours = [line.get_markerfacecolor() for line in places.lines if line.get_linestyle() == "None"]
    assert sum(colour != GREY for colour in colours) == 1
    assert colours[2] != GREY


def test_the_svg_is_the_same_each_time_and_says_what_it_shows():
    result = panel_map()
    svg = map_svg(result, NAMES)
    assert svg == map_svg(result, NAMES)
    root = svg_root(svg)
    assert root.attrib["aria-label"] == "Map of the prototypes"
    assert "P1" in root[1].text
    width, height = (float(value) for value in root.attrib["viewBox"].split()[2:])
    assert width > height > 0


def test_a_map_without_regions_or_stages_can_be_drawn():
    figure = map_figure(panel_map(assessors=3), Naming())
    assert len(figure.axes[0].patches) == 0
    assert figure.axes[1].get_legend() is None
    assert words_outside(figure) == []
