"""Which swap did what: every effect held against what is wanted, as far as the design lets it be credited."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from string import ascii_uppercase
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from panel.checks.confounds import BATCH
from panel.models.emollients.swaps import TracedSwaps
from panel.models.prototypes.verdict import CANNOT_TELL, DIFFERS
from panel.stats.arrays import Array

if TYPE_CHECKING:
    from panel.models.decision.wanted import Profile

STANDS_OUT, GOES_ALONG = "stands out", "goes along with something else"
TOWARDS, AWAY = 1, -1


@dataclass(frozen=True, eq=False, slots=True)
class Causes:
    """The effects of all swaps on all attributes, side by side.

    Parameters
    ----------
    swaps
        One row per swap or joint change: `letter swap removed added percent n_pairs n_assessors goes_along one_batch
        earned`. `one_batch` is True where a prototype of its pairs is known from fewer than two batches; `earned` where
        the design lets a change be called what the swap did: orders known, nothing of the test or the making goes along
        even in part, and more than one pair of batches that share none.
    cells
        One row per attribute and swap: `attribute letter swap removed added percent estimate ci_low ci_high told_low
        told_high told_level p_value p_adjusted n_pairs n_assessors mark seen not_apart goes_along target_low
        target_high towards`. `mark` is `stands out`, `cannot tell`, or `goes along with something else`, where
        something is tied to the swap so that it is credited with nothing; `seen not_apart` as of the swaps. `towards`
        is 1 for a change the wanted way, -1 for one the other way, 0 for neither and for what is too small to matter,
        NaN where nothing is wanted.
    margins
        Attribute to the smallest difference that matters on it, as the study states it.
    """

    swaps: pd.DataFrame
    cells: pd.DataFrame
    margins: Mapping[str, float]
    method: str
    notes: tuple[str, ...]


def find_causes(traced: TracedSwaps, profile: Profile | None = None, means: pd.DataFrame | None = None) -> Causes:
    """Set the effects of the swaps side by side; with a `profile` and the panel's `means` also which way is wanted."""
    effects = pd.concat([part for part in (traced.swaps, traced.joint) if len(part)] or [traced.swaps])
    effects = effects.reset_index(drop=True)
    swaps = _swaps(effects, traced)
    letters = dict(zip(swaps["swap"], swaps["letter"], strict=True))
    tied = effects["goes_along"].ne("").to_numpy(bool)
    stands_out = effects["verdict"].eq(DIFFERS).to_numpy(bool)
    cells = effects.assign(
        letter=effects["swap"].map(letters).astype("str"),
        mark=np.select([tied, stands_out], [GOES_ALONG, STANDS_OUT], CANNOT_TELL),
    )
    return Causes(swaps, _with_targets(cells, traced, profile, means), traced.margins, traced.method, traced.notes)


def _swaps(effects: pd.DataFrame, traced: TracedSwaps) -> pd.DataFrame:
    members = traced.members
    rows = []
    for number, (swap, part) in enumerate(effects.groupby("swap", sort=False)):
        own = members.loc[members["swap"] == swap]
        one_batch = traced.confounds.one_batch
        one_pair = min(own["prototype"].nunique(), own["versus"].nunique()) < 2
        beside = traced.confounds.swaps
        untied = beside.loc[(beside["swap"] == swap) & (beside["factor"] != BATCH)].empty
        along = dict.fromkeys(factor for each in part["goes_along"] for factor in each.split(", ") if factor)
        rows.append(
            {
                "letter": _letter(number),
                **part.iloc[0][["swap", "removed", "added", "percent"]].to_dict(),
                "n_pairs": int(part["n_pairs"].max()),
                "n_assessors": int(part["n_assessors"].max()),
                "goes_along": ", ".join(along),
                "one_batch": one_batch,
                "earned": traced.confounds.order_known and untied and not (one_batch and one_pair),
            }
        )
    names = ("letter", "swap", "removed", "added", "percent", "n_pairs", "n_assessors")
    return pd.DataFrame(rows, columns=[*names, "goes_along", "one_batch", "earned"])


def _letter(number: int) -> str:
    """Return A, B, ... Z, A2, B2, ..."""
    again, place = divmod(number, len(ascii_uppercase))
    return ascii_uppercase[place] + (f"{again + 1}" if again else "")


def _with_targets(
    cells: pd.DataFrame, traced: TracedSwaps, profile: Profile | None, means: pd.DataFrame | None
) -> pd.DataFrame:
    """Return the cells with target and the way a change goes: judged from where the pairs stand without the swap.

    Where an attribute has no target window, what is wanted of it tells the way.
    """
    asked, change = cells["attribute"], cells["estimate"].to_numpy(float)
    way = asked.map(traced.directions).map({"more": 1.0, "less": -1.0}).to_numpy(float) * np.sign(change)
    if profile is None or means is None:
        return cells.assign(target_low=np.nan, target_high=np.nan, towards=_that_matters(way, cells, traced.margins))
    wanted = profile.wanted.set_index("attribute")
    low, high = (asked.map(wanted[end]).to_numpy(float) for end in ("target_low", "target_high"))
    mean = dict(zip(zip(means["attribute"], means["prototype"], strict=True), means["estimate"], strict=True))
    without = {str(swap): set(part["versus"]) for swap, part in traced.members.groupby("swap", sort=False)}
    start = np.array(
        [
            pd.Series(
                [mean[place] for name in without[swap] if (place := (attribute, name)) in mean], dtype=float
            ).mean()
            for attribute, swap in zip(cells["attribute"], cells["swap"], strict=True)
        ],
        dtype=float,
    )
    way = np.where(np.isnan(low) & np.isnan(high), way, _wanted_way(start, change, low, high))
    return cells.assign(target_low=low, target_high=high, towards=_that_matters(way, cells, traced.margins))


def _that_matters(way: Array, cells: pd.DataFrame, margins: Mapping[str, float]) -> Array:
    """Return the ways without those too small to matter: a change the wanted way is within the margin by its estimate.

    One the other way is a warning, and stays as long as its interval reaches beyond the margin.
    """
    margin = cells["attribute"].map(margins).to_numpy(float)
    small = np.abs(cells["estimate"].to_numpy(float)) <= margin
    within = cells[["told_low", "told_high"]].abs().max(axis=1, skipna=False).to_numpy(float) <= margin
    return np.where(((way > 0) & small) | ((way < 0) & within), 0.0, way)


def _wanted_way(start: Array, change: Array, low: Array, high: Array) -> Array:
    """Return 1 for a change the wanted way, -1 for one the other way, 0 for neither, NaN without a target.

    A target open at one end tells the way by itself. In a closed one it is whichever brings a mean nearer that is at
    `start`; inside of it neither.
    """
    with np.errstate(invalid="ignore"):
        before = np.maximum(np.maximum(low - start, start - high), 0.0)
        after = np.maximum(np.maximum(low - start - change, start + change - high), 0.0)
    closed = np.sign(before - after)
    open_below, open_above = np.isnan(low), np.isnan(high)
    way = np.where(open_below, -np.sign(change), np.where(open_above, np.sign(change), closed))
    return np.where(open_below & open_above, np.nan, way)
