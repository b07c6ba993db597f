"""Each assessor's own mean of each prototype on each attribute, as an array."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray


def assessor_means(scores: pd.DataFrame, prototypes: Sequence[str], attributes: Sequence[str]) -> NDArray[np.float64]:
    """Return each assessor's mean score; shape (assessors, prototypes, attributes), NaN where there is none.

    Assessors who scored fewer than two of the prototypes compare nothing and are not counted.
    """
    used = scores[scores["prototype"].isin(prototypes) & scores["attribute"].isin(attributes)]
    cells = used.groupby(["assessor", "prototype", "attribute"], sort=False)["score"].mean()
    people = list(dict.fromkeys(used["assessor"]))
    grid = pd.MultiIndex.from_product([people, prototypes, attributes])
    values = cells.reindex(grid).to_numpy(dtype=float).reshape(len(people), len(prototypes), len(attributes))
    compares = np.isfinite(values).any(axis=2).sum(axis=1) >= 2
    return np.asarray(values[compares])
