"""The moments with terms across the blocks against their definitions, and such fits against those by blocks alone."""

import numpy as np
import pytest

from panel.stats.mixed.inference import _kenward_roger, test_contrasts
from panel.stats.mixed.moments import _BlockDesign, _BorderDesign, block_design, border_design
from panel.stats.mixed.reml import fit_mixed_model
from tests.stats.mixed.test_moments import DENSE, dense
from tests.stats.mixed.test_strata_moments import SAME_OPTIMUM, crossed


def thinned(seed, shape=(6, 3, 2), q=3, share=0.1):
    y, fixed, groups = crossed(seed, shape, q=q)
    rng = np.random.default_rng(seed)
    kept = rng.random(len(y)) >= share
    y, fixed, groups = y[kept], fixed[kept], [group[kept] for group in groups]
    y[rng.random(y.shape) < share / 2] = np.nan
    return y, fixed, groups


@pytest.mark.parametrize("terms", [(2, 0), (0, 1, 2), (2, 1, 4, 0), (0, 1, 2, 3, 4)])
@pytest.mark.parametrize("gamma", [0.0, 0.3, 7.0])
def test_border_equals_the_definition(terms, gamma):
    response, fixed, groups = thinned(len(terms))
    groups = [groups[k] for k in terms]
    ratios = np.full((3, len(terms)), gamma) * np.arange(1, len(terms) + 1)
    design = border_design(response, fixed, groups)
    assert isinstance(design, _BorderDesign)
    found = design.moments(ratios)
    for column in range(3):
        for name, expected in dense(response[:, column], fixed, groups, ratios[column]).items():
            np.testing.assert_allclose(getattr(found, name)[column], expected, rtol=DENSE, atol=1e-7, err_msg=name)


@pytest.mark.parametrize("seed", range(6))
def test_fit_with_a_border_equals_the_fit_by_blocks(seed, monkeypatch):
    y, fixed, groups = thinned(seed, (8, 5, 3), q=5)
    contrasts = np.hstack([-np.ones((4, 1)), np.eye(4)])
    quick = fit_mixed_model(y, fixed, groups)
    monkeypatch.setattr("panel.stats.mixed.reml.border_design", block_design)
    general = fit_mixed_model(y, fixed, groups)
    for name in ("variances", "covariance", "deviance"):
        ours, theirs = getattr(quick, name), getattr(general, name)
        np.testing.assert_allclose(ours, theirs, rtol=SAME_OPTIMUM, atol=1e-6, err_msg=name)
    for small_sample in (
        lambda fit: test_contrasts(fit, contrasts),
        lambda fit: _kenward_roger(fit).test_contrasts(contrasts),
    ):
        ours, theirs = small_sample(quick), small_sample(general)
        np.testing.assert_allclose(ours.statistic, theirs.statistic, rtol=SAME_OPTIMUM)
        np.testing.assert_allclose(ours.df_error, theirs.df_error, rtol=1e-5)


def test_terms_within_the_assessor_need_no_border():
    y, fixed, groups = thinned(1)
    assert isinstance(border_design(y, fixed, [groups[0], groups[1], groups[3]]), _BlockDesign)


def test_the_border_is_what_runs_across_the_assessors():
    y, fixed, groups = thinned(2, (12, 8, 3))
    design = border_design(y, fixed, groups)
    assert (design.within, design.across) == ((0, 1, 3), (2, 4))
    assert design.n_fixed == 8


def test_selecting_responses_keeps_their_moments():
    y, fixed, groups = thinned(3)
    design, chosen, ratios = border_design(y, fixed, groups), np.array([True, False, True]), np.full((3, 5), 0.7)
    whole, part = design.moments(ratios), design.select(chosen).moments(ratios[chosen])
    np.testing.assert_allclose(part.cross, whole.cross[chosen])
    np.testing.assert_allclose(part.cross_kl, whole.cross_kl[chosen])
    np.testing.assert_array_equal(design.select(chosen).n_scores, design.n_scores[chosen])
