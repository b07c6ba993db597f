"""Any file somebody hands in becomes one grid of texts, or one sentence that says why not."""

from __future__ import annotations

import csv
import hashlib
import io
import zipfile
from pathlib import Path

import pytest
import xlsxwriter
from hypothesis import example, given, settings
from hypothesis import strategies as st

from panel.errors import StudyError
from panel.study import raw_table as module
from panel.study.raw_table import raw_file, raw_table, read_raw_file, table_of_rows

PNG = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\1\0\0\0\1\x08\2\0\0\0"


def table_of(content: bytes, name: str = "panel.csv", sheet: str = ""):
    return raw_table(raw_file(name, content), sheet)


def workbook(sheets: dict[str, list[list[str]]]) -> bytes:
    content = io.BytesIO()
    with xlsxwriter.Workbook(content, {"in_memory": True}) as book:
        for name, rows in sheets.items():
            sheet = book.add_worksheet(name)
            for row, cells in enumerate(rows):
                for column, cell in enumerate(cells):
                    sheet.write_string(row, column, cell)
    return content.getvalue()


def test_grid_of_texts():
    table = table_of(b"\xef\xbb\xbfpanelist;code;greasy\r\nA01;017;48,7\r\n\r\nA02;NA;\r\n")
    assert table.header == ("panelist", "code", "greasy")
    assert tuple(table.column("code")) == ("017", "NA")
    assert tuple(table.column("greasy")) == ("48,7", "")
    assert tuple(table.lines) == (2, 4)
    assert table.notes == ("The file was read as utf-8 text with semicolons between the cells.",)
    with pytest.raises(StudyError, match=r"panel\.csv has no column 'x'; its columns are panelist, code, greasy"):
        table.column("x")


def test_raw_file_keeps_the_bytes_and_their_hash(tmp_path: Path):
    (tmp_path / "a.csv").write_bytes(b"a,b\r\n1,2")
    file = read_raw_file(tmp_path / "a.csv")
    assert (file.name, file.content) == ("a.csv", b"a,b\r\n1,2")
    assert file.sha256 == hashlib.sha256(b"a,b\r\n1,2").hexdigest()


def test_peculiarities_are_reported():
    table = table_of(b" panelist ,greasy,,\nA01,5,,\nA02\nA03,6,7,\n")
    assert table.header == ("panelist", "greasy", "column 3")
    assert table.unnamed == ("column 3",)
    assert table.column("column 3") == ("", "", "7")
    assert table.notes[1:] == (
        "Blanks round or doubled, line ends and invisible signs were taken off in the headings: panelist.",
        "Columns without a name were called column 3.",
        "Rows shorter than the header were filled up with empty cells: line 3.",
    )


def test_empty_rows_can_be_kept_for_counting():
    rows = [["a"], ["1"], [], ["2"], [], [""]]
    assert table_of_rows(rows, "f").columns == (("1", "2"),)
    assert table_of_rows(rows, "f", keep_empty=True).columns == (("1", "", "2"),)


def test_sheets():
    content = workbook({"empty": [], "first": [["a", "b"], ["017", "x"]], "second": [["c"], ["1"]]})
    table = table_of(content)
    assert table.column("a") == ("017",)
    assert table.notes == ("Sheet 'first' was read.", "Other sheets were not read: second.")
    assert table_of(content, sheet="second").header == ("c",)
    with pytest.raises(StudyError, match="no sheet 'third'; its sheets are empty, first, second"):
        table_of(content, sheet="third")
    with pytest.raises(StudyError, match="holds no filled sheet"):
        table_of(workbook({"empty": []}))


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "is empty"),
        (b"\n\n,,\n", "holds no table"),
        (b"\xef\xbb\xbf", "holds no table"),
        (b"panelist,greasy\n", "has a header but no rows"),
        (PNG, "is not a text file with a table"),
        (b"a,b\n1,\0\n", "is not a text file with a table"),
        (b"PK not a workbook", "is not a whole zip archive"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", r"old \.xls workbook or has a password"),
        (b"a,b,a\n1,2,3\n", "more than one column called 'a'"),
        (b"a,b, a\n1,2,3\n", "more than one column called 'a'"),
        (b"," * 1_000_000, "1000001 columns in line 1; at most 2000"),
        (b"a,b\n" + b"1," * 500_000 + b"\n", "1 columns in line 2|000001 columns in line 2"),
        (b"panelist,greasy\nA01,48,7\nA02,30\n", "more cells than the header: line 2. If the cells hold decimal"),
        (b'a,b\n"1,2\n', "does not end properly"),
    ],
)
def test_file_without_a_table_gives_one_sentence(content: bytes, sentence: str):
    with pytest.raises(StudyError, match=sentence) as caught:
        table_of(content)
    assert str(caught.value).startswith("panel.csv ")
    assert "\n" not in str(caught.value)


def test_more_cells_or_bytes_than_allowed():
    file = raw_file("panel.csv", b"a,b\n1,2\n3,4\n")
    with pytest.raises(StudyError, match="larger than 10 bytes; keep"):
        raw_table(file, limits=module.UPLOADED._replace(even_bytes=10))
    with pytest.raises(StudyError, match="2 rows of 2 columns, more than can be read"):
        table_of_rows([["a", "b"], ["1", "2"], ["3", "4"]], "f", max_cells=3)


def test_a_file_of_ones_own_may_be_larger_if_its_lines_are_even():
    small = module.UPLOADED._replace(bytes=10, cells=2, even_bytes=100, even_cells=100)
    assert [list(cells) for cells in raw_table(raw_file("f.csv", b"a,b\n1,2\n3,4\n"), limits=small).columns] == [
        ["1", "3"],
        ["2", "4"],
    ]
    with pytest.raises(StudyError, match="its lines do not all have as many cells as the first; fill them up"):
        raw_table(raw_file("f.csv", b"a,b\n1,2\n3\n4,5\n"), limits=small)
    with pytest.raises(StudyError, match=r"more than 2 cells|more than can be read"):
        raw_table(raw_file("f.csv", b"a,b\n1,2\n3,4\n"), limits=small._replace(bytes=100, even_cells=2, columns=2))


def test_what_is_no_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    with pytest.raises(StudyError, match="is a folder; give one file"):
        read_raw_file(tmp_path)
    with pytest.raises(StudyError, match="There is no file"):
        read_raw_file(tmp_path / "missing.csv")
    with pytest.raises(StudyError, match=r"There is no file|cannot be read"):
        read_raw_file("a\0b")
    with pytest.raises(StudyError, match=r"There is no file|cannot be read"):
        read_raw_file("x" * 5000)
    (tmp_path / "a.csv").write_bytes(b"12345678901")
    monkeypatch.setattr(module, "LARGEST_BYTES", 10)
    with pytest.raises(StudyError, match="larger than 10 bytes"):
        read_raw_file(tmp_path / "a.csv")


_CELL = st.text(st.sampled_from('ab1,;"\n\r \t\u00a0\u2028\u00e9'), max_size=4)


@settings(deadline=None, max_examples=300)
@given(
    st.lists(st.lists(_CELL, min_size=1, max_size=4), min_size=1, max_size=6),
    st.sampled_from(",;"),
    st.sampled_from(["quoted", "plain", "all"]),
    st.sampled_from(["\n", "\r\n"]),
    st.booleans(),
)
@example([["a", "b"], ["", ""], ["1", "2"], [" ", ""]], ",", "plain", "\n", True)
@example([["a", "", "c"], ["1", "", "2"], ["3", "", "4"]], ",", "plain", "\n", False)
@example([['"a', 'b"'], ["1", "2"]], ",", "plain", "\n", False)
def test_even_lines_are_read_at_once_as_they_are_one_by_one(rows, delimiter, quotes, end, keep_empty):
    """Second reader: Python's own, line by line."""
    if quotes == "plain":
        text = end.join(delimiter.join(row) for row in rows)
    else:
        held = io.StringIO(newline="")
        how = csv.QUOTE_ALL if quotes == "all" else csv.QUOTE_MINIMAL
        csv.writer(held, delimiter=delimiter, quoting=how, lineterminator=end).writerows(rows)
        text = held.getvalue()

    def slowly() -> object:
        lines, _ = module._text_rows(text, "f", module.UPLOADED, delimiter)
        return table_of_rows(lines, "f", keep_empty=keep_empty)

    def seen(made) -> object:
        try:
            table = made()
        except StudyError as error:
            return str(error)
        cells = [tuple(column) for column in table.columns]
        return None if table is None else (table.header, cells, tuple(table.lines), table.notes, table.unnamed)

    quick = seen(
        lambda: (
            module._even_table(text.encode(), text, "f", delimiter, module.UPLOADED, keep_empty=keep_empty) or slowly()
        )
    )
    assert quick == seen(slowly)


@settings(deadline=None)
@given(st.binary(max_size=300) | st.text(max_size=200).map(str.encode))
@example(b"\xff\xfe\xff\xfe")
@example(b"PK\x05\x06" + b"\0" * 18)
def test_junk_gives_a_table_or_a_sentence(content: bytes):
    try:
        table = table_of(content)
    except StudyError:
        return
    assert len(table.columns) == len(table.header)
    assert all(len(column) == len(table.lines) for column in table.columns)


def test_a_workbook_that_names_no_known_encoding_is_damaged():
    held = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(workbook({"a": [["x", "y"], ["1", "2"]]}))) as before,
        zipfile.ZipFile(held, "w") as after,
    ):
        for name in before.namelist():
            after.writestr(name, before.read(name).replace(b'encoding="UTF-8"', b'encoding="UTF-81e999"'))
    with pytest.raises(StudyError, match="cannot be read as a workbook"):
        table_of(held.getvalue())
