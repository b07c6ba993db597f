"""Would the tests notice? Small faults in a seeded sample of places, each shown to the tests that import the module.

    python -m benchmarks.mutations [--sample 300] [--seed 1] [--layers stats models claims views]

Works in a copy; the checkout stays as it is. Prints what became of each fault, and how many of each by layer.
"""

from __future__ import annotations

import argparse
import ast
import random
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
LAYERS = ("stats", "models", "claims", "views")
MOST_FILES, SECONDS = 14, 600
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
        return ast.Constant(node.value + 1)
    if isinstance(node, ast.Constant) and type(node.value) is bool:
        return ast.Constant(not node.value)
    if isinstance(node, ast.IfExp):
        return ast.IfExp(node.test, node.orelse, node.body)
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.Not | ast.Invert):
        return node.operand
    return None


def with_fault(source: str, number: int) -> tuple[str, int, str]:
    """Return the source with a fault in one of its places, the line, and what was there."""
    tree = ast.parse(source)
    node = list(places(tree))[number]
    said = ast.unparse(node)
    other = _faulty(node)

    class Put(ast.NodeTransformer):
        def visit(self, here: ast.AST) -> ast.AST:
            return other if here is node else super().generic_visit(here)  # type: ignore[return-value]  # never None here

    changed = ast.fix_missing_locations(Put().visit(tree))
    return ast.unparse(changed), node.lineno, said  # type: ignore[attr-defined]  # every place has a line


def nearest_tests(copy: Path, module: str) -> list[Path]:
    """Return the tests nearest to a module: those that name it, then those of its layer that name a user of it."""
    room, _, stem = module.rpartition(".")

    def names(text: str) -> bool:
        return module in text or (f"from {room} import" in text and stem in text)

    sources = {path: path.read_text(encoding="utf-8") for path in sorted((copy / "panel").rglob("*.py"))}
    users = [".".join(path.relative_to(copy).with_suffix("").parts) for path, text in sources.items() if names(text)]
    found = []
    for path in sorted((copy / "tests").rglob("test_*.py")):
        text, own_layer = path.read_text(encoding="utf-8"), path.parts[len(copy.parts) + 1] == module.split(".")[1]
        if names(text) or (own_layer and any(user in text for user in users)):
            found.append((not names(text), stem not in path.stem, len(path.parts), path))
    return [path for *_, path in sorted(found)[:MOST_FILES]]


def noticed(copy: Path, tests: list[Path]) -> str:
    """Return what became of the tests: a fault is noticed where one fails; one that never ends is told by itself."""
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *map(str, tests)]
    try:
        failed = tests and subprocess.run(command, cwd=copy, capture_output=True, timeout=SECONDS).returncode != 0
    except subprocess.TimeoutExpired:
        return "did not end"
    return "noticed" if failed else "not noticed"


def main() -> None:
    """Put the faults, one after the other, and print what was not noticed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sample", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--layers", nargs="+", default=LAYERS)
    asked = parser.parse_args()
    files = [path for layer in asked.layers for path in sorted((ROOT / "panel" / layer).rglob("*.py"))]
    every = [
        (path, at) for path in files for at in range(len(list(places(ast.parse(path.read_text(encoding="utf-8"))))))
    ]
    drawn = random.Random(asked.seed).sample(every, min(asked.sample, len(every)))  # no secret
    told = Counter[tuple[str, str]]()
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "checkout"
        shutil.copytree(ROOT, copy, ignore=shutil.ignore_patterns(".venv", ".git", "*_cache", "__pycache__", "site"))
        for path, at in drawn:
            layer = path.relative_to(ROOT / "panel").parts[0]
            module = ".".join(path.relative_to(ROOT).with_suffix("").parts)
            source = path.read_text(encoding="utf-8")
            changed, line, said = with_fault(source, at)
            target = copy / path.relative_to(ROOT)
            target.write_text(changed, encoding="utf-8")
            tests = nearest_tests(copy, module)
            became = noticed(copy, tests)
            target.write_text(source, encoding="utf-8")
            told[layer, became] += 1
            print(f"{told.total():4} {became}: {path.relative_to(ROOT)}:{line}: {said[:90]}", flush=True)
    for (layer, became), count in sorted(told.items()):
        print(f"{layer}: {count} {became}")


if __name__ == "__main__":
    main()
