"""What the differences planned beforehand say, and those chosen afterwards, in plain sentences and a table."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from panel.models.prototypes.planned_differences import PlannedDifferences
from panel.views.drawing.formats import format_change, format_interval, format_number, format_p, p_words
from panel.views.drawing.naming import Naming

PLANNED, EXPLORATORY = "planned", "exploratory"


def planned_headline(result: PlannedDifferences) -> str:
    """Return how many planned differences showed, in one sentence."""
    planned = result.differences.loc[result.differences["planned"]]
    if planned.empty:
        return "The study states no difference that was planned beforehand."
    told = int((planned["p_adjusted"] < round(1 - result.level, 12)).sum())
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
    shown = "shown" if row["p_adjusted"] < round(1 - level, 12) else "not shown"
    mark = "" if row["planned"] else f" {EXPLORATORY.capitalize()}: chosen with the scores at hand."
    return (
        f"{names.attribute(str(row['attribute']))}: {row['prototype']} minus {row['versus']} is "
        f"{format_change(row['estimate'], names.digits)} ({100 * level:g} % interval {interval}; adjusted "
        f"{p_words(row['p_adjusted'])}), {shown}.{mark}"
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
            "p, adjusted": [format_p(value) for value in rows["p_adjusted"]],
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
