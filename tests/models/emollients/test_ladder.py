"""The ladder on the demo, on smaller studies and on blends that vary: where it stops and why, and how quick it is."""

import time

import numpy as np
import pytest

from panel.errors import ModelError
from panel.models.emollients.ladder import find_ladder
from panel.models.emollients.swaps import trace_swaps
from panel.models.prototypes.differences import find_differences
from tests.blend_studies import DEMO, SHARES, hand_cream, mixture_formulas, scored
from tests.formula_studies import study_of


def climb(study, seed=1, draws=200):
    return find_ladder(study, rng=np.random.default_rng(seed), draws=draws)


LADDER = climb(DEMO)
EFFECTS = [[-15.0, -8.0, 7.0], [0.0, 0.0, 18.0], [0.0, 0.0, 0.0]]


def test_every_step_is_there_in_order_with_numbers_or_a_reason():
    assert list(LADDER.steps) == list(LADDER.stopped)
    for name, numbers in LADDER.steps.items():
        assert (len(numbers) > 0) != bool(LADDER.stopped[name])


def test_the_demo_stops_at_the_mixture_step_only():
    assert [name for name, why in LADDER.stopped.items() if why] == ["mixture"]


def test_verdicts_of_the_demo():
    # what a correct analysis of the demo concludes: swaps make the difference, no property may be named
    verdicts = LADDER.verdicts.set_index("attribute")
    assert (verdicts["driver"] == "").all()
    carbonate = "Dicaprylyl Carbonate → C13-15 Alkane"
    assert carbonate in verdicts.loc["AF_GREASE", "swaps"]
    # the shea butter was made on other days than the almond oil, so that it is never credited
    assert not verdicts[["swaps", "doubtful"]].apply(lambda column: column.str.contains("Butyrospermum")).any(axis=None)
    assert verdicts.loc["PU_FIRM", "along"].endswith("| making day")
    assert "Isopropyl Isostearate" in verdicts.loc["AF_STICK", "swaps"]
    assert (verdicts["verdict"] == "swaps").sum() >= 8


def test_known_swaps_are_found_and_a_null_attribute_gets_none():
    verdicts = climb(hand_cream(EFFECTS)).verdicts.set_index("attribute")
    assert verdicts.loc["T2", "swaps"].startswith("Prunus Amygdalus")
    assert verdicts.loc["T3", ["verdict", "swaps", "doubtful"]].tolist() == ["alike", "", ""]


def test_with_too_few_prototypes_the_upper_steps_say_why():
    ladder = climb(hand_cream(EFFECTS, kept=[0, 1, 2, 4]))
    assert "at least 6 are needed" in ladder.stopped["prototypes"]
    assert ladder.stopped["descriptors"].startswith("4 blends are too few")
    assert ladder.stopped["prediction"].startswith("4 blends are too few")
    assert ladder.named.empty
    assert len(ladder.steps["swaps"])
    assert set(ladder.verdicts["verdict"]) <= {"assessors", "unclear", "alike"}


def test_two_prototypes_climb_to_the_swap_and_no_further():
    ladder = climb(hand_cream(EFFECTS, kept=[0, 1]))
    assert [name for name, why in ladder.stopped.items() if why] == [
        "prototypes",
        "descriptors",
        "prediction",
        "mixture",
    ]
    assert ladder.verdicts.set_index("attribute").loc["T1", "verdict"] == "assessors"


def test_without_matched_pairs_the_swaps_step_stops_and_prototypes_decide():
    # half fraction of the three swaps and two more that are not one swap apart from any of them
    ladder = climb(hand_cream(EFFECTS, kept=[0, 3, 5, 6]))
    assert "no two prototypes differ by exactly one emollient swap" in ladder.stopped["swaps"]


def test_ingredients_nobody_knows_leave_no_property():
    base = {"Aqua": 80.0, "Glycerin": 5.0}
    mixtures = [(15, 0, 0), (0, 15, 0), (0, 0, 15), (7.5, 7.5, 0), (7.5, 0, 7.5), (5, 5, 5)]
    names = ("Ester One", "Ester Two", "Ester Three")
    formulas = {
        f"P{number}": base | {name: amount for name, amount in zip(names, row, strict=True) if amount}
        for number, row in enumerate(mixtures, start=1)
    }
    ladder = climb(scored(formulas, np.array([[40.0, 50, 60, 45, 50, 50]]), kinds=dict.fromkeys(names, "emollient")))
    why = "no property of these blends is known well enough and differs between them"
    assert ladder.stopped["descriptors"] == why
    assert ladder.stopped["prediction"] == why


def test_richness_alone_is_no_swap():
    # one emollient, more and more of it, water making up for it
    formulas = {f"P{n}": {"Aqua": 90.0 - n, "Squalane": 10.0 + n} for n in range(6)}
    ladder = climb(scored(formulas, np.array([[40.0, 42, 44, 46, 48, 50]])))
    assert ladder.stopped["prototypes"] == "the blends hold no swap whose effect could be told apart"
    assert any("richness and kind of emollient change together" in note for note in ladder.notes)
    assert set(ladder.steps["mixture"]["form"]) == {"slack"}


def test_blends_that_vary_climb_to_the_mixture_model():
    truth = 30 + 40 * SHARES[:, 0]
    ladder = climb(scored(mixture_formulas(), [truth]))
    assert ladder.stopped["mixture"] == ""
    assert set(ladder.steps["mixture"]["model"]) == {"linear", "quadratic"}


def test_prediction_speaks_the_agreed_words():
    assert {"attribute", "q2", "p_value", "floor"} <= set(LADDER.prediction.columns)
    assert climb(hand_cream(EFFECTS, kept=[0, 1, 2, 4])).prediction.empty


def test_answers_at_hand_are_used_and_give_the_same():
    told, swaps = find_differences(DEMO), trace_swaps(DEMO)
    again = find_ladder(DEMO, rng=np.random.default_rng(1), draws=200, differences=told, traced=swaps)
    assert again.prediction.equals(LADDER.prediction)
    assert again.verdicts.equals(LADDER.verdicts)


def test_notes_and_method_say_what_was_done():
    assert "The same property in these blends, so counted once" in LADDER.notes[0]
    assert any("Known for too little of the mass" in note for note in LADDER.notes)
    assert any("known from one batch only" in note for note in LADDER.notes)
    assert "200 other orders of the prototypes" in LADDER.method
    assert "said beforehand" in LADDER.method


def test_a_thousand_permutations_of_the_demo_are_quick():
    told, swaps = find_differences(DEMO), trace_swaps(DEMO)
    begin = time.perf_counter()
    find_ladder(DEMO, rng=np.random.default_rng(1), draws=1000, differences=told, traced=swaps)
    # the goal for the permutations alone is 2 s; the whole ladder takes about 0.1 s on a quiet machine
    assert time.perf_counter() - begin < 2.0


def test_a_study_without_scores_is_refused():
    with pytest.raises(ModelError, match="no scores"):
        climb(study_of({"P1": {"Aqua": 90.0}}))
