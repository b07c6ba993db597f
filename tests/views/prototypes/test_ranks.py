"""Words about ranks: agreement with the mixed model, the order, who is lost."""

import numpy as np
import pandas as pd
import pytest

from panel.models.prototypes.ranks import RankComparison
from panel.study.naming import Naming
from panel.study.shown import shown
from panel.views.prototypes.other_ways import RANKS, tell_ranks

NAMES = Naming(attributes={"grease": "greasy film", "stick": "stickiness"})


def comparison(ranks=(0.001, 0.2), mixed=(0.002, 0.3), **changes):
    """Two attributes with these adjusted p-values of ranks and mixed model; five prototypes in order."""
    attributes = pd.DataFrame(
        {
            **{"attribute": ["grease", "stick"], "method": "Friedman", "statistic": [18.44, 3.1], "df": 4.0},
            **{"p_value": ranks, "exact": [True, False]},
            **{"kendall_w": [0.74, 0.2], "n_assessors": 8, "n_lost": [0, 0], "p_adjusted": ranks},
            "mixed_p_adjusted": mixed,
        }
    ).assign(**changes)
    for column, p_values in (("verdict", ranks), ("mixed_verdict", mixed)):
        attributes[column] = [np.nan if np.isnan(p) else "differs" if p < 0.05 else "cannot tell" for p in p_values]
    attributes["agreement"] = ["strong", "weak"] if attributes["kendall_w"].notna().all() else ["", ""]
    sums = pd.DataFrame(
        {
            "attribute": ["grease"] * 5 + ["stick"] * 5,
            "prototype": ["P1", "P2", "P3", "P4", "P5"] * 2,
            "mean_rank": [1.5, 4.8, 2.0, 3.0, 3.7] * 2,
        }
    )
    gaps = pd.DataFrame(
        {"attribute": ["grease", "stick"], "assessor": ["A03", "A04"], "lost": [True, False], "missing": ["P1", "P2"]}
    )
    return RankComparison(attributes, sums, gaps, "", ())


def lines(result):
    return [item for item in tell_ranks(result, NAMES).drawers[0].items if isinstance(item, str)]


def test_agreement_is_one_sentence():
    assert tell_ranks(comparison(), NAMES).headline == "Ranks and mixed model agree on both attributes."


@pytest.mark.parametrize(
    ("ranks", "mixed", "words"),
    [
        (
            (0.001, 0.2),
            (0.002, 0.01),
            "agree on 1 of 2 attributes. Only the mixed model finds a difference on stickiness",
        ),
        ((0.001, 0.01), (0.002, 0.2), "Only the ranks find a difference on stickiness"),
    ],
)
def test_where_they_part_it_is_named(ranks, mixed, words):
    assert words in tell_ranks(comparison(ranks, mixed), NAMES).headline


def test_without_the_mixed_model_there_is_nothing_to_agree_with():
    assert "no answer of the mixed model" in tell_ranks(comparison(mixed=(np.nan, np.nan)), NAMES).headline
    assert "mixed model" not in lines(comparison(mixed=(np.nan, np.nan)))[0]


def test_a_line_tells_test_order_agreement_and_the_other_answer():
    first, second = lines(comparison())
    assert first == (
        "greasy film: the ranks tell the prototypes apart (Friedman, chi-square 18.4, exact p after Holm = 0.001). "
        "Ranked high: P2 and P5; low: P3 and P1. Agreement of the assessors on the order is strong (W 0.74). "
        "The mixed model says the same."
    )
    assert "the ranks show no difference (Friedman, chi-square 3.1, approximate p after Holm = 0.200)" in second
    assert "Ranked high" not in second


def test_few_prototypes_are_all_named():
    result = comparison()
    fewer = RankComparison(
        result.attributes, result.mean_ranks[result.mean_ranks["prototype"] < "P4"], result.gaps, "", (),
    )  # fmt: skip
    assert "From high to low: P2, P3, P1." in lines(fewer)[0]


def test_other_tests_and_the_lost_are_named():
    line = lines(comparison(method="Skillings-Mack", n_lost=[1, 0], kendall_w=np.nan))[0]
    assert "(Skillings-Mack, chi-square 18.4, p after Holm = 0.001)" in line
    assert "Lost for the ranks: A03." in line
    assert "Agreement" not in line
    assert "says otherwise (p after Holm = 0.300)" in lines(comparison(mixed=(0.3, 0.3)))[0]


def test_limits_are_stated():
    words = " ".join(tell_ranks(comparison(), NAMES).cannot)
    assert "never how far apart" in words
    assert "mixed model's" in words


def test_the_table_holds_both_tests():
    row = shown(RANKS, comparison(), NAMES).iloc[0]
    assert list(row) == ["greasy film", "Friedman", "18.44", "0.001", "0.74", "0.002"]
