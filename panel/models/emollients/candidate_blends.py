"""Blends worth considering next: between those that were made, in steps one can weigh, not made yet."""

from __future__ import annotations

from itertools import combinations, product

import numpy as np
from numpy.typing import NDArray

from panel.models.emollients.prediction_model import PredictionModel
from panel.models.emollients.what_if import REGION_TOLERANCE
from panel.stats.formulas.blend_designs import rounded_to_total
from panel.stats.formulas.regions import hull_place

Floats = NDArray[np.float64]
# Parts of a swap that are tried; with many swaps only the middle, or there would be thousands of blends.
FINE, COARSE = (0.0, 0.25, 0.5, 0.75, 1.0), (0.0, 0.5, 1.0)
_MOST_FINE = 4


def candidate_blends(model: PredictionModel) -> Floats:
    """Return amounts (blends x emollients, per cent of the formula) inside the tested region that nobody made.

    Where the blends consist of swaps: every combination of parts of the swaps, a slot split between the two emollients
    among them. Otherwise: middles and quarters between any two blends, and the middle of all. Amounts are rounded to
    0.01 %.
    """
    tested = model.level.amounts.to_numpy(dtype=float)
    grid = _parts_of_swaps(model) if model.moves.kind == "swaps" else _between(tested, model)
    new = np.abs(grid[:, None] - tested[None]).max(axis=2).min(axis=1) > REGION_TOLERANCE
    grid = np.unique(grid[new].round(6), axis=0)
    if model.moves.kind == "swaps" and not _box_is_tested(model):
        grid = grid[[hull_place(tested, blend).distance <= REGION_TOLERANCE for blend in grid]]
    return grid.reshape(-1, tested.shape[1])


def _parts_of_swaps(model: PredictionModel) -> Floats:
    moves = model.moves
    count = len(moves.names)
    parts = np.array(list(product(FINE if count <= _MOST_FINE else COARSE, repeat=count)))
    mass = np.abs(moves.directions).max(axis=1)
    weighed = (parts * mass).round(2) / mass
    amounts = moves.origin + weighed @ moves.directions
    return amounts[(amounts >= -1e-9).all(axis=1)].clip(min=0)


def _between(tested: Floats, model: PredictionModel) -> Floats:
    pairs = list(combinations(range(len(tested)), 2))
    first, second = tested[[i for i, _ in pairs]], tested[[j for _, j in pairs]]
    points = [first + part * (second - first) for part in (0.25, 0.5, 0.75)]
    total = float(model.level.base_amounts.sum())
    points = [*points, tested.mean(axis=0)[None]]
    stacked = np.vstack(points)
    return rounded_to_total(stacked[np.abs(stacked.sum(axis=1) - total) <= REGION_TOLERANCE], total)


def _box_is_tested(model: PredictionModel) -> bool:
    """Return whether every combination of whole swaps was made, so that all between them is inside."""
    z, _ = model.moves.coordinates(model.level.amounts.to_numpy(dtype=float))
    made = {tuple(row) for row in z.round(6) + 0.0}
    return all(corner in made for corner in product((0.0, 1.0), repeat=z.shape[1]))
