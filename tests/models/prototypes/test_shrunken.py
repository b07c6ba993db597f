"""Differences that were picked because they came out large: shrunken, with the chance that the sign is wrong."""

import numpy as np
import pandas as pd
import pytest

from panel.models.decision.windows import draw_panels
from panel.models.prototypes.differences import find_differences
from panel.models.prototypes.shrunken import shrunken_differences, shrunken_effects
from panel.stats.comparing.shrinkage import shrink_effects
from tests.models.decision.known_studies import target_study

TRUTH = {"P1": (50, 50), "P2": (46, 60), "P3": (47, 54), "P4": (51, 53)}


def test_differences_are_those_of_the_shrunken_means():
    study = target_study(TRUTH)
    result = find_differences(study)
    drawn = draw_panels(study, ("GREASE", "SOFT"), np.random.default_rng(1), draws=20_000)
    shrunken = pd.DataFrame(drawn.shrunken, drawn.attributes, drawn.prototypes)
    for rows in (result.pairs, result.versus):
        found = shrunken_differences(result, rows)
        assert len(found) == len(rows)
        assert (found["shrunken"].abs() <= found["estimate"].abs()).all()
        assert (np.sign(found["shrunken"]) == np.sign(found["estimate"])).all()
        for row in found.to_dict("records"):
            one, other = (shrunken.loc[row["attribute"], row[side]] for side in ("prototype", "versus"))
            assert row["shrunken"] == pytest.approx(one - other, abs=1e-6)
    places = {name: place for place, name in enumerate(drawn.prototypes)}
    for row in shrunken_differences(result, result.pairs).to_dict("records"):
        own = drawn.drawn[:, drawn.attributes.index(row["attribute"])]
        apart = own[:, places[row["prototype"]]] - own[:, places[row["versus"]]]
        # the draws have the tails of Student's t
        assert row["wrong_sign"] == pytest.approx((apart * np.sign(row["estimate"]) < 0).mean(), abs=0.02)


def test_effects_are_shrunken_within_their_family():
    rows = pd.DataFrame({"attribute": ["a", "a", "b"], "estimate": [3.0, -1.0, 2.0], "std_error": [1.0, 1.0, 2.0]})
    found = shrunken_effects(rows, "attribute")
    own = shrink_effects(np.array([3.0, -1.0]), np.array([1.0, 1.0]))
    assert found["shrunken"].tolist()[:2] == pytest.approx(own[0])
    assert found["wrong_sign"].tolist()[:2] == pytest.approx(own[1])
    assert 0 < found["shrunken"][2] < 2
