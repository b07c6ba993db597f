"""Planned contrasts: against R on open data, against the differences themselves, and their families."""

import numpy as np
import pandas as pd
import pytest
from statsmodels.stats.multitest import multipletests

from panel.errors import ModelError
from panel.models.prototypes.differences import find_differences
from panel.models.prototypes.planned_contrasts import planned_contrasts
from panel.study.study import Study
from tests.models.prototypes.test_differences import DF_TOLERANCE, fries, reference
from tests.studies import small_study

SAME = 1e-12
PLAN = {"fast": {"P2": 1, "P1": -1}, "medium": {"P3": 1, "P1": -1}, "both": {"P4": 1, "P1": -1}}


@pytest.mark.parametrize("kept", ["all", "thin_5_8"])
def test_unadjusted_contrasts_equal_r(kept):
    # R 4.2.2, lmerTest and emmeans: tests/reference/session_model/make_reference.R; its pairs are `b - a`
    found = planned_contrasts(fries(kept, session=True), {"2 - 1": {"2": 1, "1": -1}, "3 - 1": {"3": 1, "1": -1}})
    r = reference("pairs", kept, "session")
    r = r.assign(contrast=r["contrast"].str.replace("treatment", "")).set_index(["attribute", "contrast"])
    ours = found.contrasts.set_index(["attribute", "contrast"])
    r = r.loc[ours.index]
    for column in ("estimate", "std_error"):
        np.testing.assert_allclose(ours[column], r[column], rtol=1e-4, atol=1e-5)
    np.testing.assert_allclose(ours["df"], r["df"], rtol=DF_TOLERANCE)


@pytest.fixture(scope="module")
def study():
    return small_study()


def test_a_plain_difference_is_the_one_of_all_pairs(study):
    pairs = find_differences(study).pairs.set_index(["attribute", "prototype", "versus"])
    found = planned_contrasts(study, PLAN).contrasts.set_index(["attribute", "contrast"])
    for name, weights in PLAN.items():
        prototype = next(key for key, weight in weights.items() if weight > 0)
        for attribute in study.attributes:
            row, pair = found.loc[(attribute, name)], pairs.loc[(attribute, prototype, "P1")]
            for column in ("estimate", "std_error", "df", "statistic", "p_value"):
                assert row[column] == pytest.approx(pair[column])
            assert row["p_adjusted"] == row["p_value"]
            assert row["ci_high"] - row["ci_low"] < pair["ci_high"] - pair["ci_low"]


def test_main_effect_of_a_slot_is_the_mean_of_two_differences(study):
    plan = {"fast": {"P2": 0.5, "P4": 0.5, "P1": -0.5, "P3": -0.5}}
    means = find_differences(study).means.pivot_table(index="attribute", columns="prototype", values="estimate")
    found = planned_contrasts(study, plan).contrasts.set_index("attribute")["estimate"]
    expected = (means["P2"] - means["P1"] + means["P4"] - means["P3"]) / 2
    np.testing.assert_allclose(found, expected.loc[found.index])


@pytest.mark.parametrize(("adjust", "theirs"), [("holm", "holm"), ("benjamini_hochberg", "fdr_bh")])
def test_adjustment_within_each_attribute_and_over_all(study, adjust, theirs):
    each = planned_contrasts(study, PLAN, adjust=adjust)
    for _, rows in each.contrasts.groupby("attribute"):
        np.testing.assert_allclose(rows["p_adjusted"], multipletests(rows["p_value"], method=theirs)[1], rtol=SAME)
    overall = planned_contrasts(study, PLAN, adjust=adjust, family="all attributes")
    rows = overall.contrasts
    np.testing.assert_allclose(rows["p_adjusted"], multipletests(rows["p_value"], method=theirs)[1], rtol=SAME)
    assert "3 planned contrasts on each of 3 attributes" in each.family
    assert "on each attribute" in each.family
    assert "on all attributes" in overall.family
    assert overall.family in overall.method


def test_turning_a_contrast_round_turns_its_sign_only(study):
    turned = {name: {key: -weight for key, weight in weights.items()} for name, weights in PLAN.items()}
    a, b = planned_contrasts(study, PLAN).contrasts, planned_contrasts(study, turned).contrasts
    np.testing.assert_allclose(a["estimate"], -b["estimate"])
    np.testing.assert_allclose(a["p_value"], b["p_value"])
    np.testing.assert_allclose(a["ci_low"], -b["ci_high"])


def test_kenward_roger_is_the_more_careful_one_on_thinned_data():
    study = fries("thin_5_8", session=True)
    plan = {"3 - 1": {"3": 1, "1": -1}}
    plain = planned_contrasts(study, plan).contrasts
    careful = planned_contrasts(study, plan, small_sample="kenward-roger")
    assert (careful.contrasts["std_error"] >= plain["std_error"] * (1 - 1e-9)).all()
    assert "Kenward-Roger" in careful.method


def test_weights_are_kept_as_given(study):
    weights = planned_contrasts(study, PLAN).weights
    assert weights.iloc[0].to_dict() == {"contrast": "fast", "prototype": "P2", "weight": 1.0}


def test_what_was_not_scored_is_said_and_left_out(study):
    scores = study.scores
    gone = scores[~((scores["attribute"] == "AF_STICK") & (scores["prototype"] == "P2"))]
    flat = scores[scores["attribute"] == "RO_ABS"].assign(attribute="WHITE", score=1.0)
    smaller = Study({**study.tables, "scores": pd.concat([gone, flat], ignore_index=True)}, study.facts)
    found = planned_contrasts(smaller, PLAN)
    left = found.contrasts[found.contrasts["attribute"] == "AF_STICK"]
    assert left["contrast"].tolist() == ["medium", "both"]
    notes = " ".join(found.notes)
    assert "fast is not tested on AF_STICK: P2 was not scored" in notes
    assert "WHITE is not tested: every score is the same" in notes


@pytest.mark.parametrize(
    ("plan", "words"),
    [
        ({}, "No contrast was planned"),
        ({"x": {"P9": 1, "P1": -1}}, "names P9, which the study does not have. Choose among P1"),
        ({"x": {"P2": 1, "P1": -0.5}}, "must sum to zero"),
        ({"x": {"P2": 0, "P1": 0}}, "must sum to zero"),
    ],
)
def test_wrong_plans_are_refused(study, plan, words):
    with pytest.raises(ModelError, match=words):
        planned_contrasts(study, plan)


def test_nothing_to_test_is_said(study):
    only = study.scores[study.scores["prototype"].isin(["P3", "P4"])]
    with pytest.raises(ModelError, match="No planned contrast has all its prototypes scored"):
        planned_contrasts(Study({**study.tables, "scores": only}, study.facts), {"fast": PLAN["fast"]})
