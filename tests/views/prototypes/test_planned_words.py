"""The words and the table of planned differences follow from the numbers, and mark what is exploratory."""

import pandas as pd
import pytest

from panel.models.prototypes.alike import PlannedDifferences
from panel.study.naming import Naming
from panel.views.prototypes.alike import (
    planned_headline,
    planned_table,
    what_planned_differences_cannot_show,
    what_was_planned_shows,
)

NAMES = Naming({"film": "greasy film"})


def result(*p_adjusted, explored=()):
    rows = [("film", "P2", "P1", True, -12.0, 0.004, p, -17.0, -7.0) for p in p_adjusted]
    rows += [("film", "P3", "P1", False, 6.0, 0.01, p, 1.0, 11.0) for p in explored]
    columns = ["attribute", "prototype", "versus", "planned", "estimate", "p_value", "p_adjusted", "ci_low", "ci_high"]
    frame = pd.DataFrame(rows, columns=columns).astype({"planned": bool}).assign(statistic=-2.5)
    return PlannedDifferences(frame, 0.95, "method", ())


@pytest.mark.parametrize(
    ("p_adjusted", "words"),
    [
        ((), "The study states no difference that was planned beforehand."),
        ((0.01,), "The one difference planned beforehand is shown."),
        ((0.2,), "The one difference planned beforehand is not shown."),
        ((0.01, 0.2, 0.3), "1 of 3 differences planned beforehand is shown."),
        ((0.01, 0.02, 0.3), "2 of 3 differences planned beforehand are shown."),
        ((0.01, 0.02), "All 2 differences planned beforehand are shown."),
        ((0.5, 0.6), "None of the 2 differences planned beforehand is shown. That does not show that there is none."),
    ],
)
def test_the_headline_counts_what_was_planned(p_adjusted, words):
    assert planned_headline(result(*p_adjusted)) == words


def test_what_was_chosen_afterwards_is_not_counted_but_marked():
    found = result(0.01, explored=(0.02,))
    assert planned_headline(found) == "The one difference planned beforehand is shown."
    planned, explored = what_was_planned_shows(found, NAMES)
    assert planned == ("greasy film: P2 minus P1 is −12.0 (95 % interval −17.0 to −7.0; adjusted p = 0.010), shown.")
    assert explored.endswith("Exploratory: chosen with the scores at hand.")
    assert list(planned_table(found, NAMES)["Chosen"]) == ["planned", "exploratory"]
    assert any("exploratory" in line for line in what_planned_differences_cannot_show(found))
    assert not any("exploratory" in line for line in what_planned_differences_cannot_show(result(0.01)))


def test_the_table_shows_both_p_values():
    row = planned_table(result(0.008), NAMES).iloc[0]
    assert (row["p, alone"], row["p, adjusted"], row["Difference (scale units)"]) == ("0.004", "0.008", "−12.0")
