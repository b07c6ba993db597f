"""What attributes may be set against: properties of the blends that are known and vary, and the emollients."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from panel.models.emollients.descriptors import BlendDescriptors
from panel.models.emollients.prototype_level import PrototypeLevel
from panel.stats.formulas.composition import ALIAS_THRESHOLD, EXACT_ALIAS_THRESHOLD, alias_groups
from panel.study.expected_directions import expected_directions
from panel.study.formulas import SAME_AMOUNT


@dataclass(frozen=True, eq=False, slots=True)
class LinkColumns:
    """Columns that attributes are set against: sound descriptors that vary, then the emollients themselves.

    Emollients stand in the way of naming a property, they are never named as one. Descriptors that are copies of
    another (same up to shift and scale) are left out; `copies` says of which. `aliased` marks columns that move
    with another one.
    """

    names: tuple[str, ...]
    values: NDArray[np.float64]
    is_descriptor: NDArray[np.bool_]
    aliased: NDArray[np.bool_]
    copies: dict[str, str]


def link_columns(level: PrototypeLevel, descriptors: BlendDescriptors) -> LinkColumns:
    """Return the columns for the blends of `level`."""
    first = [name.split(" = ")[0] for name in level.amounts.index]
    wide = descriptors.wide.loc[first, list(descriptors.sound)]
    varies = np.ptp(wide.to_numpy(dtype=float), axis=0) > 0
    wide = wide.loc[:, varies]
    exact = alias_groups(wide.to_numpy(dtype=float), EXACT_ALIAS_THRESHOLD)
    names = [str(name) for name in wide.columns]
    copies = _copies(names, exact.group)
    kept = [name for name, apart in zip(names, exact.apart, strict=True) if name not in copies and not apart]
    moving = level.amounts.loc[:, np.ptp(level.amounts.to_numpy(dtype=float), axis=0) > SAME_AMOUNT]
    values = np.column_stack([wide[kept].to_numpy(dtype=float), moving.to_numpy(dtype=float)])
    alike = alias_groups(values, ALIAS_THRESHOLD)
    return LinkColumns(
        names=(*kept, *map(str, moving.columns)),
        values=values,
        is_descriptor=np.arange(values.shape[1]) < len(kept),
        aliased=(alike.group >= 0) | np.isin([*kept, *moving.columns], list(copies.values())),
        copies=copies,
    )


def _copies(names: list[str], group: NDArray[np.int64]) -> dict[str, str]:
    """Return which descriptor each copy stands back for: the first of them that something was said of beforehand."""
    said = set(expected_directions()["descriptor"])
    copies: dict[str, str] = {}
    for number in range(int(group.max(initial=-1)) + 1):
        members = [name for name, own in zip(names, group, strict=True) if own == number]
        leader = min(members, key=lambda name: name not in said)
        copies |= {name: leader for name in members if name != leader}
    return copies
