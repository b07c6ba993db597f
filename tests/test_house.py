"""What every module of the package keeps to: it says what it is for, it is short, and it hides nothing."""

import ast
import re
from collections.abc import Callable, Iterable
from functools import cache
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path

import pytest

import panel

ROOT = Path(__file__).resolve().parents[1]
MODULES = sorted(path.relative_to(ROOT) for path in (ROOT / "panel").rglob("*.py"))
NAMED = [path for path in MODULES if path.name != "__init__.py"]

MOST_LINES = 600
MOST_LINES_OF_FUNCTION = 50
LINES_OF_MOST_FUNCTIONS = 32  # of 95 in 100 functions

UNFINISHED = re.compile(r"\b(?:TODO|FIXME|XXX)\b")
SILENCED = re.compile(r"#\s*(?:noqa|type:\s*ignore)(?P<code>:\s*[A-Z]+\d+|\[[\w-]+])?(?P<reason>.*)")


parsed = cache(ast.parse)


def no_docstring(source: str) -> bool:
    """Return True if the module does not say what it is for."""
    return not ast.get_docstring(parsed(source))


def function_lines(source: str) -> list[tuple[str, int]]:
    """Return the name and the number of lines of each function; decorators and docstring do not count."""
    found = []
    for node in ast.walk(parsed(source)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            lines = (node.end_lineno or node.lineno) - node.lineno + 1
            if ast.get_docstring(node) is not None:
                lines -= (node.body[0].end_lineno or 0) - node.body[0].lineno + 1
            found.append((node.name, lines))
    return found


def long_functions(source: str) -> list[str]:
    """Return the functions with more lines than allowed."""
    return [f"{name}: {lines} lines" for name, lines in function_lines(source) if lines > MOST_LINES_OF_FUNCTION]


def asserts(source: str) -> list[int]:
    """Return the lines with an assert: Python leaves them out when it runs optimised."""
    return [node.lineno for node in ast.walk(parsed(source)) if isinstance(node, ast.Assert)]


def silenced_without_reason(source: str) -> list[str]:
    """Return the comments that silence a tool without naming the rule and the reason."""
    found = [match for line in source.splitlines() if (match := SILENCED.search(line))]
    return [match[0] for match in found if not match["code"] or not re.search(r"\w{3}", match["reason"])]


@cache
def source_of(path: Path) -> str:
    return (ROOT / path).read_text(encoding="utf-8")


def broken(rule: Callable[[str], object], paths: Iterable[Path] = MODULES) -> dict[str, object]:
    """Return the modules in which a rule finds something, and what it finds."""
    found = {path.as_posix(): rule(source_of(path)) for path in paths}
    return {path: told for path, told in found.items() if told}


def test_every_module_says_what_it_is_for():
    assert broken(no_docstring, NAMED) == {}


def test_every_module_is_short_and_so_are_its_functions():
    assert broken(lambda source: len(source.splitlines()) > MOST_LINES) == {}
    assert broken(long_functions) == {}
    lines = sorted(lines for path in MODULES for _, lines in function_lines(source_of(path)))
    assert lines[int(0.95 * len(lines))] <= LINES_OF_MOST_FUNCTIONS


def test_no_module_hides_anything():
    assert broken(UNFINISHED.findall) == {}
    assert broken(asserts) == {}
    assert broken(silenced_without_reason) == {}


def test_the_package_is_ours():
    # another project on PyPI installs a package of the same name
    assert Path(panel.__file__).resolve() == ROOT / "panel" / "__init__.py"


# the proof that each rule can fail


def test_a_module_without_a_docstring_is_caught():
    assert no_docstring("import numpy\n")
    assert not no_docstring('"""What for."""\n')


def test_a_long_function_is_caught():
    body = "\n".join("    x = 1" for _ in range(MOST_LINES_OF_FUNCTION))
    assert long_functions(f"def long():\n{body}\n") == ["long: 51 lines"]
    shorter = body.rpartition("\n")[0]
    assert long_functions(f"def fits():\n{shorter}\n") == []
    told = '    """Say much.\n\n    In many lines.\n    """\n'
    assert long_functions(f"@cached\ndef fits():\n{told}{shorter}\n") == []
    indented = body.replace("    x", "        x")
    assert long_functions(f"class A:\n    async def long(self):\n{indented}\n") == ["long: 51 lines"]


def test_what_is_unfinished_is_caught():
    assert UNFINISHED.findall("# TODO: later") == ["TODO"]
    assert UNFINISHED.findall("# FIXME") == ["FIXME"]
    assert UNFINISHED.findall("todos = 3") == []


def test_an_assert_is_caught():
    assert asserts("x = 1\nassert x\n") == [2]
    assert asserts("assertion = 1\n") == []


@pytest.mark.parametrize(
    "line",
    ["x = 1  # noqa", "x = 1  # noqa: E741", "x = f()  # type: ignore", "x = f()  # type: ignore[arg-type]"],
)
def test_silence_without_a_reason_is_caught(line):
    assert len(silenced_without_reason(line)) == 1


@pytest.mark.parametrize(
    "line", ["l = 1  # noqa: E741  # the paper's letter", "x = f()  # type: ignore[arg-type]  # not None here", "x = 1"]
)
def test_silence_with_a_reason_passes(line):
    assert silenced_without_reason(line) == []


def test_what_stands_beside_the_package_names_only_what_is_there():
    beside = [
        ROOT / "app.py",
        *(path for name in ("benchmarks", "scripts", "data_demo") for path in (ROOT / name).rglob("*.py")),
    ]
    named = [
        (path.name, node.module, each.name)
        for path in beside
        for node in ast.walk(parsed(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("panel")
        for each in node.names
    ]
    assert len(named) > 50
    missing = [
        each
        for each in named
        if not hasattr(import_module(each[1]), each[2]) and find_spec(f"{each[1]}.{each[2]}") is None
    ]
    assert missing == []
