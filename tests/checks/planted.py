"""Faults planted in a clean study, and the findings that they cause."""

from __future__ import annotations

from typing import Any

import pandas as pd

from panel.checks.all_checks import check_study
from panel.checks.finding import Finding
from panel.study.study import Study
from tests.studies import small_study

CLEAN = check_study(small_study())


def new_findings(study: Study, *, days: bool = False) -> list[Finding]:
    """Return what all the checks say about `study` and do not say about the clean one.

    With four prototypes, a batch moved to a day of its own, or a prototype taken out, leaves no swap that could be told
    from the making day; that has its own tests, which ask for it by `days`.
    """
    found = [finding for finding in check_study(study) if finding not in CLEAN]
    return [finding for finding in found if days or finding.kind != "making_day_and_swap"]


def the_one(study: Study, *, days: bool = False) -> Finding:
    """Return the only new finding: a planted fault is told once, and nothing else is."""
    found = new_findings(study, days=days)
    assert len(found) == 1, found
    return found[0]


def table(name: str) -> pd.DataFrame:
    """Return a table of the clean study, to be changed."""
    return small_study().table(name).copy()


def with_cells(name: str, rows: Any, **cells: Any) -> Study:
    """Return the clean study with some cells of a table changed; `rows` is a row number, a list or a mask."""
    frame = table(name)
    for column, value in cells.items():
        frame.loc[rows, column] = value
    return small_study(**{name: frame})


def rows_of(frame: pd.DataFrame, **cells: str) -> pd.Series:
    """Return True for the rows in which every named column holds the given value."""
    chosen = pd.Series(data=True, index=frame.index)
    for column, value in cells.items():
        chosen &= frame[column] == value
    return chosen
