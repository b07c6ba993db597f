"""Which rows of the study does a number rest on? Said once per table, by its columns."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from panel.study.named_rows import NEEDED, named_rows
from panel.study.scores_used import scores_used
from panel.study.study import Study

DIRECT, THROUGH_THE_MODEL, SET_ASIDE = "direct", "through the model", "set aside, not used"
_ORDER = (DIRECT, THROUGH_THE_MODEL, SET_ASIDE)


@dataclass(frozen=True, slots=True)
class Source:
    """Which rows of which table of the study a row of results comes from.

    Parameters
    ----------
    table
        Table of the study.
    same
        Column of the results to the column of the study's table that must hold the same.
    only
        Column of the study's table to the values that count.
    direct
        Columns of the results that name the prototypes a row is about; rows of other prototypes count through the
        model only. Without any, every row counts directly.
    group
        Column of the results whose value stands for several prototypes, and which those are.
    """

    table: str
    same: Mapping[str, str] = field(default_factory=dict)
    only: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    direct: tuple[str, ...] = ()
    group: tuple[str, Mapping[str, tuple[str, ...]]] | None = None


def source_rows(study: Study, source: Source, row: Mapping[str, Any]) -> pd.DataFrame:
    """Return the rows of the study behind a row of results: `file line use` and the columns of the table.

    Scores that the analysis uses have their corrected values; those set aside come last, as they came in. Columns that
    are empty throughout are left out. `line` counts the header as 1.
    """
    frame, aside = _frame(study, source.table)
    chosen = pd.Series(data=True, index=frame.index)
    for column, values in source.only.items():
        chosen &= frame[column].isin(values)
    for own, column in source.same.items():
        if own in row:
            chosen &= frame[column].astype("str") == str(row[own])
    rows = frame.loc[chosen]
    named = _named(source, row)
    direct = rows["prototype"].isin(named) if named and "prototype" in rows else pd.Series(data=True, index=rows.index)
    use = direct.map({True: DIRECT, False: THROUGH_THE_MODEL}).mask(rows.index.isin(aside), SET_ASIDE)
    kept = [name for name in rows.columns if rows[name].notna().any() and (rows[name].astype("str") != "").any()]
    told = pd.DataFrame(
        {"file": f"{source.table}.csv", "line": rows.index.to_numpy() + 2, "use": use}, index=rows.index
    )
    together = pd.concat([told, rows[kept]], axis=1)
    return together.sort_values("use", key=lambda uses: uses.map(_ORDER.index), kind="stable", ignore_index=True)


def _frame(study: Study, table: str) -> tuple[pd.DataFrame, pd.Index]:
    """Return a table of the study, and which of its rows are set aside; blanks among the scores are no scores."""
    if table != "scores":
        return named_rows(study, table) if table in NEEDED else study.table(table), pd.Index([])
    used = scores_used(study)
    aside = pd.Index(used.set_aside["row"].to_numpy() - 2)
    return pd.concat([used.frame, study.scores.loc[aside]]).sort_index(), aside


def _named(source: Source, row: Mapping[str, Any]) -> set[str]:
    names = {str(row[column]) for column in source.direct if column in row}
    if source.group is not None and source.group[0] in row:
        names |= set(source.group[1].get(str(row[source.group[0]]), ()))
    return names
