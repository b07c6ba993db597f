"""Were the paper ballots typed right? Two people type them, each alone; every difference goes back to the paper."""

from __future__ import annotations

import numpy as np
import pandas as pd

from panel.errors import StudyError
from panel.study.numbers_read import read_number_columns

PLACE = ("session", "assessor", "position", "code")
DIFFERENCE_COLUMNS = (*PLACE, "attribute", "first", "second", "what")
CANNOT_JUDGE_TYPED = "x"
"""Typed where `cannot judge` is ticked: an empty cell is one that nobody has typed yet."""


def compare_entries(first: pd.DataFrame, second: pd.DataFrame) -> pd.DataFrame:
    """Return where two typed grids do not agree.

    Numbers agree when they are the same number, however written (`48.7` and `48,7`).

    Parameters
    ----------
    first, second
        Grids of text: `session assessor position code` and a column for each attribute; `x` stands for
        `cannot judge`.

    Returns
    -------
    DataFrame
        `session assessor position code attribute first second what`; `what` is `different`, `only first`,
        `only second`, `not typed` (empty in both) or `not a number`. Empty if both agree everywhere.

    Raises
    ------
    StudyError
        If the grids have not the same servings and attributes.
    """
    attributes = [name for name in first.columns if name not in PLACE]
    one, other = (_by_place(grid, attributes) for grid in (first, second))
    if set(one.index) != set(other.index) or list(other.columns) != list(one.columns):
        raise StudyError("The two grids have not the same servings and attributes; type both for the same session.")
    other = other.loc[one.index]
    values = [read_number_columns({name: grid[name].tolist() for name in attributes}) for grid in (one, other)]
    rows = []
    for name in attributes:
        texts = (one[name].tolist(), other[name].tolist())
        numbers = (values[0][name].values, values[1][name].values)
        for place, (left, right) in enumerate(zip(*texts, strict=True)):
            what = _what(left.strip(), right.strip(), numbers[0][place], numbers[1][place])
            if what:
                rows.append((*one.index[place], name, left, right, what))
    table = pd.DataFrame(rows, columns=list(DIFFERENCE_COLUMNS), dtype="str")
    order = {place: number for number, place in enumerate(one.index)}
    ranks = [order[place] for place in table[list(PLACE)].itertuples(index=False, name=None)]
    return table.iloc[np.argsort(ranks, kind="stable")].reset_index(drop=True)


def _by_place(grid: pd.DataFrame, attributes: list[str]) -> pd.DataFrame:
    missing = [name for name in (*PLACE, *attributes) if name not in grid.columns]
    if missing:
        raise StudyError(f"A grid lacks the column {missing[0]!r}; keep the columns of the grid as they are.")
    text = grid.astype("str").map(str.strip)
    placed = text.set_index(list(PLACE))
    if placed.index.has_duplicates:
        raise StudyError(
            f"A grid has the serving {placed.index[placed.index.duplicated()][0]} twice; keep one of them."
        )
    return placed[[name for name in grid.columns if name not in PLACE]]


def _what(left: str, right: str, one: float, other: float) -> str:
    """Return how two cells differ, or what is wrong with both; empty if they agree and are typed."""
    if not left and not right:
        return "not typed"
    if not left or not right:
        return "only second" if right else "only first"
    if left.casefold() == right.casefold() == CANNOT_JUDGE_TYPED:
        return ""
    odd = [
        text
        for text, value in ((left, one), (right, other))
        if np.isnan(value) and text.casefold() != CANNOT_JUDGE_TYPED
    ]
    if odd:
        return "not a number"
    return "" if one == other else "different"
