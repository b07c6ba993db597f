"""Differences that were picked because they came out large: shrunken, with the chance that the sign is wrong."""

import numpy as np
import pandas as pd
import pytest

from panel.models.decision.wanted import target_profile
from panel.models.decision.windows import draw_panels, judge_windows
from panel.models.prototypes.differences import find_differences
from panel.models.prototypes.verdict import shrunken_effects
from panel.stats.comparing.shrinkage import shrink, shrink_effects
from panel.study.naming import naming
from panel.study.shown import shown
from panel.views.prototypes.differences import _WITHOUT_LUCK, tell_differences
from panel.words import chance_words, format_change
from tests.models.decision.known_studies import target_study

TRUTH = {"P1": (50, 50), "P2": (46, 60), "P3": (47, 54), "P4": (51, 53)}


def test_differences_are_those_of_the_shrunken_means():
    study = target_study(TRUTH)
    result = find_differences(study)
    drawn = draw_panels(study, ("GREASE", "SOFT"), np.random.default_rng(1), draws=400)
    df = result.pairs.groupby("attribute", sort=False)["df"].median().to_numpy()
    shrunken = pd.DataFrame(shrink(drawn.estimate, drawn.own_variance, df=df)[0], drawn.attributes, drawn.prototypes)
    for found in result.without_luck:
        assert len(found)
        assert (found["shrunken"].abs() <= found["estimate"].abs()).all()
        assert (np.sign(found["shrunken"]) == np.sign(found["estimate"])).all()
        for row in found.to_dict("records"):
            one, other = (shrunken.loc[row["attribute"], row[side]] for side in ("prototype", "versus"))
            assert row["shrunken"] == pytest.approx(one - other, abs=1e-6)
    told = judge_windows(target_profile(study), drawn, "P1").set_index(["attribute", "prototype"])
    for row in result.without_luck[1].to_dict("records"):
        same = told.loc[(row["attribute"], row["prototype"])]
        assert row["shrunken"] == pytest.approx(same["difference_shrunken"], abs=1e-6)
        assert row["wrong_sign"] == pytest.approx(same["wrong_sign"], abs=1e-6)


def test_effects_are_shrunken_within_their_family():
    rows = pd.DataFrame(
        {"attribute": ["a", "a", "b"], "estimate": [3.0, -1.0, 2.0], "std_error": [1.0, 1.0, 2.0], "df": [20.0] * 3}
    )
    found = shrunken_effects(rows, "attribute")
    own = shrink_effects(np.array([3.0, -1.0]), np.array([1.0, 1.0]), 20.0)
    assert found["shrunken"].tolist()[:2] == pytest.approx(own[0])
    assert found["wrong_sign"].tolist()[:2] == pytest.approx(own[1])
    assert 0 < found["shrunken"][2] < 2


def test_the_largest_is_told_with_what_is_left_of_it_in_a_table_of_its_own():
    study = target_study(TRUTH)
    result, names = find_differences(study), naming(study)
    table = shown(_WITHOUT_LUCK, result, names)
    assert len(table) == (result.versus["verdict"] == "differs").sum()
    row = result.picked.loc[result.picked["estimate"].abs().idxmax()]
    (line,) = [
        item
        for drawer in tell_differences(result, names).drawers
        if drawer.title == "With luck taken out"
        for item in drawer.items
        if isinstance(item, str)
    ]
    seen, left = (format_change(row[name], names.digits) for name in ("estimate", "shrunken"))
    assert line == (
        f"The largest difference, {row['prototype']} minus {row['versus']} on {names.attribute(row['attribute'])}, is "
        f"{seen} as estimated, {left} with luck taken out; chance that its sign is wrong "
        f"{chance_words(row['wrong_sign'])}."
    )
    assert (table["With luck taken out"] == [format_change(x, names.digits) for x in result.picked["shrunken"]]).all()
    nothing = find_differences(target_study(dict.fromkeys(TRUTH, (50, 50))))
    assert nothing.picked.empty


def test_what_was_picked_is_as_large_as_its_truth_once_luck_is_taken_out():
    # known truth: 6 prototypes of SD 3, 3 attributes, errors as of 10 assessors x 3 sessions with 45 df;
    # picked: beyond the 5 % point of Dunnett. benchmarks/decision_calibration.py does it with whole studies
    rng, sums = np.random.default_rng(11), np.zeros((3, 2))
    variance = 4.6
    for _ in range(1500):
        truth = rng.normal(0, 3, (3, 6))
        seen = truth + rng.normal(0, np.sqrt(variance), truth.shape)
        found = np.repeat(variance * rng.chisquare(45, (3, 1)) / 45, 6, axis=1)
        each = seen, shrink(seen, found)[0], shrink(seen, found, df=np.full(3, 45.0))[0]
        true, apart = truth[:, 1:] - truth[:, :1], seen[:, 1:] - seen[:, :1]
        picked = np.abs(apart) > 2.6 * np.sqrt(2 * found[:, 1:])
        for total, values in zip(sums, each, strict=True):
            total += [(np.sign(apart) * part)[picked].sum() for part in (values[:, 1:] - values[:, :1], true)]
    raw, without_df, with_df = sums[:, 0] / sums[:, 1]
    assert raw > 1.4
    assert 0.95 < with_df < 1.05
    assert with_df < without_df
