"""The preference map: constructed tastes are found, coverage of the direction, correlations, and what is refused."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom
from statsmodels.stats.multitest import multipletests

from panel.errors import ModelError
from panel.models.consumers.preference_map import (
    _direction_rows,
    _drawn,
    _ideal_rows,
    _share_rows,
    map_preferences,
)
from panel.models.consumers.segments import find_segments
from panel.stats.maps.links import needed_correlation
from panel.study.study import Study
from tests.consumer_studies import answers_study

POINTS = np.array([[-3, 1], [-1, -2], [1, 2], [3, -1], [-2, 3], [2, -3], [-3, -2], [3, 2]], dtype=float)
NAMES = [f"P{n + 1}" for n in range(8)]
PROFILES = pd.DataFrame({"greasy": 10 * POINTS[:, 0] + 50, "soft": 10 * POINTS[:, 1] + 50}, index=NAMES)


def panel_scores(profiles=PROFILES, seed=1):
    """Scores of six assessors around the profiles."""
    rng = np.random.default_rng(seed)
    rows = [
        (f"A{person}", prototype, attribute, value + rng.normal(0, 1), str(replicate))
        for person in range(6)
        for replicate in (1, 2)
        for prototype, profile in profiles.iterrows()
        for attribute, value in profile.items()
    ]
    return pd.DataFrame(rows, columns=["assessor", "prototype", "attribute", "score", "replicate"])


def study_of(liking, scores=None):
    answers = answers_study(liking).table("answers")
    return Study({"answers": answers, "scores": panel_scores() if scores is None else scores})


def two_tastes(rng, n=60):
    """Two thirds want less grease, one third more softness and grease."""
    first = np.arange(n) % 3 > 0
    slope = np.where(first[:, None], [-0.6, 0.0], [0.5, 0.4])
    return np.clip(np.rint(5.5 + slope @ POINTS.T + rng.normal(0, 1, (n, 8))), 1, 9)


def split(scores, rng):
    """The last four prototypes are scored in a session of their own, which lies as far away as it may."""
    late = scores["prototype"].isin(NAMES[4:])
    moved = scores["score"] + late * np.where(scores["attribute"] == "greasy", rng.normal(0, 20), rng.normal(0, 20))
    return scores.assign(score=moved, session=np.where(late, "2", "1"))


ALIKE = PROFILES * 0 + 50


def test_liking_that_goes_along_with_a_session_of_the_panel_goes_along_with_nothing():
    shown = {"split": 0, "one session": 0}
    for seed in range(8):
        rng = np.random.default_rng(seed)
        likes_the_late = 5.5 + 1.5 * (np.arange(8) > 3) + rng.normal(0, 0.2, 8)
        liking = np.clip(np.rint(likes_the_late + rng.normal(0, 1, (60, 8))), 1, 9)
        scores = panel_scores(ALIKE, seed)
        for name, rows in (("split", split(scores, rng)), ("one session", scores)):
            found = map_preferences(study_of(liking, rows), np.random.default_rng(2))
            shown[name] += found.sensations["shown"].any() or found.directions["clear"].any()
            if name == "split":
                assert found.sensations[["p_value", "p_adjusted", "told_low"]].isna().all(axis=None)
                assert found.notes[0].startswith("P1 and P5 were never served in one session")
    assert shown["split"] == 0
    assert shown["one session"] <= binom.isf(0.001, 8, 0.1)


def test_groups_are_one_family():
    study = study_of(two_tastes(np.random.default_rng(1)))
    found = map_preferences(study, np.random.default_rng(2))
    for rows, raw, adjusted in (
        (found.directions, "p_value", "p_adjusted"),
        (found.ideals, "curvature_p_value", "curvature_p_adjusted"),
    ):
        assert rows[adjusted].iloc[1:].tolist() == pytest.approx(multipletests(rows[raw].iloc[1:], method="holm")[1])
        assert rows[adjusted].iloc[0] == rows[raw].iloc[0]


def liked(own):
    return pd.DataFrame(own, columns=NAMES[: own.shape[1]])


def test_each_groups_direction_and_sensations():
    study = study_of(two_tastes(np.random.default_rng(1)))
    segments = find_segments(study, np.random.default_rng(2))
    assert segments.n_groups == 2
    found = map_preferences(study, np.random.default_rng(2), segments=segments)
    assert found.directions["segment"].tolist() == [0, 1, 2]
    assert found.directions["n_consumers"].tolist() == [60, 40, 20]
    assert (found.directions["angle_low"] <= found.directions["angle"]).all()
    assert (found.directions["angle"] <= found.directions["angle_high"]).all()
    r = found.sensations.set_index(["segment", "attribute"])
    assert r.loc[(1, "greasy"), "estimate"] < -0.95
    assert r.loc[(2, "greasy"), "estimate"] > 0.5
    assert r.loc[(2, "soft"), "estimate"] > r.loc[(1, "soft"), "estimate"]
    assert ((r["p_value"] < 0.05) == (r["estimate"].abs() > found.limit)).all()
    assert found.limit == pytest.approx(float(needed_correlation(8)))
    assert found.limit == pytest.approx(0.7067, abs=5e-5)  # tables of r: 6 degrees of freedom, 5 %, two-sided
    assert (r["n"] == 8).all()


def test_correlations_are_those_of_the_means():
    liking = two_tastes(np.random.default_rng(3))
    found = map_preferences(study_of(liking), np.random.default_rng(1))
    means = liking.mean(axis=0)
    for attribute in PROFILES:
        own = found.sensations.loc[(found.sensations["segment"] == 0) & (found.sensations["attribute"] == attribute)]
        scores = panel_scores().query("attribute == @attribute").groupby("prototype")["score"].mean()
        assert own["estimate"].iloc[0] == pytest.approx(np.corrcoef(means, scores)[0, 1], abs=1e-6)


def test_a_constructed_ideal_point_is_found():
    ideal = np.array([0.8, -0.5])
    own = np.tile(8 - 0.1 * ((POINTS - ideal) ** 2).sum(axis=1), (30, 1))
    row = _ideal_rows(0, liked(own), POINTS, _drawn(liked(own), 50, np.random.default_rng(1)))
    assert row["peak"]
    assert row["inside"]
    assert row["drawn_peak"] == 1
    assert (row["component_1"], row["component_2"]) == pytest.approx(tuple(ideal))
    assert (row["ci_low_1"], row["ci_high_1"]) == pytest.approx((0.8, 0.8))
    unsure = liked(own + np.random.default_rng(2).normal(0, 0.3, own.shape))
    row = _ideal_rows(0, unsure, POINTS, _drawn(unsure, 200, np.random.default_rng(1)))
    for part, truth in zip((1, 2), ideal, strict=True):
        assert row[f"ci_low_{part}"] < row[f"component_{part}"] < row[f"ci_high_{part}"]
        assert row[f"ci_low_{part}"] < truth < row[f"ci_high_{part}"]


def test_shares_of_consumers_by_hand():
    # two of three want more of the first component, one less: on the right two of three are above their own mean
    own = np.array([1, 1, -1])[:, None] * POINTS[:, 0]
    shares = _share_rows(pd.DataFrame(own, columns=NAMES), POINTS)
    mean = POINTS[:, 0].mean()
    right = shares.loc[shares["component_1"] > mean + 1e-6, "share"]
    left = shares.loc[shares["component_1"] < mean - 1e-6, "share"]
    assert right.tolist() == pytest.approx([2 / 3] * len(right))
    assert left.tolist() == pytest.approx([1 / 3] * len(left))
    assert len(right) > 50


def test_consumers_with_gaps_use_the_prototypes_they_tried():
    own = np.tile(POINTS[:, 0], (3, 1))
    own[1, [2, 5]] = np.nan
    own[2, :4] = np.nan  # four prototypes left: no model of his own
    shares = _share_rows(pd.DataFrame(own, columns=NAMES), POINTS)
    assert set(np.round(shares["share"], 9)) <= {0, 0.5, 1}
    few = _share_rows(pd.DataFrame(own[2:], columns=NAMES), POINTS)
    assert few.empty
    assert list(few.columns) == ["component_1", "component_2", "share"]


def test_the_interval_holds_the_direction_of_all_such_people():
    rng = np.random.default_rng(5)
    runs, held = 100, 0
    for _ in range(runs):
        slope = np.array([0.3, 0.2]) + rng.normal(0, 0.4, (60, 2))
        own = slope @ POINTS.T + rng.normal(0, 1.2, (60, 8))
        row = _direction_rows(0, liked(own), POINTS, _drawn(liked(own), 300, rng))
        truth = np.degrees(np.arctan2(0.2, 0.3))
        held += row["angle_low"] <= truth <= row["angle_high"]
    assert abs(held / runs - 0.95) < 4 * np.sqrt(0.05 * 0.95 / runs)  # four standard errors, seed fixed


def test_fewer_than_six_prototypes_are_refused():
    liking = two_tastes(np.random.default_rng(1))
    with pytest.raises(
        ModelError, match="at least 6 prototypes that the panel scored and consumers tried; there are 5"
    ):
        map_preferences(study_of(liking[:, :5]), np.random.default_rng(1))
    scores = panel_scores(PROFILES.iloc[:5])
    with pytest.raises(ModelError, match="there are 5"):
        map_preferences(study_of(liking, scores), np.random.default_rng(1))
    with pytest.raises(ModelError, match="no scores"):
        map_preferences(answers_study(liking), np.random.default_rng(1))


def test_few_consumers_give_one_group_and_a_map_for_all():
    found = map_preferences(study_of(two_tastes(np.random.default_rng(1), 20)), np.random.default_rng(1))
    assert found.directions["segment"].tolist() == [0]
    assert any("8 prototypes are 8 points" in note for note in found.notes)
    assert "vector model" in found.method


def test_the_same_seed_gives_the_same_map():
    study = study_of(two_tastes(np.random.default_rng(1)))
    first, again = (map_preferences(study, np.random.default_rng(3)) for _ in range(2))
    pd.testing.assert_frame_equal(first.directions, again.directions)
    pd.testing.assert_frame_equal(first.shares, again.shares)
