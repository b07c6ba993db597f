"""Profiles: what is drawn, in which order, with which words."""

import numpy as np
import pytest

from panel.study.naming import Naming
from panel.views.prototypes.differences import PROFILE_CAUTION, profile_figure, profile_rows, profile_svg
from tests.views.examples import (
    NAMES,
    WORDS,
    panel_means,
    panel_scores,
    svg_words,
    words_covering_words,
    words_outside,
)

MEANS = panel_means(panel_scores())


def test_rows_are_the_means_of_the_chosen_in_the_order_of_use():
    rows = profile_rows(MEANS, NAMES, ["P4", "P1", "nobody"])
    assert len(rows) == 2 * len(WORDS)
    assert list(dict.fromkeys(rows["stage"])) == ["pick-up", "rub-out", "after-feel", "later after-feel"]
    assert list(rows["prototype"][:2]) == ["P4", "P1"]
    assert (np.diff(rows["y"]) > 0).all()
    merged = rows.merge(MEANS, on=["attribute", "prototype"], suffixes=("", "_given"))
    assert (merged["estimate"] == merged["estimate_given"]).all()


def test_without_a_choice_seven_are_shown():
    assert profile_rows(MEANS, NAMES)["prototype"].nunique() == 7


def test_a_missing_mean_has_no_row():
    means = MEANS.assign(estimate=MEANS["estimate"].where(MEANS["prototype"] != "P4"))
    assert set(profile_rows(means, NAMES, ["P4", "P1"])["prototype"]) == {"P1"}


@pytest.mark.parametrize("chosen", [["P1"], ["P4", "P1", "P8"], []])
def test_no_word_leaves_the_picture_or_covers_another(chosen):
    figure = profile_figure(MEANS, NAMES, chosen, limits=(0, 100))
    assert words_outside(figure) == []
    assert words_covering_words(figure) == []


def test_marks_and_words():
    figure = profile_figure(MEANS, NAMES, ["P4", "P1"])
    dots = [line for line in figure.axes[0].lines if line.get_linestyle() == "None"]
    assert len(dots) == 2 * len(WORDS)
    words = svg_words(profile_svg(MEANS, NAMES, ["P4", "P1"], text_as_paths=False))
    expected = [text for text, _ in WORDS.values()]
    assert all(words.count(text) == 1 for text in [*expected, "P4", "P1", "pick-up", "rub-out"])
    assert "Estimated mean with its interval (0 to 100)" in words


def test_the_svg_is_the_same_each_time():
    assert profile_svg(MEANS, NAMES, ["P1"]) == profile_svg(MEANS, NAMES, ["P1"])


def test_without_stages_there_are_no_headings():
    words = svg_words(profile_svg(MEANS, Naming(), ["P1"], text_as_paths=False))
    assert "other" not in words


def test_the_caution_points_to_the_differences():
    assert "differences" in PROFILE_CAUTION
