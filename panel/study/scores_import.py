"""How does a table of scores, long or wide, become a study?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from panel.errors import StudyError
from panel.study.blank_names import FILLED, FilledDown, merged_scores, with_names_filled
from panel.study.layout import ScoresLayout, attribute_columns, check_layout
from panel.study.natural_order import natural_order
from panel.study.numbers_read import NumbersRead, read_number_columns, read_numbers
from panel.study.raw_table import RawTable
from panel.study.rehearsed import REHEARSED
from panel.study.study import UNREAD_COLUMNS, RawFile, Study
from panel.study.table_cells import NOT_WHOLE
from panel.study.tables import TABLES

_NAME_ROLES = ("assessor", "prototype", "attribute", "session", "replicate", "batch", "recorded_at")
_SHOWN = 6  # names in a sentence before "and n more"


@dataclass(frozen=True, eq=False, slots=True)
class ImportedScores:
    """Scores read from somebody's file.

    Parameters
    ----------
    scores
        The scores table of a study: one row per score, also for empty ones.
    unread
        Cells that could not be read, where they stand in the file: columns `line column text reason`, and in
        `row` and `score_column` where they stand in the scores table (its header being line 1).
    notes
        What was done, one plain sentence each.
    layout
        Which column held what.
    filled
        Names that were filled down.
    """

    scores: pd.DataFrame
    unread: pd.DataFrame
    notes: tuple[str, ...]
    layout: ScoresLayout
    filled: tuple[FilledDown, ...] = ()


def read_scores(table: RawTable, layout: ScoresLayout) -> ImportedScores:
    """Read the scores of a table.

    Parameters
    ----------
    table
        The table as texts.
    layout
        Which column holds what; in a wide table without `attributes` every numeric column left over is one.

    Raises
    ------
    StudyError
        If the layout does not fit the table, or a row with a score lacks a name (see `with_names_filled`).
    """
    if not layout.is_long and not layout.attributes:
        layout = replace(layout, attributes=attribute_columns(table, layout))
    check_layout(table, layout)
    table, filled = with_names_filled(table, layout)
    score_columns = [layout.score] if layout.is_long else list(layout.attributes)
    numbers = read_number_columns({column: table.column(column) for column in score_columns}, layout.decimal)
    position = _positions(table, layout)
    scores = _long_scores(table, layout, numbers, position)
    unread = _unread(table, layout, numbers, position)
    notes = (
        *table.notes,
        *(one.words for one in filled),
        *_notes_on_names(table, layout),
        *_notes_on_numbers(numbers),
        *_notes_on_rehearsal(table),
        *_notes_on_shape(table, layout, scores, unread),
    )
    return ImportedScores(scores, unread, notes, layout, filled)


def study_from_scores(
    imported: ImportedScores,
    raw_file: RawFile,
    title: str,
    scale_min: float | None = None,
    scale_max: float | None = None,
    benchmark: str = "",
) -> Study:
    """Return a study made of imported scores; its prototypes, attributes and assessors are those that occur.

    Parameters
    ----------
    imported
        What `read_scores` returned.
    raw_file
        The file it came from, kept unchanged.
    title
        What the study is called.
    scale_min, scale_max
        Lowest and highest possible score, if known; the same for all attributes.
    benchmark
        The prototype the others are compared with, if there is one.

    Raises
    ------
    StudyError
        If the benchmark is none of the prototypes.
    """
    scores = imported.scores
    tables = {
        "prototypes": _with_benchmark(_listed("prototypes", natural_order(scores["prototype"])), benchmark.strip()),
        "attributes": _listed("attributes", scores["attribute"]),
        "assessors": _listed("assessors", natural_order(scores["assessor"])),
        "scores": scores,
    }
    tables["attributes"]["scale_min"] = np.nan if scale_min is None else float(scale_min)
    tables["attributes"]["scale_max"] = np.nan if scale_max is None else float(scale_max)
    layout: dict[str, Any] = {role: held for role, held in asdict(imported.layout).items() if held}
    layout = {role: list(held) if isinstance(held, tuple) else held for role, held in layout.items()}
    record: dict[str, Any] = {"file": raw_file.name, "columns": layout, "done": list(imported.notes)}
    if imported.filled:
        record[FILLED] = [one.record() for one in imported.filled]
    unread = imported.unread.assign(table="scores", column=imported.unread["score_column"])
    return Study(tables, {"title": title, "import": record}, unread[list(UNREAD_COLUMNS)], (raw_file,))


def _positions(table: RawTable, layout: ScoresLayout) -> NumbersRead | None:
    if not layout.position:
        return None
    read = read_numbers(table.column(layout.position), layout.decimal)
    broken = np.flatnonzero(~np.isnan(read.values) & (read.values != np.round(read.values)))
    values = read.values.copy()
    values[broken] = np.nan
    return replace(read, values=values, reasons={**read.reasons, **dict.fromkeys(broken.tolist(), NOT_WHOLE)})


def _names(table: RawTable, column: str) -> np.ndarray:
    return np.array([cell.strip() for cell in table.column(column)], dtype=object)


def _long_scores(
    table: RawTable, layout: ScoresLayout, numbers: dict[str, NumbersRead], position: NumbersRead | None
) -> pd.DataFrame:
    """Return the scores table: each row of the file in turn, in a wide one its attributes from left to right."""
    times = len(numbers)
    columns: dict[str, Any] = {}
    for role in _NAME_ROLES:
        column = getattr(layout, role)
        if role == "attribute" and not layout.is_long:
            columns[role] = np.tile(np.array(layout.attributes, dtype=object), len(table.lines))
        elif column:
            columns[role] = np.repeat(_names(table, column), times)
    columns["score"] = np.column_stack([read.values for read in numbers.values()]).ravel()
    rows = len(columns["score"])
    columns["position"] = np.repeat(position.values, times) if position else np.full(rows, np.nan)
    columns["source"] = np.repeat(np.where(_rehearsed(table), REHEARSED, "imported").astype(object), times)
    blank = np.full(rows, "", dtype=object)
    return pd.DataFrame(
        {
            column.name: pd.Series(
                columns.get(column.name, blank), dtype="float64" if column.kind in ("number", "integer") else "str"
            )
            for column in TABLES["scores"].columns
        }
    )


def _rehearsed(table: RawTable) -> np.ndarray:
    """Return which rows say that they come from a rehearsal: no way of bringing them in may lose that."""
    column = next((name for name in table.header if name.strip().casefold() == "source"), None)
    if column is None:
        return np.zeros(len(table.lines), dtype=bool)
    return np.array([cell.strip().casefold() == REHEARSED for cell in table.column(column)], dtype=bool)


def _unread(
    table: RawTable, layout: ScoresLayout, numbers: dict[str, NumbersRead], position: NumbersRead | None
) -> pd.DataFrame:
    """Return the cells that could not be read, in the order of the file."""
    times = len(numbers)
    found = [
        (place, offset, column, "score", reason)
        for offset, (column, read) in enumerate(numbers.items())
        for place, reason in read.reasons.items()
    ]
    if position:
        found += [(place, 0, layout.position, "position", reason) for place, reason in position.reasons.items()]
    cells = [
        (str(table.lines[place]), column, table.column(column)[place], reason, str(place * times + offset + 2), where)
        for place, offset, column, where, reason in sorted(found)
    ]
    columns = ["line", "column", "text", "reason", "row", "score_column"]
    return pd.DataFrame(cells, columns=columns, dtype="str")


def _with_benchmark(prototypes: pd.DataFrame, benchmark: str) -> pd.DataFrame:
    """Return the prototypes with the role of the benchmark, if one is named."""
    if not benchmark:
        return prototypes
    names = prototypes["prototype"].tolist()
    if benchmark not in names:
        raise StudyError(f"The benchmark {benchmark!r} is none of the prototypes; they are {', '.join(names)}.")
    return prototypes.assign(role=["benchmark" if name == benchmark else "" for name in names])


def _listed(name: str, names: Iterable[str]) -> pd.DataFrame:
    """Return a table with one row for each name that occurs and with all its columns still to be filled in."""
    distinct = [found for found in dict.fromkeys(names) if found]
    columns: dict[str, pd.Series] = {}
    for column in TABLES[name].columns:
        if column.name == TABLES[name].key[0]:
            columns[column.name] = pd.Series(distinct, dtype="str")
        elif column.kind in ("number", "integer"):
            columns[column.name] = pd.Series(np.nan, index=range(len(distinct)), dtype="float64")
        else:
            columns[column.name] = pd.Series("", index=range(len(distinct)), dtype="str")
    return pd.DataFrame(columns)


def _notes_on_names(table: RawTable, layout: ScoresLayout) -> list[str]:
    notes = []
    if once := merged_scores(table, layout):
        notes.append(f"Scores merged over several rows count once, in the first of them: {_some(list(once))}.")
    for role in _NAME_ROLES:
        if column := getattr(layout, role):
            trimmed = {cell.strip() for cell in table.column(column) if cell != cell.strip()}
            if trimmed:
                notes.append(f"Blanks round these names in column {column!r} were taken off: {_some(trimmed)}.")
    return notes


def _notes_on_rehearsal(table: RawTable) -> list[str]:
    rows, of = int(_rehearsed(table).sum()), len(table.lines)
    return [f"{rows} of {of} rows come from a rehearsal; with them the study supports no claim."] if rows else []


def _notes_on_numbers(numbers: dict[str, NumbersRead]) -> list[str]:
    """Return what was noticed about the numbers, the columns with the same peculiarity together."""
    by_note: dict[str, list[str]] = {}
    for column, read in numbers.items():
        for note in read.notes:
            by_note.setdefault(note, []).append(column)
    notes = [f"{note[0].upper()}{note[1:]}: {_some(columns)}." for note, columns in by_note.items()]
    unclear = [column for column, read in numbers.items() if read.ambiguous]
    if unclear:
        notes.append(
            f"Cells that can be read in two ways, such as 1,234, were not read: {_some(unclear)}. "
            "Say whether the comma is the decimal sign."
        )
    return notes


def _notes_on_shape(table: RawTable, layout: ScoresLayout, scores: pd.DataFrame, unread: pd.DataFrame) -> list[str]:
    rows, empty = len(table.lines), int(scores["score"].isna().sum())
    notes = [f"{rows} rows gave {len(scores)} scores; {empty} of them are empty or could not be read."]
    if not layout.is_long:
        notes.insert(0, f"Attribute columns put below each other: {len(layout.attributes)}.")
    held = [f"{role} from {column!r}" for role, column in layout.columns().items()]
    notes.insert(0, f"Columns used: {', '.join(held)}.")
    if len(unread):
        notes.append(f"Cells that could not be read as numbers: {len(unread)}.")
    used = {*layout.columns().values(), *layout.attributes}
    if unused := [column for column in table.header if column not in used]:
        notes.append(f"Columns that were not used: {_some(unused)}.")
    return notes


def _some(names: list[str] | set[str]) -> str:
    listed = sorted(names) if isinstance(names, set) else list(names)
    rest = f" and {len(listed) - _SHOWN} more" if len(listed) > _SHOWN else ""
    return ", ".join(listed[:_SHOWN]) + rest
