"""Which prototypes differ by one emollient swap: one replaced by another at equal mass, all else equal."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.stats.formulas.composition import EXACT_ALIAS_THRESHOLD, alias_groups
from panel.study.formulas import FLOAT_SLACK, SAME_AMOUNT, all_formulas
from panel.study.study import Study

WATER = "Aqua"
# same: no line differs. swap: one emollient replaced by another at equal mass. joint: several emollients changed
# that never change apart in this study. several: more than one swap at once, of emollients that do change apart.
# water: the emollients changed and water took up the difference. other: something else differs, or is not known.
PAIR_KINDS = ("same", "swap", "joint", "several", "water", "other")
NOT_EMOLLIENT = -2


def formula_pairs(study: Study) -> pd.DataFrame:
    """Return every pair of prototypes with a formula and how the two differ.

    Columns: prototype, versus, kind (one of `PAIR_KINDS`), removed and added (what falls and what rises from
    `versus` to `prototype`, names joined by " + "), percent (mass removed, per cent of the formula). The base is the
    benchmark, or the first prototype if that has no formula; `versus` is whichever of the two is closer to the base
    in what differs, and the earlier one where neither is.
    """
    formulas = all_formulas(study)
    table = formulas.percent
    order = _base_first(study, tuple(table.index))
    amounts = table.loc[order].to_numpy()
    names = np.asarray(table.columns, dtype=object)
    group = _alias_group(amounts, np.isin(names, formulas.emollients))
    rows = []
    for first in range(len(order)):
        for second in range(first + 1, len(order)):
            prototype, versus = _away_from_base(amounts, first, second)
            change = amounts[prototype] - amounts[versus]
            falls, rises = change < -SAME_AMOUNT - FLOAT_SLACK, change > SAME_AMOUNT + FLOAT_SLACK
            kind = _kind(change, falls, rises, names == WATER, group)
            removed, added = " + ".join(names[falls]), " + ".join(names[rises])
            rows.append((order[prototype], order[versus], kind, removed, added, -float(change[falls].sum())))
    frame = pd.DataFrame(rows, columns=["prototype", "versus", "kind", "removed", "added", "percent"])
    return frame.astype({**dict.fromkeys(("prototype", "versus", "kind", "removed", "added"), "str"), "percent": float})


def _away_from_base(amounts: NDArray[np.float64], first: int, second: int) -> tuple[int, int]:
    """Return which of two rows lies further from row 0, the base, in what they differ in, and which lies closer."""
    differ = np.abs(amounts[second] - amounts[first]) > SAME_AMOUNT
    far_first, far_second = (np.abs(amounts[row] - amounts[0])[differ].sum() for row in (first, second))
    return (first, second) if far_first > far_second + SAME_AMOUNT else (second, first)


def _alias_group(amounts: NDArray[np.float64], is_emollient: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Return for each ingredient the group of emollients it always changes with, -1 if none, -2 for the others."""
    group = np.full(is_emollient.size, NOT_EMOLLIENT)
    known = ~np.isnan(amounts).any(axis=1)
    if known.any():
        group[is_emollient] = alias_groups(amounts[known][:, is_emollient], EXACT_ALIAS_THRESHOLD).group
    return group


def _kind(
    change: NDArray[np.float64],
    falls: NDArray[np.bool_],
    rises: NDArray[np.bool_],
    is_water: NDArray[np.bool_],
    group: NDArray[np.int64],
) -> str:
    """Name how two formulas differ, from the change of each ingredient and the group it belongs to."""
    changed = falls | rises
    is_emollient = group != NOT_EMOLLIENT
    if np.isnan(change).any() or np.any(changed & ~is_emollient & ~is_water):
        return "other"
    if not changed.any():
        return "same"
    if np.any(changed & is_water):
        return "water" if np.any(changed & is_emollient) else "other"
    if abs(change[is_emollient].sum()) > SAME_AMOUNT + FLOAT_SLACK:
        return "other"
    if falls.sum() == 1 and rises.sum() == 1:
        return "swap"
    return "joint" if np.unique(group[changed]).size == 1 and group[changed][0] >= 0 else "several"


def matched_pairs(study: Study) -> pd.DataFrame:
    """Return the pairs of prototypes that differ by exactly one emollient swap.

    Columns removed, added, percent, prototype, versus, swap: `prototype` is `versus` with `percent` % by mass of
    `removed` replaced by `added`. A swap points away from the base, the benchmark or else the first prototype: what
    the base holds is `removed`.
    """
    pairs = formula_pairs(study)
    return oriented(pairs.loc[pairs["kind"] == "swap"])


def joint_changes(study: Study) -> pd.DataFrame:
    """Return the pairs that differ by several emollients which never change apart in this study.

    Same columns as `matched_pairs`; `removed` and `added` hold names joined by " + ". No data on these prototypes
    can say which of the emollients did it.
    """
    pairs = formula_pairs(study)
    return oriented(pairs.loc[pairs["kind"] == "joint"])


def swap_table(study: Study) -> pd.DataFrame:
    """Return one row per distinct swap: swap (its label), removed, added, percent, n_pairs."""
    pairs = matched_pairs(study)
    columns = ["swap", "removed", "added", "percent"]
    return pairs.groupby(columns, sort=False).size().rename("n_pairs").reset_index()


def oriented(pairs: pd.DataFrame) -> pd.DataFrame:
    """Turn the pairs of each swap the way its first pair points, and label the swaps."""
    direction: dict[tuple[str, str], tuple[str, str]] = {}
    rows = []
    columns = ("removed", "added", "percent", "prototype", "versus")
    for removed, added, percent, prototype, versus in zip(*(pairs[name].tolist() for name in columns), strict=True):
        ends = (removed, added)
        pointing = direction.setdefault(min(ends, ends[::-1]), ends)
        prototypes = (prototype, versus) if pointing == ends else (versus, prototype)
        rows.append((*pointing, round(percent, 2), *prototypes))
    frame = pd.DataFrame(rows, columns=list(columns))
    text = ["removed", "added", "prototype", "versus"]
    frame = frame.astype({**dict.fromkeys(text, "str"), "percent": "float64"})
    return frame.assign(swap=_labels(frame))


def _labels(pairs: pd.DataFrame) -> pd.Series:
    """Label each swap by what is removed and added, and by the amount where the same swap is made at several."""
    label = (pairs["removed"] + " -> " + pairs["added"]).astype("str")
    several = pairs.groupby(["removed", "added"])["percent"].transform("nunique") > 1
    amount = pairs["percent"].map(lambda percent: f", {percent:g} %").astype("str")
    return label.mask(several, label + amount)


def _base_first(study: Study, prototypes: tuple[str, ...]) -> list[str]:
    """Return the prototypes, the benchmark before all others if it is one of them."""
    benchmark = study.benchmark
    return sorted(prototypes, key=lambda prototype: prototype != benchmark)
