"""Changes within people: least squares with a level of each person, intervals by leaving out one person at a time."""

import numpy as np
import pytest
import statsmodels.api as sm

from panel.stats.answers.paired_answers import ticked_differences, within_people

CLOSED_FORM = 1e-8
PEOPLE, SAMPLES = 12, 5


def drawn(rng, people=PEOPLE, samples=SAMPLES, effect=0.0):
    """Liking of people with a level of their own, and two marks, with gaps in either."""
    level = rng.normal(0, 2, (people, 1))
    marks = (rng.random((1, 2, people, samples)) < 0.4).astype(float)
    liking = level + effect * marks[0, 0] + rng.normal(0, 1, (people, samples))
    liking[rng.random(liking.shape) < 0.1] = np.nan
    marks[0, 1, rng.random(liking.shape) < 0.1] = np.nan
    return liking, marks


def long_form(liking, marks):
    used = ~np.isnan(liking) & ~np.isnan(marks).any(axis=0)
    person = np.broadcast_to(np.arange(len(liking))[:, None], liking.shape)[used]
    return liking[used], marks[:, used].T, person


def fitted(y, x, person):
    """Coefficients of the marks beside one level for each person, by statsmodels."""
    levels = (person[:, None] == np.unique(person)).astype(float)
    return sm.OLS(y, np.column_stack([x, levels])).fit().params[: x.shape[1]]


def test_coefficients_and_jackknife_equal_the_long_way():
    liking, marks = drawn(np.random.default_rng(1))
    found = within_people(liking, marks)
    y, x, person = long_form(liking, marks[0])
    assert found.estimate[0] == pytest.approx(fitted(y, x, person), rel=CLOSED_FORM)
    telling = [p for p in np.unique(person) if np.ptp(x[person == p], axis=0).any()]
    assert found.n[0].max() <= len(telling)
    without = np.array([fitted(y[person != p], x[person != p], person[person != p]) for p in telling])
    n = len(telling)
    error = np.sqrt((n - 1) / n * ((without - without.mean(axis=0)) ** 2).sum(axis=0))
    assert found.std_error[0] == pytest.approx(error, rel=CLOSED_FORM)
    assert found.df[0].tolist() == [n - 1, n - 1]


def test_the_plain_difference_is_one_of_means_with_people_left_out_in_turn():
    liking, marks = drawn(np.random.default_rng(2))
    found = ticked_differences(liking, marks[:, 0])
    y, x, person = long_form(liking, marks[0, :1])
    x = x[:, 0]

    def difference(keep):
        return y[keep & (x == 1)].mean() - y[keep & (x == 0)].mean()

    assert found.estimate[0] == pytest.approx(difference(np.ones(len(y), dtype=bool)), rel=CLOSED_FORM)
    without = np.array([difference(person != p) for p in np.unique(person)])
    n = len(without)
    error = np.sqrt((n - 1) / n * ((without - without.mean()) ** 2).sum())
    assert found.std_error[0] == pytest.approx(error, rel=CLOSED_FORM)
    assert found.n[0] == n


def test_a_level_of_a_person_changes_nothing_within_people():
    liking, marks = drawn(np.random.default_rng(3))
    shifted = liking + np.arange(PEOPLE)[:, None] * 10
    before, after = within_people(liking, marks), within_people(shifted, marks)
    np.testing.assert_allclose(after.estimate, before.estimate, rtol=CLOSED_FORM)
    np.testing.assert_allclose(after.std_error, before.std_error, rtol=CLOSED_FORM)


def test_marks_that_are_everywhere_or_nowhere_give_no_difference():
    liking = np.random.default_rng(4).normal(0, 1, (6, 4))
    marks = np.stack([np.ones((6, 4)), np.zeros((6, 4))])
    assert np.isnan(ticked_differences(liking, marks).estimate).all()
    assert np.isnan(within_people(liking, marks[:, None]).estimate).all()


def test_one_person_alone_has_no_standard_error():
    liking = np.random.default_rng(5).normal(0, 1, (6, 4))
    marks = np.zeros((1, 6, 4))
    marks[0, 2, :2] = 1
    for found in (ticked_differences(liking, marks), within_people(liking, marks[:, None])):
        assert np.isfinite(found.estimate).all()
        assert np.isnan(found.std_error).all()


def test_the_intervals_hold_the_truth_about_as_often_as_they_say():
    # 600 studies of 30 people and 6 samples; people tick more or less readily; three standard errors. The naive t
    # test that takes every answer for a person of its own is the proof that the check can fail
    rng = np.random.default_rng(6)
    held, held_within, naive = 0, 0, 0
    for _ in range(600):
        level = rng.normal(0, 1.5, (30, 1))
        marks = (rng.random((30, 6)) < rng.beta(1, 1, (30, 1))).astype(float)
        liking = level + 0.8 * marks + rng.normal(0, 1, (30, 6))
        plain = ticked_differences(liking, marks[None])
        within = within_people(liking, marks[None, None])
        held += bool(plain.ci_low[0] <= 0.8 <= plain.ci_high[0])
        held_within += bool(within.ci_low[0, 0] <= 0.8 <= within.ci_high[0, 0])
        own, rest = liking[marks == 1], liking[marks == 0]
        error = np.sqrt(own.var(ddof=1) / own.size + rest.var(ddof=1) / rest.size)
        naive += bool(abs(own.mean() - rest.mean() - 0.8) <= 1.97 * error)
    allowed = 0.95 - 3 * np.sqrt(0.95 * 0.05 / 600)
    assert held / 600 >= allowed
    assert held_within / 600 >= allowed
    assert naive / 600 < allowed


def test_what_nobody_ever_answers_leaves_the_other_answer_its_own_test():
    liking, marks = drawn(np.random.default_rng(12), effect=-1.0)
    marks[0, 1] = 0.0
    both, alone = within_people(liking, marks), within_people(liking, marks[:, :1])
    for name in ("estimate", "std_error", "df", "p_value"):
        assert getattr(both, name)[0, 0] == pytest.approx(getattr(alone, name)[0, 0], rel=CLOSED_FORM)
        assert name == "df" or np.isnan(getattr(both, name)[0, 1])


def test_answers_in_other_units_only_scale():
    liking, marks = drawn(np.random.default_rng(13))
    before, after = within_people(liking, marks), within_people(liking, marks * 1e-7)
    np.testing.assert_allclose(after.estimate * 1e-7, before.estimate, rtol=CLOSED_FORM)
    np.testing.assert_allclose(after.std_error * 1e-7, before.std_error, rtol=CLOSED_FORM)
