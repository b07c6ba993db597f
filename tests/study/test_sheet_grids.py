"""Workbooks, ordinary and made to harm. Outside judge: XlsxWriter makes the files."""

from __future__ import annotations

import datetime
import io
import re
import zipfile
from collections.abc import Callable

import pytest
import xlsxwriter

from panel.errors import StudyError
from panel.study import archives
from panel.study.archives import _cell_text, open_workbook, sheet_names, sheet_rows


def workbook(write: Callable[[xlsxwriter.Workbook], None]) -> bytes:
    content = io.BytesIO()
    with xlsxwriter.Workbook(content, {"in_memory": True}) as book:
        write(book)
    return content.getvalue()


def changed(content: bytes, part: str, change: Callable[[bytes], bytes]) -> bytes:
    """Return a workbook with one part of it rewritten."""
    result = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(result, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            data = old.read(name)
            new.writestr(name, change(data) if name == part else data)
    return result.getvalue()


def two_cells(book: xlsxwriter.Workbook) -> None:
    sheet = book.add_worksheet("scores")
    sheet.write_string(0, 0, "x")
    sheet.write_number(1, 1, 5)


SHEET = "xl/worksheets/sheet1.xml"


def test_every_cell_is_text():
    def write(book: xlsxwriter.Workbook) -> None:
        sheet = book.add_worksheet("first")
        day, time = book.add_format({"num_format": "yyyy-mm-dd"}), book.add_format({"num_format": "hh:mm"})
        sheet.write_string(1, 1, "017")
        sheet.write_number(1, 2, 17)
        sheet.write_number(1, 3, 48.7)
        sheet.write_datetime(1, 4, datetime.datetime(2025, 3, 10), day)
        sheet.write_datetime(1, 5, datetime.datetime(2025, 3, 10, 16, 30), day)
        sheet.write_datetime(1, 6, datetime.time(16, 30), time)
        sheet.write_boolean(1, 7, True)
        sheet.write_string(1, 8, "=1+1")
        sheet.write_formula(1, 9, "=1+1", None, 2)
        sheet.write_formula(1, 10, "=1/0", None, "#DIV/0!")
        book.add_worksheet("second").hide()
        book.add_worksheet("third")

    content = workbook(write)
    with open_workbook(content, "f") as (book, told):
        assert sheet_names(book) == ["first", "third"]
        rows = sheet_rows(book, "first")
        assert sheet_rows(book, "third") == []
        assert told == ("Cells with a spreadsheet error such as #DIV/0! in the workbook, read as empty: 1.",)
    assert rows[0] == [""] * 11
    assert rows[1] == ["", "017", "17", "48.7", "2025-03-10", "2025-03-10 16:30:00", "16:30:00", "TRUE", "=1+1",
                       "2", ""]  # fmt: skip


@pytest.mark.parametrize(
    ("value", "text"),
    [(3.0, "3"), (-2.0, "-2"), (0.1 + 0.2, "0.30000000000000004"), (1e300, "1e+300"), (5, "5"), (False, "FALSE")],
)
def test_numbers_as_text(value: object, text: str):
    assert _cell_text(value) == text


@pytest.mark.parametrize(
    "reference",
    [b'r="XFD1048576"', b"r='XFD1048576'", b'r = "XFD1048576"', b'r="xfd1048576"', b'r="B99999999999"'],
)
def test_one_cell_far_away(reference: bytes):
    """A sheet of 5 kB with a value in its last cell would be laid out as 17,000,000,000 cells."""
    bomb = changed(workbook(two_cells), SHEET, lambda data: data.replace(b'r="B2"', reference))
    with pytest.raises(StudyError, match="uses cells far outside its tables"), open_workbook(bomb, "f"):
        pass


def test_rows_and_cells_without_references():
    cells, rows = b"<c><v>1</v></c>" * 5_000, b"<row/>" * 5_000
    bomb = changed(
        workbook(two_cells),
        SHEET,
        lambda data: re.sub(rb"<sheetData>.*</sheetData>", b"<sheetData><row>" + cells + b"</row>" + rows, data),
    )
    with pytest.raises(StudyError, match="uses cells far outside its tables"), open_workbook(bomb, "f"):
        pass


def test_one_long_text_in_very_many_cells(monkeypatch: pytest.MonkeyPatch):
    def write(book: xlsxwriter.Workbook) -> None:
        sheet = book.add_worksheet()
        for row in range(200):
            sheet.write_string(row, 0, "x" * 30_000)

    content = workbook(write)
    assert len(content) < 20_000
    with open_workbook(content, "f"):
        pass
    monkeypatch.setattr(archives, "_MAX_TEXT", 5_000_000)
    with pytest.raises(StudyError, match="more text than can be read"), open_workbook(content, "f"):
        pass


def test_entities_are_refused():
    bomb = changed(
        workbook(two_cells),
        SHEET,
        lambda data: data.replace(b"<worksheet", b'<!DOCTYPE x [<!ENTITY a "aaaa">]><worksheet', 1),
    )
    with pytest.raises(StudyError, match="no spreadsheet program writes"), open_workbook(bomb, "f"):
        pass


def test_broken_parts():
    broken = changed(workbook(two_cells), "xl/workbook.xml", lambda data: data[: len(data) // 2])
    with pytest.raises(StudyError, match="cannot be read as a workbook"), open_workbook(broken, "f") as (book, _):
        sheet_rows(book, "scores")


def test_zip_that_is_no_workbook():
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w") as archive:
        archive.writestr("content.xml", "<x/>")
    with pytest.raises(StudyError, match=r"not an \.xlsx workbook"), open_workbook(content.getvalue(), "f"):
        pass
