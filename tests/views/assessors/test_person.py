"""One person against the others: slopes over the attributes, means on one attribute, the table."""

import numpy as np
import pytest

from panel.study.shown import shown
from panel.views.assessors.people import _mean_rows, _person_table, _slope_rows, _slopes_figure, person_items
from panel.views.told import Picture
from tests.views.checked_panels import checked, with_patterns
from tests.views.examples import words_covering_words, words_outside


def test_slopes_are_those_of_the_judged_attributes():
    result, names = checked()
    rows = _slope_rows(result, names, "A01")
    own = result.assessors[(result.assessors["assessor"] == "A01") & result.assessors["judged"]]
    assert list(rows["attribute"]) == list(own["attribute"])
    np.testing.assert_array_equal(rows["estimate"], own["slope"])
    np.testing.assert_array_equal(rows["filled"], own["p_value"] < 0.30)
    reversed_one = rows.set_index("attribute").loc["T09"]
    assert (reversed_one["shape"], reversed_one["remark"]) == ("v", "scored backwards")
    assert set(rows.loc[rows["estimate"] > 0, "shape"]) == {"o"}
    axes = _slopes_figure(rows, "A01").axes[0]
    bottom, top = sorted(axes.get_ylim())
    assert len(axes.get_yticks()) == len(rows)
    assert all(bottom < y < top for y in axes.get_yticks())


def test_means_run_in_the_order_of_the_others():
    result, _ = checked()
    rows = _mean_rows(result, "A01", "T09")
    assert rows["others"].is_monotonic_decreasing
    assert rows["estimate"].corr(rows["others"]) < -0.5  # A01 reverses this attribute
    assert rows["estimate"].sum() == pytest.approx(0, abs=1e-9)
    assert rows["others"].sum() == pytest.approx(0, abs=1e-9)


def test_the_pictures_are_read_and_heard():
    result, names = checked()
    for who in ("A01", "A04"):
        pictures = [item for item in person_items(result, names, who, "T09") if isinstance(item, Picture)]
        assert len(pictures) == 2
        for each in pictures:
            assert words_outside(each.figure()) == []
            assert words_covering_words(each.figure()) == []
        assert pictures[0].alt.startswith("Slope on the others' means by attribute: ")
        assert pictures[1].alt.startswith(f"Means of {who} and of the others, less their own average: ")


def test_the_table_of_one_person():
    result, names = checked()
    table = shown(_person_table("A01"), result, names)
    rows = result.assessors[result.assessors["assessor"] == "A01"].reset_index(drop=True)
    assert list(table["Attribute"]) == [names.attribute(name) for name in rows["attribute"]]
    judged = rows["judged"].to_numpy()
    slope = table["Slope on the others, 95 % interval"]
    assert (slope[~judged] == "–").all()
    row = rows.loc[judged].iloc[0]
    expected = f"{row['slope']:.2f} ({row['ci_low']:.2f} to {row['ci_high']:.2f})".replace("-", "−")
    assert slope[judged].iloc[0] == expected
    assert table.loc[list(rows["attribute"]).index("T09"), "What stands out"] == "scored backwards"
    assert (table["Change per session"] == "–").all()
    assert table.shape[1] <= 8


def test_somebody_who_does_not_stand_out_is_not_judged_by_it():
    result, names = checked()
    assert person_items(with_patterns(result, []), names, "A04", "T09")[0] == "A04: nothing stands out."
