"""Leaving out one assessor at a time: the same as taking the rows out of the study, and quick to tell."""

import numpy as np
import pandas as pd
import pytest

from panel.errors import ModelError
from panel.models.assessors.performance import EVERYBODY, check_panel, leave_one_out
from panel.models.prototypes.differences import find_differences
from panel.study.study import Study
from tests.studies import crossed_study, small_study

SAME_MODEL = 1e-6  # relative: the refit starts elsewhere and stops within this of the same optimum


def without(study, assessor):
    scores = study.scores
    return Study(dict(study.tables) | {"scores": scores[scores["assessor"] != assessor]}, study.facts)


@pytest.fixture(scope="module", params=["balanced", "with holes", "two batches of each"])
def both(request):
    study = crossed_study(np.random.default_rng(1), assessors=6, prototypes=4, attributes=3, sessions=2)
    facts = dict(study.facts) | {"benchmark": "P02"}
    scores = study.scores
    if request.param == "with holes":
        scores = scores[np.random.default_rng(2).random(len(scores)) > 0.1]
    if request.param == "two batches of each":
        scores = scores.assign(batch=scores["prototype"] + "-" + scores["session"])
    study = Study(dict(study.tables) | {"scores": scores}, facts)
    return study, leave_one_out(study)


def test_everybody_is_the_comparison_itself(both):
    study, found = both
    whole = find_differences(study)
    ours = found.tests[found.tests["assessor"] == EVERYBODY].reset_index(drop=True)
    for column in ("statistic", "df", "df_error", "p_value"):
        np.testing.assert_allclose(ours[column], whole.attributes[column], rtol=SAME_MODEL)
    differences = found.differences[found.differences["assessor"] == EVERYBODY].reset_index(drop=True)
    merged = differences.merge(whole.versus, on=["attribute", "prototype"], suffixes=("", "_whole"))
    assert len(merged) == len(whole.versus)
    for column in ("estimate", "std_error", "df", "p_value"):
        np.testing.assert_allclose(merged[column], merged[f"{column}_whole"], rtol=SAME_MODEL)


def test_equals_a_study_without_that_person(both):
    study, found = both
    for assessor in study.assessors[:3]:
        fresh = find_differences(without(study, assessor))
        ours = found.tests[found.tests["assessor"] == assessor].reset_index(drop=True)
        np.testing.assert_allclose(ours["statistic"], fresh.attributes["statistic"], rtol=SAME_MODEL)
        np.testing.assert_allclose(ours["df_error"], fresh.attributes["df_error"], rtol=1e-3)
        rows = found.differences[found.differences["assessor"] == assessor]
        merged = rows.merge(fresh.versus, on=["attribute", "prototype"], suffixes=("", "_fresh"))
        np.testing.assert_allclose(merged["estimate"], merged["estimate_fresh"], rtol=SAME_MODEL, atol=1e-8)


def test_whether_prototypes_differ_without_somebody_is_what_a_study_without_that_person_says():
    # weak differences, where one test alone and the same beside the others say different things
    study = crossed_study(np.random.default_rng(2), assessors=6, prototypes=3, attributes=4, difference_sd=3.0)
    rows, alone = check_panel(study).without, 0
    for assessor in ("", *study.assessors):
        fresh = find_differences(without(study, assessor)).attributes
        ours = rows[rows["assessor"] == assessor]
        np.testing.assert_allclose(ours["p_adjusted"], fresh["p_adjusted"], rtol=1e-3)
        assert list(ours["differ"]) == list(fresh["verdict"] == "differs")
        alone += (ours["differ"] != (ours["p_value"] < 0.05)).sum()
    assert alone


def test_each_difference_has_its_own_interval(both):
    _, found = both
    rows = found.differences
    np.testing.assert_allclose((rows["ci_low"] + rows["ci_high"]) / 2, rows["estimate"], rtol=1e-9, atol=1e-9)
    np.testing.assert_array_equal((rows["ci_low"] > 0) | (rows["ci_high"] < 0), rows["p_value"] < 0.05)
    assert set(rows["versus"]) == {"P02"}


def test_two_assessors_leave_one_who_cannot_be_compared():
    study = crossed_study(np.random.default_rng(3), assessors=2, prototypes=4, attributes=2, sessions=2)
    found = leave_one_out(study)
    assert found.tests.loc[found.tests["assessor"] != EVERYBODY, "statistic"].isna().all()
    assert found.tests.loc[found.tests["assessor"] == EVERYBODY, "statistic"].notna().all()
    assert found.differences.empty
    assert found.benchmark is None


def test_a_prototype_only_one_person_scored_cannot_be_judged_without_that_person():
    study = small_study()
    scores = study.scores
    lone = (scores["prototype"] == "P4") & (scores["assessor"] != "A01")
    found = leave_one_out(small_study(scores=scores[~lone]))
    rows = found.tests.set_index("assessor")["statistic"]
    assert rows["A01"].isna().all()
    assert rows["A02"].notna().all()


def test_nothing_to_compare_is_said():
    with pytest.raises(ModelError, match=r"No attribute can be compared: there are no scores. Check the scores"):
        leave_one_out(Study({"scores": pd.DataFrame()}))
