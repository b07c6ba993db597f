"""Words about gaps and traces: every sentence from its numbers."""

import pandas as pd
import pytest

from panel.views.decision.claims import gap_lines, trace_lines, what_is_behind


@pytest.mark.parametrize(
    ("gaps", "words"),
    [
        (0, "a summary and 16 parts. No gap is named in it, which is no review."),
        (1, "a summary and 16 parts; 1 gap is named in it."),
        (3, "a summary and 16 parts; 3 gaps are named in it."),
    ],
)
def test_the_headline_counts_gaps(gaps, words):
    assert gap_lines([("3", "Product", "No pack.")] * gaps, 16)[0] == f"The evidence file has {words}"


def test_a_gap_names_its_part():
    assert gap_lines([("3", "Product", "No pack."), ("", "Summary", "No purpose.")], 16)[1:] == [
        "Part 3, Product: No pack.",
        "Summary: No purpose.",
    ]


def test_a_number_is_given_to_its_last_digit():
    assert trace_lines("R-a-b", 0.1 + 0.2, "", "", "")[0] == "R-a-b = 0.30000000000000004"
    assert trace_lines("R-a-b", float("nan"), "", "", "")[0] == "R-a-b = –"
    assert trace_lines("R-a-b", 1.0, "Means", "estimate", "Plain.")[-1] == "How it was computed: Plain."


def test_rows_are_counted_by_their_use():
    rows = pd.DataFrame({"file": "scores.csv", "line": [2, 3, 4], "use": ["direct", "direct", "through the model"]})
    assert what_is_behind(rows) == "Behind it stand 3 rows of scores.csv: 2 direct and 1 through the model."
    assert what_is_behind(rows.iloc[:0]) == "No single row of a table stands behind it here."
