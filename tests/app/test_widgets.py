"""What a study says is shown as it is: names from its tables are never taken for formatting."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from markdown_it import MarkdownIt

from panel.app.widgets import plain


@pytest.mark.parametrize(
    "text", ["P*1*", "_a_", "50 % $x$", "[a](http://b)", ":red[x]", "<b>x</b>", "# x", "1. x", "- x"]
)
def test_signs_of_formatting_are_shown(text: str):
    assert shown(plain(text)) == text


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
