"""Target windows of a study."""

import numpy as np

from panel.models.emollients.predictions import study_targets, target_ends
from tests.blend_studies import DEMO


def test_the_windows_of_the_demo_are_those_of_its_story():
    # the demo's own story: greasy film 38 or less, stickiness 25 or less, soaking in 55 or more, ...
    limits = study_targets(DEMO)
    assert set(limits) == {"AF_GREASE", "AF_STICK", "RO_ABS", "RO_SPREAD", "LA_RESID", "LA_SOFT"}
    assert limits["AF_GREASE"][1] == 38
    assert np.isnan(limits["AF_GREASE"][0])
    assert limits["RO_ABS"][0] == 55


def test_windows_come_in_the_order_asked_for_and_empty_where_nothing_is_wanted():
    low, high = target_ends({"B": (10.0, 20.0)}, ["A", "B"])
    assert np.isnan(low[0])
    assert np.isnan(high[0])
    assert (low[1], high[1]) == (10.0, 20.0)
    assert target_ends({}, [])[0].size == 0
