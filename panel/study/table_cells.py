"""How does a table of a study turn into texts, and back, without losing anything?"""

from __future__ import annotations

import math
from collections.abc import Iterable

import pandas as pd

from panel.errors import StudyError
from panel.study.numbers_read import read_number_columns
from panel.study.raw_table import RawTable
from panel.study.study import UNREAD_COLUMNS
from panel.study.tables import TABLES, Table
from panel.study.text_grid import holds_control_signs

NOT_WHOLE = "not a whole number"
_NUMBER_KINDS = ("number", "integer")
_FIRST_ROW = 2  # the header is line 1


def frame_of_texts(table: Table, raw: RawTable) -> tuple[pd.DataFrame, list[tuple[str, ...]]]:
    """Return a table of texts as a frame of the study, and the cells that could not be read.

    Known columns are recognised whatever their case; unknown ones are kept as text. Missing columns stay missing.

    Returns
    -------
    frame
        Numbers as `float` with NaN for a missing one, everything else `str`.
    unread
        One tuple per unreadable cell: table, row, column, text, reason.
    """
    known = {name.casefold(): name for name in table.column_names}
    known = {other: name for other, name in known.items() if name not in raw.header}
    names = [known.get(name.casefold(), name) for name in raw.header]
    repeated = {name for name in names if names.count(name) > 1}
    if repeated:
        raise StudyError(f"{raw.name} has more than one column for {repeated.pop()!r}; keep one of them.")
    texts = dict(zip(names, raw.columns, strict=True))
    kinds = {column.name: column.kind for column in table.columns}
    numbers = read_number_columns({n: cells for n, cells in texts.items() if kinds.get(n) in _NUMBER_KINDS})
    unread: list[tuple[str, ...]] = []
    columns: dict[str, pd.Series] = {}
    for name, cells in texts.items():
        if name not in numbers:
            columns[name] = pd.Series(list(cells), dtype="str")
            continue
        values, reasons = numbers[name].values, dict(numbers[name].reasons)
        if kinds[name] == "integer":
            for place in [i for i, value in enumerate(values) if not (math.isnan(value) or value.is_integer())]:
                values[place], reasons[place] = math.nan, NOT_WHOLE
        columns[name] = pd.Series(values)
        unread.extend(
            (table.name, str(i + _FIRST_ROW), name, cells[i], reason) for i, reason in sorted(reasons.items())
        )
    return pd.DataFrame(columns), unread


def unread_frame(unread: Iterable[tuple[str, ...]]) -> pd.DataFrame:
    """Return unreadable cells as the frame that a study holds."""
    return pd.DataFrame(list(unread), columns=list(UNREAD_COLUMNS), dtype="str")


def texts_of_frame(name: str, frame: pd.DataFrame, unread: pd.DataFrame) -> tuple[list[str], list[list[str]]]:
    """Return header and columns of a study's table as texts; a cell that could not be read gets its text back.

    Raises
    ------
    StudyError
        If the study has a table with no such name, or a text holds a character that no table file can hold.
    """
    if name not in TABLES:
        raise StudyError(f"A study has no table {name!r}; its tables are {', '.join(TABLES)}.")
    header = [str(column) for column in frame.columns]
    columns = [_column_texts(frame[column]) for column in frame.columns]
    for row, column, text in unread.loc[unread["table"] == name, ["row", "column", "text"]].itertuples(index=False):
        place = int(row) - _FIRST_ROW if str(row).isdecimal() else -1
        if column in header and 0 <= place < len(frame) and columns[header.index(column)][place] == "":
            columns[header.index(column)][place] = str(text)
    for column, cells in zip(header, columns, strict=True):
        bad = next((i for i, text in enumerate(cells) if not _can_be_written(text)), None)
        if bad is not None or not _can_be_written(column):
            where = f"row {bad + _FIRST_ROW}, column {column!r}" if bad is not None else f"column name {column!r}"
            raise StudyError(f"The table {name} holds a character that no table file can hold ({where}); delete it.")
    return header, columns


def number_text(value: float) -> str:
    """Return the shortest text that reads back as exactly this number; the empty text for NaN."""
    if math.isnan(value):
        return ""
    return f"{value:.0f}" if value.is_integer() and abs(value) < 1e15 else repr(value)


def _column_texts(column: pd.Series) -> list[str]:
    if pd.api.types.is_numeric_dtype(column) and not pd.api.types.is_bool_dtype(column):
        return [number_text(value) for value in column.to_numpy(dtype=float, na_value=math.nan).tolist()]
    if isinstance(column.dtype, pd.StringDtype):
        return column.fillna("").tolist()
    return ["" if pd.isna(cell) else str(cell) for cell in column.tolist()]


def _can_be_written(text: str) -> bool:
    if text.isascii() and text.isprintable():
        return True
    return not holds_control_signs(text) and not any("\ud800" <= sign <= "\udfff" for sign in text)
