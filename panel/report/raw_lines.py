"""On which line of the imported file does a row of the scores stand?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from panel.errors import PanelError
from panel.study.numbers_read import read_numbers
from panel.study.raw_table import RawTable, raw_table
from panel.study.study import RawFile, Study

_SCORES = "scores.csv"


def with_raw_lines(study: Study, rows: pd.DataFrame) -> pd.DataFrame:
    """Return rows of a trace with `raw_file` and `raw_line` where that can be known.

    It is known where the scores are still row by row those of the file that was imported and every cell in question
    reads as the score beside it; else the rows come back as they are.
    """
    found = _imported(study)
    if found is None or rows.empty or (rows["file"] != _SCORES).any():
        return rows
    file, table, columns = found
    place = rows["line"].to_numpy() - 2
    lines, cells = place // len(columns), place % len(columns)
    texts = [table.column(columns[cell])[line] for line, cell in zip(lines, cells, strict=True)]
    came_in = study.scores["score"].to_numpy(dtype=float)[place]
    if not np.array_equal(read_numbers(pd.Series(texts, dtype="str"), _decimal(study)).values, came_in, equal_nan=True):
        return rows
    return rows.assign(raw_file=file.name, raw_line=[table.lines[line] for line in lines])


def _imported(study: Study) -> tuple[RawFile, RawTable, list[str]] | None:
    """Return the imported file, its table, and its columns with scores; None if the scores no longer follow it."""
    record = study.facts.get("import")
    if not isinstance(record, dict) or not isinstance(record.get("columns"), dict):
        return None
    file = next((file for file in study.raw_files if file.name == record.get("file")), None)
    score, attributes = record["columns"].get("score"), record["columns"].get("attributes")
    columns = [str(score)] if score else [str(name) for name in attributes or ()]
    if file is None or not columns:
        return None
    try:
        table = raw_table(file)
    except PanelError:
        return None
    if not set(columns) <= set(table.header) or len(table.lines) * len(columns) != len(study.scores):
        return None
    return file, table, columns


def _decimal(study: Study) -> str:
    return str(study.facts["import"]["columns"].get("decimal") or "")
