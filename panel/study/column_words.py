"""What does a table want to know, and which of its columns does a heading mean? Said from what the tables declare."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from types import MappingProxyType

from panel.errors import StudyError
from panel.study.tables import TABLES, Column, Table

ENTRIES = MappingProxyType(
    {
        "questions": (
            Column("question", "text", "short name of the question", True),
            Column(
                "kind",
                "text",
                "kind of question",
                False,
                tuple(TABLES["answers"].column("kind").choices),
            ),
            Column("words", "text", "what is asked, in full"),
            Column("low_end", "text", "words at the low end of the scale"),
            Column("high_end", "text", "words at the high end of the scale"),
            Column("attribute", "text", "the panel's attribute that goes with it"),
        ),
        "planned_differences": (
            Column("prototype", "text", "short name of the prototype", True),
            Column("versus", "text", "what it is compared with", True),
            Column("attribute", "text", "on which attribute; empty for all"),
        ),
    }
)
"""Facts that are lists of entries, and the columns of each entry."""


def known_table(name: str) -> Table:
    """Return what is declared of a table; StudyError, with the nearest name, if there is none."""
    if name not in TABLES:
        near = nearest_table(name)
        meant = f" Perhaps {near} is meant." if near else ""
        raise StudyError(f"A study has no table {name!r}; its tables are {', '.join(TABLES)}.{meant}")
    return TABLES[name]


def nearest_table(name: str) -> str:
    """Return the table, or the fact that is a list of entries, that a name may mean; empty if none is near."""
    near = difflib.get_close_matches(name.strip().casefold(), [*TABLES, *ENTRIES], 1)
    return near[0] if near else ""


def columns_in_words(name: str) -> str:
    """Return the columns of a table as words: their names, what each holds, which are needed."""
    return "; ".join(
        f"{column.name}{' (needed)' if column.required else ''}: {column_hint(column)}" for column in columns_of(name)
    )


def columns_of(name: str) -> tuple[Column, ...]:
    """Return the columns of a table, or of a fact that is a list of entries."""
    return ENTRIES[name] if name in ENTRIES else tuple(known_table(name).columns)


def column_hint(column: Column) -> str:
    """Return what a column holds and what may stand in it."""
    form = {"date": ", as 2025-03-10", "integer": ", a whole number"}.get(column.kind, "")
    one_of = f"; one of {', '.join(column.choices)}" if column.choices else ""
    return f"{column.meaning}{form}{one_of}"


def heading(column: Column) -> str:
    """Return the heading of a column as people write it: `Viscosity in mPa s`, `Batch size in g`."""
    words = _HEADINGS.get(column.name) or column.name.replace("_", " ")
    return words if words == "pH" else words[0].upper() + words[1:]


_HEADINGS = MappingProxyType(
    {
        "viscosity_mpa_s": "viscosity (mPa s)",
        "size_g": "batch size (g)",
        "temperature_c": "temperature (\u00b0C)",
        "ph": "pH",
        "percent": "per cent",
        "ingredient": "ingredient (INCI)",
        "low_end": "words at the low end",
        "high_end": "words at the high end",
        "scale_min": "lowest score",
        "scale_max": "highest score",
        "direction": "wanted",
        "target_low": "target from",
        "target_high": "target to",
    }
)


_UNITS = MappingProxyType({"viscosity_mpa_s": ("mpas", "cp"), "size_g": ("g",), "temperature_c": ("c", "degc")})
"""Columns that hold one unit to the ways of writing it; a heading with another unit, or none, is not taken."""


def known_column(name: str, words: str) -> str:
    """Return the column of a table that a heading names for certain; empty if it names none.

    A viscosity in another unit, or in none, is not taken for one in mPa s.
    """
    for column in columns_of(name):
        if bare_words(words) in {bare_words(column.name), bare_words(heading(column))}:
            return column.name
    bare, unit = bare_words(_without_unit(words)), bare_words(words)[len(bare_words(_without_unit(words))) :]
    for column in columns_of(name):
        units = _UNITS.get(column.name)
        same = bare and bare in {bare_words(_without_unit(heading(column))), bare_words(_without_unit(column.name))}
        if same and (units is None or unit in units):
            return column.name
    return ""


def nearest_column(name: str, words: str, taken: Iterable[str] = ()) -> str:
    """Return the column of a table that a heading may mean, to be proposed; empty if none is near."""
    free = [column for column in columns_of(name) if column.name not in set(taken)]
    spellings: dict[str, str] = {}
    for column in free:
        for spelling in (column.name, heading(column), _without_unit(heading(column)), column.meaning):
            spellings.setdefault(bare_words(spelling), column.name)
    bare = bare_words(_without_unit(words)) or bare_words(words)
    begins = [found for spelling, found in spellings.items() if len(bare) > 2 and spelling.startswith(bare)]
    if begins:
        return begins[0]
    near = difflib.get_close_matches(bare, spellings, 1, cutoff=0.6)
    return spellings[near[0]] if near else ""


def bare_words(words: str) -> str:
    """Return words without capitals, blanks and signs, to compare them."""
    return "".join(sign for sign in words.casefold() if sign.isalnum())


def _without_unit(words: str) -> str:
    return re.sub(r"\s*[(\[].*?[)\]]", "", words)
