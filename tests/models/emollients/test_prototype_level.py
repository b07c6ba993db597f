"""Prototypes as units: which take part, what their means and error are, and blends made twice."""

import numpy as np
import pytest

from panel.answers import NEXT, Answers
from panel.errors import ModelError
from panel.models.emollients.prediction_model import prototype_level
from panel.models.prototypes.differences import find_differences
from panel.study.editing import with_benchmark
from panel.views.emollients.next_prototype import tell_next
from tests.blend_studies import DEMO, hand_cream, scored
from tests.formula_studies import CARBONATE, hand_cream_formulas, study_of

STUDY = hand_cream([[-10, 5, 0], [0, 0, 12]])
LEVEL = prototype_level(STUDY)


def test_means_are_those_of_the_mixed_model_and_amounts_those_of_the_formulas():
    told = find_differences(STUDY)
    wide = told.means.pivot_table(index="prototype", columns="attribute", values="estimate", sort=False)
    assert LEVEL.means.to_numpy() == pytest.approx(wide.to_numpy())
    assert LEVEL.amounts.sum(axis=1).tolist() == pytest.approx([15] * 8)
    assert LEVEL.amounts.loc["P1", CARBONATE] == 6
    assert LEVEL.base == "P1"
    assert LEVEL.same_total


def test_the_panels_error_is_half_that_of_a_difference_and_f_follows_from_it():
    told = find_differences(STUDY)
    pair = told.pairs.loc[told.pairs["attribute"] == "T1"].iloc[0]
    assert LEVEL.panel_variance[0] == pytest.approx(pair["std_error"] ** 2 / 2)
    # balanced: F is the variance of the means over the panel's error
    f = LEVEL.means["T1"].var(ddof=1) / LEVEL.panel_variance[0]
    assert f == pytest.approx(told.attributes["statistic"].iloc[0], rel=1e-3)
    assert LEVEL.error.loc["T1", "statistic"] == pytest.approx(told.attributes["statistic"].iloc[0])


def test_a_prototype_with_another_base_takes_no_part():
    formulas = hand_cream_formulas()
    formulas["P8"] = formulas["P8"] | {"Glycerin": 8.0, "Aqua": 69.85}
    level = prototype_level(scored(formulas, np.full((1, 8), 50.0)))
    assert "P8" not in level.amounts.index
    assert any("Not of the same base" in note and "P8" in note for note in level.notes)


def test_a_benchmark_that_stands_alone_with_its_base_leaves_it_to_the_prototypes_to_say_what_the_base_is():
    formulas = hand_cream_formulas()
    formulas["P1"] = formulas["P1"] | {"Glycerin": 8.0, "Aqua": 69.85}
    truth = np.array([[60.0, *np.linspace(40, 70, 7)]])
    study = with_benchmark(scored(formulas, truth, noise=0.5, interaction=0.5), "P1")
    level = prototype_level(study)
    assert list(level.amounts.index) == [f"P{number}" for number in range(2, 9)]
    assert level.notes == ("Not of the same base, so without part here: P1.",)
    answers = Answers(study)
    assert answers.tell(tell_next, answers.need(NEXT)).headline


def test_water_that_makes_up_for_emollients_is_another_total():
    formulas = hand_cream_formulas()
    formulas["P8"] = formulas["P8"] | {"Aqua": 69.85, "C13-15 Alkane": 8.0}
    level = prototype_level(scored(formulas, np.full((1, 8), 50.0)))
    assert "P8" in level.amounts.index
    assert not level.same_total


def test_the_same_formula_twice_is_one_blend():
    formulas = hand_cream_formulas()
    formulas["P9"] = dict(formulas["P1"])
    truth = np.tile(np.r_[40.0, np.full(7, 50.0), 60.0], (1, 1))
    level = prototype_level(scored(formulas, truth, noise=0.5, interaction=0.5))
    assert level.amounts.index[0] == "P1 = P9"
    assert len(level.means) == 8
    assert level.means["T1"].iloc[0] == pytest.approx(level.each.loc[["P1", "P9"], "T1"].mean())
    assert any("taken together as one blend: P1 = P9" in note for note in level.notes)


def test_prototypes_without_scores_are_said():
    formulas = hand_cream_formulas()
    study = scored({name: formulas[name] for name in ("P1", "P2", "P3", "P4")}, np.full((1, 4), 50.0))
    more = study_of(formulas, scores=study.table("scores").to_dict("records"))
    assert any("without scores" in note and "P5, P6, P7, P8" in note for note in prototype_level(more).notes)


def test_the_demo_takes_part_wholly():
    level = prototype_level(DEMO)
    assert level.means.shape == (8, 14)
    assert level.notes == ()
    assert level.emollients[0] == CARBONATE
    assert level.base_amounts.sum() == pytest.approx(15)


def test_one_blend_made_twice_is_refused():
    formulas = {name: hand_cream_formulas()["P1"] for name in ("P1", "P2")}
    with pytest.raises(ModelError, match="Only 1 blend with a formula"):
        prototype_level(scored(formulas, np.array([[40.0, 60.0]])))


def test_two_blends_are_enough():
    formulas = hand_cream_formulas()
    level = prototype_level(scored({name: formulas[name] for name in ("P1", "P2")}, np.array([[40.0, 60.0]])))
    assert level.means.shape == (2, 1)


def test_formulas_without_emollients_are_refused():
    formulas = {name: {"Aqua": 90.0, "Glycerin": 10.0} for name in ("P1", "P2", "P3")}
    study = scored(formulas, np.array([[40.0, 50.0, 60.0]]))
    with pytest.raises(ModelError, match="No prototype has a complete formula with an emollient"):
        prototype_level(study)
