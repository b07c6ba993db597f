"""What every module of the package keeps to: it says what it is for, it is short, and it hides nothing."""

import ast
import re
from pathlib import Path

import pytest

import panel

ROOT = Path(__file__).resolve().parents[1]
MODULES = sorted(path.relative_to(ROOT) for path in (ROOT / "panel").rglob("*.py"))
NAMED = [path for path in MODULES if path.name != "__init__.py"]

MOST_LINES = 300
MOST_LINES_OF_FUNCTION = 40

UNFINISHED = re.compile(r"\b(?:TODO|FIXME|XXX)\b")
SILENCED = re.compile(r"#\s*(?:noqa|type:\s*ignore)(?P<code>:\s*[A-Z]+\d+|\[[\w-]+])?(?P<reason>.*)")
LISTED = re.compile(r"^\s*[|*-]\s*`(panel/[\w/]+\.py)`")
NAMED_ANYWHERE = re.compile(r"`(panel/[\w/]+\.py)`")


def no_docstring(source: str) -> bool:
    """Return True if the module does not say what it is for."""
    return not ast.get_docstring(ast.parse(source))


def long_functions(source: str) -> list[str]:
    """Return the functions with more lines than allowed; decorators and docstring do not count."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            lines = (node.end_lineno or node.lineno) - node.lineno + 1
            if ast.get_docstring(node) is not None:
                lines -= (node.body[0].end_lineno or 0) - node.body[0].lineno + 1
            if lines > MOST_LINES_OF_FUNCTION:
                found.append(f"{node.name}: {lines} lines")
    return found


def asserts(source: str) -> list[int]:
    """Return the lines with an assert: Python leaves them out when it runs optimised."""
    return [node.lineno for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Assert)]


def silenced_without_reason(source: str) -> list[str]:
    """Return the comments that silence a tool without naming the rule and the reason."""
    found = [match for line in source.splitlines() if (match := SILENCED.search(line))]
    return [match[0] for match in found if not match["code"] or not re.search(r"\w{3}", match["reason"])]


def unlisted(page: str, modules: set[str]) -> list[str]:
    """Return what is wrong with a list of modules: missing ones, unknown ones, ones listed twice."""
    lines = [match[1] for line in page.splitlines() if (match := LISTED.match(line))]
    named = set(NAMED_ANYWHERE.findall(page))
    return [
        *(f"{name} is not listed" for name in sorted(modules - set(lines))),
        *(f"{name} does not exist" for name in sorted(named - modules)),
        *(f"{name} is listed twice" for name in sorted(set(lines)) if lines.count(name) > 1),
    ]


def source_of(path: Path) -> str:
    return (ROOT / path).read_text(encoding="utf-8")


@pytest.mark.parametrize("path", NAMED, ids=str)
def test_the_module_says_what_it_is_for(path):
    assert not no_docstring(source_of(path))


@pytest.mark.parametrize("path", MODULES, ids=str)
def test_the_module_is_short_and_so_are_its_functions(path):
    source = source_of(path)
    assert len(source.splitlines()) <= MOST_LINES
    assert long_functions(source) == []


@pytest.mark.parametrize("path", MODULES, ids=str)
def test_the_module_hides_nothing(path):
    source = source_of(path)
    assert UNFINISHED.findall(source) == []
    assert asserts(source) == []
    assert silenced_without_reason(source) == []


def test_the_package_is_ours():
    # another project on PyPI installs a package of the same name
    assert Path(panel.__file__).resolve() == ROOT / "panel" / "__init__.py"


def test_developers_find_every_module_once():
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert unlisted(page, {path.as_posix() for path in NAMED}) == []


# the proof that each rule can fail


def test_a_module_without_a_docstring_is_caught():
    assert no_docstring("import numpy\n")
    assert not no_docstring('"""What for."""\n')


def test_a_long_function_is_caught():
    body = "\n".join("    x = 1" for _ in range(MOST_LINES_OF_FUNCTION))
    assert long_functions(f"def long():\n{body}\n") == ["long: 41 lines"]
    shorter = body.rpartition("\n")[0]
    assert long_functions(f"def fits():\n{shorter}\n") == []
    told = '    """Say much.\n\n    In many lines.\n    """\n'
    assert long_functions(f"@cached\ndef fits():\n{told}{shorter}\n") == []
    indented = body.replace("    x", "        x")
    assert long_functions(f"class A:\n    async def long(self):\n{indented}\n") == ["long: 41 lines"]


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


def test_a_wrong_list_of_modules_is_caught():
    modules = {"panel/a.py", "panel/b.py"}
    assert unlisted("- `panel/a.py`: one\n| `panel/b.py` | two |\n", modules) == []
    assert unlisted("- `panel/a.py`: one\nsee `panel/b.py`\n", modules) == ["panel/b.py is not listed"]
    assert unlisted("- `panel/a.py`\n- `panel/b.py`\n- `panel/a.py`\n", modules) == ["panel/a.py is listed twice"]
    assert unlisted("- `panel/a.py`\n- `panel/b.py`\nand `panel/c.py`", modules) == ["panel/c.py does not exist"]
