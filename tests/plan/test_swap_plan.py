"""Plans of swaps: textbook designs, aliases, matched pairs, equal mass, and what is refused."""

from pathlib import Path

import pandas as pd
import pytest

from panel.errors import ModelError
from panel.plan.swap_plan import Swap, _planned_study, plan_swaps
from panel.study.formulas import formula, formula_percents
from panel.study.open_study import open_study
from tests.formula_studies import (
    ALKANE,
    ALMOND,
    CARBONATE,
    ISOSTEARATE,
    SHEA,
    TRIGLYCERIDE,
    hand_cream_formulas,
    study_of,
)

BASE = formula(study_of(hand_cream_formulas()), "P1")
THREE = [Swap(CARBONATE, ALKANE, 6.0), Swap(TRIGLYCERIDE, ISOSTEARATE, 5.0), Swap(ALMOND, SHEA, 4.0)]
FOUR = [Swap(CARBONATE, ALKANE, 3.0), *THREE[1:], Swap(CARBONATE, "Isohexadecane", 3.0)]


def test_the_full_plan_of_the_demo_swaps_is_the_demo_study():
    study = open_study(Path(__file__).resolve().parents[2] / "data_demo" / "reading_room")
    plan = plan_swaps(formula(study, "P1"), THREE)
    theirs = formula_percents(study)
    ours = formula_percents(_planned_study(plan.prototypes, plan.formulas))
    pd.testing.assert_frame_equal(ours[theirs.columns], theirs, check_names=False)
    assert plan.prototypes["made"].tolist() == ["", "A", "B", "AB", "C", "AC", "BC", "ABC"]


def test_a_full_plan_tells_everything_apart():
    plan = plan_swaps(BASE, THREE)
    assert plan.n_moves == 3
    assert plan.aliases.empty
    assert plan.extra.empty
    assert plan.swaps["n_pairs"].tolist() == [4, 4, 4]
    assert plan.swaps["variance_inflation"].tolist() == pytest.approx([1, 1, 1])


def test_half_of_four_swaps_aliases_interactions_in_pairs():
    # Box, Hunter and Hunter: resolution IV, AB = CD, AC = BD, AD = BC; swaps clear of interactions in twos
    plan = plan_swaps(BASE, FOUR, "half")
    assert len(plan.prototypes) == 8
    groups = [set(part["effect"]) for _, part in plan.aliases.groupby("group")]
    assert groups == [{"AB", "CD"}, {"AC", "BD"}, {"AD", "BC"}]
    assert (plan.aliases["sign"] == 1).all()
    assert plan.swaps["n_pairs"].tolist() == [0, 0, 0, 0]
    assert any("no two prototypes" in note.lower() for note in plan.notes)


def test_half_of_three_swaps_aliases_each_swap_with_an_interaction():
    plan = plan_swaps(BASE, THREE, "half")
    groups = [part["effect"].tolist() for _, part in plan.aliases.groupby("group")]
    assert groups == [["A", "BC"], ["B", "AC"], ["C", "AB"]]
    # the base is in the half, so that A = -BC in -1 and +1
    assert plan.aliases["sign"].tolist() == [1, -1] * 3


def test_the_extra_prototype_sets_an_alias_free_and_makes_matched_pairs():
    plan = plan_swaps(BASE, FOUR, "half")
    best = plan.extra.iloc[0]
    assert best["rank_gain"] == 1
    assert best["n_pairs"] == 4
    assert len(best["made"]) == 1
    assert (plan.extra["rank_gain"] == 1).all()
    one = plan_swaps(BASE, THREE, "one at a time")
    assert one.extra.iloc[0]["made"] == "AB"
    assert one.extra.iloc[0]["rank_gain"] == 1


def test_one_at_a_time_rests_each_swap_on_one_pair():
    plan = plan_swaps(BASE, THREE, "one at a time")
    assert plan.prototypes["made"].tolist() == ["", "A", "B", "C"]
    assert plan.swaps["n_pairs"].tolist() == [1, 1, 1]
    assert plan.swaps["variance_inflation"].tolist() == pytest.approx([1.5] * 3)
    assert any("rests on one pair" in note for note in plan.notes)


@pytest.mark.parametrize(
    ("swaps", "kind", "words"),
    [
        ([], "full", "No swap was given"),
        (THREE[:2], "half", "at least three swaps"),
        ([THREE[0], THREE[0]], "full", "given twice"),
        ([Swap(CARBONATE, f"Ester {n}", 0.5) for n in range(7)], "full", "7 swaps need too many prototypes"),
        ([Swap(CARBONATE, "Aqua", 1.0)], "full", "water take up the difference"),
        ([Swap(CARBONATE, ALKANE, 4.0), Swap(CARBONATE, ISOSTEARATE, 4.0)], "full", "take more Dicaprylyl"),
    ],
)
def test_what_cannot_be_planned_is_refused(swaps, kind, words):
    with pytest.raises(ModelError, match=words):
        plan_swaps(BASE, swaps, kind)


def test_the_planned_study_names_its_base_as_benchmark():
    plan = plan_swaps(BASE, THREE)
    study = _planned_study(plan.prototypes, plan.formulas)
    assert study.benchmark == "P1"
    assert study.table("prototypes")["name"].tolist()[:3] == ["base", "A", "B"]
