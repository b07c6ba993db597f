"""What is each number called, so that it can be asked for? `D-AF_GREASE-P4-P1-estimate`: table, row, column.

A name may hold anything, so within a part a hyphen is written `~`, a blank `.`, and every other sign that is not a
letter, a digit or an underscore as `%` and its code. Different names give different parts.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import pandas as pd

_PLAIN = {"-": "~", " ": "."}


def id_part(text: object) -> str:
    """Return a name as a part of an id; different names give different parts."""
    words = f"{text:g}" if isinstance(text, float) and text.is_integer() else str(text)
    return "".join(_PLAIN.get(sign) or (sign if sign.isalnum() or sign == "_" else _escaped(sign)) for sign in words)


def row_id(code: str, names: Iterable[object]) -> str:
    """Return the id of a row: the letters of its table and what names the row."""
    return "-".join([code, *map(id_part, names)])


def row_ids(code: str, frame: pd.DataFrame, key: Sequence[str]) -> tuple[str, ...]:
    """Return the id of each row of a table; rows that the key does not tell apart are counted with `+2`, `+3` ..."""
    seen: dict[str, int] = {}
    found = []
    for names in frame[list(key)].itertuples(index=False, name=None):
        name = row_id(code, names)
        seen[name] = seen.get(name, 0) + 1
        found.append(name if seen[name] == 1 else f"{name}+{seen[name]}")
    return tuple(found)


def number_id(row: str, column: object) -> str:
    """Return the id of one number."""
    return f"{row}-{id_part(column)}"


def _escaped(sign: str) -> str:
    return f"%{ord(sign):X}%"
