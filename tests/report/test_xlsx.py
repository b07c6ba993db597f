"""The evidence file as a workbook, read back with calamine: every number unrounded with its id, no text a formula."""

from __future__ import annotations

import io
import math
import zipfile

import pandas as pd
import pytest
from lxml import etree
from python_calamine import CalamineWorkbook

from panel.report.contents.blocks import number_id
from tests.report.evidence_studies import FORMULA, bytes_of, demo_report, hostile_report

MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"


def book(name):
    return CalamineWorkbook.from_filelike(io.BytesIO(bytes_of(".xlsx", name)))


def rows(name, sheet):
    return book(name).get_sheet_by_name(sheet).to_python()


def same(written, number):
    """Return whether a cell holds exactly this number; a missing one is an empty cell, an infinite one a word."""
    if math.isnan(number):
        return written == ""
    if math.isinf(number):
        return written == ("infinite" if number > 0 else "-infinite")
    return written == number


def test_there_is_a_sheet_for_each_table_and_an_index():
    assert book("demo").sheet_names == ["index", *(table.code for table in demo_report().tables), "number ids"]
    listed = {row[0]: row for row in rows("demo", "index")}
    for table in demo_report().tables:
        assert listed[table.code][1] == table.title
        assert listed[table.code][2] == len(table.full)


@pytest.mark.parametrize("code", ["D", "A", "H", "Y", "CL", "S", "R"])
def test_numbers_are_there_to_the_last_digit_beside_their_ids(code):
    table = next(table for table in demo_report().tables if table.code == code)
    header, *written = rows("demo", code)
    assert [row[0] for row in written] == list(table.full_ids)
    for name in table.number_columns:
        column = header.index(name)
        for row, number in zip(written, table.full[name], strict=True):
            assert same(row[column], float(number))


def test_every_number_stands_under_its_own_id():
    header, *listed = rows("demo", "number ids")
    assert header == ["id", "value"]
    expected = {
        number_id(row, name): value
        for table in demo_report().tables
        for name in table.number_columns
        for row, value in zip(table.full_ids, table.full[name].tolist(), strict=True)
    }
    assert [row[0] for row in listed] == list(expected)
    assert all(same(row[1] if len(row) > 1 else "", float(expected[row[0]])) for row in listed)
    assert len(expected) > 10_000


def test_no_text_is_a_formula_a_link_or_a_macro():
    with zipfile.ZipFile(io.BytesIO(bytes_of(".xlsx", "hostile"))) as packed:
        names = packed.namelist()
        assert not [name for name in names if "vba" in name.lower() or "externalLink" in name]
        for name in names:
            tree = etree.fromstring(packed.read(name))
            assert not list(tree.iter(f"{MAIN}f")), name
            assert not list(tree.iter(f"{MAIN}hyperlink")), name
            assert not [element for element in tree.iter() if element.get("TargetMode") == "External"]
        strings = "".join(etree.fromstring(packed.read("xl/sharedStrings.xml")).itertext())
    assert FORMULA in strings


def test_gaps_are_named_and_the_time_of_writing_is_not():
    gaps = [gap for _, gap in hostile_report().gaps()]
    listed = [row[1] for row in rows("hostile", "index") if len(row) > 1]
    assert set(gaps) <= set(listed)
    with zipfile.ZipFile(io.BytesIO(bytes_of(".xlsx", "demo"))) as packed:
        assert {member.date_time for member in packed.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        core = packed.read("docProps/core.xml").decode()
    assert demo_report().made_on in core


def test_the_mark_stands_in_the_header_of_every_sheet():
    with zipfile.ZipFile(io.BytesIO(bytes_of(".xlsx", "demo"))) as packed:
        sheets = [name for name in packed.namelist() if name.startswith("xl/worksheets/sheet")]
        for name in sheets:
            header = etree.fromstring(packed.read(name)).find(f"{MAIN}headerFooter/{MAIN}oddHeader")
            assert demo_report().mark in header.text
    assert len(sheets) == len(demo_report().tables) + 2


def test_pandas_reads_the_same_table():
    # a second reader, the one an analyst would use
    frame = pd.read_excel(io.BytesIO(bytes_of(".xlsx", "demo")), sheet_name="D", engine="calamine")
    table = next(table for table in demo_report().tables if table.code == "D")
    pd.testing.assert_series_equal(frame["estimate"], table.full["estimate"], check_exact=True)
