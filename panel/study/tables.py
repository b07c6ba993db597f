"""Which tables a study has, which columns each table has, and what a row of it is."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from operator import itemgetter
from pathlib import Path
from types import MappingProxyType

DESCRIPTION = "datapackage.json"
"""The file of a study folder that describes its tables and states its facts."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a study table, or one fact of the whole study: its name, its kind, and what it holds.

    A column is text, number, integer or date; the kinds of facts are those of `panel.study.facts.KINDS`.
    """

    name: str
    kind: str
    meaning: str
    required: bool = False
    choices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Table:
    """One table of a study: what a row is, its columns, the columns that together name a row, whether it only grows."""

    name: str
    row: str
    columns: tuple[Column, ...]
    key: tuple[str, ...] = ()
    grows: bool = False

    @property
    def column_names(self) -> tuple[str, ...]:
        """Names of the columns in their order."""
        return tuple(column.name for column in self.columns)

    def column(self, name: str) -> Column:
        """Return the column called `name`; KeyError if the table has none."""
        for column in self.columns:
            if column.name == name:
                return column
        raise KeyError(name)


def shared_folder() -> Path:
    """Return the folder with the shared tables: inside the installed package, else beside it in the repository."""
    package = Path(__file__).resolve().parents[1]
    for folder in (package / "_shared", package.parent / "shared"):
        if (folder / "study_tables.csv").is_file():
            return folder
    raise ImportError(
        f"The shared tables (study_tables.csv and others) were not found in {package / '_shared'} nor in "
        f"{package.parent / 'shared'}. Install the package again, or work from a complete copy of the repository."
    )


CANNOT_JUDGE = "cannot judge"
"""Flag of a score that the assessor could not give."""


def _tables() -> Iterator[tuple[str, Table]]:
    """Yield the part of a study that each table belongs to, and the table: a line of its own, then its columns."""
    for name, lines in groupby(_LINES, itemgetter("table")):
        about, *rows = lines
        columns = tuple(
            Column(
                row["column"],
                row["kind"],
                row["meaning"],
                required=row["needed"] == "yes",
                choices=tuple(filter(None, row["choices"].split("; "))),
            )
            for row in rows
        )
        key = tuple(row["column"] for row in rows if row["key"] == "yes")
        yield about["part"], Table(name, about["meaning"], columns, key, grows=about["grows"] == "yes")


_LINES = tuple(csv.DictReader((shared_folder() / "study_tables.csv").read_text(encoding="utf-8").splitlines()))
_PARTS = tuple(_tables())
PREPARED, COLLECTED, _RECORDED, (_FACTS,), _ENTRIES = (
    tuple(table for part, table in _PARTS if part == of)
    for of in ("prepared", "collected", "recorded", "facts", "entries")
)
TABLES = MappingProxyType({table.name: table for table in (*PREPARED, *COLLECTED, *_RECORDED)})
STATED = _FACTS.columns
"""The facts that something here reads. What is called otherwise is kept as it is."""
ENTRIES = MappingProxyType({table.name: table.columns for table in _ENTRIES})
"""Facts that are lists of entries, and the columns of each entry."""
_CALLED = {row["column"]: row["called"] for row in _LINES if row["called"]}


def heading(column: Column) -> str:
    """Return the heading of a column as people write it: `Viscosity in mPa s`, `Batch size in g`."""
    words = spoken(column.name)
    return words if words == "pH" else words[0].upper() + words[1:]


def spoken(name: str) -> str:
    """Return what a column is called inside a sentence: target from, for target_low."""
    return _CALLED.get(name) or name.replace("_", " ")
