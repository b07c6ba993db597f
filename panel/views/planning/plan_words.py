"""What a serving plan and planned numbers show, in plain sentences, and what they cannot show."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from panel.checks.places import counted
from panel.plan.answers_needed import AnswerNumbers
from panel.plan.orders import ServingPlan
from panel.plan.sample_size import ALL_PAIRS, ALONE, WITH_BENCHMARK, PanelSizes
from panel.views.drawing.formats import format_number, format_share
from panel.views.drawing.naming import Naming

_KINDS = {
    "place": "Prototypes at the positions of the order",
    "carry-over": "Prototypes straight after each other",
    "site": "Prototypes at the sites",
}
_TOLD = 0.995  # a precision that rounds to all of it is not mentioned


def what_the_plan_shows(plan: ServingPlan) -> list[str]:
    """Return what is served and how even that is, one plain line each."""
    served = plan.servings.loc[plan.servings["prototype"] != plan.warm_up] if plan.warm_up else plan.servings
    people, sessions = served["assessor"].nunique(), served["session"].nunique()
    prototypes = served["prototype"].nunique()
    lines = [
        f"{counted(people, 'assessor')}, {counted(prototypes, 'prototype')}, {counted(sessions, 'session')}: "
        f"{counted(len(served), 'serving')}, {_per_session(served)} for each assessor in a session."
    ]
    whole = plan.balance.summary.loc[plan.balance.summary["session"] == ""]
    lines += [_even(row) for row in whole.to_dict("records")]
    weakest, median = plan.balance.together["share"].min(), plan.balance.together["share"].median()
    if weakest < _TOLD:
        lines.append(
            f"Differences within sessions are {format_share(median)} as precise as if every session held every "
            f"prototype, the weakest {format_share(weakest)}."
        )
    return lines


def what_the_plan_cannot_show() -> tuple[str, ...]:
    """Return what a reader must not take from a plan."""
    return (
        "An even plan spreads the effects of order and site over the prototypes; it does not remove them.",
        "Nobody may apply a sample before the safety gate is open for its batch. A plan is no permission.",
        "Codes hide the prototypes only if containers, fill, colour and smell do not give them away.",
    )


def what_the_sizes_show(result: PanelSizes, names: Naming | None = None) -> list[str]:
    """Return how many people it takes to see the difference that matters, one line for each kind of comparison.

    `names` says on which scale the numbers are, and with how many decimals.
    """
    known = names or Naming()
    size, percent = format_number(result.difference, known.digits), format_share(result.power)
    size += f" ({known.scale})" if known.scale else ""
    return [
        f"To find a difference of {size} with a chance of {percent} {words}: {_fewest(result, comparison)}."
        for comparison, words in (
            (ALONE, "when it is planned beforehand"),
            (WITH_BENCHMARK, "among all differences from the benchmark"),
            (ALL_PAIRS, "among all pairs"),
        )
    ] + [_swap_line(result)]


def what_the_sizes_cannot_show() -> tuple[str, ...]:
    """Return what a reader must not take from planned numbers."""
    return (
        "These numbers rest on scatter that is assumed, or estimated from another study than the one that is planned.",
        "A chance of 80 % means that one such difference in five is missed.",
        "More people make the mean more precise. They do not make one batch of each prototype stand for another batch.",
    )


def enough_answers_words(result: AnswerNumbers) -> str:
    """Return in one or two sentences how many answers are enough."""
    start = f"To show {result.question} with a chance of {format_share(result.power)}: {result.first:,d} answers"
    if result.first == result.always:
        return f"{start}."
    return (
        f"{start} are the first number that is enough. From {result.always:,d} on it is never missed again; between "
        "them one more person can lower the chance, because answers come in whole numbers."
    )


def _even(row: Mapping[Any, Any]) -> str:
    smallest, largest = row["smallest"], row["largest"]
    counts = f"{smallest}" if smallest == largest else f"{smallest} to {largest}"
    return f"{_KINDS[row['what']]}: {row['verdict']}, {counts} times each."


def _per_session(served: pd.DataFrame) -> str:
    sizes = served.groupby(["session", "assessor"]).size()
    low, high = int(sizes.min()), int(sizes.max())
    return f"{low}" if low == high else f"{low} to {high}"


def _fewest(result: PanelSizes, comparison: str) -> str:
    rows = result.needed.loc[result.needed["comparison"] == comparison]
    told = [
        f"{row['assessors']} assessors with {counted(int(row['replicates']), 'replicate')}"
        for row in rows.to_dict("records")
        if row["assessors"]
    ]
    if not told:
        return f"more than the {int(result.sizes['assessors'].max())} assessors tried here"
    return told[0] if len(told) == 1 else f"{', '.join(told[:-1])} or {told[-1]}"


def _swap_line(result: PanelSizes) -> str:
    """Return how much smaller a swap effect may be than a difference of two prototypes."""
    row = result.sizes.iloc[-1]
    share = row["seen_swap"] / row["seen"]
    return (
        f"The effect of a swap made in several prototypes may be smaller: {format_share(share)} of what two prototypes "
        "must differ by is enough, because every prototype takes part in it."
    )
