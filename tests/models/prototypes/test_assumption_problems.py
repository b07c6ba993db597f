"""Which findings count as problems: thresholds, who is named, and the ends of the scale."""

import numpy as np
import pandas as pd
import pytest

from panel.models.prototypes.assumptions import _end_rows, _problem_rows
from panel.study.scores_used import scores_used
from tests.studies import small_study

NO_TESTS = pd.DataFrame(columns=["attribute", "kind", "statistic", "p_value", "p_adjusted"])
NO_ENDS = pd.DataFrame(columns=["attribute", "prototype", "n_scores", "share_floor", "share_ceiling"], dtype=float)
ASSESSORS = pd.DataFrame({"attribute": "x", "assessor": ["A1", "A2", "A3"], "ratio": [1.0, 2.5, np.nan]})


def influence(**changes):
    row = {
        **{"attribute": "x", "prototype": "P1", "assessor": "A1", "row": 7, "estimate": 10.0, "estimate_without": 9.0},
        **{"std_error": 2.0, "p_value": 0.2, "p_value_without": 0.3},
    }
    return pd.DataFrame([row | changes])


def problems(tests=NO_TESTS, ends=NO_ENDS, alone=None):
    return _problem_rows(tests, ASSESSORS, ends, influence() if alone is None else alone)


def test_nothing_found_has_no_rows():
    assert problems().empty
    assert list(problems().columns) == ["attribute", "kind", "prototype", "assessor", "row", "size", "p_adjusted"]


def test_adjusted_p_values_decide_and_the_widest_assessor_is_named():
    tests = pd.DataFrame(
        {
            "attribute": "x",
            "kind": ["uneven assessors", "spread follows level", "not normal"],
            "statistic": [4.0, -0.4, 0.93],
            "p_value": 0.001,
            "p_adjusted": [0.04, 0.049, 0.051],
        }
    )
    found = problems(tests)
    assert found["kind"].tolist() == ["uneven assessors", "spread follows level"]
    assert found["assessor"].tolist() == ["A2", ""]
    assert found["size"].tolist() == [2.5, -0.4]


@pytest.mark.parametrize(
    ("changes", "decides"),
    [
        ({}, False),
        ({"p_value": 0.06, "p_value_without": 0.04}, True),
        ({"p_value": 0.04, "p_value_without": 0.06}, True),
        ({"estimate_without": 7.9}, True),
        ({"estimate_without": 12.1}, True),
        ({"estimate_without": 8.1}, False),
    ],
)
def test_one_score_decides_when_the_test_turns_or_the_difference_moves_by_a_standard_error(changes, decides):
    found = problems(alone=influence(**changes))
    assert (found["kind"] == "one score decides").any() == decides
    if decides:
        assert found.iloc[0][["assessor", "prototype", "row"]].tolist() == ["A1", "P1", 7]


def test_ends_are_counted_and_crowded_from_fifteen_per_cent():
    scores = small_study().scores.assign(score=50.0)
    chosen = scores.index[(scores["attribute"] == "AF_STICK") & (scores["prototype"] == "P4")]
    scores.loc[chosen[:2], "score"] = 0.0  # 2 of 8
    scores.loc[chosen[2:3], "score"] = 100.0  # 1 of 8
    scores.loc[scores.index[(scores["attribute"] == "RO_ABS")][0], "score"] = -3.0  # below the scale counts as its end
    study = small_study(scores=scores)
    ends = _end_rows(study, scores_used(study).frame)
    own = ends.set_index(["attribute", "prototype"])
    assert own.loc[("AF_STICK", "P4"), ["n_scores", "at_floor", "at_ceiling"]].tolist() == [8, 2, 1]
    assert own.loc[("AF_STICK", "P4"), ["share_floor", "share_ceiling"]].tolist() == [0.25, 0.125]
    assert own["at_floor"].sum() == 3
    found = problems(ends=ends)
    assert found[["kind", "prototype", "size"]].to_numpy().tolist() == [["floor", "P4", 0.25]]


def test_without_a_scale_ends_are_not_judged():
    study = small_study({"scale_min": None, "scale_max": None}, attributes=None)
    assert _end_rows(study, scores_used(study).frame).empty
