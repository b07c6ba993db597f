"""One thing worth knowing about a study before believing it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
import pandas as pd

from panel.words import FEW, first_few

SEVERITIES = ("stop", "warning", "note")


class Proposal(NamedTuple):
    """What to write in place of what stands in a cell.

    `row` is the line of the table's file, its heading being line 1; 0 stands for every cell of the column that holds
    what was `found`. `value` is empty where the cell is better left blank.
    """

    table: str
    row: int
    column: str
    found: str
    value: str

    @property
    def sentence(self) -> str:
        """What a button says: `Write 33 in place of 330`, or `Leave it blank (330 stands there)`."""
        if not self.value:
            return f"Leave it blank ({self.found} stands there)"
        return f"Write {self.value} in place of {self.found}"


@dataclass(frozen=True, slots=True, order=True)
class Finding:
    """A problem or peculiarity of the user's data.

    Parameters
    ----------
    severity
        `stop` (no analysis before this is settled), `warning` (the results may mislead) or `note` (good to know).
    kind
        Short name of the rule that found it, such as `score_outside_scale`.
    where
        Place in the study, such as `scores, row 812: A02, session 2, P4, AF_GREASE`.
    message
        What is wrong, with the value in question.
    advice
        What to do about it.
    proposals
        Cells and what to write into them, all together one way to settle it; none where nothing is likely.
    """

    severity: str
    kind: str
    where: str
    message: str
    advice: str
    proposals: tuple[Proposal, ...] = field(default=(), compare=False)

    def __post_init__(self) -> None:
        if self.severity not in SEVERITIES:
            raise ValueError(f"severity must be one of {SEVERITIES}, not {self.severity!r}")


def gravest_first(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return findings in the order of their severity, otherwise as they come."""
    return tuple(sorted(findings, key=lambda finding: SEVERITIES.index(finding.severity)))


def findings_table(findings: Iterable[Finding]) -> pd.DataFrame:
    """Return the findings as a frame (severity, kind, where, message, advice), the gravest first."""
    ordered = gravest_first(findings)
    columns = ["severity", "kind", "where", "message", "advice"]
    rows = [[getattr(finding, column) for column in columns] for finding in ordered]
    return pd.DataFrame(rows, columns=columns, dtype="str")


# How a finding says where it is and how many there are: one by one up to three, gathered beyond.


_MOST_PLACES = 12
"""So many findings of one kind are made at most when cases are gathered by place; of more, one finding."""


def gathered(
    places: np.ndarray, where: Callable[[int], str], *, together: bool = False
) -> Iterator[tuple[str, np.ndarray]]:
    """Yield the text of `where` and the case numbers of each finding to be made.

    Up to three cases give one finding each, or one for all `together` where they are told alike. More are gathered by
    place, and into one finding if there are more than twelve places.

    Parameters
    ----------
    places
        For each case the code of its place, such as the attribute or the assessor.
    where
        Returns the place of one case in words.
    """
    cases = np.arange(len(places))
    if len(cases) <= FEW:
        groups = [cases] if together and len(cases) else [cases[i : i + 1] for i in cases]
    else:
        distinct, first = np.unique(places, return_index=True)
        in_order = distinct[np.argsort(first)]
        many = len(distinct) > _MOST_PLACES
        groups = [cases] if many else [np.flatnonzero(places == place) for place in in_order]
    for group in groups:
        yield _where_all(group, where), group


def by_text(texts: Sequence[str], where: Callable[[int], str]) -> Iterator[tuple[str, np.ndarray, str]]:
    """Yield places, cases and texts of each finding: cells that hold the same give one, many texts one in all."""
    codes, distinct = pd.factorize(np.asarray(texts, dtype=object))
    groups = [np.flatnonzero(codes == code) for code in range(len(distinct))]
    for group in groups if len(groups) <= FEW else [np.arange(len(codes))]:
        yield _where_all(group, where), group, first_few([repr(text) for text in distinct[np.unique(codes[group])]])


def _where_all(group: np.ndarray, where: Callable[[int], str]) -> str:
    shown = "; ".join(where(int(case)) for case in group[:FEW])
    rest = len(group) - FEW
    return f"{shown}; and {rest:,} more" if rest > 0 else shown


# Names as whole numbers, and what can be asked of rows of them: groups, membership, matching.


@dataclass(frozen=True, eq=False, slots=True)
class Names:
    """A column of names as codes: `of[code[i]]` is the name in row i; codes count from 0 by first appearance."""

    code: np.ndarray
    of: pd.Index

    @classmethod
    def read(cls, column: pd.Series) -> Names:
        """Return the names of a column; the empty name is a name like any other."""
        codes, names = pd.factorize(column)
        return cls(codes.astype(np.int64), pd.Index(names))

    @property
    def blank(self) -> np.ndarray:
        """True where the name is empty."""
        return np.asarray(self.of == "", dtype=bool)[self.code]

    def codes_of(self, column: pd.Series) -> np.ndarray:
        """Return the codes that these names have here, -1 for names that are not among them."""
        return self.of.get_indexer(pd.Index(column)).astype(np.int64)

    def told(self, codes: np.ndarray) -> list[str]:
        """Return the names of the codes, each once."""
        return [str(self.of[code]) for code in dict.fromkeys(codes.tolist())]

    def __len__(self) -> int:
        return len(self.of)


def grouped(*codes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the group of each row and the first row of each group; groups are equal in all the codes.

    Codes are 0 or more. Groups are numbered from 0 by first appearance.
    """
    key = codes[0]
    for code in codes[1:]:
        width = int(code.max(initial=0)) + 1
        if (int(key.max(initial=0)) + 1) * width > DENSE * len(key):
            key, _ = _by_appearance(key)
        key = key * width + code
    return _by_appearance(key)


DENSE = 4  # possible groups per row up to which a list of them is quicker, and smaller, than a table of hashes


def _by_appearance(key: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the number of each key, from 0 by first appearance, and the first row of each."""
    size, rows = int(key.max(initial=-1)) + 1, np.arange(len(key))
    if size > DENSE * len(key):
        group = pd.factorize(key)[0].astype(np.int64)
        return group, np.flatnonzero(np.diff(np.maximum.accumulate(group), prepend=-1))
    place = np.empty(size, dtype=np.int64)
    place[key[::-1]] = rows[::-1]
    first = np.flatnonzero(place[key] == rows)
    place[key[first]] = rows[: len(first)]
    return place[key], first


def distinct(*codes: np.ndarray) -> tuple[np.ndarray, ...]:
    """Return the different rows of the codes, in order of appearance."""
    _, first = grouped(*codes)
    return tuple(code[first] for code in codes)


def or_none(position: np.ndarray) -> np.ndarray:
    """Return codes for numbers such as positions, 0 for none."""
    return pd.factorize(position)[0].astype(np.int64) + 1


# Dates and times of the study's tables as values that can be compared.


WIDEST_OFFSET = np.timedelta64(14 * 3600, "s")
"""Largest difference between the clocks of two places (UTC+14 is the largest offset in use)."""

_OFFSET = re.compile(r":.*(?:Z|[+-]\d\d:?\d\d)$")


@dataclass(frozen=True, eq=False, slots=True)
class Dates:
    """Dates, or dates and times, read from ISO 8601 text.

    Parameters
    ----------
    values
        datetime64[s]; NaT where the cell is empty or no date.
    has_time
        True where the cell gives a time of day as well.
    has_offset
        True where the time carries its distance from UTC.
    """

    values: np.ndarray
    has_time: np.ndarray
    has_offset: np.ndarray

    @property
    def days(self) -> np.ndarray:
        """The calendar days, datetime64[D]."""
        return self.values.astype("datetime64[D]")


def read_dates(text: pd.Series) -> Dates:
    """Return the dates of a column of text; one without time counts from its midnight."""
    codes, different = pd.factorize(text)
    cells = [str(cell).strip() for cell in different]
    moments = pd.to_datetime(pd.Index(cells, dtype="str"), format="ISO8601", errors="coerce", utc=True)
    has_time = np.array([":" in cell for cell in cells], dtype=bool)
    has_offset = np.array([_OFFSET.search(cell) is not None for cell in cells], dtype=bool)
    values = moments.tz_localize(None).to_numpy().astype("datetime64[s]")
    return Dates(values[codes], has_time[codes], has_offset[codes])
