"""What a study says is shown as it is: names from its tables are never taken for formatting."""

from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from markdown_it import MarkdownIt

from panel.app.widgets import csv_bytes, plain


@pytest.mark.parametrize(
    "text", ["P*1*", "_a_", "50 % $x$", "[a](http://b)", ":red[x]", "<b>x</b>", "# x", "1. x", "- x"]
)
def test_signs_of_formatting_are_shown(text: str):
    assert shown(plain(text)).replace("\u2060", "") == text  # an invisible sign keeps an address from being a link


@given(st.text(alphabet="ab1 *_`#+-.!|~$:<>&\\[](){}", max_size=30).map(str.strip).filter(bool))
def test_any_text_is_shown_as_it_is(text: str):
    assert shown(plain(text)) == text


def shown(markdown: str) -> str:
    """Return what a reader of CommonMark sees, by an independent reader of it."""
    tokens = MarkdownIt("commonmark").parse(markdown)
    assert [token.type for token in tokens] == ["paragraph_open", "inline", "paragraph_close"]
    children = tokens[1].children or []
    assert {child.type for child in children} <= {"text", "text_special"}
    return "".join(child.content for child in children)


@pytest.mark.parametrize("text", ['=cmd()|"/C calc"!A0', "@SUM(A1)", "+cmd", "-cmd", "\t=1"])
def test_a_spreadsheet_calculates_no_text_of_a_table_taken_away(text: str):
    # the characters that start a formula: the usual advice on exported CSV, common practice
    read = csv_bytes(pd.DataFrame({"claim": [text], "estimate": [-14.1]})).decode("utf-8-sig")
    assert f"'{text.strip()}"[:3] in read.replace("\t", "")
    assert not read.splitlines()[1].lstrip('"').startswith(text[0])
    assert read.rstrip().endswith(",-14.1")


@pytest.mark.parametrize("text", ["−14.1", "+0.37", "-2.5", "less greasy", "", "P4 - P1"])
def test_other_texts_are_taken_away_as_they_are(text: str):
    frame = pd.DataFrame({"what": [text, "x"], "n": [1, 2]})
    assert csv_bytes(frame) == frame.to_csv(index=False).encode("utf-8-sig")
    assert frame["what"].iloc[0] == text
