"""The prototypes as panel and instruments see them together, on one map."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from panel.errors import ModelError
from panel.stats.maps.components import MultipleFactors, multiple_factors, varies_not

PANEL, INSTRUMENTS, BOTH = "panel", "instruments", "both"
FEWEST_PROTOTYPES, _FEWEST_COLUMNS = 4, 2


@dataclass(frozen=True, eq=False, slots=True)
class JointMap:
    """Multiple factor analysis of the panel's means and the instruments' means.

    Parameters
    ----------
    components
        `component eigenvalue share panel instruments`: the last two are the parts of the component that come from
        each block.
    prototypes
        `prototype block component_1 component_2`: where `both` together place it, and each block alone.
    columns
        `block name component loading`: correlations of attributes and measures with components 1 and 2.
    rv, rv_by_chance
        How alike panel and instruments place the prototypes, 0 to 1, and what shuffled prototypes would give on
        average.
    left_out
        Prototypes, attributes and measures that cannot take part.
    """

    components: pd.DataFrame
    prototypes: pd.DataFrame
    columns: pd.DataFrame
    rv: float
    rv_by_chance: float
    left_out: tuple[str, ...]

    @property
    def agree(self) -> bool:
        """Whether panel and instruments place the prototypes more alike than exchanged prototypes would be placed."""
        return self.rv > self.rv_by_chance


def joint_map(panel: pd.DataFrame, instruments: pd.DataFrame) -> JointMap:
    """Return the joint map of two tables with one row per prototype.

    Attributes and measures that are not known for all prototypes, or do not vary, are left out, after prototypes that
    one of the two does not know at all. ModelError if what remains is too little.
    """
    known = [name for name in panel.index if name in instruments.index]
    tables = {PANEL: panel.loc[known], INSTRUMENTS: instruments.loc[known]}
    kept = {block: _complete(table) for block, table in tables.items()}
    if len(known) < FEWEST_PROTOTYPES or min(table.shape[1] for table in kept.values()) < _FEWEST_COLUMNS:
        raise ModelError(
            f"A joint map needs at least {FEWEST_PROTOTYPES} prototypes that were both scored and measured, and "
            f"{_FEWEST_COLUMNS} attributes and {_FEWEST_COLUMNS} measures known for all of them; there are "
            f"{len(known)}, {kept[PANEL].shape[1]} and {kept[INSTRUMENTS].shape[1]}."
        )
    found = multiple_factors([table.to_numpy(dtype=float) for table in kept.values()])
    if found.eigenvalues.size < 2:
        raise ModelError(
            "Panel and instruments differ in one direction only: nothing to map, look at one pair instead."
        )
    left_out = [
        name for name in {**dict.fromkeys(panel.index), **dict.fromkeys(instruments.index)} if name not in known
    ]
    left_out += [name for block, table in tables.items() for name in table.columns if name not in kept[block]]
    return JointMap(
        components=_components(found),
        prototypes=_places(found, known),
        columns=_columns(found, {block: list(table.columns) for block, table in kept.items()}),
        rv=float(found.rv[0, 1]),
        rv_by_chance=float(found.rv_by_chance[0, 1]),
        left_out=tuple(map(str, left_out)),
    )


def _complete(table: pd.DataFrame) -> pd.DataFrame:
    table = table.loc[:, table.notna().all(axis=0)]
    return table.loc[:, ~varies_not(table.to_numpy(dtype=float))] if len(table) else table


def _components(found: MultipleFactors) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "component": np.arange(1, found.eigenvalues.size + 1),
            "eigenvalue": found.eigenvalues,
            "share": found.shares,
            PANEL: found.contributions[0],
            INSTRUMENTS: found.contributions[1],
        }
    )


def _places(found: MultipleFactors, prototypes: list[str]) -> pd.DataFrame:
    views = {BOTH: found.scores, PANEL: found.partial_scores[0], INSTRUMENTS: found.partial_scores[1]}
    return pd.concat(
        [
            pd.DataFrame(
                {
                    "prototype": pd.Series(prototypes, dtype="str"),
                    "block": pd.Series([block] * len(prototypes), dtype="str"),
                    "component_1": scores[:, 0],
                    "component_2": scores[:, 1],
                }
            )
            for block, scores in views.items()
        ],
        ignore_index=True,
    )


def _columns(found: MultipleFactors, names: dict[str, list[str]]) -> pd.DataFrame:
    blocks = [block for block, columns in names.items() for _ in columns]
    columns = [name for own in names.values() for name in own]
    return pd.DataFrame(
        {
            "block": pd.Series(np.repeat(np.asarray(blocks, dtype=object), 2), dtype="str"),
            "name": pd.Series(np.repeat(np.asarray(columns, dtype=object), 2), dtype="str"),
            "component": np.tile([1, 2], len(columns)),
            "loading": found.loadings[:, :2].ravel(),
        }
    )
