"""Shrinkage against the batting averages of Efron and Morris, a second computation, and draws."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import chi2, norm

from panel.stats.comparing.shrinkage import (
    draw_shrunken,
    own_variances,
    shrink,
    shrink_differences,
    shrink_effects,
)

# Batting averages of 18 players: hits in the first 45 times at bat, over the rest of the season of 1970, and the James
# and Stein estimates. Efron and Morris (1975), Journal of the American Statistical Association 70, table
# 1; from memory.
FIRST = (0.400, 0.378, 0.356, 0.333, 0.311, 0.311, 0.289, 0.267, 0.244, 0.244, *[0.222] * 5, 0.200, 0.178, 0.156)
LATER = (0.346, 0.298, 0.276, 0.222, 0.273, 0.270, 0.263, 0.210, 0.269, 0.230, 0.264, 0.256, 0.303, 0.264, 0.226)
LATER = (*LATER, 0.285, 0.316, 0.200)
JAMES_STEIN = (0.290, 0.286, 0.281, 0.277, 0.273, 0.273, 0.268, 0.264, 0.259, 0.259, *[0.254] * 5, 0.249, 0.244, 0.239)
TABLE = 0.005  # theirs plugs in an estimate of the spread, ours averages over it: four thousandths at the ends

ESTIMATE, VARIANCE = np.array([1.0, 5.0, -2.0, 3.0, 0.5]), np.array([1.0, 2.0, 3.0, 4.0, 0.5])
STEPS = 0.02  # sixty steps against an integral


def test_the_batting_averages_are_shrunken_as_published():
    turned = np.sqrt(45) * np.arcsin(2 * np.array(FIRST) - 1)  # their transformation: variance 1
    back = (np.sin(shrink(turned, np.ones(18))[0] / np.sqrt(45)) + 1) / 2
    assert back == pytest.approx(JAMES_STEIN, abs=TABLE)
    # they report 3.5 times less squared error than of the averages themselves
    ratio = ((np.array(FIRST) - LATER) ** 2).sum() / ((back - LATER) ** 2).sum()
    assert ratio == pytest.approx(3.5, abs=0.1)


def _integrated(value, centre=None):
    """Return an expectation over the share of true variance, uniform from 0 to 1, by quadrature."""
    mean_variance = VARIANCE.mean()

    def parts(share):
        total = VARIANCE + mean_variance * share / (1 - share)
        precision = 1 / total
        middle = (precision * ESTIMATE).sum() / precision.sum() if centre is None else centre
        density = np.prod(norm.pdf(ESTIMATE, middle, np.sqrt(total)))
        density /= np.sqrt(precision.sum()) if centre is None else 1.0
        return density, value(1 - VARIANCE / total, middle)

    above = quad(lambda share: np.multiply(*parts(share)), 0, 1)[0]
    return above / quad(lambda share: parts(share)[0], 0, 1)[0]


def test_means_are_those_of_an_integral():
    found = shrink(ESTIMATE, VARIANCE)[0]
    for place in range(5):
        expected = _integrated(lambda pull, middle, at=place: middle + pull[at] * (ESTIMATE[at] - middle))
        assert found[place] == pytest.approx(expected, abs=STEPS)


@pytest.mark.parametrize("df", [4.0, 12.0, 40.0])
def test_a_variance_known_from_few_is_averaged_over(df):
    # the posterior of a variance with the prior 1 / v is df / chi2 times its estimate (Box and Tiao 1973, 2.3; from
    # memory); here on a grid of 400 x 400, where `shrink` takes sixty shares and five variances
    grid = (np.arange(400) + 0.5) / 400
    share, multiple = np.meshgrid(grid, df / chi2.ppf(grid, df))
    own = VARIANCE * multiple[..., None]
    total = own + (own.mean(axis=-1) * share / (1 - share))[..., None]
    middle = ((ESTIMATE / total).sum(axis=-1) / (1 / total).sum(axis=-1))[..., None]
    density = np.prod(norm.pdf(ESTIMATE, middle, np.sqrt(total)), axis=-1) / np.sqrt((1 / total).sum(axis=-1))
    value = middle + (1 - own / total) * (ESTIMATE - middle)
    expected = (density[..., None] * value).sum(axis=(0, 1)) / density.sum()
    assert shrink(ESTIMATE, VARIANCE, df=np.array(df))[0] == pytest.approx(expected, abs=STEPS)


def test_effects_are_shrunken_towards_none():
    found, wrong = shrink_effects(ESTIMATE, np.sqrt(VARIANCE))
    for place in range(5):
        expected = _integrated(lambda pull, _, at=place: pull[at] * ESTIMATE[at], centre=0.0)
        sign = np.sign(ESTIMATE[place])
        flipped = _integrated(
            lambda pull, _, at=place, s=sign: norm.cdf(-s * ESTIMATE[at] * np.sqrt(pull[at] / VARIANCE[at])), centre=0.0
        )
        assert found[place] == pytest.approx(expected, abs=STEPS)
        assert wrong[place] == pytest.approx(flipped, abs=STEPS / 4)


def test_differences_are_shrunken_as_their_means():
    estimate, variance = np.array([ESTIMATE, 2 * ESTIMATE]), np.array([VARIANCE, VARIANCE])
    mean, _ = shrink(estimate, variance)
    first, second, family = np.array([1, 2, 3]), np.array([0, 0, 4]), np.array([0, 1, 1])
    shrunken, _ = shrink_differences(estimate, variance, first, second, family)
    assert shrunken == pytest.approx(mean[family, first] - mean[family, second], abs=1e-12)
    own, seen = VARIANCE[[3, 0]], ESTIMATE[3] - ESTIMATE[0]

    def flipped(pull, middle):
        at, uneven = pull[[3, 0]], (pull[3] - pull[0]) ** 2
        left = at @ own + uneven / ((1 - pull) / VARIANCE).sum()
        return norm.cdf(-(middle + at * (ESTIMATE[[3, 0]] - middle)) @ (1, -1) * np.sign(seen) / np.sqrt(left))

    single = shrink_differences(ESTIMATE[None], VARIANCE[None], np.array([3]), np.array([0]), np.array([0]))[1]
    assert single[0] == pytest.approx(_integrated(flipped), abs=STEPS / 4)


def _share_density(share):
    """Return the density of a share: the log ratio is normal (SD 0.5) about a centre with density (1 - share)^-1.5."""
    at = (np.arange(4000) + 0.5) / 4000
    apart = np.log(share / (1 - share))[..., None] - np.log(at / (1 - at))
    return (np.exp(-2 * apart**2) * (1 - at) ** -1.5).sum(axis=-1) / (share * (1 - share))


def _pooled_posterior(value, df=np.inf):
    """Return an expectation over share and error variance, by sums; equal errors of variance 1 known from `df`.

    The posterior of the variance has the prior 1 / v (Box and Tiao 1973, 2.3; from memory).
    """
    grid = (np.arange(200) + 0.5) / 200
    share, multiple = np.meshgrid(
        (np.arange(2000) + 0.5) / 2000, np.ones(1) if np.isinf(df) else df / chi2.ppf(grid, df)
    )
    total, scatter = multiple / (1 - share), ((ESTIMATE - ESTIMATE.mean()) ** 2).sum()
    density = total**-2 * np.exp(-scatter / total / 2) * _share_density(share[0])  # four contrasts
    return (density * value(share, multiple)).sum() / density.sum()


@pytest.mark.parametrize("df", [np.inf, 6.0])
def test_draws_average_over_the_spread_and_over_a_variance_known_from_few(df):
    errors = np.random.default_rng(1).standard_normal((100_000, 1, 5))
    known = None if np.isinf(df) else np.array([df])
    found, _ = draw_shrunken(ESTIMATE[None], np.ones((1, 5)), errors, np.eye(1), np.random.default_rng(2), df=known)
    pull, apart = _pooled_posterior(lambda share, _: share, df), ESTIMATE - ESTIMATE.mean()
    expected = ESTIMATE.mean() + pull * apart
    assert found.mean(axis=0)[0] == pytest.approx(expected, abs=0.05)  # sixty shares, five variances
    own = _pooled_posterior(lambda share, v: share * v + (1 - share) * v / 5 + (share - pull) ** 2 * apart[1] ** 2, df)
    assert found.var(axis=0)[0, 1] == pytest.approx(own, rel=0.1)
    told = shrink(ESTIMATE, np.ones(5), None if known is None else known[0], pooled=True)
    assert told[0] == pytest.approx(expected, abs=0.05)


def test_families_share_what_is_known_of_their_spread():
    # forty families tell their common spread: each is then drawn in as if it were known (Lindley, in Efron and Morris
    # 1975), and one that looks calm by luck is no longer pulled further than the others
    rng = np.random.default_rng(8)
    estimate = rng.normal(0, np.sqrt(4 + 1), (40, 6))
    estimate[0] = [-0.5, 0.5, -0.4, 0.4, -0.6, 0.6]
    alone = shrink(estimate[0], np.ones(6), pooled=True)[0]
    together = shrink(estimate, np.ones((40, 6)), pooled=True)[0]
    pulls = [np.polyfit(seen, drawn, 1)[0] for seen, drawn in zip(estimate, together, strict=True)]
    assert np.mean(pulls) == pytest.approx(4 / 5, abs=0.04)
    assert pulls[0] > np.polyfit(estimate[0], alone, 1)[0] + 0.1


def test_what_is_pooled_comes_nearer_to_the_truth_than_each_family_alone():
    # 400 studies of six families whose spreads differ by a quarter about 1.4 errors; Lindley's rule with the spread
    # known is the least there can be, and of what six values lose against it six families lose little
    rng = np.random.default_rng(9)
    between = (1.4 * np.exp(0.25 * rng.standard_normal((400, 6, 1)))) ** 2
    true = np.sqrt(between) * rng.standard_normal((400, 6, 6))
    seen = true + rng.standard_normal(true.shape)
    middle = seen.mean(axis=-1, keepdims=True)
    known = middle + between / (1 + between) * (seen - middle)
    together = np.array([shrink(each, np.ones((6, 6)), pooled=True)[0] for each in seen])
    alone = np.array([[shrink(one, np.ones(6), pooled=True)[0] for one in each] for each in seen])
    least, pooled, single = (((found - true) ** 2).mean() for found in (known, together, alone))
    assert least < pooled < single
    assert pooled - least < 0.6 * (single - least)


def test_chances_of_differences_come_true_where_the_spread_is_small():
    # 1,500 studies of three families and six values, a spread of 1.4 errors, a difference of at least 2.3 errors: about
    # 350 cases a band, so that 0.08 is five points and two standard errors of cases that go together
    rng = np.random.default_rng(2)
    tied = np.linalg.cholesky(0.7 * np.eye(3) + 0.3)
    true = 1.4 * rng.standard_normal((1500, 3, 6))
    error = tied @ rng.standard_normal((201, *true.shape))
    drawn, _ = draw_shrunken(true + error[0], np.ones((3, 6)), error[1:], tied @ tied.T, rng, with_new=False)
    stated = (drawn - drawn[..., :1] <= -2.3)[..., 1:].mean(axis=0)
    is_so = (true - true[..., :1] <= -2.3)[..., 1:]
    for low, high in ((0.15, 0.25), (0.35, 0.45), (0.55, 0.65), (0.75, 0.85)):
        inside = (stated >= low) & (stated < high)
        assert inside.sum() > 200
        assert is_so[inside].mean() == pytest.approx(stated[inside].mean(), abs=0.08)


def test_the_order_of_families_and_the_unit_of_the_scale_move_nothing():
    estimate = np.array([ESTIMATE, 2 * ESTIMATE[::-1], 0.3 * ESTIMATE])
    variance = np.array([VARIANCE, VARIANCE[::-1], VARIANCE])
    mean, left = shrink(estimate, variance, pooled=True)
    turned = shrink(10 * estimate[::-1] + 7, 100 * variance[::-1], pooled=True)
    assert turned[0] == pytest.approx(10 * mean[::-1] + 7, abs=1e-9)
    assert turned[1] == pytest.approx(10 * left[::-1], abs=1e-9)


def test_families_are_drawn_together_as_the_normal_theory_says():
    # 3,000 pairs of true values leave no doubt about their covariance: then the draws scatter about the mean and with
    # the covariance of the bivariate normal distribution (Anderson, 2003, An Introduction to Multivariate Statistical
    # Analysis, section 2.5; from memory)
    rng, k = np.random.default_rng(6), 3000
    true, error = np.array([[9.0, -4.0], [-4.0, 4.0]]), np.array([[4.0, 2.0], [2.0, 4.0]])
    value = np.linalg.cholesky(true) @ rng.standard_normal((2, k))
    seen = 50 + value + np.linalg.cholesky(error) @ rng.standard_normal((2, k))
    errors = np.linalg.cholesky(error) @ rng.standard_normal((200, 2, k))
    found, new = draw_shrunken(seen, np.full((2, k), 4.0), errors, error / 4, rng)
    pull = true @ np.linalg.inv(true + error)
    expected = seen.mean(axis=1, keepdims=True) + pull @ (seen - seen.mean(axis=1, keepdims=True))
    assert np.abs(found.mean(axis=0) - expected).mean() < 0.25  # 200 draws: 0.13, and the covariance is learned
    left = (found - expected).swapaxes(0, 1).reshape(2, -1)
    assert np.cov(left) == pytest.approx(true - pull @ true, abs=0.25)
    assert np.cov(new.swapaxes(0, 1).reshape(2, -1)) == pytest.approx(true, abs=0.6)


def test_what_was_not_seen_tells_nothing():
    errors = np.random.default_rng(1).standard_normal((4000, 2, 5))
    variance = np.ones((2, 5))
    variance[1, 4] = np.nan
    estimate = np.array([ESTIMATE, ESTIMATE[::-1]])
    found = [
        draw_shrunken(
            np.where(np.isfinite(variance), estimate, gap), variance, errors, np.eye(2), np.random.default_rng(2)
        )[0]
        for gap in (np.nan, 1e6)
    ]
    assert np.isnan(found[0][:, 1, 4]).all()
    assert np.isfinite(found[0]).sum() == 4000 * 9
    assert np.array_equal(*found, equal_nan=True)


def test_new_values_spread_as_the_estimates_say():
    rng = np.random.default_rng(5)
    estimate = rng.normal(50, np.sqrt(16 + 1), (1, 400))
    errors = rng.normal(0, 1, (2000, 1, 400))
    _, new = draw_shrunken(estimate, np.ones((1, 400)), errors, np.eye(1), rng)
    assert new.std() == pytest.approx(4, abs=0.3)
    assert new.mean() == pytest.approx(estimate.mean(), abs=0.1)


def test_families_teach_each_other_the_usual_share():
    alike = np.random.default_rng(3).normal(0, 1, (12, 6))  # variance 1 is all there is: nothing is true
    alone, together = shrink(alike[0], np.ones(6))[0], shrink(alike, np.ones((12, 6)))[0][0]
    assert np.abs(together - alike[0].mean()).sum() < np.abs(alone - alike[0].mean()).sum()


def test_what_was_not_estimated_stays_unknown_and_moves_nothing():
    longer = np.append(ESTIMATE, np.nan)
    mean, left = shrink(longer, np.append(VARIANCE, np.nan))
    assert mean[:5] == pytest.approx(shrink(ESTIMATE, VARIANCE)[0], abs=1e-12)
    assert np.isnan([mean[5], left[5]]).all()


def test_without_error_nothing_is_shrunken():
    assert shrink(ESTIMATE, np.zeros(5))[0] == pytest.approx(ESTIMATE)


def test_variances_of_single_means_come_out_of_those_of_differences():
    assert own_variances(VARIANCE[:, None] + VARIANCE) == pytest.approx(VARIANCE)
    assert own_variances(np.array([[0.0, 3.0], [3.0, 0.0]])) == pytest.approx([1.5, 1.5])
