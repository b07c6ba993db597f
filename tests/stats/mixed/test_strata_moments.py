"""The moments by strata against their definitions, and the fits by strata against those by blocks."""

import numpy as np
import pytest

from panel.stats.comparing.group_means import ASSESSOR, INTERACTION, SITTING, _balanced_strata
from panel.stats.mixed.inference import estimate_contrasts, test_contrasts
from panel.stats.mixed.moments import block_design
from panel.stats.mixed.reml import _strata_design, fit_mixed_model
from tests.stats.mixed.test_moments import DENSE, dense

SAME_OPTIMUM = 1e-6  # relative, as promised; two roads to one optimum
SUMS_OF_SQUARES = 1e-9  # relative; both sides are sums of squares


def crossed(seed, shape=(5, 3, 2), repeats=1, q=3):
    """Scores, prototype columns and the five crossed terms of a balanced panel, in shuffled rows."""
    rng = np.random.default_rng(seed)
    a, p, r, _ = (grid.ravel() for grid in np.indices((*shape, repeats)))
    order = rng.permutation(len(a))
    a, p, r = a[order], p[order], r[order]
    groups = [a, a * shape[1] + p, r, a * shape[2] + r, p * shape[2] + r]
    y = 50 + 4 * rng.normal(size=(len(a), q))
    for group in groups:
        y = y + rng.choice([0.0, 2.0, 4.0], size=q) * rng.normal(size=(group.max() + 1, q))[group]
    return y, np.eye(shape[1])[p], groups


@pytest.mark.parametrize("terms", [(0,), (0, 1), (0, 1, 3), (0, 2), (1, 4), (0, 1, 2, 3, 4)])
@pytest.mark.parametrize("gamma", [0.0, 0.3, 7.0])
def test_strata_equal_the_definition(terms, gamma):
    response, fixed, groups = crossed(len(terms), repeats=2)
    groups = [groups[k] for k in terms]
    ratios = np.full((3, len(terms)), gamma) * np.arange(1, len(terms) + 1)
    found = _strata_design(response, fixed, groups).moments(ratios)
    for column in range(3):
        for name, expected in dense(response[:, column], fixed, groups, ratios[column]).items():
            np.testing.assert_allclose(getattr(found, name)[column], expected, rtol=DENSE, atol=1e-7, err_msg=name)


def test_strata_hold_the_classical_sums_of_squares():
    rng = np.random.default_rng(4)
    cube = rng.normal(size=(6, 4, 3, 2, 2))
    a, p, s, _ = (grid.ravel() for grid in np.indices(cube.shape[:4]))
    classical, df = _balanced_strata(cube)
    found = _strata_design(cube.reshape(-1, 2), np.eye(4)[p], [a, a * 4 + p, a * 3 + s])
    # the strata come coarse before fine: assessor, assessor x session (18 groups), assessor x prototype (24), rest
    for place, stratum in ((1, SITTING), (2, INTERACTION)):
        squares = found.squares[:, place]
        fixed, cross = squares[:, :4, :4], squares[:, :4, 4]
        gone = np.einsum("qi,qij,qj->q", cross, np.linalg.pinv(fixed, hermitian=True), cross)
        rest = squares[:, 4, 4] - gone
        if stratum == SITTING:  # sessions are not among the fixed columns here
            sessions = cube.mean(axis=(0, 1, 3))
            rest = rest - 6 * 4 * 2 * ((sessions - sessions.mean(axis=0)) ** 2).sum(axis=0)
        np.testing.assert_allclose(rest, classical[:, stratum], rtol=SUMS_OF_SQUARES)
    assert found.df.tolist() == [6, 12, 18, 108]
    assert df[ASSESSOR] == 5  # the mean is fixed there


@pytest.mark.parametrize("seed", range(6))
def test_fit_by_strata_equals_the_fit_by_blocks(seed, monkeypatch):
    y, fixed, groups = crossed(seed, (8, 5, 3), q=6)
    contrasts = np.hstack([-np.ones((4, 1)), np.eye(4)])
    quick = fit_mixed_model(y, fixed, groups)
    monkeypatch.setattr("panel.stats.mixed.reml._strata_design", lambda *_: None)
    monkeypatch.setattr("panel.stats.mixed.reml.border_design", block_design)
    general = fit_mixed_model(y, fixed, groups)
    for name in ("variances", "covariance", "deviance"):
        ours, theirs = getattr(quick, name), getattr(general, name)
        np.testing.assert_allclose(ours, theirs, rtol=SAME_OPTIMUM, atol=1e-6, err_msg=name)
    for test in (test_contrasts, estimate_contrasts):
        ours, theirs = test(quick, contrasts), test(general, contrasts)
        np.testing.assert_allclose(ours.statistic, theirs.statistic, rtol=SAME_OPTIMUM)
    np.testing.assert_allclose(
        test_contrasts(quick, contrasts).df_error, test_contrasts(general, contrasts).df_error, rtol=1e-5
    )


@pytest.mark.parametrize("change", ["a score is missing", "a row is missing", "two prototypes change places"])
def test_what_is_not_balanced_is_left_to_the_others(change):
    y, fixed, groups = crossed(1)
    if change == "a score is missing":
        y[3, 1] = np.nan
    elif change == "a row is missing":
        y, fixed, groups = y[1:], fixed[1:], [group[1:] for group in groups]
    else:
        other = int(np.flatnonzero(groups[1] != groups[1][0])[0])
        groups[1][[0, other]] = groups[1][[other, 0]]
    assert _strata_design(y, fixed, groups) is None


def test_groups_of_one_size_that_do_not_cross_evenly_are_not_balanced():
    # each of four rows of two blocks: the groups of the second term straddle those of the first unevenly
    first = np.repeat([0, 1, 2], 4)
    second = np.array([0, 0, 0, 1, 1, 1, 1, 0, 2, 2, 2, 2])
    y = np.random.default_rng(2).normal(size=(12, 1))
    assert _strata_design(y, np.ones((12, 1)), [first, second]) is None


def test_names_of_groups_do_not_matter():
    y, fixed, groups = crossed(2)
    renamed = [7 * group + 3 for group in groups]
    ratios = np.full((3, 5), 0.4)
    one, other = (_strata_design(y, fixed, own).moments(ratios) for own in (groups, renamed))
    np.testing.assert_allclose(one.cross_kl, other.cross_kl)
    np.testing.assert_allclose(one.log_det, other.log_det)


def test_selecting_responses_keeps_their_moments():
    y, fixed, groups = crossed(3)
    design, chosen, ratios = _strata_design(y, fixed, groups), np.array([True, False, True]), np.full((3, 5), 0.7)
    whole, part = design.moments(ratios), design.select(chosen).moments(ratios[chosen])
    np.testing.assert_allclose(part.cross, whole.cross[chosen])
    np.testing.assert_allclose(part.trace_kl, whole.trace_kl[chosen])
