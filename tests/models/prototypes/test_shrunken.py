"""Differences that were picked because they came out large: shrunken, with the chance that the sign is wrong."""

import numpy as np
import pandas as pd
import pytest

from panel.models.decision.wanted import target_profile
from panel.models.decision.windows import draw_panels, judge_windows
from panel.models.prototypes.differences import find_differences
from panel.models.prototypes.shrunken import shrunken_differences, shrunken_effects
from panel.stats.comparing.shrinkage import shrink_effects
from tests.models.decision.known_studies import target_study

TRUTH = {"P1": (50, 50), "P2": (46, 60), "P3": (47, 54), "P4": (51, 53)}


def test_differences_are_those_of_the_shrunken_means():
    study = target_study(TRUTH)
    result = find_differences(study)
    drawn = draw_panels(study, ("GREASE", "SOFT"), np.random.default_rng(1), draws=400)
    shrunken = pd.DataFrame(drawn.shrunken, drawn.attributes, drawn.prototypes)
    for rows in (result.pairs, result.versus):
        found = shrunken_differences(result, rows)
        assert len(found) == len(rows)
        assert (found["shrunken"].abs() <= found["estimate"].abs()).all()
        assert (np.sign(found["shrunken"]) == np.sign(found["estimate"])).all()
        for row in found.to_dict("records"):
            one, other = (shrunken.loc[row["attribute"], row[side]] for side in ("prototype", "versus"))
            assert row["shrunken"] == pytest.approx(one - other, abs=1e-6)
    told = judge_windows(target_profile(study), drawn, "P1", 0.95).rows.set_index(["attribute", "prototype"])
    for row in shrunken_differences(result, result.versus).to_dict("records"):
        same = told.loc[(row["attribute"], row["prototype"])]
        assert row["shrunken"] == pytest.approx(same["difference_shrunken"], abs=1e-6)
        assert row["wrong_sign"] == pytest.approx(same["wrong_sign"], abs=1e-6)


def test_effects_are_shrunken_within_their_family():
    rows = pd.DataFrame({"attribute": ["a", "a", "b"], "estimate": [3.0, -1.0, 2.0], "std_error": [1.0, 1.0, 2.0]})
    found = shrunken_effects(rows, "attribute")
    own = shrink_effects(np.array([3.0, -1.0]), np.array([1.0, 1.0]))
    assert found["shrunken"].tolist()[:2] == pytest.approx(own[0])
    assert found["wrong_sign"].tolist()[:2] == pytest.approx(own[1])
    assert 0 < found["shrunken"][2] < 2
