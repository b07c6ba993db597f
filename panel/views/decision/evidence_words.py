"""What is missing in the evidence file, and where one number comes from, in plain sentences."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from panel.checks.places import counted
from panel.views.drawing.formats import NOTHING, format_list


def gaps_headline(gaps: int, parts: int) -> str:
    """Return in one sentence how much is missing."""
    whole = f"The evidence file has a summary and {counted(parts, 'part')}"
    if not gaps:
        return f"{whole}. No gap is named in it, which is no review."
    return f"{whole}; {counted(gaps, 'gap')} {'is' if gaps == 1 else 'are'} named in it."


def gap_lines(gaps: Iterable[tuple[str, str, str]]) -> list[str]:
    """Return one line per gap, given as number of the part, its heading, and what is missing."""
    return [f"Part {number}, {heading}: {gap}" if number else f"{heading}: {gap}" for number, heading, gap in gaps]


def trace_headline(number_id: str, value: float) -> str:
    """Return the number with its id, unrounded."""
    return f"{number_id} = {NOTHING if value != value else repr(float(value))}"


def trace_lines(table: str, column: str, method: str) -> list[str]:
    """Return where the number stands and how it was computed."""
    return [f"It stands in the table: {table}.", f"Column: {column}.", f"How it was computed: {method}"]


def what_is_behind(rows: pd.DataFrame) -> str:
    """Return how many rows of the study a number rests on, and in which way."""
    if rows.empty:
        return "No single row of a table stands behind it here."
    counts = rows["use"].value_counts(sort=False)
    ways = [f"{count} {use}" for use, count in counts.items()]
    return f"Behind it stand {counted(len(rows), 'row')} of {rows['file'].iloc[0]}: {format_list(ways)}."
