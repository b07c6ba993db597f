"""Which swaps a set of blends consists of, and where any blend lies in terms of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.stats.formulas.composition import EXACT_ALIAS_THRESHOLD, alias_groups, independent_moves
from panel.study.formulas import SAME_AMOUNT
from panel.study.study import Study
from panel.study.swaps import swap_table

Floats = NDArray[np.float64]
_SWAP = ["swap", "removed", "added", "percent"]


@dataclass(frozen=True, eq=False, slots=True)
class Moves:
    """Independent ways in which the blends differ.

    Parameters
    ----------
    kind
        `swaps`: each move is a swap of emollients of its own, 0 without it and 1 with all of it; `amounts`: the blends
        differ in other ways, and the moves are their principal directions.
    names
        Labels of the swaps, or numbers of the directions.
    origin, directions
        A blend with the coordinates z has the amounts origin + z @ directions (per cent of the formula).
    """

    kind: Literal["swaps", "amounts"]
    names: tuple[str, ...]
    origin: Floats
    directions: Floats

    def coordinates(self, amounts: Floats) -> tuple[Floats, Floats]:
        """Return coordinates (blends x moves) of amounts (blends x emollients), and how far off the moves each lies."""
        shift = np.atleast_2d(amounts) - self.origin
        z = np.linalg.lstsq(self.directions.T, shift.T, rcond=None)[0].T
        off: Floats = np.abs(shift - z @ self.directions).max(axis=1, initial=0.0)
        return np.asarray(z, dtype=float), off


def held_swaps(study: Study, amounts: pd.DataFrame, base: str) -> pd.DataFrame:
    """Return the swaps that the blends hold: `swap removed added percent n_pairs`.

    Those seen in matched pairs, and two emollients of which one always goes as the other comes, at equal mass,
    without a matched pair (as in a half fraction): `n_pairs` 0, pointing away from the base.
    """
    paired = swap_table(study)
    held = set(amounts.columns)
    paired = paired.loc[[{*ends} <= held for ends in zip(paired["removed"], paired["added"], strict=True)]]
    known = {frozenset(ends) for ends in zip(paired["removed"], paired["added"], strict=True)}
    values = amounts.to_numpy(dtype=float)
    in_base = amounts.loc[[base]].to_numpy(dtype=float)[0]
    aliases = alias_groups(values, EXACT_ALIAS_THRESHOLD)
    names = [str(name) for name in amounts.columns]
    rows = []
    for group in range(aliases.group.max(initial=-1) + 1):
        members = np.flatnonzero(aliases.group == group)
        if members.size != 2 or frozenset(names[m] for m in members) in known:
            continue
        spread = np.ptp(values[:, members], axis=0)
        if aliases.sign[members].prod() > 0 or abs(spread[0] - spread[1]) > SAME_AMOUNT:
            continue
        removed, added = sorted(members, key=lambda member: -float(in_base[member]))
        rows.append(
            (f"{names[removed]} -> {names[added]}", names[removed], names[added], round(float(spread[0]), 2), 0)
        )
    unpaired = pd.DataFrame(rows, columns=[*_SWAP, "n_pairs"]).astype(paired.dtypes.to_dict())
    return pd.concat([paired, unpaired], ignore_index=True)


def find_moves(amounts: pd.DataFrame, base: str, swaps: pd.DataFrame, rounding: float = SAME_AMOUNT) -> Moves:
    """Return the moves of these blends (per cent of the formula): their swaps where these are all that differs.

    Swaps that share an emollient trade its mass among them, so that one cannot be made wholly whatever the others are;
    then the moves are directions.
    """
    values = amounts.to_numpy(dtype=float)
    found = independent_moves(values, rounding)
    chosen: list[int] = []
    steps = swap_steps(amounts, swaps)
    for row in range(len(steps)):
        if np.linalg.matrix_rank(steps[[*chosen, row]]) == len(chosen) + 1:
            chosen.append(row)
    origin = amounts.loc[base].to_numpy(dtype=float)
    used = [name for end in ("removed", "added") for name in swaps[end].iloc[chosen]]
    if len(chosen) == found.count and len(set(used)) == len(used):
        moves = Moves("swaps", tuple(swaps["swap"].iloc[chosen]), origin, steps[chosen])
        if (moves.coordinates(values)[1] <= 2 * SAME_AMOUNT).all():
            return moves
    _, singular, directions = np.linalg.svd(values - values.mean(axis=0), full_matrices=False)
    kept = directions[: found.count] * (singular[: found.count, None] / np.sqrt(len(values)))
    names = tuple(f"direction {number + 1}" for number in range(found.count))
    return Moves("amounts", names, values.mean(axis=0), kept)


def swap_steps(amounts: pd.DataFrame, swaps: pd.DataFrame) -> Floats:
    """Return for each swap the change of every emollient, per cent of the formula (swaps x emollients)."""
    place = {str(name): column for column, name in enumerate(amounts.columns)}
    steps = np.zeros((len(swaps), len(place)))
    for row, swap in enumerate(swaps.to_dict("records")):
        steps[row, place[swap["added"]]] += swap["percent"]
        steps[row, place[swap["removed"]]] -= swap["percent"]
    return steps
