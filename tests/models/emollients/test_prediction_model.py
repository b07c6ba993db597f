"""The model behind predictions: what it is chosen by, what it finds of a known truth, and when it refuses."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from panel.errors import ModelError
from panel.models.emollients.prediction_model import model_rows, prediction_model, swap_effects
from tests.blend_studies import DEMO, RUNS, SHARES, hand_cream, mixture_formulas, scored
from tests.formula_studies import ALKANE, ARROW, BASE, CARBONATE, ISOSTEARATE, TRIGLYCERIDE

TRUTH = Path(__file__).resolve().parents[3] / "data_demo" / "reading_room_truth.csv"
EFFECTS = np.array([[-15.0, -8.0, 7.0], [0.0, 0.0, 18.0]])
MODEL = prediction_model(hand_cream(EFFECTS))


def test_swap_effects_are_those_of_ordinary_least_squares_with_prototypes_as_the_units():
    found = swap_effects(MODEL).set_index(["attribute", "swap"])
    for attribute in MODEL.level.attributes:
        theirs = sm.OLS(MODEL.level.means[attribute].to_numpy(), sm.add_constant(RUNS)).fit()
        for number, swap in enumerate(ARROW):
            row = found.loc[(attribute, swap)]
            assert row["estimate"] == pytest.approx(theirs.params[number + 1])
            assert row["df"] == theirs.df_resid == 4
            # never below the panel's own error
            variance = max(theirs.mse_resid, MODEL.level.error.loc[attribute, "variance"])
            assert row["std_error"] == pytest.approx(np.sqrt(variance / 2))


def test_the_true_effects_lie_in_their_intervals():
    found = swap_effects(MODEL).set_index(["attribute", "swap"])
    for attribute, effects in zip(MODEL.level.attributes, EFFECTS, strict=True):
        for swap, effect in zip(ARROW, effects, strict=True):
            row = found.loc[(attribute, swap)]
            assert row["ci_low"] < effect < row["ci_high"]


def test_eight_hand_creams_are_predicted_from_their_swaps_alone():
    assert MODEL.terms == "swaps alone"
    assert MODEL.choice["model"].tolist() == ["swaps alone"]  # with interactions one blend would be left to spare
    assert MODEL.choice["df"].tolist() == [4]


def test_a_half_fraction_has_effects_though_no_pair_differs_by_one_swap():
    # 2^(4-1) would need a fourth slot; six of the eight hand creams without a full set of pairs
    model = prediction_model(hand_cream(EFFECTS, kept=[0, 3, 5, 6, 1, 7]))
    found = swap_effects(model).set_index(["attribute", "swap"])
    assert found.loc[("T2", list(ARROW)[2]), "estimate"] == pytest.approx(18, abs=5)


def test_a_curved_truth_is_met_by_a_curved_model_and_a_straight_one_by_the_straight():
    # Scheffé quadratic: the quadratic in two directions of three shares is the same model (Cornell 2002)
    straight = 30 + 40 * SHARES[:, 0]
    curved = straight + 80 * SHARES[:, 0] * SHARES[:, 1]
    formulas = mixture_formulas()
    both = [prediction_model(scored(formulas, [truth, truth], noise=2.0)) for truth in (straight, curved)]
    assert [model.terms for model in both] == ["swaps alone", "curved"]
    assert both[1].choice.set_index("model").loc["curved", "n_terms"] == 6
    assert both[1].choice["chosen"].tolist() == [False, True]


def test_the_curved_model_is_the_scheffe_model():
    from panel.stats.formulas.mixtures import fit_mixture

    formulas = mixture_formulas(total=12.0)
    truth = 30 + 40 * SHARES[:, 0] + 80 * SHARES[:, 0] * SHARES[:, 1]
    model = prediction_model(scored(formulas, [truth], noise=2.0))
    shares = model.level.amounts.to_numpy() / 12.0
    shares /= shares.sum(axis=1, keepdims=True)
    scheffe = fit_mixture(shares, model.level.means["T1"].to_numpy(), "quadratic")
    X = model.rows(model.level.amounts.to_numpy())
    # thirds are written to 0.01 %, so the two models see blends that differ in the fourth digit
    assert X @ model.fit.coefficients[:, 0] == pytest.approx(scheffe.fitted, abs=0.02)


def test_interactions_are_taken_where_they_are_there_and_can_be_afforded():
    # two swaps at three levels each: nine blends, enough for the product
    formulas, z = {}, []
    for a in (0.0, 3.0, 6.0):
        for b in (0.0, 2.5, 5.0):
            name = f"P{len(z) + 1}"
            lines = {CARBONATE: 6 - a, ALKANE: a, TRIGLYCERIDE: 5 - b, ISOSTEARATE: b}
            formulas[name] = BASE | {one: amount for one, amount in lines.items() if amount > 0} | {"Aqua": 75.85}
            z.append((a / 6, b / 5))
    z = np.array(z)
    truth = 50 + 5 * z[:, 0] + 25 * z[:, 0] * z[:, 1]
    model = prediction_model(scored(formulas, [truth] * 6, noise=2.0))
    assert model.terms == "swaps and their interactions"
    assert set(model.choice["model"]) == {"swaps alone", "swaps and their interactions", "curved"}


def test_rows_hold_ones_moves_products_and_squares_in_this_order():
    z = np.array([[2.0, 3.0]])
    assert model_rows(z, "swaps alone").tolist() == [[1, 2, 3]]
    assert model_rows(z, "swaps and their interactions").tolist() == [[1, 2, 3, 6]]
    assert model_rows(z, "curved").tolist() == [[1, 2, 3, 6, 4, 9]]


@pytest.mark.parametrize("kept", [[0, 1, 2, 4], [0, 1, 2, 4, 7]])
def test_too_few_blends_for_their_moves_are_refused(kept):
    with pytest.raises(ModelError, match="at least 6 are needed"):
        prediction_model(hand_cream(EFFECTS, kept=kept))


def test_the_method_says_what_was_done():
    assert "Least squares of the panel means of 8 blends on their swaps" in MODEL.method
    assert "predicts left-out prototypes best" in MODEL.method


def test_the_true_effects_of_the_demo_are_recovered_up_to_what_its_panel_hides():
    # the truth beside the demo; its panel compresses the scale (5 to 25 %) and holds an assessor who reverses one
    truth = pd.read_csv(TRUTH).set_index("attribute")
    found = swap_effects(prediction_model(DEMO)).set_index(["attribute", "swap"])
    for attribute in ("PU_FIRM", "AF_GREASE", "LA_RESID", "APP_SHAPE"):
        for letter, swap in zip("abc", ARROW, strict=True):
            effect = truth.loc[attribute, f"swap_{letter}"]
            row = found.loc[(attribute, swap)]
            assert row["ci_low"] - 0.25 * abs(effect) < effect < row["ci_high"] + 0.25 * abs(effect)
