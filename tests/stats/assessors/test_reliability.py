"""Reliability against printed values: Shrout & Fleiss 1979, ASTM E691, and identities between them."""

import numpy as np
import pytest

from panel.stats.assessors.agreement import intraclass, limits_of_h_and_k

PRINTED = 5e-5  # half a unit of the fourth decimal
TWO_DECIMALS = 5e-3  # half a unit of the second decimal

# Shrout & Fleiss (1979), Psychol. Bull. 86:420-428, Table 2: 6 targets, 4 judges
SHROUT_FLEISS = np.array([[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]], float)


def test_shrout_and_fleiss():
    found = intraclass(SHROUT_FLEISS[None])
    for name, printed in {
        "ms_targets": 11.24, "ms_within": 6.26, "ms_judges": 32.49, "ms_residual": 1.02, "one_single": 0.17,
        "two_single": 0.29, "three_single": 0.71, "one_mean": 0.44, "two_mean": 0.62, "three_mean": 0.91,
    }.items():  # fmt: skip
        assert found[name][0] == pytest.approx(printed, abs=TWO_DECIMALS)


def test_reliability_of_the_mean_is_one_less_one_over_f_and_cronbachs_alpha():
    found = intraclass(SHROUT_FLEISS[None])
    assert found["three_mean"][0] == pytest.approx(1 - found["ms_residual"][0] / found["ms_targets"][0])
    items = SHROUT_FLEISS.var(axis=0, ddof=1).sum()
    alpha = 4 / 3 * (1 - items / SHROUT_FLEISS.sum(axis=1).var(ddof=1))  # Cronbach (1951), Psychometrika 16:297
    assert found["three_mean"][0] == pytest.approx(alpha)


def test_ratings_that_all_agree_and_ratings_that_only_share_order():
    profile = np.array([1.0, 3.0, 4.0, 8.0])
    same = intraclass(np.stack([profile, profile, profile], axis=1)[None])
    assert same["two_single"][0] == pytest.approx(1)
    shifted = intraclass(np.stack([profile, profile + 4, profile - 9], axis=1)[None])
    assert shifted["three_single"][0] == pytest.approx(1)
    assert shifted["two_single"][0] < 0.3


def test_limits_as_printed_in_the_standard():
    # ASTM E691, 0.5 per cent: h for 8 laboratories 2.15, k for 8 laboratories and 3 results 2.06
    assert limits_of_h_and_k(8, 2)[0] == pytest.approx(2.15, abs=TWO_DECIMALS)
    assert limits_of_h_and_k(8, 2)[1] == pytest.approx(2.06, abs=TWO_DECIMALS)
    assert np.isnan(limits_of_h_and_k(2, 2)[0])
    assert np.isnan(limits_of_h_and_k(8, 0)[1])
