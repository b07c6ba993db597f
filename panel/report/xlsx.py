"""The evidence file as a workbook: every number unrounded with its id, one sheet for each table, and an index."""

from __future__ import annotations

import io
import math
from collections.abc import Iterable
from datetime import datetime
from typing import Any

import xlsxwriter

from panel.report.contents.blocks import Numbers, Report, number_id
from panel.report.html import page_facts
from panel.words import plain_text

_OPTIONS = {
    "in_memory": True,
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
    "nan_inf_to_errors": False,
}
_LONGEST_CELL = 32_767  # letters, the most that a cell of this format holds
_INDEX, _IDS = "index", "number ids"
_WIDTHS = (8, 60)  # letters, of a column


class _Exact(float):
    """A number written with the digits it takes to read the same one back; XlsxWriter itself writes sixteen."""

    def __format__(self, spec: str) -> str:
        return float.__repr__(self)


def xlsx_bytes(report: Report) -> bytes:
    """Return the workbook; the same study and version give the same bytes. No text is a formula or a link."""
    content = io.BytesIO()
    facts = page_facts(report)
    with xlsxwriter.Workbook(content, _OPTIONS) as book:
        day = datetime.fromisoformat(report.made_on)
        title = f"Evidence file: {facts['title']}"[:255]
        book.set_properties({"title": title, "author": "Afterfeel", "comments": facts["hash"], "created": day})
        bold = book.add_format({"bold": True, "text_wrap": True, "valign": "top"})
        _index(book, report, facts, bold)
        for table in report.tables:
            _table(book, table, facts, bold)
        _ids(book, report, facts, bold)
    vars(book).clear()  # it refers to itself: its cells would stay until cycles are looked for
    return content.getvalue()


def _index(book: Any, report: Report, facts: dict[str, str], bold: Any) -> None:
    sheet = _sheet(book, _INDEX, facts)
    lines = [f"Evidence file: {facts['title']}", facts["mark"], f"Data SHA-256 {facts['hash']}", facts["version"]]
    as_of = report.data_as_of or "a day that is not recorded"
    lines = [line for line in [*lines, f"Data as of {as_of}, made on {report.made_on}"] if line]
    for row, line in enumerate(lines):
        sheet.write_string(row, 0, line, bold)
    start = len(lines) + 1
    for column, words in enumerate(("Sheet", "What it holds", "Rows", "How it was computed", "From the table")):
        sheet.write_string(start, column, words, bold)
    for row, table in enumerate(report.tables, start=start + 1):
        sources = ", ".join(dict.fromkeys(source.table for source in table.sources))
        _write(sheet, row, (table.code, table.title, len(table.full), table.method, sources))
    rows = start + len(report.tables) + 2
    sheet.write_string(rows, 0, "What is missing", bold)
    for row, (section, gap) in enumerate(report.gaps(), start=rows + 1):
        _write(sheet, row, (section.number, gap))
    for column, width in enumerate((14, 60, 8, 90, 20)):
        sheet.set_column(column, column, width)


def _table(book: Any, table: Numbers, facts: dict[str, str], bold: Any) -> None:
    """Write one table: the id of each row, then its columns; a number's id is that of its row, a hyphen, its column."""
    sheet = _sheet(book, table.code, facts)
    columns, numbers = [str(name) for name in table.full.columns], table.number_columns
    held = [table.full_ids, *(own.tolist() for _, own in table.full.items())]
    for column, words in enumerate(("row id", *columns)):
        sheet.write_string(0, column, plain_text(words), bold)
    for row, cells in enumerate(zip(*held, strict=True), start=1):
        _write(sheet, row, cells)
    sheet.freeze_panes(1, 1)
    for column, (words, texts) in enumerate(zip(("row id", *columns), held, strict=True)):
        longest = 12 if words in numbers else max((len(str(text)) for text in texts), default=0)
        sheet.set_column(column, column, min(max(longest, len(words), _WIDTHS[0]), _WIDTHS[1]))


def _ids(book: Any, report: Report, facts: dict[str, str], bold: Any) -> None:
    sheet = _sheet(book, _IDS, facts)
    _write(sheet, 0, ("id", "value"), bold)
    row = 1
    for table in report.tables:
        for name in table.number_columns:
            ending = number_id("", name)
            for own, value in zip(table.full_ids, table.full[name].tolist(), strict=True):
                _write(sheet, row, (f"{own}{ending}", value))
                row += 1
    sheet.freeze_panes(1, 0)
    sheet.set_column(0, 0, 60)
    sheet.set_column(1, 1, 22)


def _sheet(book: Any, name: str, facts: dict[str, str]) -> Any:
    """Return a new sheet; what stands on every page stands in its print header."""
    sheet = book.add_worksheet(name)
    title, mark, digest = (facts[name].replace("&", "&&") for name in ("title", "mark", "hash"))  # else a command
    sheet.set_header(f"&L{title[:100]}&R&B{mark}")
    sheet.set_footer(f"&L{digest}&Rpage &P of &N")
    sheet.set_landscape()
    sheet.set_paper(9)  # A4
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(0)
    return sheet


def _write(sheet: Any, row: int, cells: Iterable[object], how: Any = None) -> None:
    for column, value in enumerate(cells):
        if isinstance(value, bool):
            sheet.write_boolean(row, column, value, how)
        elif not isinstance(value, str) and (isinstance(value, int | float) or hasattr(value, "dtype")):
            _number(sheet, row, column, float(value), how)  # type: ignore[arg-type]  # numpy's numbers are numbers
        else:
            sheet.write_string(row, column, plain_text(value)[:_LONGEST_CELL], how)


def _number(sheet: Any, row: int, column: int, value: float, how: Any) -> None:
    """Write a number; a missing one leaves its cell empty, an infinite one is written as a word."""
    if math.isnan(value):
        return
    if math.isinf(value):
        sheet.write_string(row, column, "infinite" if value > 0 else "-infinite", how)
        return
    sheet.write_number(row, column, _Exact(value), how)
