"""Which prototypes are still in the running, and is there one that may be called the choice?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from panel.models.decision.gates import CANNOT_TELL, FAILS
from panel.models.decision.pairs import ahead_of

IN, OPEN, OUT = "in", "open", "out"


def standings(prototypes: tuple[str, ...], rows: pd.DataFrame, gates: pd.DataFrame, level: float) -> pd.DataFrame:
    """Return `prototype standing unmet must_unmet gates_failed gates_open`.

    Parameters
    ----------
    rows
        The windows, one row per attribute and prototype.
    gates
        The results of the gates.

    `out`: a gate fails, or a must-have window is clearly missed: with a chance below 1 - level as it stands, and, where
    there is a benchmark, also read as a difference from it. `open`: something is not known, a gate or a window. Else
    `in`.
    """
    found = []
    for name in prototypes:
        own = rows.loc[rows["prototype"] == name]
        results = gates.loc[gates["prototype"] == name, "result"]
        failed, unknown = int((results == FAILS).sum()), int((results == CANNOT_TELL).sum())
        must = own.loc[own["must_have"]]
        missed = bool(((must["chance"] < 1 - level) & ~(must["chance_versus"] >= 1 - level)).any())
        standing = OUT if failed or missed else OPEN if unknown or own["met"].isna().any() else IN
        unmet, must_unmet = (int((each["met"] == 0).sum()) for each in (own, must))
        found.append((name, standing, unmet, must_unmet, failed, unknown))
    columns = ["prototype", "standing", "unmet", "must_unmet", "gates_failed", "gates_open"]
    return pd.DataFrame(found, columns=columns).astype({"prototype": "str", "standing": "str"})


def contenders(ranking: pd.DataFrame, pairs: pd.DataFrame) -> tuple[str, ...]:
    """Return the prototypes that are not out and that nobody who is not out is ahead of, best desirability first."""
    able = [
        str(name) for name in ranking.loc[(ranking["standing"] != OUT) & ranking["desirability"].notna(), "prototype"]
    ]
    beaten = {second for first, second in ahead_of(pairs) if first in able}
    return tuple(name for name in able if name not in beaten)


def the_one(ranking: pd.DataFrame, left: tuple[str, ...], level: float) -> str | None:
    """Return the prototype that is alone in the running, passes every gate and meets all windows; None without one.

    All windows must be met on the estimates, and all at once with a chance of at least `level`.
    """
    if len(left) != 1:
        return None
    row = ranking.loc[ranking["prototype"] == left[0]].iloc[0]
    sure = row["standing"] == IN and row["unmet"] == 0 and bool(np.float64(row["chance_all"]) >= level)
    return left[0] if sure else None
