"""Shrinkage against the batting averages of Efron and Morris, a second computation, and draws."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

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


def test_draws_have_the_same_means_errors_and_signs():
    estimate, variance = np.array([ESTIMATE, 2 * ESTIMATE]), np.array([VARIANCE, VARIANCE])
    errors = np.random.default_rng(1).normal(0, np.sqrt(variance), (100_000, 2, 5))
    drawn, _ = draw_shrunken(estimate, variance, errors, np.random.default_rng(2))
    mean, left = shrink(estimate, variance)
    assert drawn.mean(axis=0) == pytest.approx(mean, abs=0.03)  # four standard errors
    assert drawn.std(axis=0) == pytest.approx(left, abs=0.03)
    first, second, family = np.array([1, 2, 3]), np.array([0, 0, 4]), np.array([0, 1, 1])
    shrunken, wrong = shrink_differences(estimate, variance, first, second, family)
    assert shrunken == pytest.approx(mean[family, first] - mean[family, second], abs=1e-12)
    apart = drawn[:, family, first] - drawn[:, family, second]
    seen = np.sign(estimate[family, first] - estimate[family, second])
    assert wrong == pytest.approx((apart * seen < 0).mean(axis=0), abs=0.007)


def test_new_values_spread_as_the_estimates_say():
    rng = np.random.default_rng(5)
    estimate = rng.normal(50, np.sqrt(16 + 1), 400)
    errors = rng.normal(0, 1, (2000, 400))
    _, new = draw_shrunken(estimate, np.ones(400), errors, rng)
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
