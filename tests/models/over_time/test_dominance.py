"""Dominant sensations: rates counted by hand, stretches above the line, exact differences at each moment."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binomtest, fisher_exact

from panel.errors import ModelError
from panel.models.over_time.dominance import follow_dominance
from panel.study.study import Study
from tests.time_studies import dominance_rows

EARLY, LATE = "aaaaabbbbb", "aabbbccccc"


def followed(sequences, *more, level=0.95, versus=None, **facts):
    rows = pd.concat([dominance_rows(sequences), *more], ignore_index=True)
    return follow_dominance(Study({"dominances": rows}, facts), level=level, versus=versus)


def at(frame, time, **where):
    rows = frame.loc[np.isclose(frame["time"], time)]
    for column, value in where.items():
        rows = rows.loc[rows[column] == value]
    return rows.iloc[0]


def test_rates_are_shares_of_evaluations():
    found = followed({"P1": [EARLY] * 3 + [LATE]})
    assert at(found.rates, 0.1, attribute="a")["rate"] == 1
    assert at(found.rates, 0.3, attribute="a")["rate"] == 0.75
    assert at(found.rates, 0.3, attribute="b")["rate"] == 0.25
    assert at(found.rates, 0.9, attribute="c")["rate"] == 0.25
    total = found.rates.groupby("time")["rate"].sum()
    np.testing.assert_allclose(total, 1.0)


def test_stretches_above_the_line():
    found = followed({"P1": [EARLY] * 60}, dominance_attributes=["a", "b", "c", "d", "e"])
    line = found.lines.iloc[0]
    assert (line["n"], line["chance"], bool(line["exact"])) == (60, 0.2, False)
    assert line["line"] == pytest.approx(0.284947, abs=1.2e-5)  # tests/stats/test_dominance.py
    periods = found.periods.set_index("attribute")
    assert (periods.loc["a", "start"], periods.loc["a", "end"]) == (0, pytest.approx(0.49))
    assert (periods.loc["b", "start"], periods.loc["b", "end"]) == (pytest.approx(0.5), 1)
    assert any(note == "Never dominant: c, d, e." for note in found.notes)
    assert not any("does not list" in note for note in found.notes)


def test_a_count_just_enough_is_above_an_exact_line():
    # 3 sensations, 10 evaluations: 7 are needed (exact binomial, P(X >= 7) = 0.0197, P(X >= 6) = 0.0766)
    found = followed({"P1": ["aaaaaaaaaa"] * 7 + ["bbbbbbbbbb"] * 2 + ["cccccccccc"]})
    assert found.lines["exact"].all()
    assert found.periods["attribute"].tolist() == ["a"]
    assert any("the exact count is used" in note for note in found.notes)
    less = followed({"P1": ["aaaaaaaaaa"] * 6 + ["bbbbbbbbbb"] * 3 + ["cccccccccc"]})
    assert less.periods.empty


def test_the_same_people_are_compared_by_mcnemars_test():
    found = followed({"P1": [EARLY] * 9 + [LATE], "P2": [LATE] * 9 + [EARLY]}, versus="P1")
    assert found.differences["paired"].all()
    row = at(found.differences, 0.9, attribute="c")
    assert row["estimate"] == pytest.approx(0.8)
    assert row["p_value"] == pytest.approx(binomtest(1, 10).pvalue)
    assert at(found.differences, 0.1, attribute="a")["p_value"] == 1


def test_other_people_by_fishers():
    found = followed({"P1": [EARLY] * 8, "P2": [LATE] * 5 + [EARLY]}, versus="P1")
    assert not found.differences["paired"].any()
    row = at(found.differences, 0.9, attribute="c")
    assert row["p_value"] == pytest.approx(fisher_exact([[5, 1], [0, 8]]).pvalue)


def test_the_benchmark_is_what_others_are_compared_with():
    sequences = {"P1": [EARLY] * 3, "P2": [LATE] * 3}
    assert set(followed(sequences, benchmark="P2").differences["versus"]) == {"P2"}
    assert set(followed(sequences).differences["versus"]) == {"P1"}
    assert followed({"P1": [EARLY] * 3}).differences.empty


def test_evaluations_without_a_stop_are_left_out_and_said():
    rows = dominance_rows({"P1": [EARLY] * 3})
    rows = rows.loc[~((rows["assessor"] == "A01") & (rows["attribute"] == "stop"))]
    found = follow_dominance(Study({"dominances": rows}))
    assert found.left_out["assessor"].tolist() == ["A01"]
    assert found.lines["n"].tolist() == [2]
    assert any("there is no stop" in note for note in found.notes)


def test_repeated_evaluations_are_said():
    found = followed({"P1": [EARLY] * 3}, dominance_rows({"P1": [LATE] * 3}, repeat="2"))
    assert found.lines["n"].tolist() == [6]
    assert any("more than once" in note for note in found.notes)


def test_messages():
    with pytest.raises(ModelError, match="The study has no dominant sensations"):
        follow_dominance(Study({}))
    rows = dominance_rows({"P1": [EARLY]})
    with pytest.raises(ModelError, match="No evaluation of dominance can be read: there is no stop"):
        follow_dominance(Study({"dominances": rows.loc[rows["attribute"] != "stop"]}))
    with pytest.raises(ModelError, match=r"P9 has no dominance evaluations\. Choose among P1"):
        followed({"P1": [EARLY]}, versus="P9")
    with pytest.raises(ModelError, match="two sensations or more"):
        followed({"P1": ["aaaaa"]})
