"""How a table of results is described, once for screen, command, evidence file, workbook and the way back to the rows.

A table is a title, the rows of a result, what names a row, and columns; a column is a heading and how its cells are
written. Nothing is formatted here: the cells are made by `panel.words`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import pandas as pd

from panel.stats.comparing.multiplicity import LEVEL
from panel.study.naming import Naming
from panel.words import (
    NEAREST,
    NOTHING,
    Rounding,
    capital,
    chance_words,
    counted_share,
    format_change,
    format_interval,
    format_number,
    format_p,
    format_share,
    format_shares,
    format_typed,
    level_digits,
    level_words,
)

SCALE = -1
"""As many decimals as scores of this study have; `SCALE - 1` is one more."""


@dataclass(frozen=True, slots=True)
class Source:
    """Which rows of which table of the study a row of results comes from.

    Parameters
    ----------
    table
        Table of the study.
    same
        Column of the results to the column of the study's table that must hold the same.
    only
        Column of the study's table to the values that count.
    direct
        Columns of the results that name the prototypes a row is about; rows of other prototypes count through the
        model only. Without any, every row counts directly.
    group
        Column of the results whose value stands for several prototypes, and which those are.
    """

    table: str
    same: Mapping[str, str] = field(default_factory=dict)
    only: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    direct: tuple[str, ...] = ()
    group: tuple[str, Mapping[str, tuple[str, ...]]] | None = None


@dataclass(frozen=True, eq=False)
class Shown:
    """A described table with the result it is about, in the words of a study: as a person reads it, and unrounded."""

    table: Table
    result: Any
    names: Naming

    @property
    def title(self) -> str:
        """What it holds."""
        return self.table.titled(self.result)

    @property
    def full(self) -> pd.DataFrame:
        """The unrounded rows."""
        return self.table.of(self.result)

    @cached_property
    def texts(self) -> pd.DataFrame:
        """The cells as texts, under headings."""
        table, rows = self.table, self.full
        if table.across is None:
            return self._written(rows)
        down = rows.drop_duplicates(table.key[0], ignore_index=True)
        before, written = self._written(down), table.across.cell.cells(rows, self)
        cell = dict(zip(zip(rows[table.key[0]], rows[table.across.across], strict=True), written, strict=True))
        more = {
            table.across.heading(value, self): [cell.get((name, value), NOTHING) for name in down[table.key[0]]]
            for value in dict.fromkeys(rows[table.across.across])
        }
        return pd.concat([before, pd.DataFrame(more, index=before.index, dtype="str")], axis=1)

    @property
    def figures(self) -> tuple[bool, ...]:
        """For each column shown whether it holds figures, which stand on the right."""
        own = [column.figure for column in self.table.columns_of(self.result)]
        if self.table.across is not None:
            own += [self.table.across.cell.figure] * self.full[self.table.across.across].nunique()
        return tuple(own)

    def _written(self, rows: pd.DataFrame) -> pd.DataFrame:
        columns = self.table.columns_of(self.result)
        return pd.DataFrame(
            {self.heading(column.heading, rows): list(column.cells(rows, self)) for column in columns},
            index=range(len(rows)),
            dtype="str",
        )

    def digits(self, wanted: int, attribute: object = "") -> int:
        """Return decimals; those of the attribute's scores where `SCALE` (or `SCALE - 1`, one more) is wanted."""
        return wanted if wanted >= 0 else self.names.digits_of(str(attribute)) + SCALE - wanted

    def heading(self, text: str, rows: pd.DataFrame) -> str:
        """Return a heading with the level of the intervals and the scale of the scores filled in."""
        if "{told}" in text:
            text = text.replace("{told}", told_words(rows))
        scale = f" ({self.names.scale})" if self.names.scale else ""
        return capital(text.replace("{level}", level_words(LEVEL)).replace("{scale}", scale))


_Cells = Callable[[pd.DataFrame, Shown], Sequence[str]]


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its heading (`{level}` and `{scale}` are filled in), its cells, and what it cannot do without.

    Parameters
    ----------
    heading
        The same words wherever the same thing is shown.
    cells
        Gives the texts of all rows.
    needs
        Columns of the result without which this one is left out.
    figure
        True where the cells are figures, which stand on the right.
    """

    heading: str
    cells: _Cells
    needs: tuple[str, ...] = ()
    figure: bool = True


def _each(name: str, write: Callable[[Any, Shown], str]) -> _Cells:
    return lambda rows, about: [write(value, about) for value in rows[name].to_numpy(dtype="object")]


def _both(name: str, other: str, write: Callable[[Any, Any], str]) -> _Cells:
    return lambda rows, _: list(map(write, rows[name], rows[other]))


def _decimals(rows: pd.DataFrame, about: Shown, digits: int) -> list[int]:
    """Return the decimals of each row: on its own attribute's scale where those of the scores are wanted."""
    if digits >= 0 or "attribute" not in rows:
        return [about.digits(digits)] * len(rows)
    return [about.digits(digits, attribute) for attribute in rows["attribute"]]


def number(
    heading: str, name: str, digits: int = 1, factor: float = 1.0, write: Callable[[float, int], str] = format_number
) -> Column:
    """Describe a column of measured or estimated numbers."""

    def cells(rows: pd.DataFrame, about: Shown) -> list[str]:
        numbers = rows[name].to_numpy(dtype="object")
        return [write(factor * x, own) for x, own in zip(numbers, _decimals(rows, about, digits), strict=True)]

    return Column(heading, cells, (name,))


def change(heading: str, name: str = "estimate", digits: int = SCALE, factor: float = 1.0) -> Column:
    """Describe a column of differences, with their signs."""
    return number(heading, name, digits, factor, format_change)


def interval(low: str = "ci_low", high: str = "ci_high", digits: int = SCALE, heading: str = "{level}") -> Column:
    """Describe a column of intervals."""

    def cells(rows: pd.DataFrame, about: Shown) -> list[str]:
        ends = zip(rows[low], rows[high], _decimals(rows, about, digits), strict=True)
        return [format_interval(one, other, own) for one, other, own in ends]

    return Column(heading, cells, (low, high))


def told_words(rows: pd.DataFrame) -> str:
    """Return the name of the intervals that decide on these rows, with their level where all have the same."""
    levels = rows["told_level"].dropna().unique()
    return f"interval that decides, {level_digits(levels[0])}" if len(levels) == 1 else "interval that decides"


def deciding(
    low: str = "told_low",
    high: str = "told_high",
    level: str = "told_level",
    heading: str = "{told}",
    digits: int = SCALE,
    write: Callable[[float, float, int], str] = format_interval,
) -> Column:
    """Describe a column of the intervals on which verdicts rest, each with its level unless the heading has it."""

    def cells(rows: pd.DataFrame, about: Shown) -> list[str]:
        named = "{told}" in heading and len(rows[level].dropna().unique()) == 1
        ends = map(write, rows[low], rows[high], _decimals(rows, about, digits))
        return [
            told if named or told == NOTHING else f"{told} ({level_digits(each)})"
            for told, each in zip(ends, rows[level], strict=True)
        ]

    return Column(heading, cells, (low, high, level))


def p_value(heading: str, name: str) -> Column:
    """Describe a column of p-values."""
    return Column(heading, _each(name, lambda x, _: format_p(x)), (name,))


def share(heading: str, name: str = "share", digits: int = 0) -> Column:
    """Describe a column of shares in per cent, rounded to nearest."""
    return Column(heading, _each(name, lambda x, _: format_share(x, digits)), (name,))


def share_interval(low: str = "ci_low", high: str = "ci_high", heading: str = "{level}") -> Column:
    """Describe a column of intervals of shares, rounded outwards."""
    return Column(heading, _both(low, high, lambda one, other: format_shares(one, other, 1)), (low, high))


def count(heading: str, name: str) -> Column:
    """Describe a column of counts."""
    return Column(heading, _each(name, lambda x, _: NOTHING if pd.isna(x) else f"{int(x):d}"), (name,))


def typed(heading: str, name: str) -> Column:
    """Describe a column of numbers that somebody typed in: written as they were typed."""
    return Column(heading, _each(name, lambda x, _: NOTHING if pd.isna(x) else format_typed(float(x))), (name,))


def text(heading: str, name: str, words: Mapping[Any, str] | None = None) -> Column:
    """Describe a column of words; with `words`, of what each value is called. What is empty shows as a dash."""

    def write(value: Any, _: Shown) -> str:
        told = words.get(value, NOTHING) if words is not None else value
        return str(told) if told is not None and told == told and told != "" else NOTHING

    return Column(heading, _each(name, write), (name,), figure=False)


def yes_no(heading: str, name: str, yes: str = "yes", no: str = "no") -> Column:
    """Describe a column of truths."""
    return Column(heading, _each(name, lambda x, _: NOTHING if pd.isna(x) else yes if x else no), (name,), figure=False)


def of_those(heading: str, name: str, base: str) -> Column:
    """Describe a column of counts out of a base: `19 of 36`; a dash where the base is nobody."""
    cells = _both(name, base, lambda one, other: f"{int(one)} of {int(other)}" if other else NOTHING)
    return Column(heading, cells, (name, base))


def of_share(heading: str, name: str, base: str, rounding: Rounding = NEAREST) -> Column:
    """Describe a column of counts out of a base, with the share: `44 of 58 (75.9 %)`."""
    cells = _both(name, base, lambda one, other: counted_share(int(one), int(other), rounding))
    return Column(heading, cells, (name, base))


def each_row(
    heading: str, write: Callable[[Mapping[str, Any], Shown], str], *needs: str, figure: bool = False
) -> Column:
    """Describe a column whose cells are written from the whole row."""

    def cells(rows: pd.DataFrame, about: Shown) -> list[str]:
        names = [str(name) for name in rows.columns]
        columns = [column.to_numpy(dtype="object").tolist() for _, column in rows.items()]
        return [write(dict(zip(names, row, strict=True)), about) for row in zip(*columns, strict=True)]

    return Column(heading, cells, needs, figure=figure)


def attribute_column(heading: str = "Attribute") -> Column:
    """Describe a column of attributes, in the study's words, each with its unit."""
    cells = _each("attribute", lambda x, about: about.names.measure(str(x)))
    return Column(heading, cells, ("attribute",), figure=False)


ATTRIBUTE = attribute_column()
STAGE = Column(
    "Stage", _each("attribute", lambda x, about: about.names.stage(str(x)) or NOTHING), ("attribute",), figure=False
)
PROTOTYPE = text("Prototype", "prototype")
PROTOTYPE_IN_WORDS = Column(
    "Prototype", _each("prototype", lambda x, about: about.names.prototype(str(x))), ("prototype",), figure=False
)
VERSUS = text("Compared with", "versus")
ASSESSOR = text("Assessor", "assessor")
QUESTION = text("Question", "question")
INTERVAL = interval()
P = p_value("p", "p_value")
P_ADJUSTED = p_value("p, adjusted", "p_adjusted")
P_HOLM = p_value("p after Holm", "p_adjusted")
VERDICT = text("In words", "verdict")
SHRUNKEN = change("With luck taken out", "shrunken")
WRONG_SIGN = Column(
    "Chance its sign is wrong", _each("wrong_sign", lambda value, _: chance_words(value)), ("wrong_sign",)
)


DEGREES = each_row(
    "Degrees of freedom",
    lambda row, _: f"{format_number(row['df'], 0)}; {format_number(row['df_error'], 1)}",
    *("df", "df_error"),
    figure=True,
)


@dataclass(frozen=True, slots=True)
class Across:
    """A table whose rows go down by one column of the result and whose columns go across by another.

    Parameters
    ----------
    across
        Column of the result whose values become columns.
    cell
        How each cell is written.
    heading
        Words over each of those columns; the value itself by default.
    """

    across: str
    cell: Column
    heading: Callable[[Any, Shown], str] = lambda value, _: str(value)


def literal(name: str) -> str:
    """Return a name so that it stands in the title of a table as it is: braces would be taken for fields."""
    return name.replace("{", "{{").replace("}", "}}")


@dataclass(frozen=True, slots=True)
class Table:
    """A table of results as data.

    Parameters
    ----------
    name
        Name of its file, without ending.
    title
        What it holds; names in braces are filled in from the result, such as `{benchmark}`.
    rows
        Field of the result that holds the rows, or what makes them from the result.
    columns
        Its columns, from left to right, or what gives them for a result.
    key
        Columns of the rows that name one.
    across
        For a table that goes down by `key[0]` and across by another column: `columns` are then those before it.
    code
        Letters that begin the id of each of its numbers in the evidence file; empty if it is not in there.
    sources
        Which rows of the study each of its rows rests on.
    printed
        False for a table so long that it stands in the workbook only.
    none
        Why there are no rows, where there are none.
    """

    name: str
    title: str
    rows: str | Callable[[Any], pd.DataFrame]
    columns: tuple[Column, ...] | Callable[[Any], tuple[Column, ...]]
    key: tuple[str, ...] = ()
    across: Across | None = None
    code: str = ""
    sources: tuple[Source, ...] | Callable[[Any], tuple[Source, ...]] = ()
    printed: bool = True
    none: str = ""

    def of(self, result: Any) -> pd.DataFrame:
        """Return the unrounded rows."""
        return getattr(result, self.rows) if isinstance(self.rows, str) else self.rows(result)

    def titled(self, result: Any) -> str:
        """Return the title with the names of the result filled in, and the level of the intervals that decide."""
        return self.title.format_map(_Fields(self, result)) if "{" in self.title else self.title

    def behind(self, result: Any) -> tuple[Source, ...]:
        """Return which rows of the study its rows rest on."""
        return self.sources(result) if callable(self.sources) else self.sources

    def columns_of(self, result: Any) -> tuple[Column, ...]:
        """Return its columns for a result; those of which something is missing are left out."""
        own = self.columns(result) if callable(self.columns) else self.columns
        there = set(self.of(result).columns)
        return tuple(column for column in own if there.issuperset(column.needs))


class _Fields(dict[str, Any]):
    """The fields of a result, looked up when a title asks for one."""

    def __init__(self, table: Table, result: Any) -> None:
        self._table, self._result = table, result

    def __missing__(self, name: str) -> Any:
        return told_words(self._table.of(self._result)) if name == "told" else getattr(self._result, name)


def shown(table: Table, result: Any, names: Naming) -> pd.DataFrame:
    """Return a table as a person reads it: texts under headings."""
    return Shown(table, result, names).texts


def own_lines(
    rows: pd.DataFrame, names: Naming, *also: str, about_zero: bool = False
) -> tuple[pd.DataFrame, dict[str, str]]:
    """Return rows for a picture with a line for each attribute, and what stands behind the name of each: its unit.

    Where attributes have several scales, each line runs from -1 to 1 on its own, and behind the name is what that is.
    """
    if not names.mixed:
        every = map(str, rows["attribute"].unique())
        return rows, {name: names.measure(name).removeprefix(names.attribute(name)) for name in every}
    columns = ["estimate", "ci_low", "ci_high", *also]
    ends = rows[columns].astype(float).groupby(rows["attribute"], sort=False).agg(["min", "max"])
    low, high = ends.min(axis=1), ends.max(axis=1)
    if about_zero:
        high = ends.abs().max(axis=1)
        low = -high
    middle, half = (rows["attribute"].map(part) for part in ((low + high) / 2, ((high - low) / 2).replace(0.0, 1.0)))
    behind = {}
    for name, start, end in zip(map(str, low.index), low, high, strict=True):
        reach = f"±{names.number(name, end)}" if about_zero else names.interval(name, start, end)
        behind[name] = f" ({reach})"
    return rows.assign(**{name: (rows[name] - middle) / half for name in columns}), behind


OWN_LINES = "Each line has its own scale, its ends in brackets"
