"""Which swaps the blends hold, paired or not, and coordinates that give every blend back."""

import numpy as np
import pytest

from panel.models.emollients.descriptors import find_moves, held_swaps, swap_steps
from panel.models.emollients.prediction_model import prototype_level
from tests.blend_studies import SHARES, hand_cream, mixture_formulas, scored
from tests.formula_studies import ALKANE, ARROW, CARBONATE

FULL = hand_cream([[-10, 5, 0]])
HALF = hand_cream([[-10, 5, 0]], kept=[0, 3, 5, 6])  # P1, P4, P6, P7: no two differ by one swap


def swaps_and_moves(study):
    level = prototype_level(study)
    swaps = held_swaps(study, level.amounts, level.base)
    return level, swaps, find_moves(level.amounts, level.base, swaps)


def test_paired_swaps_are_those_of_the_study():
    _, swaps, moves = swaps_and_moves(FULL)
    assert swaps["swap"].tolist() == list(ARROW)
    assert swaps["n_pairs"].tolist() == [4, 4, 4]
    assert moves.kind == "swaps"
    assert moves.names == tuple(ARROW)


def test_swaps_without_a_pair_are_found_and_point_away_from_the_base():
    _, swaps, moves = swaps_and_moves(HALF)
    assert sorted(swaps["swap"]) == sorted(ARROW)
    assert swaps["n_pairs"].tolist() == [0, 0, 0]
    assert swaps["percent"].tolist() == [6.0, 5.0, 4.0]
    assert moves.kind == "swaps"


@pytest.mark.parametrize("study", [FULL, HALF], ids=["full", "half"])
def test_coordinates_are_one_for_a_swap_made_and_give_the_blend_back(study):
    level, _, moves = swaps_and_moves(study)
    amounts = level.amounts.to_numpy()
    z, off = moves.coordinates(amounts)
    assert off == pytest.approx(np.zeros(len(amounts)), abs=1e-9)
    assert z == pytest.approx(z.round(), abs=1e-9)
    assert z[0] == pytest.approx(np.zeros(3), abs=1e-9)
    assert moves.origin + z @ moves.directions == pytest.approx(amounts)


def test_a_blend_that_leaves_the_moves_is_seen_to():
    level, _, moves = swaps_and_moves(FULL)
    amounts = level.base_amounts.copy()
    amounts[level.emollients.index(ALKANE)] = 2.0  # two per cent more, nothing taken away
    assert moves.coordinates(amounts)[1][0] > 0.5


def test_blends_that_vary_freely_move_along_their_principal_directions():
    study = scored(mixture_formulas(), np.full((1, len(SHARES)), 50.0))
    level, swaps, moves = swaps_and_moves(study)
    assert moves.kind == "amounts"
    assert len(moves.names) == 2
    z, off = moves.coordinates(level.amounts.to_numpy())
    # formulas are written to 0.01 %, so thirds do not quite add up
    assert off.max() < 0.02
    assert moves.origin + z @ moves.directions == pytest.approx(level.amounts.to_numpy(), abs=0.02)
    assert swap_steps(level.amounts, swaps).shape == (len(swaps), 3)


def test_steps_of_a_swap_add_up_to_nothing():
    level, swaps, _ = swaps_and_moves(FULL)
    steps = swap_steps(level.amounts, swaps)
    assert steps.sum(axis=1) == pytest.approx(np.zeros(3))
    assert steps[0, level.emollients.index(CARBONATE)] == -6
    assert steps[0, level.emollients.index(ALKANE)] == 6
