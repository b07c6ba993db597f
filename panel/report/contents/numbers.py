"""How does a result become a table of the evidence file: texts to read, unrounded numbers, an id for each?"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import pandas as pd

from panel.report.contents.blocks import Numbers
from panel.report.contents.number_ids import row_id, row_ids
from panel.report.contents.sources import Source


def numbers(
    code: str,
    title: str,
    shown: pd.DataFrame,
    full: pd.DataFrame,
    key: Sequence[str],
    method: str,
    *sources: Source,
    rows: Iterable[Sequence[object]] | None = None,
    printed: bool = True,
) -> Numbers:
    """Return a table with the ids of its rows.

    Parameters
    ----------
    key
        Columns of `full` that name a row, those that `shown` goes down by first.
    rows
        What names each row of `shown`, where it does not have the rows of `full` one by one.
    """
    full = full.reset_index(drop=True)
    ids = row_ids(code, full, key)
    shown_ids = ids if rows is None else _prefixes(code, rows, ids)
    return Numbers(
        code, title, shown.reset_index(drop=True), shown_ids, full, tuple(key), ids, method, sources, printed
    )


def _prefixes(code: str, rows: Iterable[Sequence[object]], ids: Sequence[str]) -> tuple[str, ...]:
    """Return what the ids behind each row shown have in common; nothing for a row such as a total."""
    found = [row_id(code, names) for names in rows]
    return tuple(name if any(_goes_on(name, full) for full in ids) else "" for name in found)


def _goes_on(name: str, full: str) -> bool:
    return full == name or full.startswith(f"{name}-")
