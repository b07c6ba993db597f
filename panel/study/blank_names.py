"""What to do with names left blank in a table of scores: fill down what is merged, ask about the rest, pool nothing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace

import numpy as np

from panel.errors import StudyError
from panel.study.layout import ScoresLayout
from panel.study.raw_table import RawTable

FILLED = "filled_down"
"""Where the record of an import keeps which names were filled down."""

MERGED, ASKED_FOR = "merged in the file", "left blank in the file, filled down as asked"
_MUST_BE_NAMED = ("assessor", "prototype", "attribute", "session")
_MAY_BE_MERGED = (*_MUST_BE_NAMED, "replicate", "batch", "recorded_at", "position")
_SHOWN = 8  # lines named in a sentence before "..."


@dataclass(frozen=True, slots=True)
class FilledDown:
    """A column in which the name above was used for a number of rows, and why: `MERGED` or `ASKED_FOR`."""

    role: str
    column: str
    rows: int
    why: str

    @property
    def words(self) -> str:
        """What was done, in one sentence."""
        rows = "1 row" if self.rows == 1 else f"{self.rows:,} rows"
        return f"Column {self.column!r} ({self.role}): the name above was used for {rows}, {self.why}."

    def record(self) -> dict[str, str | int]:
        """Return this as a study keeps it."""
        return {**asdict(self), "words": self.words}


def with_names_filled(table: RawTable, layout: ScoresLayout) -> tuple[RawTable, tuple[FilledDown, ...]]:
    """Return the table with names filled down, and what was filled down.

    Cells below the name with which they are merged take that name. All other blanks take the name above only if the
    layout asks for it.

    Raises
    ------
    StudyError
        If a row with a score then has no assessor, prototype or attribute, or no session where other rows have one.
    """
    columns = list(table.columns)
    filled: list[FilledDown] = []
    for role in _MAY_BE_MERGED:
        name = getattr(layout, role)
        if not name or name not in table.header:
            continue
        cells = np.array(table.column(name), dtype=object)
        blank = np.array([not cell.strip() for cell in cells], dtype=bool)
        if not blank.any() or (role not in ("assessor", "prototype", "attribute") and blank.all()):
            continue
        above = _merged_with(table, name)
        if layout.fill_down and role in _MUST_BE_NAMED:
            above = np.where(blank & ((above < 0) | blank[above]), _last_named(blank), above)
        taken = blank & (above >= 0) & ~blank[above]
        merged = taken & (_merged_with(table, name) >= 0)
        counts = ((int(merged.sum()), MERGED), (int((taken & ~merged).sum()), ASKED_FOR))
        filled += [FilledDown(role, name, rows, why) for rows, why in counts if rows]
        columns[table.header.index(name)] = tuple(np.where(taken, cells[above], cells).tolist())
        if role in _MUST_BE_NAMED:
            _stop_at(table, role, name, blank & ~taken & _holds_score(table, layout), layout.fill_down)
    return replace(table, columns=tuple(columns)), tuple(filled)


def merged_scores(table: RawTable, layout: ScoresLayout) -> tuple[str, ...]:
    """Return the columns with scores that are merged over several rows, where one score stands for none or several."""
    scores = [layout.score] if layout.is_long else list(layout.attributes)
    return tuple(name for name in scores if any(column == name for column, _, _ in table.merged))


def _merged_with(table: RawTable, column: str) -> np.ndarray:
    """Return for each row the row whose cell its own is merged with; -1 where it is not merged, or the uppermost."""
    above = np.full(len(table.lines), -1)
    for name, first, last in table.merged:
        if name == column:
            above[first + 1 : last + 1] = first
    return above


def _last_named(blank: np.ndarray) -> np.ndarray:
    """Return for each row the last row down to it that is not blank, -1 where there is none."""
    return np.maximum.accumulate(np.where(blank, -1, np.arange(len(blank))))


def _holds_score(table: RawTable, layout: ScoresLayout) -> np.ndarray:
    columns = [layout.score] if layout.is_long else list(layout.attributes)
    rows: Iterator[tuple[str, ...]] = zip(*(table.column(name) for name in columns), strict=True)
    return np.array([any(cell.strip() for cell in row) for row in rows], dtype=bool)


def _stop_at(table: RawTable, role: str, column: str, rows: np.ndarray, asked: bool) -> None:
    if not rows.any():
        return
    lines = [str(table.lines[row]) for row in np.flatnonzero(rows)]
    shown = ", ".join(lines[:_SHOWN]) + (f" ... ({len(lines):,} in all)" if len(lines) > _SHOWN else "")
    where = f"{table.name}: no {role} stands in column {column!r} in line{'s' if len(lines) > 1 else ''} {shown}"
    if asked:
        raise StudyError(f"{where}, and no name above. Write the name into the file.")
    raise StudyError(
        f"{where}, and these cells are not merged with a name above them. If the name above is meant, ask for it to be "
        "filled down (in the app tick 'Fill names down', in a command add --fill-down); otherwise write the names into "
        "the file. Scores without a name are never analysed."
    )
