"""Windows held against means: chances are those of shrunken means, differences do not know the panel's level."""

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit, logit
from scipy.stats import norm
from statsmodels.discrete.discrete_model import Logit

from panel.errors import StudyError
from panel.models.decision.decide import _little, _window_distance, _with_came_true
from panel.models.decision.wanted import target_profile
from panel.models.decision.windows import (
    LITTLE,
    SURE,
    PanelDraws,
    _as_often,
    _stated_and_true,
    came_true,
    draw_panels,
    judge_together,
    judge_windows,
)
from panel.stats.comparing.shrinkage import shrink
from tests.models.decision.known_studies import target_study

TRUTH = {"P1": (50, 50), "P2": (36, 60), "P3": (41, 54)}
# 40,000 draws: four standard errors of a chance are 0.01; the draws have the tails of Student's t and a spread that is
# not known, the normal curve here has neither
CHANCE = 0.05


def judged(study, benchmark="P1", draws=40_000):
    profile = target_profile(study)
    drawn = draw_panels(study, profile.attributes, np.random.default_rng(1), draws=draws)
    return judge_windows(profile, drawn, benchmark)


def together(study, draws=40_000):
    profile = target_profile(study)
    drawn = draw_panels(study, profile.attributes, np.random.default_rng(1), draws=draws)
    return judge_together(profile, drawn, "P1")[0]


def cell(rows, attribute, prototype):
    return rows.set_index(["attribute", "prototype"]).loc[(attribute, prototype)]


@pytest.fixture(scope="module")
def found():
    return judged(target_study(TRUTH))


def test_the_chance_of_one_window_is_that_of_the_shrunken_mean(found):
    study = target_study(TRUTH)
    drawn = draw_panels(study, target_profile(study).attributes, np.random.default_rng(1), draws=10)
    shrunken = shrink(drawn.estimate, drawn.own_variance, drawn.dfs, pooled=True)
    mean, left = (pd.DataFrame(each, ["GREASE", "SOFT"], list(TRUTH)) for each in shrunken)
    for row in found.to_dict("records"):
        edge = row["target_high"] if row["attribute"] == "GREASE" else row["target_low"]
        side = 1 if row["attribute"] == "GREASE" else -1
        name, attribute = row["prototype"], row["attribute"]
        assert row["shrunken"] == mean.loc[attribute, name]
        expected = norm.cdf(side * (edge - row["shrunken"]) / left.loc[attribute, name])
        assert row["chance"] == pytest.approx(expected, abs=CHANCE)
        assert row["met"] == float(side * (edge - row["estimate"]) >= 0)


def test_beside_each_chance_stands_how_often_such_a_chance_came_true():
    study = target_study({f"P{n}": (40 + 3 * n, 55) for n in range(1, 9)}, noise=1.5)
    profile = target_profile(study)
    drawn = draw_panels(study, profile.attributes, np.random.default_rng(1))
    plain = judge_windows(profile, drawn, "P1")
    found, again = (_with_came_true(plain, came_true(profile, drawn, "P1", np.random.default_rng(2))) for _ in range(2))
    pd.testing.assert_frame_equal(found, again)
    rows = found.dropna(subset=["chance_true"])
    assert len(rows) > 8
    assert rows["chance_true"].between(0, 1).all()
    assert (rows["chance_true"] - rows["chance"]).abs().max() < 0.15  # the same method, studies of the same kind
    assert plain["chance_true"].isna().all()


def test_the_reading_that_decides_is_stated():
    facts = {"benchmark_levels": {"GREASE": 50, "SOFT": 50}}
    plain = judged(target_study(TRUTH, facts=facts), draws=400)
    assert (plain["read_chance"] == plain["chance"]).all()
    versus = judged(target_study(TRUTH, facts=facts | {"windows_read_as": "benchmark"}), draws=400)
    assert (versus["read_chance"] == versus["chance_versus"]).all()
    assert (versus["read_met"] == versus["met_versus"]).all()
    with pytest.raises(StudyError, match=r"The fact 'windows_read_as' is 'both'. Write 'panel' where windows lie on"):
        target_profile(target_study(TRUTH, facts={"windows_read_as": "both"}))


def test_all_windows_at_once_are_never_likelier_than_the_least_likely_one(found):
    least = found.groupby("prototype")["chance"].min()
    chance_all = together(target_study(TRUTH)).set_index("prototype")["chance_all"]
    assert (chance_all <= least[chance_all.index] + 1e-12).all()


def test_without_a_stated_level_the_window_moves_with_this_panels_benchmark(found):
    row, base = cell(found, "GREASE", "P2"), cell(found, "GREASE", "P1")
    assert row["versus_high"] == pytest.approx(40 - base["estimate"])
    assert row["difference"] == pytest.approx(row["estimate"] - base["estimate"])
    assert row["difference_low"] < row["difference"] < row["difference_high"]
    assert row["met_versus"] == row["met"]


def test_a_stated_level_takes_the_panels_own_level_out():
    facts = {"benchmark_levels": {"GREASE": 50, "SOFT": 50}}
    plain = judged(target_study(TRUTH, facts=facts))
    study = target_study(TRUTH, facts=facts)
    high = target_study(TRUTH, facts=facts, scores=study.scores.assign(score=study.scores["score"] + 7))
    drifted = judged(high)
    for name in ("difference", "chance_versus", "chance_better", "versus_high"):
        assert drifted[name].to_numpy() == pytest.approx(plain[name].to_numpy(), abs=1e-9, nan_ok=True)
    assert cell(drifted, "GREASE", "P3")["chance"] < cell(plain, "GREASE", "P3")["chance"] - 0.1


def test_better_than_the_benchmark_has_a_side(found):
    assert cell(found, "GREASE", "P2")["chance_better"] > 0.99
    assert np.isnan(cell(found, "GREASE", "P1")["chance_better"])
    closed = judged(target_study(TRUTH, windows={"GREASE": (30, 40), "SOFT": (55, None)}), draws=500)
    assert np.isnan(cell(closed, "GREASE", "P2")["chance_better"])
    assert cell(closed, "SOFT", "P2")["chance_better"] > 0.9


def test_without_a_benchmark_nothing_is_told_as_a_difference():
    rows = judged(target_study(TRUTH), benchmark=None, draws=200)
    assert rows[["difference", "chance_versus", "chance_better"]].isna().all(axis=None)
    assert set(rows["versus"]) == {""}


def test_desirability_falls_from_the_edge_of_the_window():
    estimate = np.array([[40.0, 46.25, 65.0, 10.0], [55.0, 55.0, 55.0, 42.5]])
    names = ("P1", "P2", "P3", "P4")
    drawn = PanelDraws(
        ("GREASE", "SOFT"), names, estimate, estimate * 0 + 1, estimate * 0 + 9, estimate[None].repeat(5, axis=0), ()
    )
    profile = target_profile(target_study(TRUTH))
    found, (overall, draws) = judge_windows(profile, drawn, None), judge_together(profile, drawn, None)
    # tolerance 25: a quarter of the way out leaves 0.75, all of it 0
    assert found["desirability"].tolist() == [1, 0.75, 0, 1, 1, 1, 1, 0.5]
    assert overall["desirability"].tolist() == pytest.approx([1, np.sqrt(0.75), 0, np.sqrt(0.5)])
    assert draws == pytest.approx(np.tile(overall["desirability"], (5, 1)))
    assert overall["chance_all"].tolist() == [1, 0, 0, 0]


def test_a_prototype_that_was_not_scored_on_a_wanted_attribute_cannot_be_ranked():
    study = target_study(TRUTH)
    scores = study.scores
    scores = scores.loc[~((scores["prototype"] == "P3") & (scores["attribute"] == "SOFT"))].reset_index(drop=True)
    study = target_study(TRUTH, scores=scores)
    assert together(study, draws=200).loc[2, ["desirability", "chance_all"]].isna().all()
    row = cell(judged(study, draws=200), "SOFT", "P3")
    assert np.isnan([row["met"], row["chance"], row["chance_versus"]]).all()


def test_distance_is_how_far_outside():
    value = np.array([[20.0, 35.0, 50.0, np.nan]])
    found = _window_distance(value, np.array([[30.0]]), np.array([[40.0]]))
    assert found[0] == pytest.approx([10, 0, 10, np.nan], nan_ok=True)
    assert _window_distance(value, np.array([[np.nan]]), np.array([[40.0]]))[0, :3].tolist() == [0, 0, 10]


def test_stated_chances_are_shares_of_draws_and_stand_beside_their_own_truth():
    # four draws of three studies with two windows (at least 1) and one prototype
    first, second = [[1, 1, 0], [1, 0, 0], [1, 0, 1], [0, 0, 1]], [[1, 1, 1], [0, 0, 0], [1, 0, 1], [1, 1, 1]]
    values = np.stack([np.array(first), np.array(second)], axis=-1)[..., None].astype(float)
    truth = np.array([[1.0, 1.0], [0.0, 1.0], [1.0, 0.0]])[..., None]
    ends = np.ones((2, 1)), np.full((2, 1), np.nan)
    single, together = _stated_and_true(("one", "all"), truth, values, *ends).values()
    assert single[0].tolist() == [0.75, 0.75, 0.25, 0.5, 0.5, 0.75]
    assert single[1].tolist() == [1, 1, 0, 1, 1, 0]
    assert together[0].tolist() == [0.5, 0.25, 0.5]  # both windows in the same draw
    assert together[1].tolist() == [1, 0, 0]


def test_how_often_it_came_true_is_a_logistic_curve_through_all_cases():
    # cases whose odds are half as extreme as stated: the curve finds the slope, here the same as statsmodels' Logit
    rng = np.random.default_rng(3)
    stated = rng.uniform(0.02, 0.98, 20_000)
    true = (rng.random(20_000) < expit(0.3 + 0.5 * logit(stated))).astype(float)
    asked = np.array([0.2, 0.8, np.nan, 0.999])
    found = _as_often(stated, true, asked)
    assert found[:2] == pytest.approx(expit(0.3 + 0.5 * logit(asked[:2])), abs=0.015)  # three standard errors
    fitted = Logit(true, np.column_stack([np.ones_like(stated), logit(stated)])).fit(disp=0).params
    # ours leans on ten cases of a prior beside the 20,000
    assert found[:2] == pytest.approx(expit(fitted[0] + fitted[1] * logit(asked[:2])), abs=0.001)
    assert np.isnan(found[2:]).all()  # nothing asked; beyond all that was stated
    assert np.isnan(_as_often(stated[:59], true[:59], np.array([0.5])))[0]  # 59 cases say nothing
    assert np.isfinite(_as_often(stated[:60], np.ones(60), np.array([0.5])))[0]  # all true: still a curve
    # few cases, exactly as stated (6 of 30 at 20 %, 24 of 30 at 80 %): cases and prior agree, nothing is corrected
    few, came = np.repeat([0.2, 0.8], 30), np.repeat([1.0, 0.0, 1.0, 0.0], [6, 24, 24, 6])
    assert _as_often(few, came, np.array([0.2, 0.35, 0.8])) == pytest.approx([0.2, 0.35, 0.8], abs=1e-9)


def test_where_prototypes_hardly_differ_a_chance_of_a_difference_comes_true_less_often():
    study = target_study({f"P{n}": (50 + n, 55) for n in range(1, 6)}, noise=6)
    profile = target_profile(study)
    drawn = draw_panels(study, profile.attributes, np.random.default_rng(1))
    found, without = (came_true(profile, drawn, base, np.random.default_rng(2))[LITTLE] for base in ("P1", None))
    assert 0.3 < found(np.array(SURE)) < SURE
    assert np.isnan(without(np.array(SURE)))
    assert "lowest third of what this study leaves possible, a chance of 80 % of one window" in _little(0.66)[0]
    assert _little(np.nan) == ()


def test_without_a_benchmark_only_differences_stay_without_how_often_they_came_true():
    study = target_study({f"P{n}": (40 + 3 * n, 55) for n in range(1, 9)}, noise=1.5)
    profile = target_profile(study)
    drawn = draw_panels(study, profile.attributes, np.random.default_rng(1), draws=400)
    often = came_true(profile, drawn, None, np.random.default_rng(2))
    rows = _with_came_true(judge_windows(profile, drawn, None), often)
    assert rows["chance_true"].notna().any()
    assert rows["chance_versus_true"].isna().all()
    assert np.isnan(often["chance_all_versus"](np.array([SURE]))).all()
