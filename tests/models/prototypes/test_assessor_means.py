"""Assessors' own means: numbers, gaps, and who is counted."""

import numpy as np
import pandas as pd

from panel.models.prototypes.panel_design import assessor_means

SCORES = pd.DataFrame(
    [
        ("A1", "P1", "T1", 10.0),
        ("A1", "P1", "T1", 20.0),
        ("A1", "P2", "T1", 40.0),
        ("A1", "P2", "T2", 7.0),
        ("A2", "P2", "T1", 50.0),
        ("A2", "P2", "T2", 60.0),
        ("A3", "P1", "T2", 1.0),
        ("A3", "P2", "T2", 2.0),
        ("A3", "P9", "T1", 99.0),
    ],
    columns=["assessor", "prototype", "attribute", "score"],
)


def test_means_and_gaps_stand_in_the_order_asked_for():
    found = assessor_means(SCORES, ["P2", "P1"], ["T1", "T2"])
    nan = np.nan
    np.testing.assert_array_equal(found, [[[40, 7], [15, nan]], [[nan, 2], [nan, 1]]])


def test_who_scored_one_prototype_compares_nothing_and_is_not_counted():
    assert len(assessor_means(SCORES, ["P1", "P2"], ["T1", "T2"])) == 2
    assert len(assessor_means(SCORES, ["P1", "P2", "P9"], ["T1"])) == 1
