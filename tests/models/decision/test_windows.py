"""Windows held against means: the chance is Student's, differences do not know the panel's level."""

import numpy as np
import pytest
from scipy.stats import t

from panel.models.decision.profile import PanelDraws, draw_panels, judge_windows, target_profile, window_distance
from tests.models.decision.known_studies import target_study

TRUTH = {"P1": (50, 50), "P2": (36, 60), "P3": (41, 54)}
LEVEL = 0.95
# 40,000 draws: four standard errors of a chance are 0.01; the draws follow the parts of the error, not Satterthwaite's
# one t, and the two differ by as much again
CHANCE = 0.02


def judged(study, benchmark="P1", draws=40_000):
    profile = target_profile(study)
    drawn = draw_panels(study, profile.attributes, np.random.default_rng(1), draws=draws)
    return judge_windows(profile, drawn, benchmark, LEVEL)


def cell(rows, attribute, prototype):
    return rows.set_index(["attribute", "prototype"]).loc[(attribute, prototype)]


@pytest.fixture(scope="module")
def found():
    return judged(target_study(TRUTH))


def test_the_chance_of_one_window_is_students(found):
    for row in found.rows.to_dict("records"):
        edge = row["target_high"] if row["attribute"] == "GREASE" else row["target_low"]
        side = 1 if row["attribute"] == "GREASE" else -1
        expected = t.cdf(side * (edge - row["estimate"]) / row["std_error"], row["df"])
        assert row["chance"] == pytest.approx(expected, abs=CHANCE)
        assert row["met"] == float(side * (edge - row["estimate"]) >= 0)


def test_all_windows_at_once_are_never_likelier_than_the_least_likely_one(found):
    least = found.rows.groupby("prototype")["chance"].min()
    assert (found.chance_all <= least[["P1", "P2", "P3"]].to_numpy() + 1e-12).all()


def test_without_a_stated_level_the_window_moves_with_this_panels_benchmark(found):
    row, base = cell(found.rows, "GREASE", "P2"), cell(found.rows, "GREASE", "P1")
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
        assert drifted.rows[name].to_numpy() == pytest.approx(plain.rows[name].to_numpy(), abs=1e-9, nan_ok=True)
    assert cell(drifted.rows, "GREASE", "P3")["chance"] < cell(plain.rows, "GREASE", "P3")["chance"] - 0.1


def test_better_than_the_benchmark_has_a_side(found):
    assert cell(found.rows, "GREASE", "P2")["chance_better"] > 0.99
    assert np.isnan(cell(found.rows, "GREASE", "P1")["chance_better"])
    closed = judged(target_study(TRUTH, windows={"GREASE": (30, 40), "SOFT": (55, None)}), draws=500)
    assert np.isnan(cell(closed.rows, "GREASE", "P2")["chance_better"])
    assert cell(closed.rows, "SOFT", "P2")["chance_better"] > 0.9


def test_without_a_benchmark_nothing_is_told_as_a_difference():
    rows = judged(target_study(TRUTH), benchmark=None, draws=200).rows
    assert rows[["difference", "chance_versus", "chance_better"]].isna().all(axis=None)
    assert set(rows["versus"]) == {""}


def test_desirability_falls_from_the_edge_of_the_window():
    estimate = np.array([[40.0, 46.25, 65.0, 10.0], [55.0, 55.0, 55.0, 42.5]])
    names = ("P1", "P2", "P3", "P4")
    drawn = PanelDraws(
        ("GREASE", "SOFT"), names, estimate, estimate * 0 + 1, estimate * 0 + 9, estimate[None].repeat(5, axis=0), ()
    )
    found = judge_windows(target_profile(target_study(TRUTH)), drawn, None, LEVEL)
    # tolerance 25: a quarter of the way out leaves 0.75, all of it 0
    assert found.single.tolist() == [[1, 0.75, 0, 1], [1, 1, 1, 0.5]]
    assert found.desirability == pytest.approx([1, np.sqrt(0.75), 0, np.sqrt(0.5)])
    assert found.drawn_desirability == pytest.approx(np.tile(found.desirability, (5, 1)))
    assert found.chance_all.tolist() == [1, 0, 0, 0]


def test_a_prototype_that_was_not_scored_on_a_wanted_attribute_cannot_be_ranked():
    study = target_study(TRUTH)
    scores = study.scores
    scores = scores.loc[~((scores["prototype"] == "P3") & (scores["attribute"] == "SOFT"))].reset_index(drop=True)
    found = judged(target_study(TRUTH, scores=scores), draws=200)
    assert np.isnan(found.desirability[2])
    assert np.isnan(found.chance_all[2])
    row = cell(found.rows, "SOFT", "P3")
    assert np.isnan([row["met"], row["chance"], row["chance_versus"]]).all()


def test_distance_is_how_far_outside():
    value = np.array([[20.0, 35.0, 50.0, np.nan]])
    found = window_distance(value, np.array([[30.0]]), np.array([[40.0]]))
    assert found[0] == pytest.approx([10, 0, 10, np.nan], nan_ok=True)
    assert window_distance(value, np.array([[np.nan]]), np.array([[40.0]]))[0, :3].tolist() == [0, 0, 10]
