"""Pairs: what counts as told apart, by the panel, by consumers, and overall."""

import numpy as np
import pandas as pd
import pytest

from panel.models.decision.contenders import AHEAD, BEHIND, OPPOSED, LikingDraws, _ahead_of, judge_pairs
from panel.models.prototypes.verdict import CANNOT_TELL

NAMES = ("P1", "P2", "P3")


def draws(means, sd, seed=1):
    return np.array(means) + np.random.default_rng(seed).normal(0, sd, (4000, len(means)))


def liking(means, sd=0.1, names=NAMES):
    rows = pd.DataFrame({"prototype": names, "estimate": means})
    pairs = [(one, other) for one in range(len(names)) for other in range(one)]
    apart = [means[one] - means[other] for one, other in pairs]
    differences = pd.DataFrame(
        {
            "prototype": [names[one] for one, _ in pairs],
            "versus": [names[other] for _, other in pairs],
            "estimate": apart,
            "ci_low": np.array(apart) - 3 * sd,
            "ci_high": np.array(apart) + 3 * sd,
            "verdict": np.where(np.abs(apart) > 3 * sd, "differs", "cannot tell"),
        }
    )
    return LikingDraws(tuple(names), rows, differences, draws(means, sd, seed=2), "liking", 60)


def judged(means, sd=0.01, consumers=None):
    return judge_pairs(NAMES, np.array(means), draws(means, sd), consumers)


def verdicts(frame, column):
    return dict(zip(zip(frame["prototype"], frame["versus"], strict=True), frame[column], strict=True))


def test_far_apart_is_ahead_and_close_cannot_be_told():
    found = judged([0.9, 0.89, 0.5])
    assert verdicts(found, "panel") == {("P1", "P2"): CANNOT_TELL, ("P1", "P3"): AHEAD, ("P2", "P3"): AHEAD}
    assert verdicts(found, "overall") == verdicts(found, "panel")
    assert set(found["consumers"]) == {""}
    assert found["liking"].isna().all()


def test_the_chance_to_rank_above_counts_equal_draws_half():
    found = judge_pairs(("P1", "P2"), np.zeros(2), np.zeros((100, 2)), None)
    assert found["chance_above"].tolist() == [0.5]
    assert found["panel"].tolist() == [CANNOT_TELL]


def test_overall_needs_every_kind_of_evidence():
    panel = [0.9, 0.7, 0.5]
    assert verdicts(judged(panel, consumers=liking([7.0, 6.0, 5.0])), "overall")["P1", "P2"] == AHEAD
    assert verdicts(judged(panel, consumers=liking([6.0, 6.0, 5.0])), "overall")["P1", "P2"] == CANNOT_TELL
    assert verdicts(judged(panel, consumers=liking([5.0, 6.0, 7.0])), "overall")["P1", "P2"] == OPPOSED
    assert verdicts(judged(panel[::-1], consumers=liking([5.0, 6.0, 7.0])), "overall")["P1", "P2"] == BEHIND


def test_a_prototype_consumers_did_not_rate_cannot_be_ahead():
    found = judged([0.9, 0.7, 0.5], consumers=liking([7.0, 6.0], names=("P1", "P2")))
    assert verdicts(found, "consumers")["P1", "P3"] == "not tried"
    assert verdicts(found, "overall")["P1", "P3"] == CANNOT_TELL


def test_what_cannot_be_ranked_is_told_apart_from_nobody():
    means = np.array([0.9, np.nan, 0.5])
    found = judge_pairs(NAMES, means, draws([0.9, 0.5, 0.5], 0.01) + 0 * means, None)
    assert verdicts(found, "panel") == {("P1", "P2"): CANNOT_TELL, ("P1", "P3"): AHEAD, ("P2", "P3"): CANNOT_TELL}


def test_equal_prototypes_are_told_apart_no_more_often_than_the_level_allows():
    # of panels in which all are alike, one in twenty may show some pair apart
    rng = np.random.default_rng(4)
    wrong = 0
    for _ in range(200):
        means = rng.normal(0, 0.05, 5)
        drawn = means + rng.normal(0, 0.05, (1000, 5))
        wrong += bool((judge_pairs(tuple("ABCDE"), means, drawn, None)["panel"] != CANNOT_TELL).any())
    assert wrong / 200 == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / 200))


def test_who_is_ahead_is_read_both_ways():
    frame = pd.DataFrame({"prototype": ["P1", "P1"], "versus": ["P2", "P3"], "overall": [AHEAD, BEHIND]})
    assert _ahead_of(frame) == {("P1", "P2"), ("P3", "P1")}
