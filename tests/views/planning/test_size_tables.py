"""Numbers of people as tables."""

import numpy as np

from panel.plan.consumer_numbers import agreed_width, liking_difference, parity_numbers, preferred_numbers
from panel.plan.sample_size import Scatter, panel_sizes, what_you_can_see
from panel.views.planning.sizes import (
    answers_table,
    needed_table,
    panel_sizes_table,
    share_width_table,
    what_you_can_see_table,
)
from tests.views.examples import NAMES

RESULT = panel_sizes(8.0, 8, assessors=[10, 12], replicates=[2, 3])


def test_the_table_rounds_and_names_the_power():
    row = panel_sizes_table(RESULT).iloc[0]
    assert row["Assessors"] == "10"
    assert row["Servings"] == "160"
    assert row["Standard error of a difference"] == "3.4"
    assert row["Found with 80 %: one planned difference"] == "9.6"
    chance = float(RESULT.sizes["power"].iloc[0])
    assert row["Chance to find 8.0"] == f"{100 * chance:.0f} %"


def test_where_nobody_was_enough_the_largest_tried_is_named():
    table = needed_table(RESULT)
    row = table.loc[(table["What is compared"] == "all pairs") & (table["Replicates"] == "2")].iloc[0]
    assert row["Assessors needed"] == "more than 12"
    assert row["Servings"] == "–"
    row = table.loc[(table["What is compared"] == "one planned difference") & (table["Replicates"] == "3")].iloc[0]
    assert (row["Assessors needed"], row["Servings"]) == ("12", "288")


def test_attributes_are_named_in_words():
    seen = what_you_can_see(10, 2, 8, [Scatter(25.0, 64.0, "own", "AF_GREASE"), Scatter(1.0, 4.0, "own")])
    table = what_you_can_see_table(seen, NAMES)
    assert table["Attribute"].tolist() == ["planning values", "greasy or oily film"]
    assert table["One planned difference found"].iloc[1] == "9.6"


def test_answers_that_show_it_belong_to_the_safe_number():
    table = answers_table([preferred_numbers(0.6), parity_numbers(), liking_difference(1.0)])
    assert table["First enough"].tolist() == ["158", "861", "34"]
    assert table["Always enough from"].tolist() == ["169", "888", "34"]
    assert table["Answers that show it"].iloc[0] == "at least 96 of 169"
    assert table["Answers that show it"].iloc[1] == "at least 425 and at most 463 of 888"
    assert table["Answers that show it"].iloc[2] == "–"


def test_widths_of_a_share():
    table = share_width_table(agreed_width(0.8, [60, 1000]))
    assert table["People"].tolist() == ["60", "1,000"]
    assert table["95 % interval"].iloc[0] == "68 to 88 %"
    assert all(str(dtype) == "str" for dtype in table.dtypes)


def test_every_cell_is_text():
    for table in (panel_sizes_table(RESULT), needed_table(RESULT)):
        assert all(str(dtype) == "str" for dtype in table.dtypes)
        assert not np.any(table.to_numpy() == "nan")
