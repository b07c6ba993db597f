"""The words and the table of likeness follow from the numbers, and never take 'not shown' for a difference."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from panel.models.prototypes.alike import Alike, PlannedDifferences, Sensitivity
from panel.study.naming import Naming
from panel.study.shown import shown
from panel.views.prototypes.alike import _ALIKE, _PLANNED_ONES, SMALLEST, tell_alike, tell_planned, tell_sensitivity

NAMES = Naming({"film": "greasy film", "glide": "ease of spreading"})
COLUMNS = ["attribute", "prototype", "versus", "estimate", "verdict", "direction", "not_worse"]
ROWS = [
    ("film", "P2", "P1", 0.5, "alike within the margin", "less", "not worse"),
    ("glide", "P2", "P1", -3.0, "not shown", "", "no direction"),
    ("film", "P3", "P1", 16.0, "beyond the margin", "less", "worse by more than the margin"),
    ("glide", "P3", "P1", 4.0, "not shown", "", "no direction"),
]


def result(rows=ROWS, stated=True, notes=()):
    frame = pd.DataFrame(rows, columns=COLUMNS).assign(ci_low=-2.0, ci_high=3.0, margin=8.0, low_p=0.01, high_p=0.0004)
    frame = frame.assign(p_adjusted=0.02, deciding_low=-4.0, deciding_high=6.0, deciding_level=0.975)
    frame["bound"] = np.where(frame["direction"] == "", np.nan, 3.0)
    return Alike(frame, stated, "method", notes)


def lines(told):
    return [item for item in told.drawers[0].items if isinstance(item, str)]


def test_the_headline_counts_and_keeps_not_shown_apart_from_different():
    assert tell_alike(result(), NAMES).headline == (
        "1 of 4 differences is shown to lie within 8 scale units either way, adjusted over all of them (Holm)."
    )
    assert (
        tell_alike(result(ROWS[:1]), NAMES).headline
        == "The difference is shown to lie within 8 scale units either way."
    )
    assert tell_alike(result(ROWS[1:2]), NAMES).headline == (
        "The difference is not shown to lie within 8 scale units either way. That does not show that it lies beyond."
    )
    assert tell_alike(result(ROWS[1::2]), NAMES).headline == (
        "Not one of 2 differences, adjusted over all of them (Holm), is shown to lie within 8 scale units either way. "
        "That does not show that they lie "
        "beyond."
    )


def test_the_headline_says_what_is_shown_to_lie_beyond_the_margin():
    assert tell_alike(result(ROWS[1:]), NAMES).headline == (
        "Not one of 3 differences, adjusted over all of them (Holm), is shown to lie within 8 scale units either way; "
        "1 is shown to lie beyond."
    )
    one = result(ROWS[2:3])
    one = replace(one, differences=one.differences.assign(margin=1.0))
    assert tell_alike(one, NAMES).headline == "The difference is shown to lie beyond 1 scale unit."


def test_without_rows_the_reason_is_the_headline():
    assert tell_alike(result([], None, notes=("No margin was set.",)), NAMES).headline == "No margin was set."


def test_a_line_for_each_pair_says_on_what():
    second, third = lines(tell_alike(result(), NAMES))
    assert second == "P2: alike with P1 on greasy film; not worse on greasy film."
    assert third == "P3: further apart than the margin on greasy film; worse by more than the margin on greasy film."
    assert lines(tell_alike(result(ROWS[1:2]), NAMES)) == ["P2: nothing is shown against P1."]
    both = [ROWS[0], ("glide", *ROWS[0][1:])]
    assert lines(tell_alike(result(both), NAMES)) == [
        "P2: alike with P1 on both attributes; not worse on both attributes."
    ]


def test_the_table_holds_both_tests_the_interval_and_the_bound():
    table = shown(_ALIKE, result(), NAMES)
    row = table.iloc[0]
    assert (row["P for likeness"], row["Interval that decides likeness"]) == ("0.020", "−4.0 to 6.0 (97.5 %)")
    assert (row["Alike?"], row["Not worse?"]) == ("alike within the margin", "not worse (+3.0 at worst)")
    assert table.iloc[1]["Not worse?"] == "–"
    assert table.iloc[2]["Not worse?"] == "worse by more than the margin (+3.0 at worst)"


def test_with_a_margin_typed_in_nothing_is_shown():
    rows = [("film", "P2", "P1", 0.5, "would be within the margin", "less", "not worse"), *ROWS[1:]]
    assert tell_alike(result(rows, stated=False), NAMES).headline == (
        "1 of 4 differences would be alike, within 8 scale units either way. The margin was typed in after the "
        "scores, so nothing is shown."
    )
    assert lines(tell_alike(result(rows, stated=False), NAMES))[0].startswith("P2: would be within the margin of P1 on")


def test_a_margin_typed_in_is_not_taken_for_one_stated():
    assert any("typed in" in line for line in tell_alike(result(stated=False), NAMES).cannot)
    assert not any("typed in" in line for line in tell_alike(result(), NAMES).cannot)
    assert any("consumers" in line for line in tell_alike(result(), NAMES).cannot)


def planned_result(*p_adjusted):
    rows = [("film", "P2", "P1", -12.0, 0.004, p, -17.0, -7.0) for p in p_adjusted]
    names = ["attribute", "prototype", "versus", "estimate", "p_value", "p_adjusted", "told_low", "told_high"]
    frame = pd.DataFrame(rows, columns=names).assign(statistic=-2.5, told_level=0.95)
    frame["verdict"] = ["shown" if p < 0.05 else "not shown" for p in frame["p_adjusted"]]
    return PlannedDifferences(frame, "method", ())


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
    assert tell_planned(planned_result(*p_adjusted), NAMES).headline == words


def test_a_planned_difference_is_told_with_its_interval():
    (told,) = lines(tell_planned(planned_result(0.01), NAMES))
    assert told == ("greasy film: P2 minus P1 is −12.0 (95 % interval −17.0 to −7.0; p after Holm = 0.010), shown.")


def test_the_table_shows_both_p_values():
    row = shown(_PLANNED_ONES, planned_result(0.008), NAMES).iloc[0]
    assert (row["P, alone"], row["P after Holm"], row["In words"]) == ("0.004", "0.008", "shown")
    assert (row["Difference"], row["Interval that decides, 95 %"]) == ("−12.0", "−17.0 to −7.0")


def test_the_smallest_difference_in_a_sentence_and_a_table():
    rows = [
        ("film", "all pairs (Tukey)", 11.26),
        ("glide", "all pairs (Tukey)", 8.04),
        ("film", "one planned difference", 7.0),
        ("glide", "one planned difference", 5.0),
    ]
    medians = pd.DataFrame(rows, columns=["attribute", "family", "smallest_difference"])
    found = Sensitivity(pd.DataFrame(), medians, "", ())
    table = shown(SMALLEST, found, Naming({"film": "greasy film"}, scale="0 to 100"))
    assert list(table.columns) == ["Attribute (0 to 100)", "All pairs (Tukey)", "One planned difference"]
    assert table.to_numpy().tolist() == [["greasy film", "11.3", "7.0"], ["glide", "8.0", "5.0"]]
    told = tell_sensitivity(found, Naming()).headline
    assert "With 80 % probability" in told
    assert "of 8.0 on the attribute it sees best" in told
    assert told.endswith("of 11.3 on the one it sees worst, each tested alone.")
    alone = Sensitivity(pd.DataFrame(), medians.iloc[::2], "", ())
    headline = tell_sensitivity(alone, Naming({"film": "greasy film"})).headline
    assert headline.endswith("a true difference of 11.3 on greasy film.")
