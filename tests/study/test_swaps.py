"""Which pairs of prototypes are swaps, and which only look like one."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from panel.study.formulas import _PAIR_KINDS, formula_pairs, joint_changes, matched_pairs, swap_table
from panel.study.study import Study
from tests.formula_studies import (
    ALKANE,
    ALMOND,
    ARROW,
    BASE,
    CARBONATE,
    ISOSTEARATE,
    SHEA,
    SLOTS,
    TRIGLYCERIDE,
    hand_cream_formulas,
    study_of,
)


def kinds(study):
    pairs = formula_pairs(study)
    return {(row.prototype, row.versus): row.kind for row in pairs.itertuples()}


def cream(**emollients):
    """A formula with 80 per cent water and these per cent of: c(arbonate) a(lkane) t(riglyceride) i s(hea) n(ut)."""
    names = {"c": CARBONATE, "a": ALKANE, "t": TRIGLYCERIDE, "i": ISOSTEARATE, "s": SHEA, "n": ALMOND}
    return {"Aqua": 80.0, "Glycerin": 5.0} | {names[letter]: amount for letter, amount in emollients.items()}


def test_the_hand_cream_shows_each_of_its_three_swaps_in_four_pairs():
    study = study_of(hand_cream_formulas())
    swaps = swap_table(study).set_index("swap")
    assert swaps["n_pairs"].to_dict() == dict.fromkeys(ARROW, 4)  # a full plan of 2^3: four pairs per swap
    assert swaps["percent"].to_dict() == ARROW
    pairs = matched_pairs(study)
    assert pairs.columns.tolist() == ["removed", "added", "percent", "prototype", "versus", "swap"]
    for slot, (removed, added, percent) in enumerate(SLOTS):
        part = pairs.loc[pairs["removed"] == removed]
        expected = {(f"P{run + 1 + 2**slot}", f"P{run + 1}") for run in range(8) if not run >> slot & 1}
        assert set(zip(part["prototype"], part["versus"], strict=True)) == expected
        assert set(part["added"]) == {added}
        assert set(part["percent"]) == {percent}


def test_every_pair_is_told_once_and_the_swaps_are_those_at_distance_one():
    counts = formula_pairs(study_of(hand_cream_formulas()))["kind"].value_counts()
    assert counts.sum() == 28
    assert counts["swap"] == 12
    assert counts["several"] == 16  # two or three swaps at once, each of which also occurs alone


def test_swaps_point_away_from_the_benchmark_wherever_it_stands():
    roles = [{"prototype": f"P{n}", "role": "benchmark" if n == 8 else "prototype"} for n in range(1, 9)]
    pairs = matched_pairs(study_of(hand_cream_formulas(), prototypes=roles))
    assert {(row.removed, row.added) for row in pairs.itertuples()} == {(added, removed) for removed, added, _ in SLOTS}
    alkane = pairs.loc[pairs["removed"] == ALKANE]
    assert ("P7", "P8") in set(zip(alkane["prototype"], alkane["versus"], strict=True))


@given(st.permutations(range(8)))
def test_the_order_of_the_prototypes_turns_swaps_round_but_finds_the_same_pairs(order):
    formulas = list(hand_cream_formulas().items())
    pairs = matched_pairs(study_of(dict(formulas[place] for place in order)))
    found = {frozenset((row.prototype, row.versus)) for row in pairs.itertuples()}
    by_hand = {frozenset((f"P{i + 1}", f"P{j + 1}")) for i, j in combinations(range(8), 2) if (i ^ j).bit_count() == 1}
    assert found == by_hand
    assert len(set(pairs["swap"])) == 3  # each swap points one way only
    first = formulas[order[0]][0]  # the first prototype is the base: nothing it holds is ever added
    assert not set(pairs["added"]) & set(dict(formulas)[first])


@pytest.mark.parametrize(
    ("amount", "is_swap"), [(6.0, True), (6.005, True), (5.995, True), (6.01, False), (5.98, False)]
)
def test_masses_must_be_equal_within_half_a_hundredth(amount, is_swap):
    study = study_of({"P1": cream(c=6.0, t=9.0), "P2": cream(a=amount, t=9.0)})
    assert kinds(study)["P2", "P1"] == ("swap" if is_swap else "other")


def test_topping_up_with_water_is_no_swap():
    study = study_of({"P1": cream(c=6.0, t=9.0), "P2": cream(c=3.0, t=9.0) | {"Aqua": 83.0}})
    assert kinds(study)["P2", "P1"] == "water"
    row = formula_pairs(study).iloc[0]
    assert (row["removed"], row["added"], row["percent"]) == (CARBONATE, "Aqua", 3.0)
    assert matched_pairs(study).empty


def test_a_swap_with_a_change_elsewhere_is_no_swap():
    study = study_of({"P1": cream(c=6.0, t=9.0), "P2": cream(a=6.0, t=9.0) | {"Aqua": 79.9, "Glycerin": 5.1}})
    assert kinds(study)["P2", "P1"] == "other"


def test_a_missing_amount_makes_a_pair_unknown():
    study = study_of({"P1": cream(c=6.0, t=9.0), "P2": cream(a=6.0, t=9.0) | {"Aqua": np.nan}})
    assert kinds(study)["P2", "P1"] == "other"


def test_the_same_formula_twice_is_told():
    study = study_of({"P1": cream(c=6.0), "P2": cream(c=6.0)})
    assert kinds(study) == {("P2", "P1"): "same"}


def test_changes_that_never_come_apart_are_joint():
    study = study_of(
        {
            "P1": cream(c=6.0, t=5.0, n=4.0),
            "P2": cream(a=6.0, i=5.0, n=4.0),
            "P3": cream(c=6.0, t=5.0, s=4.0),
            "P4": cream(a=6.0, i=5.0, s=4.0),
        }
    )
    assert swap_table(study)["swap"].tolist() == [f"{ALMOND} → {SHEA}"]
    joint = joint_changes(study)
    assert set(joint["swap"]) == {f"{CARBONATE} + {TRIGLYCERIDE} → {ALKANE} + {ISOSTEARATE}"}
    assert set(zip(joint["prototype"], joint["versus"], strict=True)) == {("P2", "P1"), ("P4", "P3")}
    assert set(joint["percent"]) == {11.0}


def test_one_prototype_that_changes_one_of_them_alone_takes_the_joint_change_apart():
    study = study_of(
        {"P1": cream(c=6.0, t=5.0), "P2": cream(a=6.0, i=5.0), "P3": cream(a=6.0, t=5.0)},
    )
    assert joint_changes(study).empty
    assert kinds(study)["P2", "P1"] == "several"
    assert set(swap_table(study)["swap"]) == {f"{CARBONATE} → {ALKANE}", f"{TRIGLYCERIDE} → {ISOSTEARATE}"}


def test_a_swap_seen_only_beside_the_base_still_points_away_from_it():
    # P3 to P4 exchanges triglyceride and isostearate; the base P1 holds triglyceride, so that is what is removed.
    study = study_of(
        {"P1": cream(c=6.0, t=5.0), "P2": cream(a=6.0, t=5.0), "P3": cream(s=6.0, i=5.0), "P4": cream(s=6.0, t=5.0)}
    )
    pair = matched_pairs(study).set_index("swap").loc[f"{TRIGLYCERIDE} → {ISOSTEARATE}"]
    assert (pair["prototype"], pair["versus"]) == ("P3", "P4")


def test_one_emollient_split_into_two_is_a_joint_change():
    study = study_of({"P1": cream(c=6.0), "P2": cream(a=3.0, i=3.0)})
    assert joint_changes(study)["swap"].tolist() == [f"{CARBONATE} → {ALKANE} + {ISOSTEARATE}"]


def test_the_same_swap_at_several_amounts_says_which():
    study = study_of({"P1": cream(c=6.0), "P2": cream(c=3.0, a=3.0), "P3": cream(a=6.0)})
    table = swap_table(study).set_index("swap")
    swap = f"{CARBONATE} → {ALKANE}"
    assert table["percent"].to_dict() == {f"{swap}, 3 %": 3.0, f"{swap}, 6 %": 6.0}
    assert table["n_pairs"].to_dict() == {f"{swap}, 3 %": 1, f"{swap}, 6 %": 1}
    assert kinds(study)["P3", "P2"] == "further"


def test_each_amount_is_held_against_the_prototype_nearest_to_the_base():
    steps = {"P1": cream(c=9.0), "P2": cream(c=6.0, a=3.0), "P3": cream(c=3.0, a=6.0), "P4": cream(a=9.0)}
    pairs = matched_pairs(study_of(steps | {"P5": cream(c=9.0)}))
    assert {(row.prototype, row.versus): row.percent for row in pairs.itertuples()} == {
        (f"P{number}", base): 3.0 * number - 3 for number in (2, 3, 4) for base in ("P1", "P5")
    }
    beside = {"P6": cream(s=1.0, c=5.0, a=3.0), "P7": cream(s=1.0, c=2.0, a=6.0)}  # none of them is the base
    pairs = matched_pairs(study_of(steps | beside))
    assert ("P7", "P6") in set(zip(pairs["prototype"], pairs["versus"], strict=True))


def test_a_base_between_two_amounts_shows_each_way_by_itself():
    study = study_of({"P1": cream(c=3.0, a=3.0), "P2": cream(c=6.0), "P3": cream(a=6.0)})
    pairs = matched_pairs(study).set_index("swap")
    there, back = f"{CARBONATE} → {ALKANE}", f"{ALKANE} → {CARBONATE}"
    assert pairs["prototype"].to_dict() == {back: "P2", there: "P3"}
    assert set(pairs["versus"]) == {"P1"}


def test_half_of_a_joint_change_is_held_against_the_base_too():
    study = study_of({"P1": cream(c=6.0, t=6.0), "P2": cream(c=3.0, t=3.0, a=3.0, i=3.0), "P3": cream(a=6.0, i=6.0)})
    joint = joint_changes(study)
    assert dict(zip(joint["prototype"], joint["percent"], strict=True)) == {"P2": 6.0, "P3": 12.0}
    assert set(joint["versus"]) == {"P1"}


def test_a_study_without_formulas_has_no_pairs():
    for found in (formula_pairs, matched_pairs, joint_changes, swap_table):
        assert found(Study({})).empty
    assert set(formula_pairs(study_of(hand_cream_formulas()))["kind"]) <= set(_PAIR_KINDS)


def test_only_the_base_is_no_pair():
    assert formula_pairs(study_of({"P1": BASE})).empty
