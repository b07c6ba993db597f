"""Where does this number come from? Its value, how it was computed, and the rows of the study behind it."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from typing import Any

import pandas as pd

from panel.errors import StudyError
from panel.report.contents.all_tables import TABLE_MAKERS
from panel.report.contents.blocks import Numbers
from panel.report.contents.number_ids import number_id
from panel.report.contents.results import NotThere, Results
from panel.report.contents.sources import source_rows
from panel.report.raw_lines import with_raw_lines
from panel.study.study import Study

_MOST_NAMED = 5
_INVISIBLE = "\u200b\u00ad"  # a copied id may carry the signs at which a page broke it


@dataclass(frozen=True, eq=False, slots=True)
class Trace:
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
    """

    number_id: str
    value: float
    column: str
    table: str
    row: dict[str, Any]
    method: str
    rows: tuple[pd.DataFrame, ...]
    seed: int


def why(study: Study, asked_id: str, *, rng_seed: int = 1, results: Results | None = None) -> Trace:
    """Return where a number of the evidence file comes from. Only what its table needs is computed.

    Parameters
    ----------
    asked_id
        Such as `D-AF_GREASE-P4-P1-estimate`.
    results
        Results of the same study that are there already.

    Raises
    ------
    StudyError
        If no number has that id; the message names ids that are near.
    """
    name = "".join(asked_id.translate(dict.fromkeys(map(ord, _INVISIBLE))).split())
    code = name.partition("-")[0]
    if code not in TABLE_MAKERS:
        raise StudyError(f"No table has the letters {code!r}. Tables are: {', '.join(TABLE_MAKERS)}.")
    results = results or Results(study, rng_seed)
    table = TABLE_MAKERS[code](results)
    if isinstance(table, NotThere):
        raise StudyError(f"There is no table {code}: {table.why[:1].lower()}{table.why[1:]}")
    place = _place(table, name)
    row = {str(column): cell for column, cell in table.full.iloc[place[0]].to_dict().items()}
    rows = tuple(with_raw_lines(study, source_rows(study, source, row)) for source in table.sources)
    return Trace(name, float(row[place[1]]), place[1], table.title, row, table.method, rows, results.rng_seed)


def _place(table: Numbers, name: str) -> tuple[int, str]:
    """Return row and column of a number; StudyError with near ids if there is none."""
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
