"""Means whose errors are those between people: leaving each out by dense matrices, and the paired t test."""

import numpy as np
import pytest
from scipy import stats

from panel.stats.mixed import inference
from panel.stats.mixed.inference import between_people

SAME = 1e-9


def dense(values, ratio):
    """Generalised least squares with the whole covariance of all answers written out."""
    person, column = np.nonzero(np.isfinite(values))
    covariance = np.eye(len(person)) + ratio * (person[:, None] == person)
    design = np.eye(values.shape[1])[column]
    weighted = np.linalg.solve(covariance, design)
    return np.linalg.solve(weighted.T @ design, weighted.T @ values[person, column])


def test_leaving_each_person_out(monkeypatch):
    rng = np.random.default_rng(1)
    values = 1e4 + rng.normal(0, 1, (14, 1)) + rng.normal(0, [1.0, 3.0, 0.5], (14, 3))
    values[rng.random(values.shape) < 0.25] = np.nan
    values = values[np.isfinite(values).any(axis=1)]
    contrasts = np.array([[1.0, 0, 0], [1, -1, 0], [0, 1, -1]])
    monkeypatch.setattr(inference, "_AT_ONCE", 5)
    found = between_people(values, 0.7, lambda _: None)
    told = found.estimate(contrasts)
    without = np.array([contrasts @ dense(np.delete(values, row, axis=0), 0.7) for row in range(len(values))])
    assert told.estimate[0] == pytest.approx(contrasts @ dense(values, 0.7), rel=SAME)
    error = np.sqrt((len(values) - 1) * without.var(axis=0))
    assert told.std_error[0] == pytest.approx(error, rel=1e-6)  # of numbers near 10,000
    assert np.sqrt(np.einsum("ma,ab,mb->m", contrasts, found.covariance[0], contrasts)) == pytest.approx(
        error, rel=1e-6
    )
    assert (told.df < len(values) - 1).all()


def test_without_gaps_it_is_the_paired_t_test():
    values = np.random.default_rng(2).normal(0, [1, 2, 4], (9, 3))
    told = between_people(values, 0.3, lambda _: None).estimate(np.array([[1.0, -1, 0], [0, 1, -1]]))
    own = [stats.ttest_rel(values[:, first], values[:, first + 1]) for first in (0, 1)]
    assert told.statistic[0] == pytest.approx([each.statistic for each in own], rel=SAME)
    assert told.df[0] == pytest.approx([8, 8], rel=SAME)
    assert told.p_value[0] == pytest.approx([each.pvalue for each in own], rel=SAME)
