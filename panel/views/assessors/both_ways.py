"""The F tests with and without the scores that were set aside or corrected, side by side."""

from __future__ import annotations

import pandas as pd

from panel.views.drawing.formats import NOTHING, format_number, p_words
from panel.views.drawing.naming import Naming

_HEADINGS = {True: "As analysed", False: "With every score as it came in"}


def both_ways_table(both_ways: pd.DataFrame, names: Naming) -> pd.DataFrame:
    """Return one row per attribute with changed scores: F and p after the changes, and with the scores as they came."""
    columns: dict[str, list[str]] = {"Attribute": [], **{heading: [] for heading in _HEADINGS.values()}}
    for attribute, rows in both_ways.groupby("attribute", sort=False):
        columns["Attribute"].append(names.attribute(str(attribute)))
        for rules, heading in _HEADINGS.items():
            row = rows.loc[rows["rules"] == rules]
            columns[heading].append(_test(row.iloc[0]) if len(row) else NOTHING)
    return pd.DataFrame(columns, dtype="str")


def _test(row: pd.Series) -> str:
    df, error = format_number(row["df"], 0), format_number(row["df_error"], 1)
    return f"F({df}; {error}) = {format_number(row['statistic'], 2)}, {p_words(row['p_value'])}"
