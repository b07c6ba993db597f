"""A study whose names and notes mean something to some program: markup, formula, mathematics, path, turning sign."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from itertools import cycle

import pandas as pd

from panel.app.state import demo_folder
from panel.study.folder import read_folder
from panel.study.study import Study

LONG = "x" * 5_000
HOSTILE = (
    r"$\x$",
    "P$5 and $9",
    r"$\frac{1}{0",
    "**bold** _it_ ~~no~~ `code`",
    "<script>alert(1)</script>",
    "<img src=http://evil.example/x onerror=alert(1)>",
    "[click](javascript:alert(1)) http://evil.example",
    '=HYPERLINK("http://evil.example","x")',
    "+1+1",
    "-2+3",
    "@SUM(1)",
    "../../etc/passwd",
    "C:\\x\\..\\y",
    "name\u202efdp.exe",
    "\u200f\u05d0\u05d1\u05d2\u200e",
    "\u0645\u0631\u062d\u0628\u0627",
    '#import "x.typ": * #eval("1")',
    "]] #set page(fill: red) // \\",
    "{{ 7*7 }}{% raw %}",
    ":red[x] :material/close: $$x^2$$",
    "%s %d {0} {name}",
    "'; DROP TABLE event; --",
    "a|b;c,d\te",
    "\u2028line",
    "&amp;<!--",
    "NaN",
    "1e309",
    "\U0001f9f4 lotion",
    LONG,
)
"""The kinds of text that a study may hold though nobody would write them."""

_KEYS = ("prototype", "attribute", "assessor", "batch", "session", "claim", "question", "measure", "ingredient_group")
_WORDS = ("name", "note", "definition", "procedure", "low_end", "high_end", "group", "who", "why", "site", "signed_by")
_SAME_KEY = {"versus": "prototype", "partner": "measure"}


@cache
def hostile_study(keys: tuple[str, ...] = ("prototype", "attribute", "assessor", "batch")) -> Study:
    """Return the demo with every key of these columns and every free word replaced, the same one everywhere."""
    study = read_folder(demo_folder())
    names: dict[tuple[str, str], str] = {}
    words = cycle(HOSTILE)
    tables = {name: _renamed(frame, keys, names, words) for name, frame in study.tables.items()}
    facts = {name: _renamed_fact(name, value, names) for name, value in study.facts.items()}
    return replace(study, tables=tables, facts={**facts, "title": HOSTILE[0] + HOSTILE[4], "room": HOSTILE[5]})


def _renamed(
    frame: pd.DataFrame, keys: tuple[str, ...], names: dict[tuple[str, str], str], words: cycle[str]
) -> pd.DataFrame:
    changed = frame.copy()
    for column in frame.columns:
        kind = _SAME_KEY.get(column, column)
        if kind in keys:
            known = {cell: _name(kind, cell, names) for cell in frame[column].unique()}
            changed[column] = frame[column].map(known).astype("str")
        elif column in _WORDS:
            changed[column] = pd.Series([next(words) if cell else cell for cell in frame[column]], dtype="str")
    return changed


def _name(kind: str, cell: str, names: dict[tuple[str, str], str]) -> str:
    if not cell:
        return cell
    taken = sum(1 for other, _ in names if other == kind)
    text = HOSTILE[taken % len(HOSTILE)]
    return names.setdefault((kind, cell), text if taken < len(HOSTILE) else f"{text} {taken}")


def _renamed_fact(name: str, value: object, names: Mapping[tuple[str, str], str]) -> object:
    if isinstance(value, str):
        return next((new for (_, old), new in names.items() if old == value), value)
    if isinstance(value, list):
        return [_renamed_fact(name, one, names) for one in value]
    if isinstance(value, dict):
        return {str(_renamed_fact(name, key, names)): _renamed_fact(name, one, names) for key, one in value.items()}
    return value
