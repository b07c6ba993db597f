"""Scatter to plan with: one's own where there is a study, planning values until then."""

import numpy as np
import pandas as pd
import pytest

from panel.errors import ModelError
from panel.models.prototypes.differences import find_differences
from panel.plan.sample_size import PLANNING_SCATTER, Scatter, own_scatter, typical_scatter
from tests.studies import crossed_study

STANDARD_ERRORS = 4


def test_planning_values_are_standard_deviations_of_5_and_8():
    # common practice, no source
    assert (PLANNING_SCATTER.assessor_prototype, PLANNING_SCATTER.residual) == (25.0, 64.0)


def test_the_scatter_of_a_study_is_found_again():
    # drawn with standard deviations 5 (assessor x prototype) and 8 (residual), 14 attributes
    study = crossed_study(np.random.default_rng(3), attributes=14)
    typical = typical_scatter(own_scatter(find_differences(study).variances))
    # a residual variance on about 130 degrees of freedom has a relative standard error of sqrt(2/130); the median of 14
    assert typical.residual == pytest.approx(64, rel=STANDARD_ERRORS * 1.25 * np.sqrt(2 / 130 / 14))
    assert typical.assessor_prototype == pytest.approx(25, rel=0.4)
    assert "14 attributes of your own panel" in typical.source


def test_without_replicates_all_scatter_is_between_assessors():
    variances = pd.DataFrame({"attribute": ["X"], "assessor_prototype": [np.nan], "residual": [89.0]})
    (found,) = own_scatter(variances)
    assert (found.assessor_prototype, found.residual, found.attribute) == (89.0, 0.0, "X")
    assert "not replicated" in found.source
    assert own_scatter(variances.drop(columns="assessor_prototype"))[0].residual == 0.0


def test_attributes_without_a_residual_are_left_out():
    variances = pd.DataFrame({"attribute": ["X", "Y"], "assessor_prototype": [1.0, 2.0], "residual": [np.nan, 4.0]})
    assert [scatter.attribute for scatter in own_scatter(variances)] == ["Y"]


def test_the_median_is_taken_part_by_part():
    scatters = [Scatter(a, b, "x") for a, b in ((1.0, 9.0), (4.0, 1.0), (9.0, 4.0))]
    typical = typical_scatter(scatters)
    assert (typical.assessor_prototype, typical.residual) == (4.0, 4.0)
    with pytest.raises(ModelError, match="Use the planning values"):
        typical_scatter([])
