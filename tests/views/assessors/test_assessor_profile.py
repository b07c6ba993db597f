"""One person against the others: slopes over the attributes, means on one attribute."""

import numpy as np
import pytest

from panel.views.assessors.assessor_pictures import (
    mean_rows,
    means_figure,
    means_svg,
    slope_rows,
    slopes_figure,
    slopes_svg,
)
from tests.views.checked_panels import checked
from tests.views.examples import svg_root, svg_words, words_covering_words, words_outside


def test_slopes_are_those_of_the_judged_attributes():
    result, names = checked()
    rows = slope_rows(result, names, "A01")
    own = result.assessors[(result.assessors["assessor"] == "A01") & result.assessors["judged"]]
    assert list(rows["attribute"]) == list(own["attribute"])
    np.testing.assert_array_equal(rows["estimate"], own["slope"])
    np.testing.assert_array_equal(rows["filled"], own["p_value"] < 0.30)
    reversed_one = rows.set_index("attribute").loc["T09"]
    assert (reversed_one["shape"], reversed_one["remark"]) == ("v", "reversed")
    assert set(rows.loc[rows["estimate"] > 0, "shape"]) == {"o"}


def test_means_run_in_the_order_of_the_others():
    result, _ = checked()
    rows = mean_rows(result, "A01", "T09")
    assert rows["others"].is_monotonic_decreasing
    assert rows["estimate"].corr(rows["others"]) < -0.5  # A01 reverses this attribute
    assert rows["estimate"].sum() == pytest.approx(0, abs=1e-9)
    assert rows["others"].sum() == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(
    "draw",
    [
        lambda r, n: slopes_figure(r, n, "A01"),
        lambda r, n: slopes_figure(r, n, "A04"),
        lambda r, n: means_figure(r, n, "A01", "T09"),
    ],
)
def test_no_word_leaves_the_picture_or_covers_another(draw):
    figure = draw(*checked())
    assert words_outside(figure) == []
    assert words_covering_words(figure) == []


def test_the_pictures_can_be_heard_and_are_the_same_each_time():
    result, names = checked()
    slopes, means = slopes_svg(result, names, "A01"), means_svg(result, names, "A01", "T09")
    assert svg_root(slopes)[1].text.startswith("Slope on the others' means by attribute: ")
    assert svg_root(means)[1].text.startswith("Means of A01 and of the others, less their own average: ")
    assert slopes == slopes_svg(result, names, "A01")
    assert means == means_svg(result, names, "A01", "T09")


def test_words_stay_words_where_asked_for():
    result, names = checked()
    words = svg_words(slopes_svg(result, names, "A01", text_as_paths=False))
    assert "A01 against the others" in words
    assert "reversed" in words
    assert "the others" in svg_words(means_svg(result, names, "A01", "T09", text_as_paths=False))
