"""Which prototypes are alike within the margin, and which are not worse, in plain sentences and a table."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from panel.models.prototypes.alike import BEYOND, NO_DIRECTION, NOT_WORSE, WORSE, Alike, PlannedDifferences
from panel.models.prototypes.verdict import EQUIVALENT, WOULD_BE
from panel.stats.comparing.multiplicity import below
from panel.study.naming import Naming
from panel.words import (
    NOTHING,
    format_change,
    format_interval,
    format_list,
    format_number,
    format_p,
    p_after_holm,
)

ALIKE_WORDS = "alike within the margin"


def alike_headline(result: Alike) -> str:
    """Return in one sentence for how many differences it is shown that they lie within the margin."""
    rows = result.differences
    if rows.empty:
        return result.notes[0] if result.notes else "There is nothing to compare."
    within = int(rows["verdict"].isin([EQUIVALENT, WOULD_BE]).sum())
    limits = f"within {format_number(result.margin, 1)} scale units either way"
    if within and not result.margin_stated:
        return (
            f"{within} of {len(rows)} differences would be alike, {limits}. The margin was typed in after the "
            "scores, so nothing is shown."
        )
    if len(rows) == 1:
        return (
            f"The difference is shown to lie {limits}."
            if within
            else f"The difference is not shown to lie {limits}. That does not show that it lies beyond."
        )
    if not within:
        return f"Not one of {len(rows)} differences is shown to lie {limits}. That does not show that they lie beyond."
    shown = f"{within} of {len(rows)} differences {'is' if within == 1 else 'are'} shown to lie {limits}"
    return f"{shown}, adjusted over all of them (Holm)."


def what_is_alike(result: Alike, names: Naming) -> list[str]:
    """Return one line for each pair of prototypes: on what it is alike, not worse, or beyond the margin."""
    lines = []
    for (prototype, versus), rows in result.differences.groupby(["prototype", "versus"], sort=False):
        parts = [
            _told(rows, "verdict", EQUIVALENT, f"alike with {versus} on", names),
            _told(rows, "verdict", WOULD_BE, f"would be within the margin of {versus} on", names),
            _told(rows, "verdict", BEYOND, "further apart than the margin on", names),
            _told(rows, "not_worse", NOT_WORSE, "not worse on", names),
            _told(rows, "not_worse", WORSE, "worse by more than the margin on", names),
        ]
        told = "; ".join(part for part in parts if part)
        lines.append(f"{prototype}: {told}." if told else f"{prototype}: nothing is shown against {versus}.")
    return lines


def _told(rows: pd.DataFrame, column: str, verdict: str, words: str, names: Naming) -> str:
    chosen = rows.loc[rows[column] == verdict, "attribute"]
    if chosen.empty:
        return ""
    if len(chosen) == len(rows) > 1:
        return f"{words} all {len(rows)} attributes"
    return f"{words} {format_list([names.attribute(str(name)) for name in chosen])}"


def alike_table(result: Alike, names: Naming) -> pd.DataFrame:
    """Return one row for each difference: its interval, the margin, both one-sided tests and what follows."""
    rows = result.differences
    interval = f"{100 * (1 - 2 * result.alpha):g} % interval"
    better = {"more": "more is better", "less": "less is better", "": NOTHING}
    return pd.DataFrame(
        {
            "Attribute": [names.attribute(str(name)) for name in rows["attribute"]],
            "Prototype": list(rows["prototype"]),
            "Compared with": list(rows["versus"]),
            "Difference": [format_change(value, names.digits) for value in rows["estimate"]],
            interval: [
                format_interval(low, high, names.digits)
                for low, high in zip(rows["ci_low"], rows["ci_high"], strict=True)
            ],
            "Margin": [f"± {format_number(value, 1)}" for value in rows["margin"]],
            "p, lower margin": [format_p(value) for value in rows["low_p"]],
            "p, upper margin": [format_p(value) for value in rows["high_p"]],
            "p, adjusted": [format_p(value) for value in rows["p_adjusted"]],
            "Interval that decides": [
                f"{format_interval(low, high, names.digits)} ({100 * level:.4g} %)" if pd.notna(level) else NOTHING
                for low, high, level in zip(
                    rows["deciding_low"], rows["deciding_high"], rows["deciding_level"], strict=True
                )
            ],
            "Alike?": [ALIKE_WORDS if value == EQUIVALENT else str(value) for value in rows["verdict"]],
            "Better": [better[str(name)] for name in rows["direction"]],
            "Worst still credible": [format_change(value, names.digits) for value in rows["bound"]],
            "Not worse?": [NOTHING if value == NO_DIRECTION else str(value) for value in rows["not_worse"]],
        },
        dtype="str",
    )


def what_alike_cannot_show(result: Alike) -> tuple[str, ...]:
    """Return what a reader must not take from these numbers."""
    set_when = (
        "The margin is the one the study states; nothing here shows that it was written before the scores were seen."
        if result.margin_stated
        else "This margin was typed in, not stated by the study: chosen with the scores in sight it proves nothing."
    )
    return (
        "'Not shown' is no verdict of difference: too small a panel shows neither difference nor likeness.",
        "Alike for these trained assessors is not alike for consumers: a claim of parity needs many more people.",
        *([set_when] if result.margin is not None else []),
    )


# What the differences planned beforehand say, and those chosen afterwards, in plain sentences and a table.


PLANNED, EXPLORATORY = "planned", "exploratory"


def planned_headline(result: PlannedDifferences) -> str:
    """Return how many planned differences showed, in one sentence."""
    planned = result.differences.loc[result.differences["planned"]]
    if planned.empty:
        return "The study states no difference that was planned beforehand."
    told = int(below(planned["p_adjusted"], 1 - result.level).sum())
    total = len(planned)
    if total == 1:
        return f"The one difference planned beforehand {'is shown' if told else 'is not shown'}."
    shown = {0: "None", total: f"All {total}"}.get(told, f"{told} of {total}")
    if shown == "None":
        return f"None of the {total} differences planned beforehand is shown. That does not show that there is none."
    verb = "is" if told == 1 else "are"
    return f"{shown} differences planned beforehand {verb} shown."


def what_was_planned_shows(result: PlannedDifferences, names: Naming) -> list[str]:
    """Return one line for each difference, in the order of the table."""
    return [_line(row, result.level, names) for row in result.differences.to_dict("records")]


def _line(row: Mapping[Any, Any], level: float, names: Naming) -> str:
    interval = format_interval(row["ci_low"], row["ci_high"], names.digits)
    shown = "shown" if below(row["p_adjusted"], 1 - level) else "not shown"
    mark = "" if row["planned"] else f" {EXPLORATORY.capitalize()}: chosen with the scores at hand."
    return (
        f"{names.attribute(str(row['attribute']))}: {row['prototype']} minus {row['versus']} is "
        f"{format_change(row['estimate'], names.digits)} ({100 * level:g} % interval {interval}; "
        f"{p_after_holm(row['p_adjusted'])}), {shown}.{mark}"
    )


def planned_table(result: PlannedDifferences, names: Naming) -> pd.DataFrame:
    """Return one row for each difference."""
    rows = result.differences
    return pd.DataFrame(
        {
            "Attribute": [names.attribute(str(name)) for name in rows["attribute"]],
            "Prototype": list(rows["prototype"]),
            "Compared with": list(rows["versus"]),
            "Chosen": [PLANNED if planned else EXPLORATORY for planned in rows["planned"]],
            "Difference (scale units)": [format_change(value, names.digits) for value in rows["estimate"]],
            f"{100 * result.level:g} % interval": [
                format_interval(low, high, names.digits)
                for low, high in zip(rows["ci_low"], rows["ci_high"], strict=True)
            ],
            "t": [format_number(value, 2) for value in rows["statistic"]],
            "p, alone": [format_p(value) for value in rows["p_value"]],
            "p after Holm": [format_p(value) for value in rows["p_adjusted"]],
        },
        dtype="str",
    )


def what_planned_differences_cannot_show(result: PlannedDifferences) -> tuple[str, ...]:
    """Return what a reader must not take from these numbers."""
    lines = ["A difference that is not shown is not shown to be nothing: that is the question of the margin."]
    if not result.differences["planned"].all():
        lines.append(
            "What was chosen with the scores in sight is exploratory: it needs a new test before anybody relies on it."
        )
    return tuple(lines)
