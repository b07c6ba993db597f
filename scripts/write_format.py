#!/usr/bin/env python
"""Write docs/pages/study-format.md from what the study's tables and facts say of themselves."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from panel.study.facts import KEYS, KINDS, STATED  # noqa: E402  # the checkout has to be on the path first
from panel.study.knowledge import shared_table  # noqa: E402  # the same
from panel.study.table_cells import ENTRIES  # noqa: E402  # the same
from panel.study.tables import TABLES, Column  # noqa: E402  # the same

PAGE = ROOT / "docs" / "pages" / "study-format.md"
HEAD = """# Your own study

Drop a CSV or Excel table of scores under *Study* (a row per score, or a column per attribute), correct the guessed
columns, and go. Decimal commas, codes such as `017`, merged name cells, blanks round names and `n/a` are understood;
what cannot be read is listed, not guessed. The raw file is kept with its SHA-256. Most of the rest of a study is
written in the app, too: formulas, batches, attributes with their targets, people, questions, facts. What has no
editor yet comes in with the workbook of `afterfeel template` (courses, dominances) or by `afterfeel set` (own values
of ingredients).

A study is a folder of plain CSV files with a `datapackage.json` (Data Package v2), and travels as one workbook or one
zip. What follows is what stands in it. A column in bold is needed.

The app answers only at the address it prints when it starts, so that no other page and no other user of the computer
can read it.
"""


def page() -> str:
    """Return the whole page."""
    return "\n".join([HEAD, *_tables(), *_kinds_of_claim(), *_facts()]) + "\n"


def _tables() -> Iterator[str]:
    for table in TABLES.values():
        yield f"## {table.name}\n\nA row is {table.row}.\n\n| column | kind | what it holds |\n|---|---|---|"
        yield from (_row(column) for column in table.columns)
        yield ""


def _row(column: Column) -> str:
    name = f"**{column.name}**" if column.required else column.name
    choices = f" One of: {', '.join(column.choices)}." if column.choices else ""
    return f"| {name} | {column.kind} | {column.meaning}{'.' if choices else ''}{choices} |"


def _facts() -> Iterator[str]:
    yield "## Facts about the whole study\n\nIn `datapackage.json`, under `afterfeel`.\n"
    yield "| fact | kind | what it says |\n|---|---|---|"
    yield from (f"| {fact.name} | {KINDS[fact.kind]} | {fact.meaning} |" for fact in STATED)
    for name, keys in KEYS.items():
        yield f"\n### The keys of {name}\n\nAnother key is kept and printed, and nothing is judged by it.\n"
        yield "| key | what stands there |\n|---|---|"
        yield from (f"| {key} | {meaning} |" for key, meaning in keys.items())
    for name, columns in ENTRIES.items():
        yield f"\n### The table of {name}\n\nA file with these columns: `afterfeel set STUDY {name} FILE`.\n"
        yield "| column | kind | what it holds |\n|---|---|---|"
        yield from map(_row, columns)


def _kinds_of_claim() -> Iterator[str]:
    yield """## Kinds of claim

What may stand in the column kind of the table claims (`shared/claim_kinds.csv`). A claim needs the columns that are
named for its kind and may state others; bar and margin are fixed with it, before the data.
"""
    for row in shared_table("claim_kinds").to_dict("records"):
        yield f"### {row['kind']}: {row['words']}\n\nSuch as: {row['example']}.\n"
        told = {
            "needs": str(row["needs"]).replace(";", ","),
            "may state": str(row["may_state"]).replace(";", ","),
            "least design": row["minimum_design"],
            "judged by": row["statistic"],
            "refused for": row["refusal"],
        }
        yield "\n".join(f"- {what}: {words}" for what, words in told.items() if words)
        yield ""


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
