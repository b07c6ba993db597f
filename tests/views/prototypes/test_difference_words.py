"""The plain lines about differences follow from the numbers, and never say more."""

from dataclasses import replace

import pandas as pd
import pytest

from panel.models.prototypes.differences import Differences
from panel.study.naming import Naming
from panel.views.prototypes.differences import headline, what_the_differences_cannot_show, what_the_differences_show

NAMES = Naming({"film": "greasy film", "glide": "ease of spreading"})


def difference(attribute, prototype, versus, estimate, half, verdict):
    return {
        "attribute": attribute,
        "prototype": prototype,
        "versus": versus,
        "estimate": estimate,
        "ci_low": estimate - half,
        "ci_high": estimate + half,
        "verdict": verdict,
    }


def result(benchmark="P1", p_values=(0.001, 0.4), margin=8.0):
    rows = [
        difference("film", "P2", "P1", -12.0, 5.0, "differs, may matter"),
        difference("film", "P3", "P1", 16.0, 5.0, "differs and matters"),
        difference("film", "P4", "P1", 1.0, 5.0, "equivalent within the margin"),
        difference("glide", "P2", "P1", 2.0, 6.0, "cannot tell"),
    ]
    empty = pd.DataFrame()
    frame = pd.DataFrame(rows)
    attributes = pd.DataFrame({"attribute": ["film", "glide"], "statistic": [9.0, 1.1], "p_adjusted": p_values})
    means = pd.DataFrame({"prototype": ["P1", "P2", "P3", "P4"]})
    versus = frame if benchmark else frame.iloc[:0]
    return Differences(
        attributes, means, frame, versus, empty, empty, empty, empty, benchmark, margin, 0.95, "method", ()
    )


def test_a_line_names_who_is_higher_lower_and_alike():
    film, glide = what_the_differences_show(result(), NAMES)
    assert film == (
        "greasy film: the prototypes differ (F 9.0, p = 0.001). Higher than P1: P3. Lower than P1: P2. "
        "Within the margin of P1: P4."
    )
    assert glide == (
        "ease of spreading: no difference shown (F 1.1, p = 0.400). "
        "Two prototypes would have to lie about 6.0 apart to be told apart here."
    )


def test_without_a_benchmark_the_widest_pairs_are_named():
    film = what_the_differences_show(result(benchmark=None), NAMES)[0]
    assert "Widest: P3 above P1 by 16.0 and P1 above P2 by 12.0." in film


def test_where_no_single_difference_stands_out_this_is_said():
    plain = result()
    dull = plain.versus.assign(verdict="cannot tell")
    assert (
        "No single difference from P1 stands out alone."
        in what_the_differences_show(replace(plain, versus=dull), NAMES)[0]
    )


@pytest.mark.parametrize(
    ("p_values", "sentence"),
    [
        ((0.001, 0.4), "The prototypes differ on 1 of 2 attributes; not told apart on ease of spreading."),
        ((0.001, 0.01), "The prototypes differ on all 2 attributes."),
        ((0.2, 0.4), "On no attribute can the prototypes be told apart. That does not show that they are alike."),
    ],
)
def test_the_headline_counts(p_values, sentence):
    assert headline(result(p_values=p_values), NAMES) == sentence


def test_what_cannot_be_shown_names_the_margin_or_its_absence():
    assert any("up to 8.0 is taken as too small" in line for line in what_the_differences_cannot_show(result()))
    assert any("No margin was set" in line for line in what_the_differences_cannot_show(result(margin=None)))
