"""Which of these names occur in a column?"""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd


def those_in(names: Iterable[str], column: pd.Series) -> tuple[str, ...]:
    """Return the names that occur in the column, in the order of `names`."""
    there = set(column.unique())
    return tuple(name for name in names if name in there)
