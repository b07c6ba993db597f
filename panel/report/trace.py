"""Where does this number come from? Its value, how it was computed, the rows behind it; and the letters of tables."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from panel.answers import DIFFERENCES, Answers, NoAnswer
from panel.errors import PanelError, StudyError
from panel.report.contents.blocks import Numbers, number_id, numbers_of, read_printed_id, source_rows
from panel.report.contents.part_claims import all_numbers, verdicts
from panel.report.contents.part_results import TABLES
from panel.report.contents.part_study import balance, batches, formulas
from panel.study.numbers_read import read_numbers
from panel.study.raw_table import OWN_FILE, RawTable, raw_table
from panel.study.study import RawFile, Study
from panel.views.prototypes.differences import BOTH_WAYS
from panel.words import counted

_MOST_NAMED = 5
_INVISIBLE = "\u200b\u00ad"  # a copied id may carry the signs at which a page broke it


@dataclass(frozen=True, eq=False, slots=True)
class _Trace:
    """One number of the evidence file, traced back.

    Parameters
    ----------
    number_id, value
        What was asked for; NaN where the number is missing.
    column, table
        Its column and the title of its table.
    row
        All cells of its row, unrounded.
    method
        How the table was computed.
    rows
        `file line use` and the columns of the rows it rests on; where the study keeps the imported file also
        `raw_file raw_line`. `use` is `direct`, or `through the model` for rows that the model needs beside them.
    seed
        Seed of everything that was drawn.
    others
        Ids of the other numbers of its row, as it stands on paper.
    """

    number_id: str
    value: float
    column: str
    table: str
    row: dict[str, Any]
    method: str
    rows: tuple[pd.DataFrame, ...]
    seed: int
    others: tuple[str, ...] = ()


def why(study: Study, asked_id: str, *, rng_seed: int = 1, answers: Answers | None = None) -> _Trace:
    """Return where a number of the evidence file comes from. Only what its table needs is computed.

    StudyError, with ids that are near, if no number has that id.

    Parameters
    ----------
    asked_id
        Such as `D-AF_GREASE-P4-P1-estimate`, or the id of a row on paper, such as `D12`, which stands for the first
        number of that row, or `D12-p_value`.
    answers
        Answers of the same study that are there already.
    """
    name = "".join(asked_id.translate(dict.fromkeys(map(ord, _INVISIBLE))).split())
    on_paper = read_printed_id(name)
    code = on_paper[0] if on_paper else name.partition("-")[0]
    if code not in _TABLE_MAKERS:
        raise StudyError(f"No table has the letters {code!r}. Tables are: {', '.join(_TABLE_MAKERS)}.")
    answers = answers or Answers(study, rng_seed)
    table = _TABLE_MAKERS[code](answers)
    if isinstance(table, NoAnswer):
        raise StudyError(f"There is no table {code}: {table.why[:1].lower()}{table.why[1:]}")
    name, others = _on_paper(table, on_paper[1], on_paper[2]) if on_paper else (name, ())
    place = _place(table, name)
    row = {str(column): cell for column, cell in table.full.iloc[place[0]].to_dict().items()}
    found = [_with_raw_lines(study, source_rows(study, source, row)) for source in table.sources]
    rows = tuple(own for own in found if len(own)) or tuple(found[:1])
    value = float(row[place[1]])
    return _Trace(name, value, place[1], table.title, row, table.method, rows, answers.seed, others)


def _on_paper(table: Numbers, place: int, column: str) -> tuple[str, tuple[str, ...]]:
    """Return the full id of a number of a row on paper, the first one unless a column is named, and of the others."""
    printed = len(table.shown_ids)
    if place >= printed or not table.shown_ids[place]:
        raise StudyError(f"Table {table.code} has no row {place + 1} with an id; it has {counted(printed, 'row')}.")
    own = table.shown_ids[place]
    rows = [name for name in table.full_ids if f"{name}-".startswith(f"{own}-")]
    known = [number_id(name, one) for name in rows for one in table.number_columns]
    asked = f"{own}-{column}" if column else known[0]
    return asked, tuple(name for name in known if name != asked)


def _place(table: Numbers, name: str) -> tuple[int, str]:
    for column in table.number_columns:
        end = number_id("", column)
        if name.endswith(end) and name.removesuffix(end) in table.full_ids:
            return table.full_ids.index(name.removesuffix(end)), column
    if name in table.full_ids:
        columns = ", ".join(table.number_columns)
        raise StudyError(f"{name} is a row. Add a hyphen and one of its columns: {columns}.")
    known = [number_id(own, column) for own in table.full_ids for column in table.number_columns]
    inside = [other for other in known if other.startswith(f"{name}-")]
    near = inside or difflib.get_close_matches(name, known, n=_MOST_NAMED, cutoff=0.0)
    raise StudyError(f"No number is called {name}. Near to it: {', '.join(near[:_MOST_NAMED])}.")


# On which line of the imported file does a row of the scores stand?


_SCORES = "scores.csv"


def _with_raw_lines(study: Study, rows: pd.DataFrame) -> pd.DataFrame:
    """Return rows of a trace with `raw_file` and `raw_line` where that can be known.

    It is known where the scores are still row by row those of the file that was imported and every cell in question
    reads as the score beside it; else the rows come back without them.
    """
    found = _imported(study)
    rows = rows.drop(columns="raw_line", errors="ignore")  # what the scores themselves say of it is looked up here
    if found is None or rows.empty or (rows["file"] != _SCORES).any():
        return rows
    file, table, columns = found
    place = rows["line"].to_numpy() - 2
    lines, cells = place // len(columns), place % len(columns)
    texts = [table.column(columns[cell])[line] for line, cell in zip(lines, cells, strict=True)]
    came_in = study.scores["score"].to_numpy(dtype=float)[place]
    decimal = str(study.facts["import"]["columns"].get("decimal") or "")
    if not np.array_equal(read_numbers(pd.Series(texts, dtype="str"), decimal).values, came_in, equal_nan=True):
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
        table = raw_table(file, limits=OWN_FILE)
    except PanelError:
        return None
    if not set(columns) <= set(table.header) or len(table.lines) * len(columns) != len(study.scores):
        return None
    return file, table, columns


_TABLE_MAKERS: Mapping[str, Callable[[Answers], Numbers | NoAnswer]] = MappingProxyType(
    {
        "CL": verdicts,
        "CN": all_numbers,
        "F": formulas,
        "BT": batches,
        "N": lambda answers: balance(answers, "trained"),
        "NC": lambda answers: balance(answers, "consumer"),
        BOTH_WAYS.code: partial(numbers_of, question=DIFFERENCES, table=BOTH_WAYS),
        **{
            table.code: partial(numbers_of, question=question, table=table)
            for question, tables in TABLES.items()
            for table in tables
        },
    }
)
"""Letters to the function that makes the table; `tests/report` holds that the report uses these and no others."""
