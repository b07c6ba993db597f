"""Would other weights put another prototype first?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.stats.formulas.desirability import overall_desirability

Floats = NDArray[np.float64]
WEIGHTINGS = 2000
_CHANGES = ((0.5, "halved"), (2.0, "doubled"))


@dataclass(frozen=True, eq=False, slots=True)
class WeightChanges:
    """Who comes first under other weights.

    Parameters
    ----------
    changes
        `attribute change prototype desirability`: the prototype that comes first when the weight of one attribute is
        halved or doubled, with its desirability; empty text if no prototype is acceptable on everything.
    shares
        `prototype share`: the share of random weightings (flat over all that add up to 1) under which it comes first;
        they need not add up to 1 where no prototype is acceptable.
    """

    changes: pd.DataFrame
    shares: pd.DataFrame


def change_weights(
    single: Floats, weights: Floats, attributes: tuple[str, ...], prototypes: tuple[str, ...], rng: np.random.Generator
) -> WeightChanges:
    """Return who comes first when weights change; `single` (attributes, prototypes) are desirabilities."""
    table = single.T
    rows = []
    for place, attribute in enumerate(attributes):
        for factor, change in _CHANGES:
            changed = weights.copy()
            changed[place] *= factor
            found = overall_desirability(table, changed)
            share = first_shares(found[None])
            first = int(share.argmax()) if share.any() else None
            rows.append((attribute, change, *(("", np.nan) if first is None else (prototypes[first], found[first]))))
    random = rng.dirichlet(np.ones(len(attributes)), WEIGHTINGS)
    shares = first_shares(overall_desirability(table[None], random[:, None, :]))
    return WeightChanges(
        changes=pd.DataFrame(rows, columns=["attribute", "change", "prototype", "desirability"]).astype(
            {"attribute": "str", "change": "str", "prototype": "str", "desirability": "float64"}
        ),
        shares=pd.DataFrame({"prototype": pd.Series(prototypes, dtype="str"), "share": shares}),
    )


def first_shares(desirability: Floats) -> Floats:
    """Return in what share of the rows (n, prototypes) each comes first; those level share it, 0 is never first."""
    known = np.nan_to_num(desirability, nan=0.0)
    most = known.max(axis=1, keepdims=True)
    first = (known == most) & (most > 0)
    return np.asarray((first / np.maximum(first.sum(axis=1, keepdims=True), 1)).mean(axis=0))
