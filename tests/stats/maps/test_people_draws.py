"""Means over people with gaps: against statsmodels' least squares, and how often their intervals hold the truth."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf

from panel.stats.maps.draws import FEWEST_PEOPLE, _sample_means, people_draws

SAME = 1e-9
PANELS = 300
COVERAGE = 0.05  # four standard errors of a share of 0.95 from 300 panels


def ratings(rng, people=40, k=5, missing=0.3):
    y = 6 + rng.normal(0, 1, (people, 1)) + np.linspace(-1, 1, k) + rng.normal(0, 1.2, (people, k))
    return np.where(rng.random(y.shape) < missing, np.nan, y)


def by_least_squares(y):
    """Means of the samples at the mean person, by statsmodels."""
    person, sample = np.nonzero(np.isfinite(y))
    frame = pd.DataFrame({"y": y[person, sample], "person": person.astype(str), "sample": sample.astype(str)})
    fit = smf.ols("y ~ C(person) + C(sample)", frame).fit()
    everybody = sorted(set(frame["person"]))
    asked = [pd.DataFrame({"person": everybody, "sample": str(j)}) for j in range(y.shape[1])]
    return np.array([fit.predict(each).mean() for each in asked])


def test_without_gaps_they_are_the_plain_means():
    y = ratings(np.random.default_rng(1), missing=0.0)
    assert _sample_means(y) == pytest.approx(y.mean(axis=0), abs=SAME)


@pytest.mark.parametrize("seed", range(3))
def test_with_gaps_they_are_those_of_statsmodels(seed):
    y = ratings(np.random.default_rng(seed))
    y = y[np.isfinite(y).sum(axis=1) >= 2]
    assert _sample_means(y) == pytest.approx(by_least_squares(y), abs=1e-8)


def test_counting_somebody_twice_is_having_her_twice():
    y = ratings(np.random.default_rng(4))
    y = y[np.isfinite(y).sum(axis=1) >= 2]
    times = np.ones((1, len(y)))
    times[0, 3] = 2
    assert _sample_means(y, times)[0] == pytest.approx(_sample_means(np.vstack([y, y[3:4]])), abs=1e-8)


def test_who_rated_a_single_sample_says_nothing():
    y = ratings(np.random.default_rng(5), missing=0.0)
    alone = np.full((3, 5), np.nan)
    alone[:, 0] = 9
    assert people_draws(np.vstack([y, alone]), 10, np.random.default_rng(1))[0] == pytest.approx(y.mean(axis=0))


@pytest.mark.parametrize("people", [8, 40])
def test_intervals_of_differences_hold_the_truth_as_often_as_they_say(people):
    rng = np.random.default_rng(people)
    held = 0
    for _ in range(PANELS):
        y = ratings(rng, people=people, k=3, missing=0.0)
        drawn = people_draws(y, 400, rng)[1]
        low, high = np.quantile(drawn[:, 2] - drawn[:, 0], [0.025, 0.975])
        held += low <= 2 <= high
    assert held / PANELS == pytest.approx(0.95, abs=COVERAGE)


def test_too_few_people_are_refused():
    with pytest.raises(ValueError, match="too few"):
        people_draws(np.ones((FEWEST_PEOPLE - 1, 3)), 10, np.random.default_rng(1))
    unseen = np.ones((20, 3))
    unseen[:, 2] = np.nan
    with pytest.raises(ValueError, match="nobody rated"):
        people_draws(unseen, 10, np.random.default_rng(1))
