"""The rules one by one, on tables made for the purpose; how often they are right is in test_performance."""

import numpy as np
import pandas as pd
import pytest

from panel.models.assessors import performance as rule
from panel.models.assessors.performance import _COLUMNS, _find_patterns, _judgements, _qualities_of

ORDINARY = {
    "p_value": 0.01, "slope": 0.9, "ci_low": 0.3, "ci_high": 1.5, "slope_p_adjusted": 1.0,
    "reversed_p_adjusted": 1.0, "flatness_p_value": 0.5,
    "flatness_p_adjusted": 1.0, "interaction_share": 0.1, "interaction_p_adjusted": 1.0, "repeat_ratio": 1.0,
    "repeat_p_adjusted": 1.0, "drift": 0.0, "drift_p_adjusted": 1.0,
}  # fmt: skip
PERSON = {
    "n_judged": 4, "n_separated": 4, "scale": 1.0, "scale_error": 0.12, "scale_low": 0.7, "scale_high": 1.3,
    "spread_ratio": 1.0, "spread_p_adjusted": 1.0, "repeat_ratio": 1.0, "repeat_p_adjusted": 1.0, "level_share": 0.01,
}  # fmt: skip
QUALITIES = {"stickiness": ["PU_STICK", "AF_STICK"]}


def panel(cells=(), people=(), attributes=("RO_ABS", "PU_STICK", "AF_STICK", "AF_GREASE")):
    names = [f"A{number}" for number in range(1, 7)]
    rows = pd.DataFrame([{"assessor": who, "attribute": what} | ORDINARY for who in names for what in attributes])
    for who, what, changes in cells:
        for column, value in changes.items():
            rows.loc[(rows["assessor"] == who) & (rows["attribute"] == what), column] = value
    persons = pd.DataFrame([{"assessor": who} | PERSON for who in names])
    for who, changes in people:
        for column, value in changes.items():
            persons.loc[persons["assessor"] == who, column] = value
    return rows, persons


def found(cells=(), people=()):
    rows, persons = panel(cells, people)
    patterns = _find_patterns(rows, persons, QUALITIES)
    told = list(patterns[["assessor", "pattern", "attribute", "action"]].itertuples(index=False, name=None))
    return told, patterns, _judgements(persons, patterns)


def test_an_ordinary_panel_shows_nothing():
    told, patterns, judged = found()
    assert told == []
    assert list(patterns.columns) == _COLUMNS
    assert set(judged) == {"none"}


def test_reversed_needs_a_slope_chance_does_not_give_below_zero_and_clear_separation():
    low = {"slope": -1.0, "slope_p_adjusted": 0.005, "p_value": 0.001}
    assert found([("A2", "RO_ABS", low)])[0] == [("A2", "reversed", "RO_ABS", "retrain")]
    for changed in ({"slope": 0.05}, {"p_value": 0.5}, {"p_value": np.nan}):
        told = found([("A2", "RO_ABS", low | changed)])[0]
        assert told == [("A2", "does not follow", "RO_ABS", "look again")]
    assert found([("A2", "RO_ABS", low | {"slope_p_adjusted": 0.2})])[0] == []


def test_among_those_who_clearly_separate_fewer_are_counted():
    # the slope is not low enough among all persons and attributes, but among those who separate it is
    few = {"slope": -0.9, "slope_p_adjusted": 0.2, "reversed_p_adjusted": 0.03, "p_value": 0.01}
    assert found([("A2", "RO_ABS", few)])[0] == [("A2", "reversed", "RO_ABS", "retrain")]
    assert found([("A2", "RO_ABS", few)])[1]["p_adjusted"].tolist() == [0.03]
    for changed in ({"slope": 0.1}, {"reversed_p_adjusted": 0.04}, {"reversed_p_adjusted": np.nan}):
        assert found([("A2", "RO_ABS", few | changed)])[0] == []


def test_somebody_told_to_reverse_is_not_told_an_own_view_as_well():
    both = {"slope": -0.9, "slope_p_adjusted": 0.2, "reversed_p_adjusted": 0.03, "interaction_p_adjusted": 0.001}
    assert found([("A2", "RO_ABS", both)])[0] == [("A2", "reversed", "RO_ABS", "retrain")]


def test_the_interval_of_the_slope_goes_along():
    low = {"slope": -1.0, "slope_p_adjusted": 0.005, "p_value": 0.001, "ci_low": -1.9, "ci_high": -0.1}
    row = found([("A2", "RO_ABS", low)])[1].iloc[0]
    assert (row["estimate"], row["ci_low"], row["ci_high"], row["p_adjusted"]) == (-1.0, -1.9, -0.1, 0.005)


def test_a_flat_attribute_is_told_only_where_the_person_does_not_separate():
    flat = {"flatness_p_adjusted": 0.001, "p_value": 0.7, "slope": 0.1}
    assert found([("A3", "AF_GREASE", flat)])[0] == [("A3", "not felt", "AF_GREASE", "look again")]
    assert found([("A3", "AF_GREASE", flat | {"p_value": 0.02})])[0] == []


def test_a_quality_is_told_where_no_stage_is_felt():
    flat = {"flatness_p_value": 0.01, "p_value": 0.7, "slope": 0.1}
    both = [("A4", "PU_STICK", flat), ("A4", "AF_STICK", flat)]
    told, patterns, judged = found(both)
    assert told == [("A4", "not felt", "PU_STICK", "look again"), ("A4", "not felt", "AF_STICK", "look again")]
    assert set(patterns["quality"]) == {"stickiness"}
    assert judged[3] == "look again"
    assert found(both[:1])[0] == []  # one stage alone
    assert found([both[0], ("A4", "AF_GREASE", flat)])[0] == []  # two attributes that are not one quality
    assert found([both[0], ("A4", "AF_STICK", flat | {"p_value": 0.1})])[0] == []  # felt at one stage


@pytest.mark.parametrize(
    ("changes", "pattern"),
    [
        ({"interaction_p_adjusted": 0.001}, "own view"),
        ({"repeat_ratio": 2.5, "repeat_p_adjusted": 0.001}, "scatters"),
        ({"drift": 4.0, "drift_p_adjusted": 0.001}, "drifts"),
    ],
)
def test_other_patterns_of_one_attribute_only_ask_to_look_again(changes, pattern):
    assert found([("A1", "RO_ABS", changes)])[0] == [("A1", pattern, "RO_ABS", "look again")]
    p_value = next(name for name in changes if name.endswith("p_adjusted"))
    assert found([("A1", "RO_ABS", changes | {p_value: 0.02})])[0] == []


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"spread_ratio": 0.4, "spread_p_adjusted": 0.001, "scale": 0.4}, ("narrow scale", "retrain")),
        ({"scale": 0.0, "n_separated": 1}, ("feels little", "retrain")),
        ({"scale": 0.0}, ("does not follow", "retrain")),
        ({"scale": 1.7}, ("wide scale", "none")),
        ({"repeat_ratio": 2.3, "repeat_p_adjusted": 1e-6}, ("scatters", "retrain")),
        ({"repeat_ratio": 1.8, "repeat_p_adjusted": 1e-6}, ("scatters", "look again")),
        ({"level_share": 0.14}, ("sits high", "none")),
        ({"level_share": -0.14}, ("sits low", "none")),
    ],
)
def test_patterns_over_all_attributes(changes, expected):
    told, _, judged = found(people=[("A5", changes)])
    assert told == [("A5", expected[0], "", expected[1])]
    assert judged[4] == expected[1]


@pytest.mark.parametrize(
    "changes",
    [
        {"spread_ratio": 0.7, "spread_p_adjusted": 0.001},
        {"spread_ratio": 0.5, "spread_p_adjusted": 0.02},
        {"scale": 0.6},
        {"scale": 0.45},  # chance does that
        {"scale": 1.7, "scale_error": 0.4},
        {"repeat_ratio": 1.6, "repeat_p_adjusted": 1e-6},
        {"level_share": 0.07},
        {"scale": np.nan, "spread_ratio": np.nan, "repeat_ratio": np.nan, "repeat_p_adjusted": np.nan},
    ],
)
def test_what_is_within_reason_is_not_told(changes):
    assert found(people=[("A5", changes)])[0] == []


def test_the_gravest_pattern_decides_and_persons_keep_their_order():
    low = {"slope": -1.0, "slope_p_adjusted": 0.005, "p_value": 0.001}
    told, _, judged = found([("A2", "RO_ABS", low)], [("A1", {"level_share": 0.2}), ("A2", {"level_share": 0.2})])
    assert [who for who, *_ in told] == ["A1", "A2", "A2"]
    assert list(judged[:2]) == ["none", "retrain"]
    assert tuple(rule.Action) == ("none", "look again", "retrain")


def test_attributes_of_one_quality_go_by_the_word_their_names_start_with():
    words = {
        "PU_STICK": "stickiness of the bulk", "AF_STICK": "stickiness", "LA_STICK": "Stickiness, later",
        "RO_SPREAD": "ease of spreading", "RO_ABS": "speed of soaking in", "AF_RESID": "amount of residue",
        "LA_RESID": "residue, later", "X": "X",
    }  # fmt: skip
    assert _qualities_of(words) == {
        "stickiness": ["PU_STICK", "AF_STICK", "LA_STICK"],
        "residue": ["AF_RESID", "LA_RESID"],
    }


@pytest.mark.parametrize(("beyond", "told"), [(1.02, True), (0.98, False)])
def test_a_wide_scale_is_told_where_it_would_be_rare_among_so_many_people(beyond, told):
    # Bonferroni over six people, one side at 5 %: 2.394 standard errors
    error = 1.0 / (2.394 * beyond)
    patterns, _, _ = found(people=[("A3", {"scale": 2.0, "scale_error": error})])
    assert (("A3", rule.Pattern.WIDE, "", rule.Action.NONE) in patterns) == told
