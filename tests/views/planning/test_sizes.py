"""How many people it takes: the assured number first, the plain one beside it, every number one of the result."""

import re
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from panel.plan.sample_size import Scatter, own_scatter, panel_sizes, typical_scatter, what_you_can_see
from panel.plan.study_plan import batch_numbers
from panel.study.naming import Naming
from panel.study.shown import shown
from panel.views.planning.sizes import _NEEDED, _SEEN, _spread, own_panel, tell_sizes
from tests.views.examples import NAMES, words_covering_words, words_outside

OWN = Scatter(25.0, 64.0, "own", df=(15.0, 24.0), replicates=2.0)
RESULT = panel_sizes(8.0, 6, OWN)


def needed(result, replicates, column="assured", comparison="one planned difference"):
    rows = result.needed.set_index(["comparison", "replicates"])
    return int(rows.loc[(comparison, replicates), column])


def test_the_assured_number_is_the_headline_and_the_plain_one_stands_beside_it():
    told = tell_sizes(RESULT, NAMES, 2)
    people, plain = needed(RESULT, 2), needed(RESULT, 2, "assessors")
    assert people > plain
    assert told.headline == (
        f"{people} people who score everything twice will probably find a difference of 8.0 (0 to 100)."
    )
    row = RESULT.sizes.set_index(["assessors", "replicates"]).loc[(people, 2)]
    low, high = np.floor(100 * row["assurance_low"]), np.ceil(100 * row["assurance_high"])
    assert low < 75 < 85 < high
    assert told.mind[0] == (
        f"Probably: 80 %, averaged over what your study leaves open about the scatter (it may well be {low:.0f} to "
        f"{high:.0f} %); if it were known exactly, {plain} people would do."
    )
    assert (
        "more than 30 among all pairs" in told.mind[1]
        or f"{needed(RESULT, 2, comparison='all pairs')} among" in told.mind[1]
    )
    assert "Among several attributes a difference also waits for the test of its own" in told.mind[1]


def test_usual_scatter_is_said_to_be_taken_as_known():
    told = tell_sizes(panel_sizes(8.0, 8), Naming(), 3)
    assert told.headline == "12 people who score everything 3 times will probably find a difference of 8.0."
    assert "replace them by your own after the first study" in told.mind[0]


def test_where_nobody_is_enough_it_is_said():
    few = panel_sizes(8.0, 8, assessors=[4, 5], replicates=[3])
    told = tell_sizes(few, Naming(), 3)
    assert told.headline == "Not even 5 people who score everything 3 times will probably find a difference of 8.0."
    assert "more than 5 among all pairs" in told.mind[1]


def test_what_batches_buy_is_one_sentence():
    weighed = batch_numbers(8.0, 6, OWN, 3.0, 10, 2)
    told = tell_sizes(RESULT, NAMES, 2, weighed=weighed)
    assert len(told.mind) == 3
    assert told.mind[2].startswith("If batches differ by an SD of 3.0, one batch of each scored twice finds it with")
    assert [each.title for each in told.drawers][2] == "Batches or repeats?"


def test_from_one_repeat_the_note_says_what_cannot_be_told():
    own = typical_scatter(own_scatter(_once()))
    told = tell_sizes(panel_sizes(8.0, 6, own), NAMES, 2)
    assert "What repeats would add cannot be told from one repeat." in told.result.notes


def _once():
    import pandas as pd

    return pd.DataFrame({"attribute": ["X"], "assessor_prototype": [np.nan], "residual": [64.0]})


def test_the_table_of_people_needed_holds_both_numbers():
    table = shown(_NEEDED, RESULT, NAMES).set_index("What is compared")
    assert list(table.columns) == ["Once", "Twice", "3 times", "4 times"]
    cell = table.loc["one planned difference", "Twice"]
    assert cell == f"{needed(RESULT, 2)} ({needed(RESULT, 2, 'assessors')})"
    known = shown(_NEEDED, panel_sizes(8.0, 8), NAMES).set_index("What is compared")
    assert known.loc["one planned difference", "3 times"] == "12"
    assert known.loc["all pairs", "Once"] == "more than 30"


def test_panels_of_other_sizes_are_those_of_the_chosen_repeats():
    told = tell_sizes(RESULT, NAMES, 2)
    table = told.shown(told.drawers[1].items[0]).texts
    rows = RESULT.sizes.loc[RESULT.sizes["replicates"] == 2].reset_index(drop=True)
    assert table["Assessors"].tolist() == [f"{count}" for count in rows["assessors"]]
    assert table["One planned difference"].iloc[6] == f"{rows['seen'].iloc[6]:.1f}"
    chance = table.iloc[6, -1]
    assert chance == f"{100 * rows['assurance'].iloc[6]:.0f} % ({100 * rows['power'].iloc[6]:.0f} %)"
    assert table.shape[1] <= 8


def test_attributes_are_named_in_words():
    seen = what_you_can_see(10, 2, 8, [Scatter(25.0, 64.0, "own", "AF_GREASE"), Scatter(1.0, 4.0, "own")])
    table = shown(_SEEN, seen, NAMES)
    assert table["Attribute"].tolist() == ["planning values", "greasy or oily film"]
    assert table["One planned difference"].iloc[1] == "9.6"


@pytest.mark.parametrize("replicates", [1, 3])
def test_the_picture_is_read_and_heard(replicates):
    picture = tell_sizes(RESULT, NAMES, replicates).picture
    figure = picture.figure()
    assert words_outside(figure) == []
    assert words_covering_words(figure) == []
    lines = [line for line in figure.axes[0].lines if len(line.get_xdata()) == 41]
    assert 1 <= len(lines) <= 5
    largest = RESULT.curve.loc[(RESULT.curve["replicates"] == replicates)]
    for line in lines:
        assert any(np.array_equal(line.get_ydata(), rows["assurance"]) for _, rows in largest.groupby("assessors"))
    assert "the more people, the larger the chance" in picture.alt
    assert picture.svg == tell_sizes(RESULT, NAMES, replicates).picture.svg


@pytest.mark.parametrize("margin", [4.0, 6.0, 8.0, 12.0, 16.0])
def test_the_panel_that_the_answer_names_has_a_line_in_the_picture(margin):
    told = tell_sizes(panel_sizes(margin, 4), Naming(), 3)
    named = re.match(r"(\d+) people", told.headline)
    lines = [int(people) for people in re.findall(r"(\d+) people find", told.picture.alt)]
    assert lines == sorted(lines)
    assert len(lines) <= 5
    assert (int(named[1]) in lines) if named else (max(lines) == 20)


def test_what_the_people_of_a_study_find_is_told():
    known = Scatter(0.25, 0.64, "own")
    result = panel_sizes(0.8, 4, known, length=10.0)
    told = own_panel(result, replace(Naming(), digits=2), 8, 2)
    assert told.startswith("With a chance of 80 % the 8 assessors of this study find one of ")
    found, std_error, df = float(told.rstrip(".").split()[-1]), np.sqrt(2 * (0.25 / 8 + 0.64 / 16)), 7 * 3
    bound = stats.t.ppf(0.975, df)
    chance = stats.nct.sf(bound, df, found / std_error) + stats.nct.cdf(-bound, df, found / std_error)
    assert chance == pytest.approx(0.8, abs=0.01)  # the sentence rounds the difference to 0.01
    assert own_panel(result, Naming(), 400, 2) == ""


def test_labels_keep_their_order_and_lie_apart():
    heights = _spread([0.5, 0.98, 0.99, 0.995])
    assert heights == sorted(heights)
    assert np.diff(heights).min() > 0.05
