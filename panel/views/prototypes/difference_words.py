"""What the differences between prototypes say, one plain line per attribute, and what they cannot say."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from panel.models.prototypes.differences import Differences
from panel.models.prototypes.verdict import CANNOT_TELL, EQUIVALENT
from panel.views.drawing.formats import format_list, format_number, p_words
from panel.views.drawing.naming import Naming

_CLEAREST = 3  # pairs named in one line; the table has them all


def what_the_differences_show(result: Differences, names: Naming) -> list[str]:
    """Return one plain line per attribute, in the order of the study, from the numbers of `result`."""
    return [_line(row, result, names) for row in result.attributes.to_dict("records")]


def headline(result: Differences, names: Naming) -> str:
    """Return the answer in one sentence: on how many attributes the prototypes differ, and on which not."""
    apart = result.attributes["p_adjusted"] < 1 - result.level
    total, differing = len(apart), int(apart.sum())
    open_ones = [names.attribute(str(name)) for name in result.attributes.loc[~apart, "attribute"]]
    if differing == total:
        return f"The prototypes differ on {'the attribute' if total == 1 else f'all {total} attributes'}."
    if not differing:
        return "On no attribute can the prototypes be told apart. That does not show that they are alike."
    return f"The prototypes differ on {differing} of {total} attributes; not told apart on {format_list(open_ones)}."


def _line(row: Mapping[Any, Any], result: Differences, names: Naming) -> str:
    attribute = str(row["attribute"])
    words = names.attribute(attribute)
    test = f"F {format_number(row['statistic'], 1)}, {p_words(row['p_adjusted'])}"
    if row["p_adjusted"] >= 1 - result.level:
        return f"{words}: no difference shown ({test}). {_seen_at_best(attribute, result, names)}"
    source = result.versus if result.benchmark in set(result.means["prototype"]) else result.pairs
    source = source.loc[source["attribute"] == attribute]
    told = source.loc[~source["verdict"].isin([CANNOT_TELL, EQUIVALENT])]
    alike = source.loc[source["verdict"] == EQUIVALENT]
    against = f" than {result.benchmark}" if result.benchmark else ""
    parts = [f"{words}: the prototypes differ ({test})."]
    if result.benchmark:
        parts += _sides(told, against)
    else:
        parts += _clearest_pairs(told, names)
    if len(told) == 0:
        parts.append(f"No single difference{f' from {result.benchmark}' if result.benchmark else ''} stands out alone.")
    if len(alike):
        who = format_list([str(name) for name in dict.fromkeys(alike["prototype"])])
        parts.append(f"Within the margin{f' of {result.benchmark}' if result.benchmark else ''}: {who}.")
    return " ".join(parts)


def _sides(told: pd.DataFrame, against: str) -> list[str]:
    """Return who scores higher and who lower than the benchmark."""
    sides = []
    for word, rows in (("Higher", told[told["estimate"] > 0]), ("Lower", told[told["estimate"] < 0])):
        if len(rows):
            ordered = rows.reindex(rows["estimate"].abs().sort_values(ascending=False).index)
            sides.append(f"{word}{against}: {format_list([str(name) for name in ordered['prototype']])}.")
    return sides


def _clearest_pairs(told: pd.DataFrame, names: Naming) -> list[str]:
    """Return the widest of the differences told apart, as higher over lower."""
    if told.empty:
        return []
    widest = told.reindex(told["estimate"].abs().sort_values(ascending=False).index).head(_CLEAREST)
    ends = zip(widest["prototype"], widest["versus"], widest["estimate"], strict=True)
    pairs = [
        f"{first if size > 0 else second} above {second if size > 0 else first} "
        f"by {format_number(abs(size), names.digits)}"
        for first, second, size in ends
    ]
    rest = len(told) - len(pairs)
    return [f"Widest: {format_list(pairs)}{f'; {rest} more pairs told apart' if rest else ''}."]


def _seen_at_best(attribute: str, result: Differences, names: Naming) -> str:
    """Return what size of difference would have stood out, from the intervals of this very panel."""
    pairs = result.pairs.loc[result.pairs["attribute"] == attribute]
    half = float(((pairs["ci_high"] - pairs["ci_low"]) / 2).median())
    return f"Two prototypes would have to lie about {format_number(half, names.digits)} apart to be told apart here."


def what_the_differences_cannot_show(result: Differences) -> tuple[str, ...]:
    """Return what a reader must not take from these numbers."""
    margin = (
        f"A difference up to {format_number(result.margin, 1)} is taken as too small to matter; that margin was set by "
        "people, not by the data."
        if result.margin is not None
        else "No margin was set, so the differences are not judged as large or small. Set the smallest difference that "
        "matters before the next test."
    )
    return (
        "They say how these assessors perceive these batches, not how consumers like them.",
        "With one batch of each prototype nothing shows whether another batch would come out the same.",
        "'Not told apart' is not 'the same': that needs a margin and an interval within it.",
        margin,
    )
