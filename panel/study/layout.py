"""Which column of a table of scores holds what? A guess from names and contents, for the user to correct."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

from panel.errors import StudyError
from panel.study.numbers_read import NumbersRead, read_number_columns
from panel.study.raw_table import RawTable

# Names that people give these columns, the surest first. Common practice, no source.
_NAMES = {
    "assessor": (
        "assessor panelist panellist judge subject subj taster tester rater evaluator respondent participant "
        "consumer volunteer person panelmember user"
    ),
    "prototype": (
        "prototype product prod sample treatment trt formula formulation variant variety cream emulsion lotion "
        "item stimulus condition code"
    ),
    "attribute": "attribute attr descriptor term characteristic property parameter variable question",
    "score": "score value rating intensity response mark result answer y",
    "replicate": "replicate rep repl replication repetition repeat trial run",
    "session": "session sess sitting visit day week wave date time",
    "position": "position pos servingorder presentationorder order servingposition place sequence",
    "batch": "batch lot",
    "recorded_at": "recordedat timestamp datetime",
}
_ROLES = {role: tuple(names.split()) for role, names in _NAMES.items()}
_FILLERS = frozenset(("id", "no", "nr", "num", "number", "name", "code"))
_NEVER_ATTRIBUTES = _FILLERS | {"age", "index", "row", "rowname", "rownumber", "servingcode", "blindcode"}
_MOSTLY = 0.8  # share of the filled cells that must be numbers for a column of scores; the rest is reported


@dataclass(frozen=True, slots=True)
class ScoresLayout:
    """Which column of a file holds what; an empty text means that there is none.

    Parameters
    ----------
    assessor, prototype
        Needed.
    attribute, score
        Both given: the table is long, a row is one score.
    attributes
        Otherwise the table is wide: these columns hold the scores, one attribute each.
    replicate, session, position, batch, recorded_at
        Where the file has them.
    decimal
        `.` or `,`; empty lets each column decide.
    fill_down
        A blank assessor, prototype, attribute or session is the one above it.
    """

    assessor: str = ""
    prototype: str = ""
    attribute: str = ""
    score: str = ""
    attributes: tuple[str, ...] = ()
    replicate: str = ""
    session: str = ""
    position: str = ""
    batch: str = ""
    recorded_at: str = ""
    decimal: str = ""
    fill_down: bool = False

    @property
    def is_long(self) -> bool:
        """True if a row of the file is one score."""
        return bool(self.attribute and self.score)

    def columns(self) -> dict[str, str]:
        """Return role to column for the roles that are filled; `attributes` and `decimal` are not among them."""
        return {role: getattr(self, role) for role in _ROLES if getattr(self, role)}


def guess_layout(table: RawTable, fixed: Mapping[str, str] | None = None) -> ScoresLayout:
    """Return the likeliest layout of a table of scores; what cannot be guessed is left empty.

    Parameters
    ----------
    table
        The table as texts.
    fixed
        Role (a field of `ScoresLayout`) to column, for what is known already.

    Raises
    ------
    StudyError
        If `fixed` names a column that the table has not.
    """
    known = {role: column for role, column in (fixed or {}).items() if column}
    for role, column in known.items():
        if role not in _ROLES:
            raise StudyError(f"{role!r} is not something a column can hold; it can hold {', '.join(_ROLES)}.")
        table.column(column)
    for role in _ROLES:
        if role not in known and (column := _named(table, role, set(known.values()))):
            known[role] = column
    free = [column for column in table.header if column not in known.values()]
    numbers = numeric_columns(table, free)
    if "attribute" in known and "score" not in known and len(numbers) == 1:
        known["score"] = numbers[0]
    _fill_last_name(table, known, [column for column in free if column not in numbers])
    if not {"attribute", "score"} <= set(known):
        for role in {"attribute", "score"} - set(fixed or {}):
            known.pop(role, None)
    held: dict[str, Any] = dict(known)
    layout = ScoresLayout(**held)
    return layout if layout.is_long else replace(layout, attributes=attribute_columns(table, layout))


def attribute_columns(table: RawTable, layout: ScoresLayout) -> tuple[str, ...]:
    """Return the columns of a wide table that hold scores: every numeric one that holds nothing else.

    Columns without a name, row numbers, ages, codes and second sessions or replicates are no scores.
    """
    taken = set(layout.columns().values())
    about_design = {name for role, names in _ROLES.items() if role not in ("attribute", "score") for name in names}
    free = [
        column
        for column in table.header
        if column not in taken
        and column not in table.unnamed
        and not _plain(column) & (about_design | _NEVER_ATTRIBUTES)
    ]
    return tuple(numeric_columns(table, free))


def numeric_columns(table: RawTable, columns: list[str]) -> list[str]:
    """Return those of the columns whose filled cells are mostly numbers."""
    read = read_number_columns({column: table.column(column) for column in columns})
    return [column for column in columns if _is_numeric(read[column])]


def check_layout(table: RawTable, layout: ScoresLayout) -> None:
    """Raise StudyError if a layout lacks something, names a column that is not there, or one column twice."""
    for role in ("assessor", "prototype"):
        if not getattr(layout, role):
            raise StudyError(
                f"{table.name}: say which column holds the {role}; its columns are {', '.join(table.header)}."
            )
    if not layout.is_long and not layout.attributes:
        raise StudyError(
            f"{table.name}: no column with scores was found; say which columns hold the attribute and the score."
        )
    used = [*layout.columns().values(), *(() if layout.is_long else layout.attributes)]
    for column in used:
        table.column(column)
        if used.count(column) > 1:
            raise StudyError(f"{table.name}: the column {column!r} cannot hold two things; choose one.")
    if layout.decimal not in ("", ".", ","):
        raise StudyError(f"The decimal sign is a point or a comma, not {layout.decimal!r}.")


def role_names() -> tuple[str, ...]:
    """Return what a column can hold, in the order a person would be asked."""
    return tuple(field.name for field in fields(ScoresLayout) if field.name in _ROLES)


def _named(table: RawTable, role: str, taken: set[str]) -> str:
    """Return the free column with the surest name for a role, or the empty text."""
    for name in _ROLES[role]:
        for column in table.header:
            if column not in taken and column not in table.unnamed and name in _plain(column):
                return column
    return ""


def _plain(column: str) -> set[str]:
    """Return the spellings of a column's name to compare: lower case, no signs; also singular, also without `id`."""
    words = re.findall(r"[^\W_]+", re.sub(r"(?<=[a-z])(?=[A-Z])", " ", column).casefold())
    kept = [word for word in words if word not in _FILLERS] or words
    spellings = {"".join(words), "".join(kept)}
    return spellings | {spelling[:-1] for spelling in spellings if spelling.endswith("s")}


def _is_numeric(read: NumbersRead) -> bool:
    filled = int((~read.missing).sum())
    numbers = filled - sum(not reason.startswith("could be ") for reason in read.reasons.values())
    return filled > 0 and numbers >= _MOSTLY * filled


def _fill_last_name(table: RawTable, known: dict[str, str], texts: list[str]) -> None:
    """If only the assessor or only the prototype is missing and one column of repeated texts is left, take it."""
    missing = [role for role in ("assessor", "prototype") if role not in known]
    rows = len(table.lines)
    repeated = [c for c in texts if c not in known.values() and 1 < len(set(table.column(c))) <= rows / 2]
    if len(missing) == 1 and len(repeated) == 1:
        known[missing[0]] = repeated[0]
