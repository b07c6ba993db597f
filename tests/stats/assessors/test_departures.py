"""Departures: special cases, and how often honest people and those with a quirk are picked out."""

import numpy as np
import pytest
from scipy.special import stdtr

from panel.stats.assessors.agreement import agreement, disagreement
from panel.stats.assessors.departures import SCALE_SD, departures

FOUR = 4  # standard errors of a simulated share


def depart(means, reliability=None, judged=None, extra=0.0, together=None):
    """Departures from tables of means, with the reliability 1 - 1/F of the others' means in their own table."""
    q, a, _ = means.shape
    without = np.where(np.eye(a, dtype=bool)[:, :, None], np.nan, means[:, None])
    if reliability is None:
        reliability = np.clip(1 - 1 / others_f(means), 0, 1)
    judged = np.ones((q, a), dtype=bool) if judged is None else judged
    more = (np.full((q, a), extra), np.full((q, a), 10.0))
    return departures(
        agreement(means),
        reliability,
        judged,
        disagreement(means),
        disagreement(without),
        more,
        np.eye(q) if together is None else together,
    )


def others_f(means):
    q, a, p = means.shape
    f = np.empty((q, a))
    for i in range(a):
        m = np.delete(means, i, axis=1)
        column = m.mean(axis=1, keepdims=True)
        rest = m - m.mean(axis=2, keepdims=True) - column + column.mean(axis=2, keepdims=True)
        square = (rest**2).sum(axis=(1, 2)) / ((a - 2) * (p - 1))
        f[:, i] = (a - 1) * column.var(axis=2, ddof=1)[:, 0] / square
    return f


def honest(rng, q=10, a=9, p=8, strength=10.0, view=6.0, scale_sd=SCALE_SD):
    truth = strength * rng.normal(size=(q, 1, p))
    own = 1 + scale_sd * rng.normal(size=(1, a, 1))
    return own * truth + 6 * rng.normal(size=(q, a, 1)) + view * rng.normal(size=(q, a, p))


def test_chance_of_a_low_slope_is_never_overstated_for_honest_people():
    # among people who differ in scale as assumed, a p-value below 5 per cent comes up at most that often, give or take
    rng = np.random.default_rng(20250311)
    for strength in (3.0, 6.0, 12.0):
        lower = np.concatenate([depart(honest(rng, strength=strength)).lower.ravel() for _ in range(40)])
        assert (lower < 0.05).mean() < 0.05 + FOUR * np.sqrt(0.05 * 0.95 / len(lower))
        assert (lower < 0.001).mean() < 0.001 + FOUR * np.sqrt(0.001 / len(lower))


def test_a_reversed_profile_is_a_rare_thing_and_a_weak_attribute_makes_it_less_so():
    rng = np.random.default_rng(2)
    strong, weak = honest(rng, q=6, strength=10.0), honest(rng, q=6, strength=3.0)
    means = np.concatenate([strong, weak])
    means[0, 0] = 2 * means[0, 0].mean() - means[0, 0]
    means[6, 0] = 2 * means[6, 0].mean() - means[6, 0]
    found = depart(means)
    assert found.lower[0, 0] < 1e-4
    assert found.lower[0, 0] < found.lower[6, 0]
    assert found.lower[1:6].min() > 1e-3


def test_the_turn_says_how_well_a_reversed_slope_could_be_told_from_an_honest_one():
    means = honest(np.random.default_rng(4))
    found = depart(means)
    error = found.turn**-1 * 2 * found.expected
    # the same error stands behind the p-value of the slope: moved by two of it, twice the expected slope is `turn` away
    slope = agreement(means).slope
    np.testing.assert_allclose(found.lower, stdtr(found.df, (slope - found.expected) / error), rtol=1e-9)
    weak = means.copy()
    weak[0] = 0.2 * (means[0] - means[0].mean(axis=0)) + np.random.default_rng(5).normal(0, 6, means[0].shape)
    assert np.nanmax(depart(weak).turn[0]) < found.turn[0].min()


def test_somebody_who_uses_less_of_the_scale_everywhere_is_judged_by_that():
    # own slope 0.55 on every attribute: not held against this person on any one of them
    rng = np.random.default_rng(3)
    means = honest(rng, scale_sd=0.0, view=3.0)
    means[:, 0] = 0.55 * (means[:, 0] - means[:, 0].mean(axis=1, keepdims=True))
    found = depart(means)
    assert found.scale[0] == pytest.approx(0.55, abs=0.1)
    assert found.lower[:, 0].min() > 0.05
    assert (found.expected[:, 0] < 0.75).all()
    only_one = honest(rng, scale_sd=0.0, view=3.0)
    only_one[4, 0] *= 0.0
    assert depart(only_one).lower[4, 0] < 0.01
    assert depart(only_one).lower[4, 0] == depart(only_one).lower[:, 0].min()


def test_what_is_not_felt_is_flat_and_weak_attributes_cannot_show_it():
    rng = np.random.default_rng(4)
    means = honest(rng, strength=12.0, view=4.0)
    means[0, 0] = means[0, 0].mean() + 2 * rng.normal(size=8)
    found = depart(means)
    assert found.flatter[0, 0] < 0.01
    assert found.flatter[0, 0] == found.flatter.min()
    flat = honest(rng, strength=0.0, view=4.0)
    flat[0, 0] = flat[0, 0].mean()
    unreliable = depart(flat, reliability=np.zeros((10, 9)))
    assert unreliable.lower[0, 0] > 0.05


def test_an_own_view_is_seen_in_the_scatter_about_the_line():
    rng = np.random.default_rng(5)
    means = honest(rng)
    means[3, 2] += 30 * rng.normal(size=8)
    found = depart(means)
    assert found.stranger[3, 2] < 1e-4
    assert np.delete(found.stranger.ravel(), 3 * 9 + 2).min() > 1e-4


def test_size_of_the_own_view_test():
    rng = np.random.default_rng(6)
    p_values = np.concatenate([depart(honest(rng, scale_sd=0.0)).stranger[:, 0] for _ in range(200)])
    assert (p_values < 0.05).mean() == pytest.approx(0.05, abs=FOUR * np.sqrt(0.05 * 0.95 / len(p_values)))


def test_own_scatter_makes_every_verdict_more_careful():
    means = honest(np.random.default_rng(7))
    plain, careful = depart(means), depart(means, extra=40.0)
    assert (careful.std_error > plain.std_error).all()
    assert (careful.stranger > plain.stranger).all()
    low = plain.lower < 0.5
    assert (careful.lower[low] > plain.lower[low] - 0.05).all()


def test_where_agreement_is_not_judged_nothing_is_said():
    means = honest(np.random.default_rng(8), q=4)
    judged = np.ones((4, 9), dtype=bool)
    judged[1] = False
    found = depart(means, judged=judged)
    assert np.isnan(found.lower[1]).all()
    assert np.isnan(found.flatter[1]).all()
    assert np.isfinite(found.lower[[0, 2, 3]]).all()
    nothing = depart(means, judged=np.zeros((4, 9), dtype=bool))
    assert np.isnan(nothing.scale).all()


def test_two_prototypes_cannot_be_judged():
    found = depart(honest(np.random.default_rng(9), p=2), reliability=np.full((10, 9), 0.9))
    assert np.isnan(found.lower).all()
    assert np.isnan(found.stranger).all()


def test_the_error_of_a_scale_allows_for_scores_that_go_together():
    # views that 12 attributes have in common by 0.8, over 4 prototypes, all using the scale alike: the scales scatter
    # as the error says, less the part allowed for use of the scale; without the correlations it would be too low
    rng = np.random.default_rng(20250311)
    common = 0.8
    together = np.full((12, 12), common) + (1 - common) * np.eye(12)
    scales, careful, careless = [], [], []
    for _ in range(300):
        view = np.sqrt(common) * rng.normal(size=(1, 9, 4)) + np.sqrt(1 - common) * rng.normal(size=(12, 9, 4))
        means = 12 * rng.normal(size=(12, 1, 4)) + 6 * view
        scales.append(depart(means).scale[0])
        careful.append(depart(means, together=together).scale_error[0])
        careless.append(depart(means).scale_error[0])
    allowed = SCALE_SD**2 / 12
    told, plain = (np.sqrt(np.mean(np.square(errors)) - allowed) for errors in (careful, careless))
    assert told == pytest.approx(np.std(scales), rel=0.15)
    assert plain < 0.85 * np.std(scales)
