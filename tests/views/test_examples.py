"""The helpers that look into pictures must find what they look for."""

from matplotlib.figure import Figure

from tests.views.examples import words_covering_words, words_outside


def test_helpers_find_words_outside_and_words_on_words():
    figure = Figure(figsize=(3, 2))
    axes = figure.add_subplot()
    axes.axis("off")
    axes.text(0.95, 0.5, "far too long to stay inside")
    axes.text(0.3, 0.3, "one")
    axes.text(0.31, 0.3, "two")
    assert words_outside(figure) == ["far too long to stay inside"]
    assert words_covering_words(figure) == [("two", "one")]
