"""Which prototypes can be told apart in a decision, by the panel's windows and by liking?"""

from __future__ import annotations

from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.models.decision.gates import CANNOT_TELL
from panel.models.decision.liking import LikingDraws
from panel.stats.comparing.simultaneous_bands import simultaneous_bands

Floats = NDArray[np.float64]
AHEAD, BEHIND, OPPOSED = "ahead", "behind", "opposed"
_COLUMNS = ("estimate", "ci_low", "ci_high", "chance_above")


def judge_pairs(
    prototypes: tuple[str, ...], estimate: Floats, drawn: Floats, liking: LikingDraws | None, level: float
) -> pd.DataFrame:
    """Return one row per pair: what separates the two, and whether anything does.

    `prototype versus estimate ci_low ci_high chance_above panel`: difference of overall desirability with an interval
    that holds for all pairs at once; `liking liking_low liking_high liking_chance consumers`: the same of mean liking;
    `overall`. Verdicts are `ahead`, `behind`, `cannot tell`; overall also `opposed`, where panel and consumers each
    tell the two apart, the other way round. Overall a prototype is ahead only if every kind of evidence there is says
    so.
    """
    pairs = list(combinations(range(len(prototypes)), 2))
    first, second = (np.array([pair[side] for pair in pairs], dtype=int) for side in (0, 1))
    panel = _differences(estimate, drawn, first, second, level)
    names = {"prototype": [prototypes[i] for i in first], "versus": [prototypes[j] for j in second]}
    frame = pd.DataFrame(names, dtype="str").assign(**panel, panel=_verdicts(panel, level))
    liked = _liking_rows(prototypes, first, second, liking, level)
    frame = frame.assign(**liked)
    both = [_overall(one, other) for one, other in zip(frame["panel"], frame["consumers"], strict=True)]
    return frame.assign(overall=pd.Series(both, dtype="str"))


def ahead_of(pairs: pd.DataFrame, column: str = "overall") -> set[tuple[str, str]]:
    """Return who is ahead of whom."""
    found = set()
    for first, second, verdict in zip(pairs["prototype"], pairs["versus"], pairs[column], strict=True):
        if verdict == AHEAD:
            found.add((str(first), str(second)))
        elif verdict == BEHIND:
            found.add((str(second), str(first)))
    return found


def _differences(
    estimate: Floats, drawn: Floats, first: NDArray[np.int_], second: NDArray[np.int_], level: float
) -> dict[str, Floats]:
    """Return differences with intervals that hold for all pairs at once."""
    apart = drawn[:, first] - drawn[:, second]
    low, high = simultaneous_bands(apart, level)
    above = (apart > 0).mean(axis=0) + 0.5 * (apart == 0).mean(axis=0)
    told = (estimate[first] - estimate[second], low, high, np.where(np.isfinite(low), above, np.nan))
    return dict(zip(_COLUMNS, told, strict=True))


def _verdicts(rows: dict[str, Floats], level: float) -> list[str]:
    _, low, high, chance = (rows[name] for name in _COLUMNS)
    ahead, behind = (low > 0) & (chance >= level), (high < 0) & (chance <= 1 - level)
    return np.where(ahead, AHEAD, np.where(behind, BEHIND, CANNOT_TELL)).astype(object).tolist()


def _liking_rows(
    prototypes: tuple[str, ...],
    first: NDArray[np.int_],
    second: NDArray[np.int_],
    liking: LikingDraws | None,
    level: float,
) -> dict[str, Any]:
    columns = ("liking", "liking_low", "liking_high", "liking_chance")
    if liking is None:
        nothing = np.full(len(first), np.nan)
        return dict.fromkeys(columns, nothing) | {"consumers": [""] * len(first)}
    place = [liking.prototypes.index(name) if name in liking.prototypes else None for name in prototypes]
    estimate = np.full(len(prototypes), np.nan)
    drawn = np.full((len(liking.drawn), len(prototypes)), np.nan)
    for own, there in enumerate(place):
        if there is not None:
            estimate[own], drawn[:, own] = liking.rows["estimate"].iloc[there], liking.drawn[:, there]
    found = _differences(estimate, drawn, first, second, level)
    return dict(zip(columns, found.values(), strict=True)) | {"consumers": _verdicts(found, level)}


def _overall(panel: str, consumers: str) -> str:
    if not consumers or panel == consumers:
        return panel
    return OPPOSED if CANNOT_TELL not in (panel, consumers) else CANNOT_TELL
