"""A workbook to fill in: a sheet for each table, its headings explained; and what changes when it comes back filled."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any

import pandas as pd

from panel.errors import StudyError
from panel.study.archives import open_workbook, sheet_names, sheet_rows
from panel.study.editing import Problem, put_block, put_fact, table_problems, texts_of_table
from panel.study.facts import STATED, facts_with_unread
from panel.study.open_study import FACTS_SHEET, HOW_TO, exact_number, fact_of_text, fact_text_of_cell, facts_in_sheet
from panel.study.pasted import formula_grid, put_formulas, read_rows
from panel.study.raw_table import filled_rows
from panel.study.study import Study
from panel.study.table_cells import column_hint, known_column, known_table, nearest_table
from panel.study.tables import COLLECTED, PREPARED, Column

_SHEETS = tuple(table.name for table in (*PREPARED, *COLLECTED))
_ROWS = 500  # rows of a sheet that may be filled in and have lists to choose from
_NEW = ("P1", "P2", "P3", "P4")
_EXAMPLES = MappingProxyType(
    {
        "prototype": "P1",
        "versus": "P2",
        "batch": "P1-1",
        "ingredient": "Squalane",
        "percent": "5,5",
        "attribute": "AF_GREASE",
        "assessor": "A01",
        "question": "overall liking",
        "measure": "friction",
        "unit": "1",
        "code": "317",
        "session": "1",
        "name": "in words",
    }
)
_KINDS = MappingProxyType({"number": "7,5", "integer": "1", "date": "2026-03-10", "text": "words"})
_FACTS = tuple(fact for fact in STATED if fact.kind in ("number", "text", "words"))


def template_bytes(study: Study | None = None) -> bytes:
    """Return a workbook to fill in: explained headings, lists to choose from, examples on a sheet of their own.

    Parameters
    ----------
    study
        What stands in it already; an empty one if there is none.
    """
    import xlsxwriter  # a tenth of a second, only for who writes a workbook

    given = study or Study({})
    content = io.BytesIO()
    workbook = xlsxwriter.Workbook(content, {"in_memory": True})
    forms = {
        "head": workbook.add_format({"bold": True, "bg_color": "#e3ece9", "locked": True}),
        "needed": workbook.add_format({"bold": True, "bg_color": "#bfd8d2", "locked": True}),
        "text": workbook.add_format({"num_format": "@", "locked": False}),
        "free": workbook.add_format({"locked": False}),
    }
    _how_to(workbook.add_worksheet(HOW_TO), forms)
    _facts_sheet(workbook.add_worksheet(FACTS_SHEET), given, forms)
    for name in _SHEETS:
        _table_sheet(workbook.add_worksheet(name), name, given, forms)
    workbook.close()
    return content.getvalue()


def _how_to(sheet: Any, forms: Mapping[str, Any]) -> None:
    head = ("Sheet", "Column", "Needed", "What stands there", "Example")
    lines = [
        (name, column.name, "yes" if column.required else "", column_hint(column), _example(column))
        for name in _SHEETS
        for column in known_table(name).columns
    ]
    for place, words in enumerate(head):
        sheet.write_string(0, place, words, forms["head"])
    for row, line in enumerate(lines, start=1):
        for place, words in enumerate(line):
            sheet.write_string(row, place, words)
    for place, width in enumerate((14, 18, 8, 80, 18)):
        sheet.set_column(place, place, width)
    sheet.freeze_panes(1, 0)


def _example(column: Column) -> str:
    """Return what may stand in a column, as an example."""
    return column.choices[0] if column.choices else _EXAMPLES.get(column.name, _KINDS[column.kind])


def _facts_sheet(sheet: Any, study: Study, forms: Mapping[str, Any]) -> None:
    stated = facts_with_unread(study)
    names = list(dict.fromkeys([*(fact.name for fact in _FACTS), *stated]))
    meaning = {fact.name: fact.meaning for fact in STATED}
    for place, words in enumerate(("fact", "value", "what it says")):
        sheet.write_string(0, place, words, forms["head"])
    for row, name in enumerate(names, start=1):
        sheet.write_string(row, 0, name, forms["head"])
        sheet.write_string(row, 1, fact_text_of_cell(name, stated[name]) if name in stated else "", forms["free"])
        sheet.write_string(row, 2, meaning.get(name, ""), forms["head"])
    for place, width in enumerate((24, 60, 60)):
        sheet.set_column(place, place, width)
    _protect(sheet)


def _table_sheet(sheet: Any, name: str, study: Study, forms: Mapping[str, Any]) -> None:
    known = {column.name: column for column in known_table(name).columns}
    texts = formula_grid(study, study.prototypes or _NEW) if name == "formulas" else texts_of_table(study, name)
    rows = max(_ROWS, len(texts) + _ROWS)
    for place, header in enumerate(map(str, texts.columns)):
        column = known.get(header) or Column(header, "number" if name == "formulas" else "text", "kept as it is")
        is_number = column.kind in ("number", "integer") or (name == "formulas" and header not in known)
        body = forms["free"] if is_number else forms["text"]
        sheet.set_column(place, place, max(12, min(len(header) + 4, 40)), body)
        sheet.write_string(0, place, header, forms["needed" if column.required else "head"])
        hint = "per cent by mass of this prototype; q.s. fills up" if header not in known else column_hint(column)
        sheet.write_comment(0, place, f"{hint}. Example: {_example(column)}", {"x_scale": 2})
        for row, text in enumerate(texts[header], start=1):
            value = exact_number(text) if is_number and text else None
            if value is not None:
                sheet.write_number(row, place, value, body)
            elif text:
                sheet.write_string(row, place, text, body)
        _list_to_choose(sheet, name, place, rows, column)
    sheet.freeze_panes(1, 1)
    _protect(sheet)


def _list_to_choose(sheet: Any, name: str, place: int, rows: int, column: Column) -> None:
    listing = {"prototype": "prototypes", "attribute": "attributes", "assessor": "assessors"}.get(column.name)
    source: Any = list(column.choices) if column.choices else None
    if listing and listing != name:
        source = f"={listing}!$A$2:$A${_ROWS + 1}"
    if source:
        how = {"validate": "list", "source": source, "error_type": "warning"}
        sheet.data_validation(1, place, rows, place, how)


def _protect(sheet: Any) -> None:
    """Keep the headings as they are; every other cell may be written, rows may come and go."""
    free = ("format_cells", "format_columns", "format_rows", "insert_rows", "delete_rows", "sort", "autofilter")
    sheet.protect("", dict.fromkeys(free, True))


# The workbook comes back: what it would change, and what is wrong, by sheet and cell.


def read_workbook(study: Study, content: bytes, name: str) -> tuple[Study, list[str], list[str]]:
    """Return what a filled workbook would make of a study, what was done and not read, and what is wrong where.

    A sheet without rows changes nothing. One with rows is the whole table; what is on record only grows. Unknown sheets
    and columns are named, and unknown columns are kept. StudyError if it is no workbook, or it cannot be told which
    cell of a sheet belongs into which column.
    """
    problems: list[str] = []
    notes: list[str] = []
    after, found = study, False
    with open_workbook(content, name) as (workbook, _):
        for sheet in sheet_names(workbook):
            table, rows = sheet.strip().casefold(), sheet_rows(workbook, sheet)
            if table == FACTS_SHEET:
                after, found = _facts_of_sheet(after, rows), True
            elif table in _SHEETS or table in ("corrections", "safety", "reactions", "ingredient_values", "claims"):
                after, wrong, told = _table_of_sheet(after, table, sheet, rows)
                problems, notes, found = [*problems, *wrong], [*notes, *told], True
            elif table != HOW_TO:
                near = nearest_table(table)
                meant = f" Perhaps {near} is meant: give the sheet that name." if near else ""
                notes.append(f"The sheet {sheet!r} is none of a study and was not read.{meant}")
    if not found:
        raise StudyError(f"{name} has no sheet of a study; its sheets would be {FACTS_SHEET}, {', '.join(_SHEETS)}.")
    return after, notes, problems


def _facts_of_sheet(study: Study, rows: list[list[str]]) -> Study:
    stated = facts_with_unread(study)
    for name, text in facts_in_sheet(rows, f"The sheet {FACTS_SHEET}").items():
        if name and text.strip() and not (name in stated and fact_text_of_cell(name, stated[name]) == text):
            study = put_fact(study, name, fact_of_text(text))
    return study


def _table_of_sheet(study: Study, table: str, sheet: str, rows: list[list[str]]) -> tuple[Study, list[str], list[str]]:
    """Return the study with one sheet, what is wrong in it by cell, and what was noticed."""
    by_line = filled_rows(rows, str.strip)
    lines, filled = list(by_line), list(by_line.values())
    if len(filled) < 2:
        return study, [], []
    if table == "formulas" and "percent" not in [cell.casefold() for cell in filled[0]]:
        after = put_formulas(study, _grid_of_sheet(filled))
        problems = [_placed_in_grid(problem, after, sheet, filled, lines) for problem in table_problems(after, table)]
        return after, problems, []
    read = read_rows(filled, table, study)
    after = put_block(study, table, read.texts, whole=not known_table(table).grows)
    header = [known_column(table, cell) or cell for cell in filled[0]]
    placed = [_placed(problem, sheet, header, lines) for problem in table_problems(after, table)]
    return after, placed, read.unknown_in_words(sheet)


def _grid_of_sheet(rows: Sequence[Sequence[str]]) -> pd.DataFrame:
    head = ["ingredient" if place == 0 else cell for place, cell in enumerate(rows[0])]
    head = [cell.casefold() if cell.casefold() in ("phase", "kind") else cell for cell in head]
    if twice := next((cell for cell in head if cell and head.count(cell) > 1), ""):
        raise StudyError(f"The sheet formulas has two columns called {twice}; give each its own name.")
    grid = pd.DataFrame([list(row) for row in rows[1:]], columns=head, dtype="str")
    return grid[[name for name in grid if name]]


def _placed(problem: Problem, sheet: str, header: Sequence[str], lines: Sequence[int]) -> str:
    if problem.row >= len(lines):  # a row that is on record and stands in no sheet
        return f"{sheet}, row {problem.row}: {problem.message} {problem.advice}"
    place = header.index(problem.column) if problem.column in header else 0
    return _in_cell(problem, sheet, lines[problem.row], place)


def _in_cell(problem: Problem, sheet: str, line: int, place: int) -> str:
    from xlsxwriter.utility import xl_rowcol_to_cell  # a tenth of a second, only where something is wrong

    return f"{sheet}!{xl_rowcol_to_cell(line - 1, place)}: {problem.message} {problem.advice}"


def _placed_in_grid(
    problem: Problem, study: Study, sheet: str, rows: Sequence[Sequence[str]], lines: Sequence[int]
) -> str:
    line = texts_of_table(study, "formulas").iloc[problem.row - 1]
    column = line["prototype"] if problem.column == "percent" else problem.column
    place = next((i for i, cell in enumerate(rows[0]) if cell == column), 0)
    row = next((n for n, row in zip(lines[1:], rows[1:], strict=True) if row[0] == line["ingredient"]), lines[0])
    return _in_cell(problem, sheet, row, place)
