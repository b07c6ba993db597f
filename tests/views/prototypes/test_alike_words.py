"""The words and the table of likeness follow from the numbers, and never take 'not shown' for a difference."""

import numpy as np
import pandas as pd

from panel.models.prototypes.alike import Alike
from panel.study.naming import Naming
from panel.views.prototypes.alike import alike_headline, alike_table, what_alike_cannot_show, what_is_alike

NAMES = Naming({"film": "greasy film", "glide": "ease of spreading"})
COLUMNS = ["attribute", "prototype", "versus", "estimate", "verdict", "direction", "not_worse"]
ROWS = [
    ("film", "P2", "P1", 0.5, "equivalent within the margin", "less", "not worse"),
    ("glide", "P2", "P1", -3.0, "not shown", "", "no direction"),
    ("film", "P3", "P1", 16.0, "beyond the margin", "less", "worse by more than the margin"),
    ("glide", "P3", "P1", 4.0, "not shown", "", "no direction"),
]


def result(rows=ROWS, margin=8.0, stated=True, notes=()):
    frame = pd.DataFrame(rows, columns=COLUMNS).assign(ci_low=-2.0, ci_high=3.0, margin=8.0, low_p=0.01, high_p=0.0004)
    frame["bound"] = np.where(frame["direction"] == "", np.nan, 3.0)
    return Alike(frame, margin, stated, 0.05, "method", notes)


def test_the_headline_counts_and_keeps_not_shown_apart_from_different():
    assert alike_headline(result()) == (
        "1 of 4 differences is shown to lie within 8.0 scale units either way, each judged for itself."
    )
    assert alike_headline(result(ROWS[:1])) == "The difference is shown to lie within 8.0 scale units either way."
    assert alike_headline(result(ROWS[1:2])) == (
        "The difference is not shown to lie within 8.0 scale units either way. That does not show that it lies beyond."
    )
    assert alike_headline(result(ROWS[1:])) == (
        "Not one of 3 differences is shown to lie within 8.0 scale units either way. That does not show that they lie "
        "beyond."
    )


def test_without_rows_the_reason_is_the_headline():
    assert alike_headline(result([], None, notes=("No margin was set.",))) == "No margin was set."


def test_a_line_for_each_pair_says_on_what():
    second, third = what_is_alike(result(), NAMES)
    assert second == "P2: alike with P1 on greasy film; not worse on greasy film."
    assert third == "P3: further apart than the margin on greasy film; worse by more than the margin on greasy film."
    assert what_is_alike(result(ROWS[1:2]), NAMES) == ["P2: nothing is shown against P1."]
    both = [ROWS[0], ("glide", *ROWS[0][1:])]
    assert what_is_alike(result(both), NAMES) == [
        "P2: alike with P1 on all 2 attributes; not worse on all 2 attributes."
    ]


def test_the_table_holds_both_tests_the_interval_and_the_bound():
    table = alike_table(result(), NAMES)
    row = table.iloc[0]
    assert row["90 % interval"] == "−2.0 to 3.0"
    assert (row["p, lower margin"], row["p, upper margin"], row["Margin"]) == ("0.010", "< 0.001", "± 8.0")
    assert (row["Better"], row["Worst still credible"], row["Not worse?"]) == ("less is better", "+3.0", "not worse")
    assert (table.iloc[1]["Better"], table.iloc[1]["Worst still credible"], table.iloc[1]["Not worse?"]) == ("–",) * 3


def test_a_margin_typed_in_is_not_taken_for_one_stated():
    assert any("typed in" in line for line in what_alike_cannot_show(result(stated=False)))
    assert not any("typed in" in line for line in what_alike_cannot_show(result()))
    assert any("consumers" in line for line in what_alike_cannot_show(result()))
