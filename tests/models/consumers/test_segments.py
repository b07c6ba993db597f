"""Groups of consumers: one group where one is, the hidden groups of the demo's generator, and what is refused.

The hidden groups count as found when two groups or more are believed and, among the consumers of the two main hidden
kinds, the adjusted Rand index of the groups with the kinds is at least `SEPARATED`: about five of six people in their
own group. `benchmarks/segments.py` does the same with 500 panels.
"""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from sklearn.metrics import adjusted_rand_score

from panel.errors import ModelError
from panel.models.consumers.segments import _MOST_DRAWN, divided_pairs, find_segments
from tests.consumer_studies import answers_study, demo_panel, one_group_panel

SEPARATED = 0.4
PANELS = 12


def found_in(table, seed=1):
    return find_segments(answers_study(table), np.random.default_rng(seed))


def separation(found, kinds):
    """Return the adjusted Rand index among grouped consumers of the two main kinds."""
    segment = found.consumers["segment"].to_numpy()
    chosen = (segment > 0) & np.isin(kinds, ["dry touch", "comfort"])
    return adjusted_rand_score(kinds[chosen], segment[chosen])


@pytest.mark.parametrize("spread", ["even", "by consumer", "by prototype", "both", "ceiling"])
def test_one_group_is_called_one_group(spread):
    told = [
        found_in(one_group_panel(np.random.default_rng([1, seed]), spread), seed).n_groups for seed in range(PANELS)
    ]
    assert np.mean(np.array(told) == 1) >= 0.9


def test_the_two_main_hidden_groups_are_found():
    good = 0
    for seed in range(PANELS):
        table, kinds = demo_panel(seed)
        found = found_in(table, seed)
        good += found.n_groups >= 2 and separation(found, kinds) >= SEPARATED
    assert good / PANELS >= 0.8


def test_what_a_group_likes_and_which_pairs_divide_them():
    rng = np.random.default_rng(3)
    taste = np.array([1.5, 1.5, 0.0, -1.5, -1.5])
    kind = np.arange(60) < 36
    table = np.clip(np.rint(5.5 + np.where(kind[:, None], taste, -taste) + rng.normal(0, 1, (60, 5))), 1, 9)
    table[5, 0] = table[40, 3] = np.nan  # four of five prototypes are enough
    found = found_in(table)
    assert found.n_groups == 2
    segment = found.consumers["segment"].to_numpy()
    assert (segment[kind] == 1).mean() > 0.9  # the larger one comes first
    means = found.means.set_index(["segment", "prototype"])["estimate"]
    assert means[1, "P1"] > means[1, "P5"]
    assert means[2, "P1"] < means[2, "P5"]
    own = table[segment == 2]
    assert means[2, "P2"] == pytest.approx(np.nanmean(own[:, 1]), abs=0.05)  # a gap moves it a little
    best = found.means.loc[found.means["favourite"]].groupby("segment")["prototype"].apply(set)
    assert {"P1", "P2"} <= best[1]
    assert {"P4", "P5"} <= best[2]
    assert found.alike["correlation"].iloc[0] < -0.8
    pairs = set(zip(found.divided["prototype"], found.divided["versus"], strict=True))
    assert all(len(rows) == 2 for _, rows in found.divided.groupby(["prototype", "versus"]))
    assert all(np.sign(rows["estimate"]).nunique() == 2 for _, rows in found.divided.groupby(["prototype", "versus"]))
    assert ("P2", "P1") not in pairs  # both groups like these two alike
    assert any("found in the same answers" in note for note in found.notes)
    ends = {
        "segment": [1, 2, 1],
        "estimate": [2.0, -2.0, 0.5],
        "ci_low": [1.0, -3.0, -0.5],
        "ci_high": [3.0, -1.0, 1.5],
    }
    told = divided_pairs(
        replace(found, divided=pd.DataFrame({"prototype": "P1", "versus": "P5", **ends})), ("P1", "P5")
    )
    assert told["leaning"].tolist() == ["prefers", "prefers", "leans to"]  # the interval leaves out nought
    assert told["n"].tolist() == found.means.groupby("segment")["n"].max().loc[[1, 2, 1]].tolist()


def test_more_strongly_is_not_differently():
    # half of the people use the scale three times as widely; whatever is found, the groups like the same prototypes
    rng = np.random.default_rng(4)
    means = np.array([-1.2, -0.8, -0.2, 0.2, 0.8, 1.2])
    wide = np.where(np.arange(60) % 2 == 0, 2.4, 0.8)[:, None]
    found = found_in(np.clip(np.rint(5 + wide * means + rng.normal(0, 0.8, (60, 6))), 1, 9))
    assert found.n_groups > 1
    assert found.alike["correlation"].min() > 0.9


def test_groups_of_one_taste_divide_nobody():
    # known truth: all want the same, half use a quarter of the scale; where two prototypes lie near each other that
    # half leans either way by chance, and 5 of these 10 studies told of a pair that divides people
    rng, means = np.random.default_rng(12), np.array([-1.2, -0.6, 0.0, 0.3, 0.6, 0.9])
    wide = np.where(np.arange(60) % 2 == 0, 2.0, 0.5)[:, None]
    for _ in range(10):
        found = found_in(np.clip(np.rint(5 + wide * means + rng.normal(0, 0.8, (60, 6))), 1, 9))
        assert found.alike["same_taste"].all()
        assert found.divided.empty


def test_consumers_with_too_few_prototypes_are_left_out_and_counted():
    table, _ = demo_panel(5)
    found = found_in(table)
    gapped = np.isfinite(table).sum(axis=1) < 6
    assert found.left_out["n"].tolist() == [4] * int(gapped.sum())
    assert (found.consumers["segment"] == 0).sum() == gapped.sum() == 3
    assert any("3 of 60 consumers tried fewer than 6" in note for note in found.notes)


def test_few_consumers_are_never_grouped():
    table, _ = demo_panel(6)
    found = found_in(table[:30])
    assert found.n_groups == 1
    assert found.steps.empty
    assert "fewer than 40" in found.why_one
    assert set(found.means["segment"]) == {1}


def test_incomplete_blocks_are_said_to_be_too_little():
    rng = np.random.default_rng(7)
    table = one_group_panel(rng, "even", 60, 8)
    for row in table:
        row[rng.permutation(8)[:4]] = np.nan
    found = found_in(table)
    assert found.n_groups == 1
    assert "0 consumers tried at least 6" in found.why_one


def test_many_consumers_are_all_grouped_and_the_draws_use_a_part():
    rng = np.random.default_rng(8)
    taste = np.array([1.0, 1.0, 0.0, -1.0, -1.0])
    kind = np.arange(3 * _MOST_DRAWN) % 3 == 0
    table = np.clip(np.rint(5.5 + np.where(kind[:, None], taste, -taste) + rng.normal(0, 1, (len(kind), 5))), 1, 9)
    found = found_in(table)
    assert found.n_groups == 2
    assert (found.consumers["segment"] > 0).all()
    assert ((found.consumers["segment"] == 2) == kind).mean() > 0.9
    assert any(f"use {_MOST_DRAWN} consumers" in note for note in found.notes)


def test_the_same_seed_gives_the_same_groups_and_levels_do_not_matter():
    table, _ = demo_panel(9)
    table = np.where(np.isfinite(table), np.clip(table, 2, 8), np.nan)
    first, again = found_in(table, 3), found_in(table, 3)
    pd.testing.assert_frame_equal(first.consumers, again.consumers)
    moved = table + np.where(np.arange(60) % 2 == 0, 1, -1)[:, None]
    pd.testing.assert_frame_equal(first.consumers, found_in(moved, 3).consumers)


def test_every_refusal_says_what_to_do():
    with pytest.raises(ModelError, match="from 4 prototypes on; consumers tried 3"):
        found_in(one_group_panel(np.random.default_rng(1), "even", 50, 3))
    with pytest.raises(ModelError, match="no liking answers"):
        find_segments(answers_study([[1, 0]], kind="check_all"), np.random.default_rng(1))
    with pytest.raises(ModelError, match="exactly the same pattern"):
        found_in(np.tile([3.0, 4.0, 6.0, 7.0], (50, 1)) + (np.arange(50) % 3)[:, None])
