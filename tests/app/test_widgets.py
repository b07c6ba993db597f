"""What a study says is shown as it is: names from its tables are never taken for formatting."""

from __future__ import annotations

import re

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
    assert seen(plain(text)) == text


@given(st.text(alphabet="ab1 *_`#+-.!|~$:<>&\\[](){}", max_size=30).map(str.strip).filter(bool))
def test_any_text_is_shown_as_it_is(text: str):
    assert seen(plain(text)) == text


@pytest.mark.parametrize(
    "text", [":smile:", ":+1:", ":red[x]", ":blue-badge[x]", ":material/info:", "a:red", "<-", ">=", "--"]
)
def test_no_name_becomes_an_icon_a_colour_or_an_arrow(text: str):
    # Streamlit's own additions, which no reader of CommonMark knows: the sign nobody sees parts what they look for;
    # some 1,200 random texts were once compared with what the browser shows
    assert re.search(r"[:<>-]\u2060", plain(text))
    assert seen(plain(text)) == text


@pytest.mark.parametrize(
    "text", ["Batch (needed)", "e.g. 12:30, P1 + P2 - P3", "L1_left, 50 %!", "pH 5.5 #2 = ok & fine"]
)
def test_everyday_words_carry_no_strokes_that_would_be_heard(text: str):
    assert plain(text).replace("\u00a0", " ") == text


@pytest.mark.parametrize("text", ["p = 0.025", "(p < 0.001)", "agree: 68 %", "> 99 % of 60", "1 to 12 %, p = 0.1"])
def test_no_line_ends_inside_a_share_or_a_p_value(text: str):
    # NBSP and `%`: SI Brochure, 9th edition, 5.4.7; a line may end at any other blank
    for piece in shown(plain(text)).replace("\u2060", "").split(" "):
        assert not re.fullmatch(r"%\S*|\S*[=<>]", piece)


def seen(markdown: str) -> str:
    """Return what is seen: an invisible sign may part what would become something else."""
    return shown(markdown).replace("\u2060", "").replace("\u00a0", " ")


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
