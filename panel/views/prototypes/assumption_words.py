"""What the scores say about the model's assumptions, and what to do where one does not hold."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

import pandas as pd

from panel.models.prototypes.assumption_problems import CEILING, FLOOR, ONE_SCORE_DECIDES
from panel.models.prototypes.assumptions import Assumptions
from panel.models.prototypes.residual_checks import NOT_NORMAL, SPREAD_FOLLOWS_LEVEL, UNEVEN_ASSESSORS
from panel.views.drawing.formats import format_list, format_number, format_share, p_words
from panel.views.drawing.naming import Naming

_MOST_NAMED, _FEW_NAMED = 5, 3  # attributes in one sentence; the table has them all

ADVICE: Mapping[str, str] = MappingProxyType(
    {
        UNEVEN_ASSESSORS: (
            "Give this assessor a hidden repeat and practice at the anchors of the scale. Until then compare the "
            "ranks, which no wide spread can stretch, and show the result with and without this assessor. Leave nobody "
            "out without a reason written down before the prototypes are named."
        ),
        SPREAD_FOLLOWS_LEVEL: (
            "One standard error for all prototypes is then too small where the scores scatter and too large where they "
            "do not. Trust a difference only where the ranks show it too, and look whether an end of the scale crowds."
        ),
        NOT_NORMAL: (
            "Look first for single odd scores and for an assessor with a wide spread: they are the usual cause. Means "
            "of several assessors bear a moderate departure well; where a test is near its limit, rely on it only if "
            "the ranks agree."
        ),
        FLOOR: (
            "The scale cannot tell apart what lies below its low end, so these prototypes may differ more than is "
            "shown. Choose an anchor that leaves room below the weakest sample, or judge earlier, and say in the "
            "report how many scores were at the end."
        ),
        CEILING: (
            "The scale cannot tell apart what lies above its high end, so these prototypes may differ more than is "
            "shown. Choose an anchor that leaves room above the strongest sample, or judge later, and say in the "
            "report how many scores were at the end."
        ),
        ONE_SCORE_DECIDES: (
            "Look this score up on the ballot. A slip is corrected with a written reason; a true score stays, and both "
            "answers are shown. Score these prototypes again before anything rests on them."
        ),
    }
)


def what_the_assumptions_show(result: Assumptions, names: Naming) -> list[str]:
    """Return one plain line per kind of problem found, or one that says that none was found."""
    lines = [
        _SENTENCES[kind](result.problems.loc[result.problems["kind"] == kind], names)
        for kind in ADVICE
        if (result.problems["kind"] == kind).any()
    ]
    if lines:
        return lines
    return [
        "Nothing in the scores speaks against the model: even spread, no crowded end, no single score that decides."
    ]


def what_to_do(result: Assumptions) -> list[tuple[str, str]]:
    """Return (kind, advice) for each kind of problem found, in the order in which to deal with them."""
    found = set(result.problems["kind"])
    return [(kind, advice) for kind, advice in ADVICE.items() if kind in found]


def what_the_assumptions_cannot_show(result: Assumptions) -> tuple[str, ...]:
    """Return what a reader must not take from these checks."""
    return (
        "They look at scatter, not at bias: a code that gave a prototype away, or a bad batch, leaves no trace here.",
        "A small panel shows only gross trouble. Nothing found is not proof that all is well.",
        f"The p-values come from {result.draws} simulated panels each and cannot be smaller than "
        f"{format_number(1 / (result.draws + 1), 4)}.",
    )


def _uneven(rows: pd.DataFrame, names: Naming) -> str:
    parts = []
    for assessor, own in rows.groupby("assessor", sort=False):
        ratios = own["size"]
        low, high = format_number(ratios.min(), 1), format_number(ratios.max(), 1)
        times = low if low == high else f"{low} to {high}"
        parts.append(f"{assessor} {times} times as wide as the panel on {_attributes(own, names)}")
    return f"Scatter differs between assessors: {'; '.join(parts)}."


def _follows(rows: pd.DataFrame, names: Naming) -> str:
    sides = (("grows with the level", rows["size"] > 0), ("shrinks with the level", rows["size"] < 0))
    parts = [f"{words} on {_attributes(rows.loc[side], names)}" for words, side in sides if side.any()]
    return f"Scatter {'; it '.join(parts)}."


def _not_normal(rows: pd.DataFrame, names: Naming) -> str:
    clearest = rows.sort_values("p_adjusted", kind="stable").iloc[0]
    return (
        f"Residuals are not normal on {_attributes(rows, names)} "
        f"(clearest: {names.attribute(str(clearest['attribute']))}, {p_words(clearest['p_adjusted'])})."
    )


def _crowded(end: str, rows: pd.DataFrame, names: Naming) -> str:
    parts = []
    for attribute, own in rows.groupby("attribute", sort=False):
        shares = [f"{row['prototype']} {format_share(row['size'])}" for row in own.to_dict("records")]
        parts.append(f"{names.attribute(str(attribute))} ({format_list(shares)} of the scores)")
    return f"Scores crowd at the {end} end of the scale: {'; '.join(parts)}."


def _decides(rows: pd.DataFrame, names: Naming) -> str:
    parts = [f"{names.attribute(row['attribute'])}: {_one_score(row)}" for row in rows.to_dict("records")]
    return f"A single score decides the result. {'; '.join(parts)}."


def _one_score(row: Mapping[Any, Any]) -> str:
    return (
        f"{row['assessor']} on {row['prototype']} (line {int(row['row'])}), without it the widest difference moves by "
        f"{format_number(row['size'], 1)} standard errors"
    )


def _attributes(rows: pd.DataFrame, names: Naming) -> str:
    listed = [names.attribute(str(name)) for name in dict.fromkeys(rows["attribute"])]
    if len(listed) <= _MOST_NAMED:
        return format_list(listed)
    return f"{len(listed)} attributes, among them {format_list(listed[:_FEW_NAMED])}"


_SENTENCES = {
    UNEVEN_ASSESSORS: _uneven,
    SPREAD_FOLLOWS_LEVEL: _follows,
    NOT_NORMAL: _not_normal,
    FLOOR: lambda rows, names: _crowded("low", rows, names),
    CEILING: lambda rows, names: _crowded("high", rows, names),
    ONE_SCORE_DECIDES: _decides,
}
