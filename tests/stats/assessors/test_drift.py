"""Drift over sessions: by hand, what must hold, and its size in panels without drift."""

import numpy as np
import pytest
from scipy.stats import t as student

from panel.stats.assessors.departures import drift

NO_EXTRA = 0.0


def found(sittings, extra=NO_EXTRA):
    shape = sittings.shape[:2]
    return drift(sittings, (np.full(shape, extra), np.full(shape, 10.0)))


def centred(rng, a=7, s=4, q=2):
    table = rng.normal(size=(q, a, s)) + 3 * rng.normal(size=(q, 1, s))
    return table - table.mean(axis=2, keepdims=True)


def test_slope_and_p_value_by_hand():
    table = centred(np.random.default_rng(1))
    result = found(table)
    time = np.arange(4) - 1.5
    for k in range(2):
        for i in range(7):
            others = np.delete(table[k], i, axis=0)
            slope = ((table[k, i] - others.mean(axis=0)) * time).sum() / 5
            rest = others - others.mean(axis=0) - others.mean(axis=1, keepdims=True) + others.mean()
            variance = (rest**2).sum() / (5 * 3)
            error = np.sqrt(variance * (1 + 1 / 6) / 5)
            assert result.estimate[k, i] == pytest.approx(slope)
            assert result.df[k, i] == pytest.approx(15)
            assert result.p_value[k, i] == pytest.approx(2 * student.sf(abs(slope / error), 15))


def test_what_all_do_alike_is_no_drift_and_own_drift_is_found():
    table = centred(np.random.default_rng(2), a=8, s=5)
    moved = table + np.arange(5) * 4.0
    np.testing.assert_allclose(found(moved).estimate, found(table).estimate, atol=1e-10)
    table[:, 0] += 3.0 * (np.arange(5) - 2)
    assert (found(table).estimate[:, 0] > 2).all()
    assert (found(table).p_value[:, 0] < 0.01).all()


def test_who_was_away_is_judged_on_the_sessions_attended():
    table = centred(np.random.default_rng(3), q=1)
    table[0, 2, 3] = np.nan
    result = found(table)
    assert np.isfinite(result.p_value).all()
    table[0, 2, 1:] = np.nan
    assert np.isnan(found(table).estimate[0, 2])


def test_one_session_has_no_drift():
    assert np.isnan(found(np.zeros((2, 5, 1))).p_value).all()


def test_more_own_scatter_makes_the_verdict_more_careful():
    table = centred(np.random.default_rng(4))
    assert (found(table, 2.0).p_value > found(table).p_value).all()


def test_size_without_drift():
    rng = np.random.default_rng(20250311)
    p_values = found(centred(rng, a=8, s=3, q=3000)).p_value
    four_standard_errors = 4 * np.sqrt(0.05 * 0.95 / 3000)
    assert (p_values[:, 0] < 0.05).mean() == pytest.approx(0.05, abs=four_standard_errors)
