"""The picture of forced choices: what is drawn and that no words collide."""

import pytest

from panel.models.consumers.forced_choice import judge_count, judge_forced_choices
from panel.views.consumers.choices import choice_figure, choice_svg
from tests.choice_studies import choice_study, right_rows
from tests.views.examples import svg_words, words_covering_words, words_outside

SEVERAL = judge_forced_choices(
    choice_study(right_rows("triangle", 25, 36), right_rows("duo_trio", 14, 30), right_rows("tetrad", 2, 2))
)


@pytest.mark.parametrize("result", [SEVERAL, judge_count("triangle", 19, 36)], ids=["several", "one"])
def test_no_word_leaves_the_picture_or_covers_another(result):
    figure = choice_figure(result)
    assert words_outside(figure) == []
    assert words_covering_words(figure) == []


def test_marks_stand_at_guessing_and_at_what_is_needed():
    lines = [tuple(line.get_xdata()) for line in choice_figure(SEVERAL).axes[0].lines]
    assert (1 / 3, 1 / 3) in lines
    assert (18 / 36, 18 / 36) in lines
    assert (0.5, 0.5) in lines
    assert not any(end > 1.02 for ends in lines for end in ends)  # two answers could never be enough
    dots = [line for line in choice_figure(SEVERAL).axes[0].lines if line.get_marker() == "o"]
    assert [dot.get_markerfacecolor() == "white" for dot in dots] == [False, True, True]


def test_the_counts_stand_beside():
    words = svg_words(choice_svg(SEVERAL, text_as_paths=False))
    assert "25 of 36, 18 needed" in words
    assert "triangle (triangle test)" in words
