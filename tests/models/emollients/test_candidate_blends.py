"""Candidates: between what was made, weighable, new, and all of them inside."""

import numpy as np
import pytest

from panel.models.emollients.next_prototype import _candidate_blends
from panel.models.emollients.prediction_model import prediction_model
from panel.stats.formulas.composition import hull_place
from tests.blend_studies import DEMO, SHARES, hand_cream, mixture_formulas, scored
from tests.formula_studies import ALMOND, SHEA

FULL = prediction_model(DEMO)
SIX = prediction_model(hand_cream([[-10, 5, 3]], kept=range(7)))
MIXTURE = prediction_model(scored(mixture_formulas(), np.full((1, len(SHARES)), 50.0)))


@pytest.mark.parametrize("model", [FULL, SIX, MIXTURE], ids=["full", "six", "mixture"])
def test_every_candidate_is_inside_new_weighable_and_of_the_same_total(model):
    found, tested = _candidate_blends(model), model.level.amounts.to_numpy()
    assert len(found) > 3
    for blend in found[:: max(1, len(found) // 20)]:
        assert hull_place(tested, blend)[0] <= 0.0101
    assert np.abs(found[:, None] - tested[None]).max(axis=2).min() > 0.01
    assert found * 100 == pytest.approx((found * 100).round(), abs=1e-6)
    assert found.sum(axis=1) == pytest.approx(np.full(len(found), tested[0].sum()), abs=0.011)
    assert (found >= 0).all()


def test_a_full_plan_of_three_swaps_gives_every_combination_of_quarters_but_the_corners():
    assert len(_candidate_blends(FULL)) == 5**3 - 2**3


def test_the_slow_slot_split_between_almond_and_shea_is_among_them():
    place = [FULL.level.emollients.index(name) for name in (ALMOND, SHEA)]
    splits = {tuple(row) for row in _candidate_blends(FULL)[:, place].tolist()}
    assert {(3.0, 1.0), (2.0, 2.0), (1.0, 3.0)} <= splits


def test_a_corner_that_was_not_made_is_no_candidate():
    corner = SIX.moves.origin + SIX.moves.directions.sum(axis=0)
    assert np.abs(_candidate_blends(SIX) - corner).max(axis=1).min() > 0.5
