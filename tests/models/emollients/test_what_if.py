"""What if: predictions inside the tested region, directions outside it, refusals, speed, and coverage."""

import time
from dataclasses import replace

import numpy as np
import pytest

from panel.errors import ModelError
from panel.models.emollients.prediction_model import model_of, prediction_model, prototype_level
from panel.models.emollients.predictions import study_targets, what_if
from tests.blend_studies import DEMO, RUNS, SHARES, hand_cream, mixture_formulas, scored
from tests.formula_studies import ALKANE, ALMOND, CARBONATE, ISOSTEARATE, SHEA, TRIGLYCERIDE, hand_cream_formulas

EFFECTS = np.array([[-15.0, -8.0, 7.0], [0.0, 0.0, 18.0]])
MADE = hand_cream(EFFECTS)
MODEL = prediction_model(MADE)
SPLIT = {ALKANE: 6.0, ISOSTEARATE: 5.0, ALMOND: 2.0, SHEA: 2.0}
# the base is absent from the six prototypes below: ABC lies outside what was tested
SIX = prediction_model(hand_cream(EFFECTS, kept=range(7)))
CORNER = {ALKANE: 6.0, ISOSTEARATE: 5.0, SHEA: 4.0}


def test_a_split_slot_is_predicted_half_way():
    told = what_if(MODEL, SPLIT)
    profile = told.profile.set_index("attribute")
    halves = [
        what_if(MODEL, SPLIT | other).profile.set_index("attribute")["estimate"]
        for other in ({ALMOND: 4, SHEA: 0}, {ALMOND: 0, SHEA: 4})
    ]
    assert told.inside
    assert profile["estimate"].tolist() == pytest.approx(((halves[0] + halves[1]) / 2).tolist())
    # the truth: 50 - 15 - 8 + 3.5 and 50 + 9, each in its interval
    for attribute, truth in (("T1", 30.5), ("T2", 59.0)):
        assert profile.loc[attribute, "ci_low"] < truth < profile.loc[attribute, "ci_high"]


def test_the_interval_is_wider_than_that_of_a_mean_and_holds_the_panels_error():
    profile = what_if(MODEL, SPLIT).profile
    assert (profile["std_error"] > np.sqrt(MODEL.level.panel_variance)).all()
    assert (profile["ci_high"] - profile["ci_low"] > 3.9 * np.sqrt(MODEL.level.panel_variance)).all()


def test_a_blend_that_was_made_is_named():
    assert what_if(MODEL, {ALKANE: 6, ISOSTEARATE: 5, ALMOND: 4}).made_as == "P4"
    assert what_if(MODEL, SPLIT).made_as == ""


def test_outside_the_region_there_is_a_direction_and_no_number():
    told = what_if(SIX, CORNER)
    assert not told.inside
    assert told.profile[["estimate", "std_error", "ci_low", "ci_high", "chance"]].isna().all(axis=None)
    # all three swaps: -16 on the first attribute, +18 on the second
    assert told.profile["direction"].tolist() == [-1, 1]
    assert any("Outside the tested region" in note for note in told.notes)


def test_moving_apart_what_always_changed_together_gives_not_even_a_direction():
    told = what_if(MODEL, {ALKANE: 3.0, CARBONATE: 3.0, TRIGLYCERIDE: 1.0, ISOSTEARATE: 4.0, ALMOND: 4.0})
    assert told.inside  # parts of the swaps that were made
    apart = what_if(MODEL, {ALKANE: 8.0, TRIGLYCERIDE: 3.0, ALMOND: 4.0})
    assert not apart.inside
    assert (apart.profile["direction"] == 0).all()
    assert any("moves emollients apart" in note for note in apart.notes)


def test_a_hundredth_of_a_per_cent_is_still_inside():
    assert what_if(MODEL, {ALKANE: 6.0, ISOSTEARATE: 5.0, SHEA: 4.01}).inside
    # outside by more than the rounding of formulas, inside the emollient total's tolerance only if it adds up
    assert not what_if(SIX, {ALKANE: 6.0, ISOSTEARATE: 5.0, SHEA: 3.0, ALMOND: 1.0}).inside


def test_windows_give_chances_that_add_up():
    low = what_if(MODEL, SPLIT, {"T1": (float("nan"), 30.0)}).profile.set_index("attribute")
    high = what_if(MODEL, SPLIT, {"T1": (30.0, float("nan"))}).profile.set_index("attribute")
    assert low.loc["T1", "chance"] + high.loc["T1", "chance"] == pytest.approx(1)
    assert np.isnan(low.loc["T2", "chance"])
    assert low.loc["T1", "target_high"] == 30


def test_names_may_be_written_in_other_ways():
    told = what_if(MODEL, {"c13-15 alkane": 6.0, "Isopropyl isostearate": 5.0, "Prunus Amygdalus Dulcis Oil": 4.0})
    assert told.made_as == "P4"


@pytest.mark.parametrize(
    ("blend", "words"),
    [
        (SPLIT | {"Squalane": 1.0}, "No prototype holds Squalane"),
        (SPLIT | {SHEA: -2.0}, "must be zero or more"),
        (SPLIT | {SHEA: float("nan")}, "must be zero or more"),
        (SPLIT | {SHEA: 3.0}, "add up to 16.00 %, the prototypes hold 15.00 %"),
    ],
)
def test_what_is_no_blend_of_the_tested_emollients_is_refused(blend, words):
    with pytest.raises(ModelError, match=words):
        what_if(MODEL, blend)


def test_a_richer_prototype_is_said():
    shares = SHARES.copy()
    study = scored(mixture_formulas(shares, filler=[12.0] * 9 + [14.0]), np.full((1, 10), 50.0))
    model = prediction_model(study)
    told = what_if(model, {CARBONATE: 6.0, TRIGLYCERIDE: 6.0})
    assert any("emollient total differs" in note for note in told.notes)


def test_after_a_slider_moves_the_answer_is_there_at_once():
    model, targets = prediction_model(DEMO), study_targets(DEMO)
    what_if(model, SPLIT, targets)  # imports
    begin = time.perf_counter()
    for _ in range(5):
        what_if(model, SPLIT, targets)
    assert (time.perf_counter() - begin) / 5 < 0.3


def test_intervals_hold_the_mean_the_panel_gives_a_new_blend():
    # 25 studies of the eight hand creams; a ninth, P4 with its slow slot split, is judged by the same panel but kept
    # from the model
    rng, within = np.random.default_rng(8), []
    formulas = hand_cream_formulas()
    split = {name: amount for name, amount in formulas["P4"].items() if name != ALMOND} | {ALMOND: 2.0, SHEA: 2.0}
    runs = np.vstack([RUNS, [1, 1, 0.5]])
    for seed in range(25):
        truth = 50 + rng.normal(0, 8, (4, 3)) @ runs.T
        level = prototype_level(scored(formulas | {"P9": split}, truth, seed=seed))
        others = replace(level, amounts=level.amounts.iloc[:8], means=level.means.iloc[:8])
        profile = what_if(model_of(MADE, others), SPLIT).profile
        outcome = level.means.loc["P9"].to_numpy()
        within += list((outcome >= profile["ci_low"]) & (outcome <= profile["ci_high"]))
    # 100 predictions at nominal 95 %: four standard errors are 9 %
    assert np.mean(within) >= 0.86
