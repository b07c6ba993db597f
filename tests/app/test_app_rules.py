"""What the app never does: a numeric field for a value that somebody types, a picture that cannot be heard."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

FOLDER = Path(__file__).resolve().parents[2] / "panel" / "app"
MODULES = sorted(FOLDER.rglob("*.py"))

# They read 52,5 as 525 or begin at a value nobody gave.
NUMERIC = {"number_input", "select_slider", "NumberColumn", "ProgressColumn"}
HEARD = {"table", "dataframe", "image", "data_editor"}


def broken(source: str) -> list[str]:
    """Return the calls that break a rule, as `name in line n`."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Attribute):
            continue
        name = node.func.attr
        undeclared = name == "data_editor" and "column_config" not in {word.arg for word in node.keywords}
        unheard = name in HEARD and _draws(node.func) and "alt" not in {word.arg for word in node.keywords}
        if name in NUMERIC or unheard or undeclared or "unsafe_allow_html" in {word.arg for word in node.keywords}:
            found.append(f"{name} in line {node.lineno}")
    return found


def _draws(function: ast.Attribute) -> bool:
    """Return whether something is drawn: `st.table` or `place.table`, not a study's own `table`."""
    return isinstance(function.value, ast.Name) and function.value.id in ("st", "place")


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(FOLDER)))
def test_a_module_of_the_app_keeps_the_rules(path: Path):
    assert broken(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    "source",
    [
        "st.number_input('score')",
        "st.table(frame)",
        "place.image(svg)",
        "x = column_config.NumberColumn()",
        "st.data_editor(frame, alt='Formulas')",
        "st.markdown(text, unsafe_allow_html=True)",
    ],
)
def test_a_call_that_breaks_a_rule_is_caught(source: str):
    assert len(broken(source)) == 1


def test_a_call_that_keeps_the_rules_passes():
    assert broken("st.table(frame, alt='Means'); study.table('scores'); st.text_input('score')") == []
