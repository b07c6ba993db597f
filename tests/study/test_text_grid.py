"""Text tables in every usual dialect. Outside judge: Python's and pandas' writers make the files."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panel.errors import StudyError
from panel.study.raw_table import UPLOADED, _declared_delimiter, _find_delimiter, _text_rows, decode

TEXT = "panelist,product\r\nÅsa,crème"


def at_most(columns: int, rows: int, cells: int):
    return UPLOADED._replace(columns=columns, rows=rows, cells=cells)


@pytest.mark.parametrize(
    ("content", "encoding"),
    [
        (TEXT.encode(), "utf-8"),
        (TEXT.encode("utf-8-sig"), "utf-8-sig"),
        (TEXT.encode("utf-16"), "utf-16"),
        (b"\xfe\xff" + TEXT.encode("utf-16-be"), "utf-16"),
        (TEXT.encode("utf-16-le"), "utf-16-le"),
        (TEXT.encode("utf-16-be"), "utf-16-be"),
        (TEXT.encode("cp1252"), "cp1252"),
    ],
)
def test_encodings(content: bytes, encoding: str):
    assert decode(content, "f") == (TEXT, encoding)


@pytest.mark.parametrize(
    "content",
    [
        b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR",
        b"\xff\xd8\xff\xe0\0\x10JFIF\0",
        b"a,b\n1,\0\n",
        b"\x7fELF\x02\x01\x01",
        bytes(range(256)),
        b"\xff\xfea",
    ],
)
def test_no_text(content: bytes):
    with pytest.raises(StudyError, match=r"f\.csv is not a text file with a table"):
        decode(content, "f.csv")


@pytest.mark.parametrize(
    ("text", "delimiter"),
    [
        ("a,b,c\n1,2,3\n", ","),
        ("a;b;c\n1,5;2,5;3,5\n", ";"),
        ("a\tb\tc\n1,5\tx; y\t3\n", "\t"),
        ("a|b\n1|2\n", "|"),
        ("panelist, code;product;score\nA, 1;P;1,5\n", ";"),
        ('a,"b;c;d",e\n1,2,3\n', ","),
        ("prototype\nP1\nP;2\n", ","),
        ("", ","),
    ],
)
def test_delimiter(text: str, delimiter: str):
    assert _find_delimiter(text) == delimiter


def test_delimiter_stated_in_the_first_line():
    assert _text_rows("sep=;\r\na,1;b\r\nx;y\r\n", "f", at_most(10, 10, 100)) == ([["a,1", "b"], ["x", "y"]], ";")


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_ends_and_quotes(end: str):
    text = end.join(['a,"b, c"', '"say ""hi""","two\nlines"', ""])
    assert _text_rows(text, "f", at_most(10, 10, 100))[0] == [["a", "b, c"], ['say "hi"', "two\nlines"]]


def test_quotation_mark_that_does_not_end():
    with pytest.raises(StudyError, match="does not end properly near line 3"):
        _text_rows('a,b\n1,2\n"3,4\n', "f", at_most(10, 10, 100))


def test_very_long_cell():
    before = csv.field_size_limit(100_000)  # the limit of Python's reader, which other libraries change
    try:
        with pytest.raises(StudyError, match="does not end properly near line 1"):
            _text_rows("a" * 1_000_000, "f", at_most(10, 10, 100))
    finally:
        csv.field_size_limit(before)


def test_very_many_columns_and_rows():
    with pytest.raises(StudyError, match="1000001 columns in line 1; at most 2000"):
        _text_rows("," * 1_000_000, "f", at_most(2000, 10, 100))
    with pytest.raises(StudyError, match="more than 5 rows"):
        _text_rows("a\n" * 10, "f", at_most(10, 5, 100))


@settings(deadline=None)
@given(
    st.lists(st.lists(st.text(st.characters(exclude_categories=("Cc", "Cs")), max_size=5), min_size=3, max_size=3)),
    st.sampled_from(",;\t|"),
)
def test_written_by_python(rows: list[list[str]], delimiter: str):
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=delimiter, quoting=csv.QUOTE_ALL)
    writer.writerow(["first", "second", "third"])
    writer.writerows(rows)
    assert _text_rows(text.getvalue(), "f", at_most(10, 1000, 10_000)) == (
        [["first", "second", "third"], *rows],
        delimiter,
    )


def test_too_many_cells():
    assert _text_rows("a,b\n1,2\n", "f", at_most(10, 10, 2))[0] == [["a", "b"], ["1", "2"]]
    with pytest.raises(StudyError, match="f has more than 20 cells; split it"):
        _text_rows("a,b\n" * 20, "f", at_most(10, 100, 20))


@pytest.mark.parametrize(
    ("text", "delimiter"),
    [
        ("score\n1\n", ","),
        ("nul|\nx|\n", ","),  # a name with another sign in it is not cut in two
        ("\n score ,note;\n1,2;\n", ","),
        ("score;note\n1,5;x\n", ";"),  # saved by a spreadsheet program that puts semicolons
        ("sep=|\nscore|note\n1|x\n", ""),
        ("sep=|\nnul|x\n1|x\n", ","),
        ("", ","),
    ],
)
def test_delimiter_declared_for_a_table_that_is_known(text: str, delimiter: str):
    assert _declared_delimiter(text, ",", ("Score", "assessor")) == delimiter


def test_a_known_delimiter_is_not_looked_for():
    assert _text_rows("a;b,c\n1;2,3\n", "f", at_most(10, 10, 10), ",")[0] == [["a;b", "c"], ["1;2", "3"]]
