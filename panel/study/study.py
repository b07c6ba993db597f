"""What a study is once it has been read: its tables, its facts, and what could not be read."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache, cached_property, wraps
from typing import Any, TypeVar

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from panel.study.tables import TABLES

_T = TypeVar("_T")

UNREAD_COLUMNS = ("table", "row", "column", "text", "reason")


@cache
def empty_table(name: str) -> pd.DataFrame:
    """Return a table without rows that has all the columns of the table called `name`."""
    return pd.DataFrame(
        {column: pd.Series(dtype="str" if nothing == "" else "float64") for column, nothing in _nothing(name).items()}
    )


@cache
def _nothing(name: str) -> dict[str, str | float]:
    """Return what stands in each known column of a table where nothing does: no text, or no number."""
    return {column.name: np.nan if column.kind in ("number", "integer") else "" for column in TABLES[name].columns}


def _with_all_columns(name: str, frame: pd.DataFrame) -> pd.DataFrame:
    """Return the table called `name` with all its known columns."""
    absent = {column: nothing for column, nothing in _nothing(name).items() if column not in frame.columns}
    if not absent:
        return frame
    empty = pd.array([""], dtype="str").take(np.zeros(len(frame), dtype=np.intp))  # quicker than "" for each row
    more = {column: empty.copy() if nothing == "" else nothing for column, nothing in absent.items()}
    return pd.concat([frame, pd.DataFrame(more, index=frame.index, copy=False)], axis=1)  # all at once


@cache
def _no_unread() -> pd.DataFrame:
    return pd.DataFrame({column: pd.Series(dtype="str") for column in UNREAD_COLUMNS})


@dataclass(frozen=True, slots=True)
class RawFile:
    """A file as it came in, kept unchanged: its name, its SHA-256 and its bytes."""

    name: str
    sha256: str
    content: bytes = field(repr=False)


def kept(function: Callable[..., _T]) -> Callable[..., _T]:
    """Keep with a study what a function works out of it alone; asked with anything else it works that out anew.

    For results that nobody changes: frozen records, tuples and frames, of which everybody gets a copy of their own.
    """
    name = f"{function.__module__}.{function.__qualname__}"

    @wraps(function)
    def ask(study: Study, *more: Any, **settings: Any) -> _T:
        if more or settings:
            return function(study, *more, **settings)
        if name not in study._kept:
            study._kept[name] = function(study)
        found: _T = study._kept[name]
        return found.copy(deep=False) if isinstance(found, pd.DataFrame) else found

    return ask


_MANY = 10_000  # rows; of fewer, each is looked up sooner than compared with the one before
_LOOKED_AT = 2_000  # rows that tell how texts come
_OFTEN = 0.5  # share of texts that differ from the one before


def _numbered(cells: pd.Series) -> tuple[NDArray[np.intp], list[Any]]:
    """Return the number of each cell's content, and what these are; of many texts by runs or rounds, if they come so.

    A round is what comes again and again in one order, as the attributes of each sample.
    """
    if cells.dtype == "str" and len(cells) > _MANY:
        texts = cells.array
        code, different = pd.factorize(texts[:_LOOKED_AT], use_na_sentinel=False)
        again = int(np.append(code, 0)[1:].argmin()) + 1
        if again == len(different) and texts[again:].equals(texts[:-again]):
            return np.tile(code[:again], -(-len(cells) // again))[: len(cells)], different.tolist()
        if np.count_nonzero(np.diff(code)) < _OFTEN * len(code):
            starts = np.append(0, 1 + np.flatnonzero(np.asarray(texts[1:] != texts[:-1], dtype=bool)))
            code, different = pd.factorize(texts.take(starts), use_na_sentinel=False)
            return np.repeat(code, np.diff(starts, append=len(cells))), different.tolist()
    code, different = pd.factorize(cells.array, use_na_sentinel=False)  # of the column, an index is made too
    return code, different.tolist()


def placed(code: NDArray[np.intp], names: Sequence[Any], order: Sequence[Any]) -> NDArray[np.intp]:
    """Return for the number of each name in `names` its place in `order`, -1 where it has none."""
    if list(names) == list(order):
        return code
    place = {name: k for k, name in enumerate(order)}
    return np.array([place.get(name, -1) for name in names], dtype=np.intp)[code]


class Numbered:
    """The columns of scores as numbers: each is looked through once, however many ask.

    Parameters
    ----------
    rows
        The scores with the columns they came with; one they came without holds nothing.
    """

    def __init__(self, rows: pd.DataFrame) -> None:
        self.rows = rows
        self._found: dict[str, tuple[NDArray[np.intp], list[Any]]] = {}

    def __len__(self) -> int:
        return len(self.rows)

    @cached_property
    def frame(self) -> pd.DataFrame:
        """The scores with all their known columns."""
        return _with_all_columns("scores", self.rows).copy(deep=False)

    def __getitem__(self, column: str) -> tuple[NDArray[np.intp], list[Any]]:
        """Return the number of each cell's content, and what these are, in their order of coming."""
        if column not in self._found:
            known = column in self.rows
            code, names = (
                _numbered(self.rows[column]) if known else (np.zeros(0, np.intp), [_nothing("scores")[column]])
            )
            same = np.broadcast_to(np.intp(0), len(self))  # takes no memory, however many rows
            self._found[column] = code if len(names) > 1 else same, names[: len(self)]
        return self._found[column]

    def beside(self, rows: pd.DataFrame) -> Numbered:
        """Return the same numbers for a frame with the same rows, which differs in columns that nobody numbers."""
        numbered = Numbered(rows)
        numbered._found = self._found
        return numbered


@dataclass(frozen=True, eq=False, slots=True)
class Study:
    """A study as the chemist thinks of it.

    Parameters
    ----------
    tables
        Table name to frame. Text and date cells are `str`, missing ones the empty string; numbers are `float`,
        missing ones NaN. The index counts rows from 0: row `i` stands on line `i + 2` of its file.
    facts
        What concerns the whole study: title, purpose, scale_min, scale_max, benchmark, rules, dose, room ...
    unread
        Cells that hold something that could not be read as what the column holds
        (columns `table row column text reason`; `row` is the line in the file).
    raw_files
        The files that were imported, byte for byte.
    """

    tables: Mapping[str, pd.DataFrame]
    facts: Mapping[str, Any] = field(default_factory=dict)
    unread: pd.DataFrame = field(default_factory=_no_unread)
    raw_files: tuple[RawFile, ...] = ()
    _whole: dict[str, pd.DataFrame] = field(default_factory=dict, init=False, repr=False)  # tables with all columns
    _kept: dict[str, Any] = field(default_factory=dict, init=False, repr=False)  # what was worked out of it alone

    def table(self, name: str) -> pd.DataFrame:
        """Return the table called `name` with all its known columns; without rows if the study has none."""
        if name not in self._whole:
            frame = self.tables.get(name)
            self._whole[name] = empty_table(name) if frame is None else _with_all_columns(name, frame)
        return self._whole[name].copy(deep=False)

    def listed(self, name: str, *columns: str) -> list[list[Any]]:
        """Return columns of the table called `name`, as lists; empty ones if the study has no such table."""
        if self.tables.get(name) is None:
            return [[] for column in columns if column in _nothing(name)]
        table = self.table(name)
        return [table[column].tolist() for column in columns]

    @property
    def scores(self) -> pd.DataFrame:
        """The scores as they came in; `panel.study.scores_used` says which of them an analysis uses."""
        return self.table("scores")

    @property
    @kept
    def numbered(self) -> Numbered:
        """The scores as they came in, their columns as numbers."""
        rows = self.tables.get("scores")
        return Numbered(self.scores if rows is None or "score" not in rows else rows)

    @property
    @kept
    def prototypes(self) -> tuple[str, ...]:
        """Prototypes in the order of the prototypes table, then any others in the natural order of their names."""
        others = _in_order(self.numbered["prototype"][1], *self.listed("formulas", "prototype"))
        return _in_order(*self.listed("prototypes", "prototype"), natural_order(others))

    @property
    @kept
    def attributes(self) -> tuple[str, ...]:
        """Attributes in the order of the attributes table, then any others in the order they were scored."""
        return _in_order(*self.listed("attributes", "attribute"), self.numbered["attribute"][1])

    @property
    def assessors(self) -> tuple[str, ...]:
        """Trained assessors in the order of the assessors table, then any others that gave scores."""
        listed = zip(*self.listed("assessors", "assessor", "kind"), strict=True)
        return _in_order([name for name, kind in listed if kind != "consumer"], self.numbered["assessor"][1])

    @property
    def benchmark(self) -> str | None:
        """The prototype the others are compared with: the first whose role is benchmark, or None."""
        for prototype, role in zip(*self.listed("prototypes", "prototype", "role"), strict=True):
            if role == "benchmark":
                return str(prototype)
        stated = self.facts.get("benchmark")
        return str(stated) if stated else None

    def scale(self, attribute: str) -> tuple[float, float] | None:
        """Lowest and highest possible score of `attribute`, or None if the study does not say."""
        return self.scales([attribute])[0]

    def scales(self, attributes: Iterable[str]) -> list[tuple[float, float] | None]:
        """Lowest and highest possible score of each of `attributes`, None where the study does not say.

        The scale of the study is not that of an attribute with a unit: it was measured.
        """
        own, in_units = _scales_of_attributes(self), self.in_units
        low, high = self.facts.get("scale_min"), self.facts.get("scale_max")
        usual = (float(low), float(high)) if low is not None and high is not None else None
        return [own.get(name) or (None if name in in_units else usual) for name in attributes]

    @property
    @kept
    def in_units(self) -> frozenset[str]:
        """Attributes whose scores have a unit: they were measured, on no scale."""
        units = zip(*self.listed("attributes", "attribute", "unit"), strict=True)
        return frozenset(name for name, unit in units if unit and unit == unit)

    def margins(self, usual: float | None = None) -> dict[str, float]:
        """Smallest difference that matters on each attribute that has one: its own, else `usual`, else the study's.

        Those of the study are points of the scale that most attributes are on, and say nothing of another scale.
        """
        stated = self.facts.get("margin")
        usual = float(stated) if usual is None and isinstance(stated, int | float) else usual
        names = self.attributes
        listed, *columns = (column[::-1] for column in self.listed("attributes", "attribute", "unit", "margin"))
        units, own = (dict(zip(listed, column, strict=True)) for column in columns)  # the first row of each counts
        kinds = [(scale, units.get(name, "")) for name, scale in zip(names, self.scales(names), strict=True)]
        most = max(kinds, key=kinds.count, default=None)
        found = [
            (name, own[name] if own.get(name, 0) > 0 else usual if kind == most else None)
            for name, kind in zip(names, kinds, strict=True)
        ]
        return {name: margin for name, margin in found if margin is not None}

    def attribute_words(self, attribute: str) -> str:
        """Name of `attribute` in words, or its short name where the study gives no words."""
        return str(_words_of_attributes(self).get(attribute) or attribute)

    @property
    @kept
    def content_hash(self) -> str:
        """SHA-256 of everything an analysis can see: the same content gives the same hash, whatever its place."""
        digest = hashlib.sha256(json.dumps(dict(self.facts), sort_keys=True, default=str).encode())
        for name in sorted(self.tables):
            digest.update(f"\n{name}\n".encode())
            digest.update(self.tables[name].to_csv(index=False, float_format="%.17g").encode())
        if len(self.unread):
            digest.update(b"\nunread\n" + self.unread.to_csv(index=False).encode())
        return digest.hexdigest()


@kept
def _scales_of_attributes(study: Study) -> dict[str, tuple[float, float] | None]:
    """Return the scale of each attribute, of the first row that has it; None where the table gives none."""
    own: dict[str, tuple[float, float] | None] = {}
    for name, *ends in zip(*study.listed("attributes", "attribute", "scale_min", "scale_max"), strict=True):
        own.setdefault(name, (float(ends[0]), float(ends[1])) if np.isfinite(np.array(ends, float)).all() else None)
    return own


@kept
def _words_of_attributes(study: Study) -> dict[str, str]:
    """Return the name of each attribute, of the first row that has it; empty where the study gives none."""
    names, words = study.listed("attributes", "attribute", "name")
    return dict(zip(reversed(names), reversed(words), strict=True))


def _in_order(*columns: Iterable[Any]) -> tuple[str, ...]:
    """Return the distinct non-empty values of the columns, first column first, in order of appearance."""
    return tuple(dict.fromkeys(str(value) for column in columns for value in column if value.strip()))


# Which of these names occur in a column?


def those_in(names: Iterable[str], column: pd.Series) -> tuple[str, ...]:
    """Return the names that occur in the column, in the order of `names`."""
    there = set(column.unique())
    return tuple(name for name in names if name in there)


# Was this study rehearsed? Marks that a program drew are no evidence, and no later step may take them for it.


REHEARSAL_FACT = "rehearsal"
REHEARSED = "rehearsal"
"""Source of a rehearsed score."""
IMPORTED_ROW = "imported"
SOURCES = (IMPORTED_ROW, REHEARSED, "typed", "scanned", "ballot", "")
"""What the source of a score may be: of one from another file than the study was imported from, the name of that."""

LOCKED_FACT = "locked_sessions"


def is_rehearsed(study: Study) -> bool:
    """Return True if the study is a rehearsal, or holds anything that comes from one.

    The study says so itself, a score names it as its source, or one of the records it keeps was rehearsed: any of the
    three is enough.
    """
    sources = {str(source).strip().casefold() for source in study.scores["source"].unique()}
    if study.facts.get(REHEARSAL_FACT) or REHEARSED in sources:
        return True
    return any(b'"rehearsal":true' in file.content for file in study.raw_files)


# In which order do names stand that people number: L2 before L10?

_DIGITS = re.compile(r"([0-9]+)")


def natural_order(names: Iterable[str]) -> list[str]:
    """Return the different names in natural order: numbers inside them by size, letters whatever their case."""
    return sorted(dict.fromkeys(names), key=_natural)


def _natural(name: str) -> tuple[list[tuple[int, str]], str]:
    # split puts what is between the numbers at even places, so that like is always compared with like
    parts = _DIGITS.split(name.casefold())
    return [(int(part), "") if place % 2 else (0, part) for place, part in enumerate(parts)], name
