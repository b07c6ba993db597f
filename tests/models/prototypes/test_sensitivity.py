"""Smallest difference that could have been shown: its power by simulation and by a library, its three families."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import f, ncf
from statsmodels.stats.power import TTestPower

from panel.models.prototypes.alike import (
    _AGAINST_BENCHMARK,
    _ALL_PAIRS,
    _FAMILIES,
    ONE_PLANNED,
    smallest_difference,
)
from panel.models.prototypes.differences import find_differences
from panel.plan.sample_size import what_you_can_see
from panel.study.study import Study
from tests.studies import crossed_study, small_study

SOLVED = 1e-7


def test_paired_scores_of_two_prototypes_are_a_paired_t_test():
    # one score each of two prototypes: the mixed model is the paired t test; statsmodels gives its power
    rng = np.random.default_rng(4)
    n = 12
    scores = pd.DataFrame(
        {
            "assessor": [f"A{k}" for k in range(n)] * 2,
            "prototype": ["P1"] * n + ["P2"] * n,
            "attribute": "x",
            "score": np.r_[rng.normal(50, 5, n), rng.normal(52, 5, n)] + np.tile(rng.normal(0, 8, n), 2),
        }
    )
    found = smallest_difference(find_differences(Study({"scores": scores}))).differences
    difference = scores["score"][n:].to_numpy() - scores["score"][:n].to_numpy()
    effect = found["smallest_difference"].to_numpy() / difference.std(ddof=1)
    assert TTestPower().power(effect[0], n, 0.05) == pytest.approx(0.8, abs=1e-5)
    # with two prototypes all pairs are one pair
    assert effect[0] == pytest.approx(effect[1], rel=SOLVED)


def test_a_true_difference_of_that_size_is_found_as_often_as_promised():
    # 8 assessors, 3 prototypes, 3 repetitions with known variances: the standard error is known beforehand
    rng = np.random.default_rng(5)
    people, samples, repeats, panels = 8, 3, 3, 400
    sd = np.sqrt(2 * (4.0**2 + 6.0**2 / repeats) / people)  # assessor x prototype and residual, of a difference
    shape = (people, samples, repeats, panels)
    base = rng.normal(0, 5, (people, 1, 1, panels)) + rng.normal(0, 4, (people, samples, 1, panels))
    scores = 50 + base + rng.normal(0, 6, shape)
    index = np.indices(shape).reshape(4, -1)
    frame = pd.DataFrame(
        {
            "assessor": np.char.add("A", index[0].astype(str)),
            "prototype": np.char.add("P", index[1].astype(str)),
            "attribute": np.char.add("T", index[3].astype(str)),
            "replicate": index[2].astype(str),
            "score": scores.ravel(),
        }
    )
    null = find_differences(Study({"scores": frame}))
    typical = smallest_difference(null).differences
    typical = typical[(typical["family"] == _ALL_PAIRS) & (typical["versus"] == "P0") & (typical["prototype"] == "P2")]
    # at the true standard error the smallest difference is the typical one, scaled
    size = float((typical["smallest_difference"] / typical["std_error"]).median() * sd)
    # adding the difference to every score of P2 moves its estimates by just that and leaves everything else
    pairs = null.pairs[(null.pairs["prototype"] == "P2") & (null.pairs["versus"] == "P0")]
    told = (pairs["estimate"] + size).abs() > (pairs["ci_high"] - pairs["ci_low"]) / 2
    # four standard errors of a share of 400, and a point for the degrees of freedom that vary from panel to panel
    assert told.mean() == pytest.approx(0.8, abs=4 * np.sqrt(0.16 / 400) + 0.01)


@pytest.fixture(scope="module")
def differences():
    return find_differences(small_study())


def test_three_families_from_the_same_standard_errors(differences):
    found = smallest_difference(differences).differences
    wide = found.pivot_table(index=["attribute", "prototype", "versus"], columns="family", values="smallest_difference")
    against = wide.dropna()
    assert len(wide) == 3 * 6
    assert len(against) == 3 * 3  # P2, P3 and P4 against the benchmark P1
    assert (against[ONE_PLANNED] < against[_AGAINST_BENCHMARK]).all()
    assert (against[_AGAINST_BENCHMARK] < against[_ALL_PAIRS]).all()
    assert set(found["family"]) == set(_FAMILIES)
    errors = found.merge(differences.pairs, on=["attribute", "prototype", "versus"], suffixes=("", "_of_pairs"))
    np.testing.assert_allclose(errors["std_error"], errors["std_error_of_pairs"])


def test_medians_are_those_of_the_pairs(differences):
    found = smallest_difference(differences)
    row = found.medians.iloc[0]
    own = found.differences[
        (found.differences["attribute"] == row["attribute"]) & (found.differences["family"] == row["family"])
    ]
    assert row["smallest_difference"] == own["smallest_difference"].median()
    assert len(found.medians) == 9


def test_without_a_benchmark_there_is_no_such_family():
    study = crossed_study(np.random.default_rng(1), assessors=5, prototypes=3, attributes=1, sessions=2)
    assert set(smallest_difference(find_differences(study)).differences["family"]) == {_ALL_PAIRS, ONE_PLANNED}


def test_that_a_difference_is_told_less_often_among_several_attributes_is_said():
    # a difference that Dunnett's test finds in 80 of 100 panels passes the F test at 5 % / 8 in 64 (scipy),
    # and 58 to 70 of 100 drawn panels of 8 attributes told it
    people, samples = 8, 4
    seen = what_you_can_see(people, 2, samples).iloc[0]
    df = (samples - 1) * (people - 1)
    noncentrality = (samples - 1) / samples * seen["seen_benchmark"] ** 2 / (seen["std_error"] ** 2 / 2)
    assert ncf.sf(f.isf(0.05 / 8, samples - 1, df), samples - 1, df, noncentrality) < 0.8 - 0.1
    study = small_study()
    together = find_differences(study)
    assert len(together.attributes) > 1
    assert any("shown less often" in note for note in smallest_difference(together).notes)
    first = study.table("scores").loc[lambda rows: rows["attribute"] == together.attributes["attribute"].iloc[0]]
    alone = find_differences(replace(study, tables={**study.tables, "scores": first}))
    assert not any("shown less often" in note for note in smallest_difference(alone).notes)
