"""The units of a plan: the study's own scale, per cent of each where scales differ, asked for where it says nothing."""

import numpy as np
import pandas as pd
import pytest

from panel.errors import ModelError
from panel.plan.sample_size import own_scatter, panel_sizes, planning_scale, planning_scatter
from panel.study.study import Study

SCALES = [(0, 10), (0, 15), (1, 9), (0, 100), (0, 1)]


def study(*ends, facts=None):
    """Return a study with an attribute for each pair of ends; None for none."""
    rows = [{"attribute": f"T{n}", "scale_min": low, "scale_max": high} for n, (low, high) in enumerate(ends)]
    return Study({"attributes": pd.DataFrame(rows, columns=["attribute", "scale_min", "scale_max"])}, facts or {})


NONE = (np.nan, np.nan)


@pytest.mark.parametrize("ends", SCALES)
def test_a_scale_that_all_attributes_share_is_planned_in_its_own_units(ends):
    found = planning_scale(study(ends, ends))
    length = ends[1] - ends[0]
    assert (found.length, found.shared, found.units) == (length, True, {"T0": 1.0, "T1": 1.0})
    # a difference of 8 of 100, the usual planning value (common practice, no source)
    assert found.usual_difference == pytest.approx(0.08 * length)


@pytest.mark.parametrize("ends", SCALES)
def test_the_same_panel_is_enough_whatever_the_numbers_on_the_scale(ends):
    # an identity: multiplying all scores by a number changes no count of people
    scale = planning_scale(study(ends))
    found = panel_sizes(scale.usual_difference, 5, planning_scatter(scale.length), length=scale.length)
    wide = panel_sizes(8.0, 5, planning_scatter(100.0), length=100.0)
    pd.testing.assert_frame_equal(found.needed, wide.needed)
    part = scale.length / 100
    np.testing.assert_allclose(found.sizes["seen_pairs"], part * wide.sizes["seen_pairs"], rtol=1e-9)
    assert found.curve["difference"].max() == pytest.approx(16 * part)


def test_scales_of_different_length_are_planned_in_per_cent_of_each():
    found = planning_scale(study((0, 10), (0, 100), (1, 9)))
    assert (found.length, found.shared) == (100.0, False)
    assert found.units == {"T0": 10.0, "T1": 1.0, "T2": 12.5}
    variances = pd.DataFrame(
        {"attribute": ["T0", "T1", "T2"], "assessor_prototype": [0.25, 25.0, 0.16], "residual": [0.64, 64.0, 0.4096]}
    )
    # standard deviations of 5 and 8 % of each of the three scales
    assert [(s.assessor_prototype, s.residual) for s in own_scatter(variances, found.units)] == [
        pytest.approx((25.0, 64.0))
    ] * 3


def test_scales_of_one_length_need_not_begin_at_the_same_number():
    assert planning_scale(study((0, 8), (1, 9))).length == 8
    assert planning_scale(study((0.3, 10.3), (0, 10))).shared


def test_what_the_study_does_not_say_is_asked_for_and_never_made_up():
    assert planning_scale(study((0, 10), NONE)) is None
    assert planning_scale(study(NONE)) is None
    assert planning_scale(study(NONE), (0.0, 10.0)).usual_difference == pytest.approx(0.8)
    assert planning_scale(study((0, 15)), (0.0, 10.0)).length == 15  # never in place of what the study says


def test_a_study_without_attributes_has_the_scale_it_states_for_all():
    assert planning_scale(study()) is None
    assert planning_scale(study(facts={"scale_min": 0, "scale_max": 15})).length == 15
    assert planning_scale(study(), (1.0, 9.0)).length == 8


def test_a_scale_that_ends_where_it_begins_is_told():
    with pytest.raises(ModelError, match="The scale of T0 must end above where it begins"):
        planning_scale(study((5, 5)))
    with pytest.raises(ModelError, match="The scale must end above where it begins"):
        planning_scale(study(), (9.0, 1.0))
    with pytest.raises(ModelError, match="The scale must end above where it begins"):
        planning_scatter(0.0)


def test_a_difference_fits_on_its_scale():
    with pytest.raises(ModelError, match="A difference of 12 does not fit on a scale that is 10 long"):
        panel_sizes(12.0, 5, planning_scatter(10.0), length=10.0)
    assert panel_sizes(8.0, 5, planning_scatter(10.0), length=10.0).curve["difference"].max() == 10
