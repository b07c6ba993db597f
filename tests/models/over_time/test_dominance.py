"""Dominant sensations: rates counted by hand, stretches above the line, differences over people."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom, fisher_exact

from panel.errors import ModelError
from panel.models.over_time.dominance import follow_dominance
from panel.stats.curves.over_time import DRAWS
from panel.study.study import Study
from tests.time_studies import dominance_rows

EARLY, LATE = "aaaaabbbbb", "aabbbccccc"


def seeded():
    return np.random.default_rng(1)


def followed(sequences, *more, **facts):
    rows = pd.concat([dominance_rows(sequences), *more], ignore_index=True)
    return follow_dominance(Study({"dominances": rows}, facts), rng=seeded())


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
    found = followed({"P1": [EARLY] * 12}, dominance_attributes=["a", "b", "c", "d", "e"])
    line = found.lines.iloc[0]
    assert (line["n"], line["people"], line["chance"]) == (12, 12, 0.2)
    assert 0.2 < line["line"] < 1
    periods = found.periods.set_index("attribute")
    assert (periods.loc["a", "start"], periods.loc["a", "end"]) == (0, pytest.approx(0.49))
    assert (periods.loc["b", "start"], periods.loc["b", "end"]) == (pytest.approx(0.5), 1)
    assert any(note == "Never dominant: c, d, e." for note in found.notes)
    assert not any("does not list" in note for note in found.notes)


def test_prototypes_share_the_chance_that_something_is_told_of_one():
    # ten people, one of two sensations each: that nine or more name the same is a binomial tail, 2.1 %
    chance = 2 * binom.sf(8, 10, 0.5)
    assert 0.05 / 3 < chance < 0.05
    nine, told = ["aaaaaaaaaa"] * 9 + ["bbbbbbbbbb"], {"dominance_attributes": ["a", "b"]}
    assert followed({"P1": nine}, **told).periods["attribute"].tolist() == ["a"]
    together = followed({f"P{number}": nine for number in (1, 2, 3)}, **told)
    assert together.periods.empty
    assert together.lines["line"].tolist() == [0.9] * 3


def test_too_few_people_for_anything_to_rise_above_chance():
    found = followed({"P1": [EARLY] * 2})
    assert found.periods.empty
    assert any("Too few people for anything to rise above chance: P1." in note for note in found.notes)


def test_the_same_people_are_compared_with_themselves():
    found = followed({"P1": [EARLY] * 9 + [LATE], "P2": [LATE] * 9 + [EARLY]})
    assert found.differences["paired"].all()
    row = at(found.differences, 0.9, attribute="c")
    assert row["estimate"] == pytest.approx(0.8)
    # all ten people change places or not: 8 of 10 one way is reached with 1 or 9 or more of 10 signs alike
    exact = 2 * binom.cdf(1, 10, 0.5)
    assert row["p_adjusted"] == pytest.approx(exact, abs=4 * np.sqrt(exact / DRAWS))
    assert row["differs"] == (row["p_adjusted"] < 0.05)
    assert at(found.differences, 0.1, attribute="a")["p_adjusted"] == 1


def test_prototypes_are_one_family_and_sessions_tell_nothing():
    sequences = {"P1": [EARLY] * 9 + [LATE], "P2": [LATE] * 9 + [EARLY]}
    found = followed(sequences | {f"P{number}": [EARLY] * 10 for number in range(3, 7)})
    exact = 5 * 2 * binom.cdf(1, 10, 0.5)  # of one difference as above, five prototypes held against P1
    row = at(found.differences, 0.9, attribute="c", prototype="P2")
    assert row["p_adjusted"] == pytest.approx(exact, abs=5 * 4 * np.sqrt(exact / 5 / DRAWS))
    assert not row["differs"]
    rows = dominance_rows({"P1": [EARLY] * 12, "P2": [LATE] * 12})
    split = rows.assign(session=np.where(rows["prototype"] == "P1", "1", "2"))
    alone, apart = (follow_dominance(Study({"dominances": own}), rng=seeded()) for own in (rows, split))
    assert alone.differences["differs"].any()
    assert not apart.differences["differs"].any()
    assert apart.untold[0].startswith("P1 and P2 were never served in one session")


def test_other_people_are_compared_as_groups():
    found = followed({"P1": [EARLY] * 8}, other_people(dominance_rows({"P2": [LATE] * 5 + [EARLY]})))
    assert not found.differences["paired"].any()
    row = at(found.differences, 0.9, attribute="c")
    assert row["estimate"] == pytest.approx(5 / 6)
    assert row["p_adjusted"] == pytest.approx(fisher_exact([[5, 1], [0, 8]]).pvalue, abs=0.01)


def other_people(rows):
    return rows.assign(assessor="B" + rows["assessor"])


def test_repeats_of_one_person_are_one_person():
    once = followed({"P1": [EARLY] * 6})
    again = followed({"P1": [EARLY] * 6}, dominance_rows({"P1": [EARLY] * 6}, repeat="2"))
    assert once.lines["line"].item() == again.lines["line"].item()
    assert again.lines["n"].item() == 12


def test_the_benchmark_is_what_others_are_compared_with():
    sequences = {"P1": [EARLY] * 3, "P2": [LATE] * 3}
    assert set(followed(sequences, benchmark="P2").differences["versus"]) == {"P2"}
    assert set(followed(sequences).differences["versus"]) == {"P1"}
    assert followed({"P1": [EARLY] * 3}).differences.empty


def test_evaluations_without_a_stop_are_left_out_and_said():
    rows = dominance_rows({"P1": [EARLY] * 3})
    rows = rows.loc[~((rows["assessor"] == "A01") & (rows["attribute"] == "stop"))]
    found = follow_dominance(Study({"dominances": rows}), rng=seeded())
    assert found.left_out["assessor"].tolist() == ["A01"]
    assert found.lines["n"].tolist() == [2]
    assert any("there is no stop" in note for note in found.notes)


def test_repeated_evaluations_are_said():
    found = followed({"P1": [EARLY] * 3}, dominance_rows({"P1": [LATE] * 3}, repeat="2"))
    assert found.lines["n"].tolist() == [6]
    assert any("more than once" in note for note in found.notes)


def test_messages():
    with pytest.raises(ModelError, match="The study has no dominant sensations"):
        follow_dominance(Study({}), rng=seeded())
    rows = dominance_rows({"P1": [EARLY]})
    with pytest.raises(ModelError, match="No evaluation of dominance can be read: there is no stop"):
        follow_dominance(Study({"dominances": rows.loc[rows["attribute"] != "stop"]}), rng=seeded())
    with pytest.raises(ModelError, match="two sensations or more"):
        followed({"P1": ["aaaaa"]})
