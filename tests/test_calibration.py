"""A quick version of benchmarks/calibration.py: sizes and coverage of the differences, simulated with known truth."""

import numpy as np
import pytest

from benchmarks.calibration import Kind, simulate

PANELS = 400
STANDARD_ERRORS = 4  # how far a share of 400 panels may lie from its nominal value by chance


def near(share, nominal):
    return abs(share - nominal) < STANDARD_ERRORS * np.sqrt(nominal * (1 - nominal) / PANELS)


@pytest.mark.parametrize(
    "kind", [Kind(8, 2), Kind(8, 3, missing=0.1), Kind(8, 3, sessions=True)], ids=lambda k: k.words
)
def test_size_family_wise_error_and_coverage_are_nominal(kind):
    found = simulate(kind, PANELS, np.random.default_rng(7))
    assert near(found.size, 0.05)
    assert near(found.any_pair, 0.05)
    assert near(found.any_from_benchmark, 0.05)
    assert near(found.covers_mean, 0.95)
    assert near(found.covers_difference, 0.95)


def test_without_interaction_the_test_is_careful_not_rash():
    # a variance is never estimated below zero, so that zero is overestimated on average: fewer false alarms than 5 %
    found = simulate(Kind(6, 2, interaction=0.0), PANELS, np.random.default_rng(7))
    assert 0.005 < found.size < 0.05
    assert found.covers_difference > 0.95


def test_a_reversed_assessor_makes_intervals_wide_not_wrong():
    found = simulate(Kind(8, 3, reversed_one=True), PANELS, np.random.default_rng(7))
    assert found.covers_difference > 0.95
