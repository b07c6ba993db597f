"""Would the tests notice? Small faults in a seeded sample of places, each shown to the tests of its layer.

    python -m benchmarks.mutations [--sample 300] [--seed 1] [--layers stats models claims views] [--reached FILE]

Works in a copy; the checkout stays as it is. Each file of tests is first run as it is, to see which functions it calls
and how long it takes; `--reached` keeps that for another run. Prints what became of each fault, and how many by layer.
"""

from __future__ import annotations

import argparse
import ast
import json
import os
import random
import shutil
import signal
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from types import CodeType, FrameType

import matplotlib.pyplot  # noqa: F401  # loaded once, here, and not by each of the many that are forked
import pandas  # noqa: F401
import pytest
import scipy.stats  # noqa: F401

ROOT = Path(__file__).resolve().parents[1]
LAYERS = ("stats", "models", "claims", "views")
SECONDS = 400  # what is told of every study takes 60 of a processor, the claims 90, without a fault
_FAILED = "failed.txt"
_COMPARED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.GtE, ast.GtE: ast.Lt, ast.Gt: ast.LtE, ast.LtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
}  # fmt: skip
_REACHED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
}  # fmt: skip
# Numbers, and sums of them, given under these names or to these functions say where on paper something stands and how
# big, thick or dark it is: no test should hold their digits. What is drawn, and every condition and limit, stays.
_LAYOUT_NAMES = {
    "alpha", "figsize", "fontsize", "height", "labelpad", "labelsize", "length", "linespacing", "linestyle",
    "linewidth", "linewidths", "markeredgewidth", "markersize", "pad", "width", "xytext", "zorder",
}  # fmt: skip
_LAYOUT_CALLS = {"add_axes", "shortened", "subplots_adjust", "wrapped"}


def places(tree: ast.Module) -> Iterator[ast.AST]:
    """Yield every place of a module where a fault can be put; annotations, docstrings and layout are none."""
    kept_out = {id(inner) for node in ast.walk(tree) for part in _words_only(node) for inner in ast.walk(part)}
    kept_out |= {id(part) for node in ast.walk(tree) for part in _layout(node)}
    for node in ast.walk(tree):
        if id(node) not in kept_out and _faulty(node) is not None:
            yield node


def _words_only(node: ast.AST) -> Iterator[ast.AST]:
    for name in ("annotation", "returns"):
        if isinstance(part := getattr(node, name, None), ast.AST):
            yield part
    yield from getattr(node, "decorator_list", ())  # whether a record is frozen changes no answer
    if isinstance(node, ast.keyword) and node.arg == "strict":  # a guard of zip
        yield node
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        yield node
    if isinstance(node, ast.Assign | ast.AnnAssign) and node.col_offset == 0:  # tables of words and settings
        yield node


def _layout(node: ast.AST) -> Iterator[ast.AST]:
    """Yield the numbers, and the sums of them, that only lay out a picture."""
    if isinstance(node, ast.keyword) and node.arg in _LAYOUT_NAMES:
        given: list[ast.expr] = [node.value]
    elif isinstance(node, ast.Call) and ast.unparse(node.func).rpartition(".")[2] in _LAYOUT_CALLS:
        given = node.args
    else:
        return
    for part in (inner for each in given for inner in ast.walk(each)):
        if isinstance(part, ast.BinOp) or (isinstance(part, ast.Constant) and type(part.value) in (int, float)):
            yield part


def _faulty(node: ast.AST) -> ast.AST | None:
    """Return the place with a fault in it; None where there is none to put."""
    if isinstance(node, ast.Compare) and type(node.ops[0]) in _COMPARED:
        return ast.Compare(node.left, [_COMPARED[type(node.ops[0])](), *node.ops[1:]], node.comparators)
    if (
        isinstance(node, ast.BinOp)
        and type(node.op) in _REACHED
        and not isinstance(node.left, ast.Constant | ast.JoinedStr)
    ):
        return ast.BinOp(node.left, _REACHED[type(node.op)](), node.right)
    if isinstance(node, ast.Constant) and type(node.value) in (int, float):
        return ast.Constant(node.value + 1)  # type: ignore[operator]  # a number, by the line above
    if isinstance(node, ast.Constant) and type(node.value) is bool:
        return ast.Constant(not node.value)
    if isinstance(node, ast.IfExp):
        return ast.IfExp(node.test, node.orelse, node.body)
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.Not | ast.Invert):
        return node.operand
    return None


def with_fault(source: str, number: int) -> tuple[str, int, str, str]:
    """Return the source with a fault in one of its places, the line, what was there, and the function it stands in."""
    tree = ast.parse(source)
    node = list(places(tree))[number]
    said = ast.unparse(node)
    other = _faulty(node)

    class Put(ast.NodeTransformer):
        def visit(self, here: ast.AST) -> ast.AST:
            return other if here is node else super().generic_visit(here)  # type: ignore[return-value]  # never None here

    changed = ast.fix_missing_locations(Put().visit(tree))
    line: int = node.lineno  # type: ignore[attr-defined]  # every place has a line
    around = [each for each in ast.walk(ast.parse(source)) if isinstance(each, ast.FunctionDef) and _holds(each, line)]
    return ast.unparse(changed), line, said, max(around, key=lambda each: each.lineno).name if around else "<module>"


def _holds(function: ast.FunctionDef, line: int) -> bool:
    return function.body[0].lineno <= line <= (function.end_lineno or 0)


class _InOrder:
    """Lets pytest run the files in the order they are given in, and notes in which of them a test failed."""

    def __init__(self, copy: Path, files: list[str]) -> None:
        self.failed = copy / _FAILED
        self.place = {name: place for place, name in enumerate(files)}

    @pytest.hookimpl(trylast=True)
    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        items.sort(key=lambda item: self.place.get(item.nodeid.partition("::")[0], 0))

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            self.failed.write_text(report.nodeid.partition("::")[0], encoding="utf-8")


def _forked(copy: Path, files: list[str], around: Callable[[Callable[[], int]], int]) -> int | None:
    """Run files of tests of the copy in a process of their own; return how it ended, None where it did not."""
    if (child := os.fork()) == 0:
        os.setsid()
        os.chdir(copy)
        sys.path[:] = [str(copy), *(path for path in sys.path if path and Path(path) != ROOT)]
        quiet = os.open(os.devnull, os.O_WRONLY)
        os.dup2(quiet, 1), os.dup2(quiet, 2)
        ended = 70  # as where pytest itself fell
        try:
            ended = around(
                lambda: int(pytest.main(["-x", "-p", "no:cacheprovider", *files], plugins=[_InOrder(copy, files)]))
            )
        finally:
            os._exit(ended)
    end = time.monotonic() + SECONDS
    while time.monotonic() < end:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.05)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return None


def reached(copy: Path, layer: str) -> dict[str, list[str]]:
    """Return which functions each file of tests of a layer calls, the quickest first; without what fails as it is."""
    found: dict[str, tuple[float, list[str]]] = {}
    told = copy / "called.txt"
    for path in sorted((copy / "tests" / layer).rglob("test_*.py")):
        called: dict[int, CodeType] = {}

        def note(frame: FrameType, _event: str, _given: object, called: dict[int, CodeType] = called) -> None:
            called[id(frame.f_code)] = frame.f_code

        def traced(run: Callable[[], int], called: dict[int, CodeType] = called) -> int:
            threading.settrace(note)  # nothing is traced inside a function
            sys.settrace(note)
            ended = run()
            sys.settrace(None)
            every = {(code.co_filename, code.co_name) for code in called.values()}
            own = str(copy / "panel")
            told.write_text(
                "\n".join(
                    sorted({f"{os.path.relpath(file, copy)}:{name}" for file, name in every if file.startswith(own)})
                )
            )
            return ended

        began, name = time.monotonic(), str(path.relative_to(copy))
        if (ended := _forked(copy, [name], traced)) == 0:
            found[name] = (time.monotonic() - began, told.read_text().splitlines())
        else:
            print(f"left out, for it fails as it is ({ended}): {name}", flush=True)
    return {name: functions for name, (_, functions) in sorted(found.items(), key=lambda item: item[1][0])}


def noticed(copy: Path, tests: list[str]) -> str:
    """Return what became of the tests: a fault is noticed where one fails; one that never ends is told by itself."""
    ended = _forked(copy, tests, lambda run: run()) if tests else 0
    return "did not end" if ended is None else "noticed" if ended else "not noticed"


def main() -> None:
    """Put the faults, one after the other, and print what was not noticed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sample", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--layers", nargs="+", default=LAYERS)
    parser.add_argument("--reached", type=Path)
    asked = parser.parse_args()
    files = [path for layer in asked.layers for path in sorted((ROOT / "panel" / layer).rglob("*.py"))]
    every = [
        (path, at) for path in files for at in range(len(list(places(ast.parse(path.read_text(encoding="utf-8"))))))
    ]
    drawn = random.Random(asked.seed).sample(every, min(asked.sample, len(every)))  # no secret
    told, noticing = Counter[tuple[str, str]](), Counter[tuple[Path, str]]()
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "checkout"
        shutil.copytree(ROOT, copy, ignore=shutil.ignore_patterns(".venv", ".git", "*_cache", "__pycache__", "site"))
        kept = asked.reached
        calls = json.loads(kept.read_text()) if kept and kept.exists() else {}
        calls |= {layer: reached(copy, layer) for layer in asked.layers if layer not in calls}
        if kept:
            kept.write_text(json.dumps(calls))
        for path, at in drawn:
            layer = path.relative_to(ROOT / "panel").parts[0]
            target = copy / path.relative_to(ROOT)
            source = target.read_text(encoding="utf-8")  # the checkout may have moved on
            changed, line, said, function = with_fault(source, at)
            target.write_text(changed, encoding="utf-8")
            os.utime(target, (told.total() + 1,) * 2)  # else one of the same second and size is taken for it, compiled
            here = f"{path.relative_to(ROOT)}:{function}"
            tests = [name for name, functions in calls[layer].items() if here in functions]
            tests.sort(key=lambda name: (path.stem not in name, -noticing[path, name]))
            began = time.monotonic()
            (copy / _FAILED).unlink(missing_ok=True)
            became = noticed(copy, tests)
            if (copy / _FAILED).exists():  # what noticed a fault in this module is asked first about the next
                noticing[path, (copy / _FAILED).read_text(encoding="utf-8")] += 1
            target.write_text(source, encoding="utf-8")
            told[layer, became] += 1
            took = f"{len(tests)} files, {time.monotonic() - began:.0f} s"
            print(f"{told.total():4} {became} ({took}): {here.rpartition(':')[0]}:{line}: {said[:90]}", flush=True)
    for (layer, became), count in sorted(told.items()):
        print(f"{layer}: {count} {became}")


if __name__ == "__main__":
    main()
