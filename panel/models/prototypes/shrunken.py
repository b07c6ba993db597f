"""How large are differences picked because they came out large, and might their signs be wrong?"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.models.prototypes.differences import Differences
from panel.stats.comparing.shrinkage import own_variances, shrink_differences, shrink_effects

SHRUNKEN = ("shrunken", "wrong_sign")


def shrunken_differences(result: Differences, rows: pd.DataFrame) -> pd.DataFrame:
    """Return rows of `result.pairs` or `result.versus` with `shrunken` and `wrong_sign`.

    `shrunken` is the difference drawn towards none as far as the prototypes of the attribute say that luck made them
    differ; `wrong_sign` the chance that its sign is the other one. NaN where not all pairs of an attribute were
    estimated.
    """
    attributes, prototypes = (tuple(dict.fromkeys(result.means[name])) for name in ("attribute", "prototype"))
    means = result.means.set_index(["attribute", "prototype"])["estimate"]
    every = pd.MultiIndex.from_product([attributes, prototypes])
    estimate = means.reindex(every).to_numpy(float).reshape(len(attributes), len(prototypes))
    squared = np.zeros((len(attributes), len(prototypes), len(prototypes)))
    row, first, second = _places(result.pairs, attributes, prototypes)
    squared[row, first, second] = squared[row, second, first] = result.pairs["std_error"].to_numpy(float) ** 2
    whole = np.isfinite(estimate).all(axis=1) & np.isfinite(squared).all(axis=(1, 2))
    variance = np.where(whole[:, None], own_variances(np.nan_to_num(squared)), np.nan)
    row, first, second = _places(rows, attributes, prototypes)
    found = shrink_differences(np.where(whole[:, None], estimate, np.nan), variance, first, second, row)
    return rows.assign(**dict(zip(SHRUNKEN, found, strict=True)))


def _places(
    rows: pd.DataFrame, attributes: tuple[str, ...], prototypes: tuple[str, ...]
) -> tuple[NDArray[np.intp], ...]:
    """Return the places of attribute, prototype and versus of each row."""
    named = zip(("attribute", "prototype", "versus"), (attributes, prototypes, prototypes), strict=True)
    return tuple(pd.Index(among).get_indexer(pd.Index(rows[column])) for column, among in named)


def shrunken_effects(rows: pd.DataFrame, family: str) -> pd.DataFrame:
    """Return effects (`estimate std_error`, such as of swaps) with `shrunken` and `wrong_sign`.

    All rows with the same value of the column `family` are drawn towards none together.
    """
    found = pd.DataFrame(np.nan, index=rows.index, columns=list(SHRUNKEN))
    for _, own in rows.groupby(family, sort=False):
        found.loc[own.index] = np.column_stack(
            shrink_effects(own["estimate"].to_numpy(float), own["std_error"].to_numpy(float))
        )
    return rows.assign(**{name: found[name] for name in SHRUNKEN})
