"""Pictures of differences: labels, order, filled and hollow, the margin."""

import numpy as np
import pytest

from panel.views.prototypes.differences import difference_figure, difference_rows, difference_svg
from tests.views.examples import (
    NAMES,
    WORDS,
    differences,
    panel_scores,
    svg_root,
    svg_words,
    words_covering_words,
    words_outside,
)

ALL = differences(panel_scores())
ONE_ATTRIBUTE = ALL[ALL["attribute"] == "AF_GREASE"]
ONE_PAIR = ALL[ALL["prototype"] == "P4"]
MINUS = "\N{MINUS SIGN}"


def test_one_attribute_is_labelled_by_pairs_largest_first():
    rows = difference_rows(ONE_ATTRIBUTE, NAMES)
    assert (np.diff(rows["estimate"]) <= 0).all()
    assert set(rows["label"]) == {f"P{number} {MINUS} P1" for number in range(2, 9)}


def test_one_pair_is_labelled_by_attributes_in_their_order():
    rows = difference_rows(ONE_PAIR, NAMES)
    assert list(rows["label"]) == [text for text, _ in WORDS.values()]


def test_a_mixture_names_both():
    assert f"stickiness: P2 {MINUS} P1" in set(difference_rows(ALL, NAMES)["label"])


def test_filled_means_the_interval_leaves_zero_out():
    rows = difference_rows(ONE_ATTRIBUTE, NAMES)
    assert 0 < rows["clear"].sum() < len(rows)
    axes = difference_figure(ONE_ATTRIBUTE, NAMES).axes[0]
    dots = [line for line in axes.lines if line.get_linestyle() == "None"]
    filled = [dot.get_markerfacecolor() != "white" for dot in dots]
    assert filled == list((rows["ci_low"] > 0) | (rows["ci_high"] < 0))


@pytest.mark.parametrize("rows", [ONE_ATTRIBUTE, ONE_PAIR, ALL], ids=["attribute", "pair", "all"])
def test_no_word_leaves_the_picture_or_covers_another(rows):
    figure = difference_figure(rows, NAMES, margin=5)
    assert words_outside(figure) == []
    assert words_covering_words(figure) == []


def test_the_margin_is_drawn_and_said():
    axes = difference_figure(ONE_PAIR, NAMES, margin=7.5).axes[0]
    (band,) = axes.patches
    assert band.get_x() == pytest.approx(-7.5)
    assert band.get_width() == pytest.approx(15)
    assert "±7.5" in axes.get_xlabel()
    assert "shaded" not in difference_figure(ONE_PAIR, NAMES).axes[0].get_xlabel()


def test_words_of_the_svg():
    svg = difference_svg(ONE_PAIR, NAMES, text_as_paths=False)
    words = svg_words(svg)
    assert f"P4 {MINUS} P1" in words
    assert any(word.startswith("p ") for word in words)
    root = svg_root(svg)
    assert root.attrib["aria-label"] == f"P4 {MINUS} P1"
    assert "stickiness" in root[1].text
    assert svg == difference_svg(ONE_PAIR, NAMES, text_as_paths=False)
