"""Mixture models of blends that vary continuously, and why swaps in or out get none."""

import numpy as np
import pytest

from panel.models.emollients.prediction_model import mixture_links, prototype_level
from panel.stats.formulas.mixtures import fit_mixture, lack_of_fit
from tests.blend_studies import DEMO, SHARES, hand_cream, mixture_formulas, scored

STRAIGHT = 30 + 40 * SHARES[:, 0]
CURVED = STRAIGHT + 60 * SHARES[:, 0] * SHARES[:, 1]
STUDY = scored(mixture_formulas(), [STRAIGHT, CURVED], noise=2.0, interaction=1.0)
LEVEL = prototype_level(STUDY)
FOUND = mixture_links(LEVEL)[0].set_index(["attribute", "model"])


def shares_of(level):
    amounts = level.amounts.to_numpy()
    return amounts / amounts.sum(axis=1, keepdims=True)


def test_swaps_in_or_out_get_no_mixture_model():
    assert "no emollient takes three different amounts" in mixture_links(prototype_level(DEMO))[1]


def test_blends_that_vary_freely_get_one():
    assert mixture_links(LEVEL)[1] == ""
    assert set(FOUND.index.get_level_values("model")) == {"linear", "quadratic"}
    assert set(FOUND["form"]) == {"scheffe"}


@pytest.mark.parametrize("model", ["linear", "quadratic"])
def test_numbers_are_those_of_the_scheffe_fit(model):
    fit = fit_mixture(shares_of(LEVEL), LEVEL.means["T2"].to_numpy(), model)
    row = FOUND.loc[("T2", model)]
    assert row["statistic"] == pytest.approx(fit.statistic)
    assert row["df_error"] == fit.df_error
    y = LEVEL.means["T2"].to_numpy()
    assert row["q2"] == pytest.approx(1 - np.square(y - fit.left_out).sum() / np.square(y - y.mean()).sum())


def test_what_a_straight_model_misses_of_a_curve_is_seen():
    assert FOUND.loc[("T2", "linear"), "lack_p"] < 0.05
    assert FOUND.loc[("T1", "linear"), "lack_p"] > 0.05
    assert FOUND.loc[("T2", "quadratic"), "lack_p"] > 0.05
    assert FOUND.loc[("T2", "quadratic"), "q2"] > FOUND.loc[("T2", "linear"), "q2"]
    assert set(FOUND["lack_against"]) == {"panel"}


def test_blends_made_twice_say_what_batches_do():
    formulas = mixture_formulas()
    formulas |= {f"R{n}": dict(formulas[f"M{n}"]) for n in (1, 2, 7)}
    truth = np.append(CURVED, CURVED[[0, 1, 6]])
    level = prototype_level(scored(formulas, [truth], noise=2.0, interaction=1.0))
    row = mixture_links(level)[0].set_index("model").loc["linear"]
    assert row["lack_against"] == "repeats"
    names = [name for label in level.means.index for name in label.split(" = ")]
    shares = np.repeat(shares_of(level), [len(label.split(" = ")) for label in level.means.index], axis=0)
    y = level.each.loc[names, "T1"].to_numpy()
    statistic, _, df_error, _ = lack_of_fit(shares, y, fit_mixture(shares, y, "linear"))
    assert row["lack_statistic"] == pytest.approx(statistic)
    assert row["lack_df_error"] == df_error == 3


def test_water_that_takes_up_the_change_makes_it_a_slack_model():
    totals = [12.0, 12.0, 12.0, 10.0, 14.0, 12.0, 12.0, 10.0, 14.0, 12.0]
    level = prototype_level(scored(mixture_formulas(filler=totals), [STRAIGHT], noise=2.0))
    assert mixture_links(level)[1] == ""
    assert set(mixture_links(level)[0]["form"]) == {"slack"}
    assert mixture_links(level)[0]["n_terms"].tolist() == [4]  # four components: the three and what fills up


def test_too_few_blends_are_said():
    formulas = {name: lines for name, lines in mixture_formulas().items() if name in ("M1", "M2", "M3", "M4", "M5")}
    level = prototype_level(scored(formulas, [STRAIGHT[:5]]))
    assert mixture_links(level)[1] == "a mixture model of 3 emollients needs at least 6 blends, there are 5"


def test_slots_that_trade_places_are_said():
    # two slots at three levels each: four emollients, two independent ways
    formulas = {}
    from tests.formula_studies import ALKANE, BASE, CARBONATE, ISOSTEARATE, TRIGLYCERIDE

    for number, (a, b) in enumerate([(0, 0), (3, 0), (6, 0), (0, 2.5), (3, 2.5), (6, 5), (0, 5)]):
        lines = {CARBONATE: 6 - a, ALKANE: a, TRIGLYCERIDE: 5 - b, ISOSTEARATE: b}
        formulas[f"P{number}"] = BASE | {name: amount for name, amount in lines.items() if amount} | {"Aqua": 75.85}
    level = prototype_level(scored(formulas, np.full((1, 7), 50.0)))
    assert "vary in 2 independent ways only" in mixture_links(level)[1]


def test_a_swap_at_one_amount_only_is_no_mixture():
    assert mixture_links(prototype_level(hand_cream([[1, 2, 3]])))[1] != ""
