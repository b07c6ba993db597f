"""Scatter pictures of panel and instruments: marks are the numbers, every prototype is named, nothing outside."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matplotlib.colors import to_hex

from panel.models.emollients.readings import join_readings
from panel.study.naming import naming
from panel.study.open_study import open_study
from panel.views.drawing.pictures import GREY
from panel.views.emollients.readings import partner_figure, partner_svg
from tests.views.examples import svg_root, svg_words, words_covering_words, words_outside

DEMO = open_study(Path(__file__).parents[3] / "data_demo" / "reading_room")
JOINED = join_readings(DEMO)
NAMES = naming(DEMO)


def dots(axes):
    return np.asarray(axes.collections[0].get_offsets())


def test_dots_are_the_means_in_every_picture():
    figure = partner_figure(JOINED, NAMES)
    assert len(figure.axes) == len(JOINED.partners) == 10
    readings = JOINED.means.pivot_table(index="prototype", columns="measure", values="estimate")
    for axes, pair in zip(figure.axes, JOINED.partners.to_dict("records"), strict=True):
        expected = np.column_stack([readings[pair["measure"]], JOINED.panel[pair["attribute"]]])
        np.testing.assert_allclose(dots(axes), expected)
        assert [text.get_text() for text in axes.texts] == [f"P{k}" for k in range(1, 9)]


def test_titles_units_and_what_cannot_be_told():
    first = partner_figure(JOINED, NAMES).axes[0]
    assert first.get_title(loc="left") == "gloss in the dish\nr = 0.15 (−0.62 to 0.77)\ncannot tell"
    assert first.get_xlabel() == "gloss, GU"
    assert first.get_ylabel() == "Panel mean (0 to 100)"
    assert to_hex(first.collections[0].get_facecolor()[0]) == GREY


@pytest.mark.parametrize("pairs", [1, 3, 10])
def test_no_word_leaves_the_picture_or_covers_another(pairs):
    figure = partner_figure(replace(JOINED, partners=JOINED.partners.head(pairs)), NAMES)
    assert words_outside(figure) == []
    assert words_covering_words(figure) == []


def test_readings_without_scatter_or_of_few_prototypes_can_be_drawn():
    means = JOINED.means.loc[JOINED.means["prototype"] != "P3"].assign(sd=float("nan"))
    figure = partner_figure(replace(JOINED, means=means), NAMES)
    assert len(dots(figure.axes[0])) == 7


def test_without_partners_there_is_an_empty_picture():
    assert partner_figure(replace(JOINED, partners=JOINED.partners.iloc[:0]), NAMES).axes == []


def test_the_svg_is_the_same_each_time_and_says_what_it_shows():
    svg = partner_svg(JOINED, NAMES)
    assert svg == partner_svg(JOINED, NAMES)
    root = svg_root(svg)
    assert root.attrib["aria-label"] == "Panel and instruments"
    assert "paper blot" in root[1].text
    assert "paper blot, mg" in svg_words(partner_svg(JOINED, NAMES, text_as_paths=False))
