"""Regions of a map: against scipy and scikit-learn, a textbook ellipse, and panels with known truth."""

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.linalg import orthogonal_procrustes
from scipy.spatial import procrustes
from sklearn.decomposition import PCA

from panel.stats.maps.components import principal_components
from panel.stats.maps.draws import (
    _region_radius,
    cloud_covariances,
    ellipse_outline,
    ellipses,
    resampled_means,
    turned_onto,
    two_component_scores,
)

ROUNDING = 1e-9  # two computations in double precision on numbers of size 1 to 100


def panel_scores(seed: int = 1, shape: tuple[int, int, int] = (9, 6, 5)) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return rng.normal(0, 10, shape[1:]) + rng.normal(0, 6, (shape[0], 1, shape[2])) + rng.normal(0, 4, shape)


def with_gaps(scores: np.ndarray, seed: int = 2, part: float = 0.15) -> np.ndarray:
    scores = scores.copy()
    scores[np.random.default_rng(seed).random(scores.shape) < part] = np.nan
    return scores


def test_full_draws_are_means_of_the_drawn_people():
    scores = panel_scores()
    means = resampled_means(scores, np.random.default_rng(7), 20)
    counts = np.random.default_rng(7).multinomial(9, np.full(9, 1 / 9), size=20)
    by_hand = [np.repeat(scores, count, axis=0).mean(axis=0) for count in counts]
    np.testing.assert_allclose(means, by_hand, rtol=ROUNDING)


def test_draws_with_gaps_equal_least_squares_by_statsmodels():
    # Second computation: ordinary least squares with prototype and assessor dummies, weights = times drawn.
    scores = with_gaps(panel_scores())
    A, P, K = scores.shape
    means = resampled_means(scores, np.random.default_rng(7), 6)
    counts = np.random.default_rng(7).multinomial(A, np.full(A, 1 / A), size=6)
    assert len(means) == 6
    for draw, count in enumerate(counts):
        for attribute in range(K):
            a, p = np.nonzero(np.isfinite(scores[:, :, attribute]) & (count[:, None] > 0))
            people = np.flatnonzero(count)
            design = np.column_stack([a[:, None] == people, p[:, None] == np.arange(1, P)]).astype(float)
            fit = sm.WLS(scores[a, p, attribute], design, weights=count[a]).fit()
            effects = np.r_[0.0, fit.params[len(people) :]]
            np.testing.assert_allclose(means[draw, :, attribute] - means[draw, 0, attribute], effects, atol=1e-8)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000))
def test_an_assessors_level_changes_no_draw_of_an_unbalanced_panel(seed):
    scores = with_gaps(panel_scores(seed), seed + 1)
    levels = np.random.default_rng(seed + 2).normal(0, 30, (9, 1, 5))
    plain = resampled_means(scores, np.random.default_rng(3), 15)
    shifted = resampled_means(scores + levels, np.random.default_rng(3), 15)
    np.testing.assert_allclose(
        shifted - shifted.mean(axis=1, keepdims=True), plain - plain.mean(axis=1, keepdims=True), atol=1e-7
    )


def test_the_path_for_gaps_meets_the_plain_path_when_one_score_of_an_extra_attribute_is_missing():
    scores = panel_scores()
    scores[0, 0, 4] = np.nan
    gapped = resampled_means(scores, np.random.default_rng(3), 50)[:, :, :4]
    plain = resampled_means(panel_scores()[:, :, :4], np.random.default_rng(3), 50)
    np.testing.assert_allclose(
        gapped - gapped.mean(axis=1, keepdims=True), plain - plain.mean(axis=1, keepdims=True), atol=1e-8
    )


def test_draws_that_do_not_link_the_prototypes_are_left_out():
    # Two people see P1 and P2, two P3 and P4, one sees all: draws without the last say nothing between groups.
    scores = panel_scores(shape=(5, 4, 3))
    scores[:2, 2:], scores[2:4, :2] = np.nan, np.nan
    means = resampled_means(scores, np.random.default_rng(5), 400)
    counts = np.random.default_rng(5).multinomial(5, np.full(5, 1 / 5), size=400)
    assert len(means) == np.sum(counts[:, 4] > 0) < 400
    assert np.isfinite(means).all()


@pytest.mark.parametrize("matrix", ["covariance", "correlation"])
@pytest.mark.parametrize("shape", [(4, 7), (7, 4), (5, 5)])
@pytest.mark.parametrize("spread", [10, 0.1])
def test_stacked_component_scores_equal_scikit_learn(matrix, shape, spread):
    means = np.random.default_rng(8).normal(0, spread, (30, *shape))
    found = two_component_scores(means, matrix)
    for table, scores in zip(means, found, strict=True):
        if matrix == "correlation":
            table = (table - table.mean(axis=0)) / table.std(axis=0, ddof=1)
        judge = PCA(n_components=2).fit_transform(table)
        signs = np.sign((scores * judge).sum(axis=0))
        np.testing.assert_allclose(scores * signs, judge, atol=1e-7)


def test_turning_equals_scipy():
    rng = np.random.default_rng(9)
    target = rng.normal(0, 5, (6, 2))
    target -= target.mean(axis=0)
    stack = rng.normal(0, 5, (40, 6, 2))
    stack -= stack.mean(axis=1, keepdims=True)
    turned = turned_onto(target, stack)
    for configuration, found in zip(stack, turned, strict=True):
        rotation, _ = orthogonal_procrustes(configuration, target)
        np.testing.assert_allclose(found, configuration @ rotation, atol=ROUNDING)
        # scipy.spatial.procrustes also stretches: after taking lengths out both residuals agree.
        _, _, disparity = procrustes(target, configuration)
        fit = np.sum(found * target) / np.linalg.norm(found) / np.linalg.norm(target)
        assert disparity == pytest.approx(1 - fit**2, abs=ROUNDING)


@settings(max_examples=50, deadline=None)
@given(st.floats(0, 2 * np.pi), st.booleans(), st.integers(0, 1000))
def test_a_turned_or_mirrored_copy_comes_back(angle, mirrored, seed):
    target = np.random.default_rng(seed).normal(size=(5, 2))
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    if mirrored:
        turn[:, 0] *= -1
    np.testing.assert_allclose(turned_onto(target, (target @ turn)[None])[0], target, atol=ROUNDING)


def test_stretching_is_not_taken_back():
    target = np.random.default_rng(1).normal(size=(5, 2))
    np.testing.assert_allclose(turned_onto(target, 3 * target[None])[0], 3 * target, atol=ROUNDING)


def test_textbook_ellipse():
    # Johnson and Wichern (2007), example 5.3 (microwave radiation, n = 42): half-lengths .064 and .018 are
    # printed from rounded eigenvalues; recomputed from the printed S they are 0.0642871 and 0.0210143.
    covariance = np.array([[[0.0144, 0.0117], [0.0117, 0.0146]]]) / 42
    half_axes, angles = ellipses(covariance, 42)
    np.testing.assert_allclose(half_axes, [[0.0642871, 0.0210143]], atol=5e-8)
    assert angles[0] == pytest.approx(np.degrees(np.arctan2(0.710, 0.704)), abs=0.1)


def test_radius_for_small_panels():
    # 2 (n - 1) / (n (n - 2)) F(.95; 2, n - 2), square root: computed with R's qf, printed to 6 digits.
    expected = {8: 1.224792, 10: 1.001633, 12: 0.867285, 20: 0.612538, 100: 0.249829}
    for n, radius in expected.items():
        assert _region_radius(n) / np.sqrt(n) == pytest.approx(radius, abs=5e-7)
    chi2 = np.sqrt(stats.chi2.ppf(0.95, 2))
    assert 1 - chi2 / _region_radius(8) == pytest.approx(0.29, abs=0.005)
    assert _region_radius(1e7) == pytest.approx(chi2, rel=1e-5)
    assert np.isnan(_region_radius(2))


def inside(points: np.ndarray, centres: np.ndarray, half_axes: np.ndarray, angles: np.ndarray) -> np.ndarray:
    offset, turn = points - centres, np.radians(angles)
    along = offset[..., 0] * np.cos(turn) + offset[..., 1] * np.sin(turn)
    across = -offset[..., 0] * np.sin(turn) + offset[..., 1] * np.cos(turn)
    return (along / half_axes[:, 0]) ** 2 + (across / half_axes[:, 1]) ** 2 <= 1


def test_hotelling_covers_a_mean_and_chi_squared_does_not():
    # 8 people, two coordinates, known centre (0, 0), 4,000 panels: 95 % +- 4 standard errors of 0.0034.
    rng = np.random.default_rng(21)
    people = rng.multivariate_normal([0, 0], [[4, 1.5], [1.5, 1]], size=(4000, 8))
    means = people.mean(axis=1)
    offsets = people - means[:, None]
    errors = np.einsum("rai,raj->rij", offsets, offsets) / 7 / 8
    half_axes, angles = ellipses(errors, 8)
    assert inside(np.zeros(2), means, half_axes, angles).mean() == pytest.approx(0.95, abs=0.014)
    shorter = half_axes * np.sqrt(stats.chi2.ppf(0.95, 2)) / _region_radius(8)
    assert inside(np.zeros(2), means, shorter, angles).mean() < 0.90


def test_cloud_covariance_has_the_size_of_the_error_of_a_mean():
    # One coordinate of the cloud made directly: resampled means of 8 people have variance s2 / 8 afterwards.
    people = np.random.default_rng(22).normal(0, 3, (8, 1, 2))
    cloud = resampled_means(people, np.random.default_rng(23), 60_000)
    expected = np.cov(people[:, 0].T) / 8
    np.testing.assert_allclose(cloud_covariances(cloud, 8)[0], expected, atol=0.03 * np.trace(expected))


def test_outline_lies_on_the_ellipse():
    outline = ellipse_outline((1, -2), (3, 1), 30)
    turn = np.radians(30)
    offset = outline - [1, -2]
    along = offset @ [np.cos(turn), np.sin(turn)]
    across = offset @ [-np.sin(turn), np.cos(turn)]
    np.testing.assert_allclose((along / 3) ** 2 + across**2, 1)
    np.testing.assert_allclose(outline[0], outline[-1])


def known_map(extra: float = 0.0) -> np.ndarray:
    """True means of 8 prototypes and 14 attributes in two dimensions, and `extra` in all others."""
    rng = np.random.default_rng(5)
    return rng.normal(0, 10, (8, 2)) @ rng.normal(0, 1, (2, 14)) + rng.normal(0, 1, (8, 14)) * extra


def share_held(truth: np.ndarray, assessors: int, spread: float, matrix: str) -> float:
    """Share of 95 % regions, over 120 simulated panels, that hold the true place of their prototype.

    Each region by itself, not all at once: truth is the first two components of the true means, brought onto
    the estimated map by the same turning.
    """
    rng, held = np.random.default_rng(31), []
    for _ in range(120):
        scores = truth + rng.normal(0, spread, (assessors, *truth.shape))
        target = principal_components(scores.mean(axis=0), matrix).scores[:, :2]
        means = resampled_means(scores, rng, 300)
        cloud = turned_onto(target, two_component_scores(means, matrix))
        half_axes, angles = ellipses(cloud_covariances(cloud, assessors), assessors)
        places = turned_onto(target, two_component_scores(truth[None], matrix))[0]
        held.append(inside(places, target, half_axes, angles).mean())
    return float(np.mean(held))


@pytest.mark.parametrize(("assessors", "spread"), [(8, 6.0), (12, 12.0)])
def test_regions_hold_the_true_places(assessors, spread):
    # Places of one panel hang together, so the error of the share is taken as that of 120 / 2 panels' worth of 8
    # places: four standard errors around 0.95 are 0.04; noisy panels are held a little more often.
    assert 0.91 <= share_held(known_map(1.0), assessors, spread, "covariance") <= 0.995


def test_regions_of_a_correlation_map_are_a_little_too_small():
    # Half of the attributes hardly differ; standardising gives their noise full weight. The map's note says so.
    truth = known_map(1.0) * np.where(np.arange(14) < 7, 1.0, 0.2)
    assert 0.84 <= share_held(truth, 8, 8.0, "correlation") <= 0.95


def test_a_thousand_draws_are_quick():
    # Generous bound (the goal is 20 ms on the project's machine): catches a loop over draws, not a slow day.
    from time import perf_counter

    scores = panel_scores(shape=(12, 8, 20))
    target = principal_components(scores.mean(axis=0)).scores[:, :2]
    rng, times = np.random.default_rng(1), []
    for _ in range(5):
        start = perf_counter()
        cloud = turned_onto(target, two_component_scores(resampled_means(scores, rng, 1000), "covariance"))
        ellipses(cloud_covariances(cloud, 12), 12)
        times.append(perf_counter() - start)
    assert min(times) < 0.15
