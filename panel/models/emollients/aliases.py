"""Which emollients and blend descriptors move together in this study, so that no data on it can tell them apart."""

from __future__ import annotations

import numpy as np
import pandas as pd

from panel.stats.formulas.composition import ALIAS_THRESHOLD, alias_groups

ALIAS_COLUMNS = ("group", "kind", "descriptor", "sign")


def find_aliases(blend: pd.DataFrame, descriptors: pd.DataFrame, threshold: float = ALIAS_THRESHOLD) -> pd.DataFrame:
    """Group the columns of both frames (index prototype) that are tied by correlations above `threshold` in size.

    Returns group (numbered from 1), kind (emollient or descriptor), descriptor (the column's name) and sign (+1 rises
    with the first of its group, -1 falls). Columns that move with no other, are constant or have a value missing are
    left out.
    """
    columns = pd.concat([blend, descriptors.reindex(blend.index)], axis=1)
    kinds = np.repeat(["emollient", "descriptor"], [blend.shape[1], descriptors.shape[1]])
    aliases = alias_groups(columns.to_numpy(dtype=float), threshold)
    order = np.argsort(aliases.group, kind="stable")
    order = order[aliases.group[order] >= 0]
    return pd.DataFrame(
        {
            "group": aliases.group[order] + 1,
            "kind": pd.Series(kinds[order], dtype="str"),
            "descriptor": pd.Series(columns.columns[order], dtype="str"),
            "sign": aliases.sign[order],
        }
    )
