"""On which day should each prototype be made, so that no swap goes with a day?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from panel.errors import ModelError

DRAWS = 500


def making_days(prototypes: pd.DataFrame, per_day: int, rng: np.random.Generator) -> pd.DataFrame:
    """Return `day turn prototype`: a random order of making in which swaps are spread over the days as evenly as found.

    Parameters
    ----------
    prototypes
        `prototype` and one column of 0 and 1 per swap, as a plan has them.
    per_day
        How many can be made on one day.
    rng
        Source of the order; of 500 random orders the one is taken in which the swaps go least with the days.

    Raises
    ------
    ModelError
        If fewer than one prototype is made on a day.
    """
    if per_day < 1:
        raise ModelError(f"{per_day} prototypes a day is none; give at least 1.")
    made = prototypes.drop(columns=["prototype", "made"], errors="ignore").to_numpy(dtype=float)
    n = len(prototypes)
    day = np.arange(n) // per_day
    orders = rng.permuted(np.tile(np.arange(n), (DRAWS, 1)), axis=1)
    order = orders[int(np.argmin([_unevenness(made[drawn], day) for drawn in orders]))]
    turn = np.arange(n) - day * per_day
    names = prototypes["prototype"].to_numpy()[order]
    return pd.DataFrame({"day": day + 1, "turn": turn + 1, "prototype": pd.Series(names, dtype="str")})


def _unevenness(made: np.ndarray, day: np.ndarray) -> float:
    """Return the sum of squares between days of the swaps: zero if each day has the same share of every swap."""
    counts = np.bincount(day)
    sums = np.zeros((counts.size, made.shape[1]))
    np.add.at(sums, day, made - made.mean(axis=0))
    return float((sums**2 / counts[:, None]).sum())
