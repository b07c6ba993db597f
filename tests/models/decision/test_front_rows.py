"""The front of prototypes: the wanted direction of each attribute, and liking beside them."""

import numpy as np
import pandas as pd
import pytest

from panel.models.decision.contenders import LikingDraws
from panel.models.decision.decide import _front_rows
from panel.models.decision.wanted import target_profile
from panel.models.decision.windows import PanelDraws
from tests.models.decision.known_studies import target_study

NAMES = ("P1", "P2", "P3")
PROFILE = target_profile(target_study({"P1": (50, 50), "P2": (50, 50)}))  # little grease, much softness


def drawn(estimate, sd=0.0):
    estimate = np.array(estimate, float)
    noise = np.random.default_rng(1).normal(0, 1, (2000, *estimate.shape))
    one = np.ones_like(estimate)
    return PanelDraws(("GREASE", "SOFT"), NAMES, estimate, one, one, estimate + sd * noise, ())


def liking(means, names=NAMES):
    rows = pd.DataFrame({"prototype": names, "estimate": means})
    return LikingDraws(tuple(names), rows, rows.iloc[:0], np.tile(np.array(means, float), (2000, 1)), "liking", 60)


def test_less_is_better_below_a_limit_and_more_above_one():
    found = _front_rows(PROFILE, drawn([[30, 40, 50], [60, 70, 55]]), None)
    assert found["on_front"].tolist() == [1, 1, 0]
    assert found["beaten_by"].tolist() == ["", "", "P1, P2"]


def test_liking_can_keep_a_prototype_on_the_front():
    found = _front_rows(PROFILE, drawn([[30, 40, 50], [60, 70, 55]]), liking([5.0, 5.0, 6.0]))
    assert found["on_front"].tolist() == [1, 1, 1]


def test_between_two_limits_only_the_distance_from_the_window_counts():
    closed = target_profile(
        target_study({"P1": (50, 50), "P2": (50, 50)}, windows={"GREASE": (30, 40), "SOFT": (55, None)})
    )
    found = _front_rows(closed, drawn([[31, 39, 20], [60, 60, 60]]), None)
    assert found["on_front"].tolist() == [1, 1, 0]


def test_the_share_says_how_often_the_draws_agree():
    certain = _front_rows(PROFILE, drawn([[30, 40, 50], [70, 60, 55]]), None)
    assert certain["share"].tolist() == [1, 0, 0]
    doubtful = _front_rows(PROFILE, drawn([[30, 30, 50], [70, 70, 55]], sd=1.0), None)
    # of two alike, one beats the other on both attributes in a quarter of the draws
    assert doubtful["share"].tolist()[:2] == pytest.approx([0.75, 0.75], abs=0.04)


def test_what_is_not_known_beats_nobody_and_is_beaten_by_nobody():
    found = _front_rows(PROFILE, drawn([[30, 20, np.nan], [60, 70, 90]]), None)
    assert found["on_front"].tolist()[:2] == [0, 1]
    assert np.isnan(found["on_front"].iloc[2])
    rated = _front_rows(PROFILE, drawn([[30, 20, 50], [60, 70, 90]]), liking([5.0, 6.0], names=("P1", "P2")))
    assert np.isnan(rated["on_front"].iloc[2])
