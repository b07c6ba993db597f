"""How a column and a table of a study are described, and the columns that several tables share."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a study table: its name, its kind (text, number, integer, date) and what it holds."""

    name: str
    kind: str
    meaning: str
    required: bool = False
    choices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Table:
    """One table of a study: what a row is, its columns, and the columns that together name a row."""

    name: str
    row: str
    columns: tuple[Column, ...]
    key: tuple[str, ...] = ()

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


def text(name: str, meaning: str, *, required: bool = False, choices: tuple[str, ...] = ()) -> Column:
    """Return a column of texts."""
    return Column(name, "text", meaning, required, choices)


def number(name: str, meaning: str, *, required: bool = False) -> Column:
    """Return a column of numbers."""
    return Column(name, "number", meaning, required)


PROTOTYPE = text("prototype", "short name of the prototype", required=True)
ASSESSOR = text("assessor", "code of the person, never a name", required=True)
ATTRIBUTE = text("attribute", "short name of the attribute", required=True)
SESSION = text("session", "which sitting")
POSITION = Column("position", "integer", "place in the serving order, 1 is first")
