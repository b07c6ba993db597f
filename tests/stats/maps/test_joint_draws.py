"""Joint draws: they keep the covariance given, tie the responses as the people do, and have Student's tails."""

import numpy as np
import pytest
from scipy import stats
from sklearn import covariance as sklearn_covariance

from panel.stats.maps.draws import _ledoit_wolf, _shrunk_correlation, joint_draws, person_correlations

DRAWS = 40_000
MANY_DF = 1e9  # so many that Student's t is normal
# Four standard errors of a variance from 40,000 draws are 4 * sqrt(2 / 40000) = 2.8 % of it.
VARIANCE = 0.03
ROUNDING = 1e-12  # two ways of adding up the same squares
COVARIANCE = 0.06  # of the product of standard deviations: correlated variances err together


def compound(k, shared, own):
    return shared * np.ones((k, k)) + own * np.eye(k)


def drawn_with(covariance, df_level, df_views, correlations, seed=1, mean=None):
    q, k = covariance.shape[:2]
    mean = np.zeros((q, k)) if mean is None else mean
    rng = np.random.default_rng(seed)
    return joint_draws(mean, covariance, np.full(q, df_level), np.full(q, df_views), correlations, DRAWS, rng)


def test_each_response_keeps_its_covariance_and_the_parts_their_correlations():
    covariance = np.stack([compound(3, 4.0, 1.0), compound(3, 1.0, 2.0)])
    level, views = np.array([[1, 0.8], [0.8, 1]]), np.array([[1, -0.5], [-0.5, 1]])
    drawn = drawn_with(covariance, MANY_DF, MANY_DF, (level, views))
    for a in range(2):
        assert np.cov(drawn[:, a].T) == pytest.approx(covariance[a], abs=COVARIANCE * covariance[a, 0, 0])
    # the mean over samples has the level part, with a little of the views; differences have the views alone
    means, apart = drawn.mean(axis=2), drawn[:, :, 0] - drawn[:, :, 1]
    shared = np.array([4 + 1 / 3, 1 + 2 / 3])
    assert means.var(axis=0) == pytest.approx(shared, rel=VARIANCE)
    assert apart.var(axis=0) == pytest.approx([2, 4], rel=VARIANCE)
    assert np.corrcoef(means.T)[0, 1] == pytest.approx(0.8, abs=0.02)
    assert np.corrcoef(apart.T)[0, 1] == pytest.approx(-0.5, abs=0.02)


def test_any_covariance_is_kept_also_one_without_symmetry_among_the_samples():
    root = np.random.default_rng(3).normal(size=(4, 4))
    covariance = (root @ root.T)[None]
    drawn = drawn_with(covariance, MANY_DF, MANY_DF, (np.eye(1), np.eye(1)))
    spread = np.sqrt(np.diag(covariance[0]))
    assert np.cov(drawn[:, 0].T) / np.outer(spread, spread) == pytest.approx(
        covariance[0] / np.outer(spread, spread), abs=COVARIANCE
    )


@pytest.mark.parametrize("df", [3.0, 9.0])
def test_an_estimated_variance_gives_students_tails(df):
    # scipy's t as the outside judge: all samples share one error, so each draw is 2 t
    drawn = drawn_with(compound(3, 4.0, 0.0)[None], df, MANY_DF, (np.eye(1), np.eye(1)))
    assert stats.kstest(drawn[:, 0, 1] / 2, stats.t(df).cdf).pvalue > 0.001
    views = np.eye(2) - 0.5  # two samples that only differ: their difference is sqrt(2) t
    drawn = drawn_with(views[None], MANY_DF, df, (np.eye(1), np.eye(1)))
    assert stats.kstest((drawn[:, 0, 0] - drawn[:, 0, 1]) / np.sqrt(2), stats.t(df).cdf).pvalue > 0.001


def test_a_sample_that_a_response_does_not_have_stays_missing():
    covariance = np.stack([compound(3, 4.0, 1.0), compound(3, 4.0, 1.0)])
    covariance[1, 2], covariance[1, :, 2] = np.nan, np.nan
    mean = np.array([[10.0, 20, 30], [40, 50, np.nan]])
    drawn = drawn_with(covariance, 9.0, 60.0, (np.eye(2), np.eye(2)), mean=mean)
    assert np.isnan(drawn[:, 1, 2]).all()
    assert np.isfinite(drawn[:, 1, :2]).all()
    assert drawn.mean(axis=0)[np.isfinite(mean)] == pytest.approx(mean[np.isfinite(mean)], abs=0.1)


def people(rng, level, views, n=4000, k=4):
    levels = rng.multivariate_normal(np.zeros(2), level, n)[:, None, :]
    return levels * 3 + rng.multivariate_normal(np.zeros(2), views, (n, k))


def test_correlations_of_level_and_views_are_found_apart():
    level, views = np.array([[1, 0.7], [0.7, 1]]), np.array([[1, -0.4], [-0.4, 1]])
    found = person_correlations(people(np.random.default_rng(5), level, views) + np.arange(4)[:, None])
    # the mean over four samples holds a quarter of the variance of the views beside nine of the level
    mixed = (9 * 0.7 - 0.25 * 0.4) / 9.25
    assert found[0][0, 1] == pytest.approx(mixed, abs=0.04)  # 4 standard errors of a correlation from 4000 people
    assert found[1][0, 1] == pytest.approx(-0.4, abs=0.04)


def test_with_few_people_correlations_are_drawn_towards_none():
    rng = np.random.default_rng(2)
    rows = rng.normal(size=(12, 6)) + rng.normal(size=(12, 1))
    found, plain = _shrunk_correlation(rows), np.corrcoef(rows.T)
    off = ~np.eye(6, dtype=bool)
    assert (np.abs(found[off]) < np.abs(plain[off])).all()
    assert found[off] / plain[off] == pytest.approx(found[0, 1] / plain[0, 1])  # all by the same share
    assert 0 < found[0, 1] / plain[0, 1] < 1
    assert np.linalg.eigvalsh(found).min() > 0
    assert np.diag(found) == pytest.approx(np.ones(6))


def test_where_nothing_can_be_estimated_responses_count_as_unrelated():
    assert (_shrunk_correlation(np.ones((3, 2))) == np.eye(2)).all()
    assert _shrunk_correlation(np.ones((9, 2))) == pytest.approx(np.eye(2))
    assert (person_correlations(np.full((1, 3, 2), 5.0))[0] == np.eye(2)).all()
    gaps = np.full((9, 3, 2), np.nan)
    assert (person_correlations(gaps)[1] == np.eye(2)).all()


@pytest.mark.parametrize("shape", [(4, 2), (6, 14), (12, 3), (200, 5)])
def test_the_covariance_is_drawn_in_as_far_as_scikit_learn_draws_it(shape):
    rows = np.random.default_rng(sum(shape)).normal(size=shape)
    rows[:, 1] += rows[:, 0]
    centred = rows - rows.mean(axis=0)
    theirs, _ = sklearn_covariance.ledoit_wolf(centred, assume_centered=True)
    assert _ledoit_wolf(centred) == pytest.approx(theirs, rel=ROUNDING, abs=ROUNDING)


def test_columns_without_spread_stay_without():
    assert _ledoit_wolf(np.zeros((5, 3))) == pytest.approx(np.zeros((3, 3)), abs=ROUNDING)
