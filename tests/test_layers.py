"""The layers of the package: a module imports only from its own layer and from layers to its left.

::

    errors -> stats -> words, spread -> study -> plan -> checks -> models
    -> answers -> claims -> views -> report -> cli, app

What collects answers is a wing of its own, beside the analysis: `store` and `ballots` stand on `plan` and what is to
its left, and of the rest only `cli` and `app` know them. The rules are read from the source, so that an import inside
a function or for type checking counts too. The second half of the file shows every rule failing on a source that
breaks it.
"""

import ast
import importlib.util
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]

ORDER = (
    ("errors",),
    ("stats",),
    ("words", "spread"),
    ("study",),
    ("plan",),
    ("checks",),
    ("models",),
    ("answers",),
    ("claims",),
    ("views",),
    ("report",),
    ("cli", "app", "__main__"),
)
WING = ("store", "ballots")
"""They stand on `plan`, the second on the first; only `cli` and `app` use them."""
RANK = {layer: rank for rank, layers in enumerate(ORDER) for layer in layers}
TOP, UNDER_THE_WING = RANK["cli"], RANK["plan"]

ONLY_IN = {
    "streamlit": "app",
    "seaborn": "views",
    "matplotlib": "views",
    "sqlalchemy": "store",
    "starlette": "ballots",
}
NEVER_IN = {"stats": {"pandas"}}
DECIDES = "panel.stats.comparing.multiplicity.below"
"""Whether a p-value is small enough is a column that the models made."""

LONGEST_CHAIN = 15
MOST_MODULES = 220

FILES_IN = "study"
OPENERS = {"read_text", "read_bytes", "write_text", "write_bytes", "open", "fdopen"}
NO_FILE = {"webbrowser"}
"""Modules whose `open` opens no file."""


parsed = cache(ast.parse)


def broken_rules(module: str, source: str, *, package: bool = False) -> list[str]:
    """Return what in the source of a module breaks a rule, in words."""
    tree = parsed(source)
    layer = module.split(".")[1] if "." in module else ""
    names = list(_imported(tree, module if package else module.rpartition(".")[0]))
    return [*_upwards(layer, names), *_misplaced(layer, names), *_opened(layer, tree)]


def _imported(tree: ast.AST, package: str) -> Iterator[str]:
    """Yield the full name of everything that is imported."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            relative = "." * node.level + (node.module or "")
            origin = importlib.util.resolve_name(relative, package) if node.level else relative
            yield from (f"{origin}.{alias.name}" for alias in node.names)
        elif isinstance(node, ast.Call) and _called(node) in ("import_module", "__import__"):
            yield from (str(word.value) for word in node.args if isinstance(word, ast.Constant))


def _upwards(layer: str, names: list[str]) -> Iterator[str]:
    for name in names:
        parts = name.split(".")
        if parts[0] != "panel" or len(parts) == 1:
            continue
        if parts[1] not in (*RANK, *WING):
            if parts[1] != "__version__":
                yield f"{name} is in no layer"
        elif not _may_import(layer, parts[1]):
            yield f"{layer or 'panel'} imports {name}, which is to its right"


def _may_import(layer: str, other: str) -> bool:
    """Return whether a layer may import from another one."""
    if layer in WING:
        return WING.index(other) <= WING.index(layer) if other in WING else RANK[other] <= UNDER_THE_WING
    if other in WING:
        return RANK.get(layer) == TOP
    return layer in RANK and RANK[other] <= RANK[layer]


def _misplaced(layer: str, names: list[str]) -> Iterator[str]:
    for library in dict.fromkeys(name.split(".")[0] for name in names):
        if ONLY_IN.get(library, layer) != layer:
            yield f"{layer} imports {library}, which only {ONLY_IN[library]} may"
        if library in NEVER_IN.get(layer, ()):
            yield f"{layer} imports {library}, which it never may"
    if DECIDES in names and RANK.get(layer, 0) >= RANK["views"]:
        yield f"{layer} decides by a p-value, which models do"


def _opened(layer: str, tree: ast.AST) -> Iterator[str]:
    if layer == FILES_IN:
        return
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and _called(node) in OPENERS:
            owner = node.func.value if isinstance(node.func, ast.Attribute) else None
            if not (isinstance(owner, ast.Name) and owner.id in NO_FILE):
                yield f"{layer} opens a file in line {node.lineno}, which only {FILES_IN} may"


def _called(node: ast.Call) -> str:
    function = node.func
    if isinstance(function, ast.Attribute):
        return function.attr
    return function.id if isinstance(function, ast.Name) else ""


MODULES = sorted(path.relative_to(ROOT) for path in (ROOT / "panel").rglob("*.py"))


def module_of(path: Path) -> tuple[str, bool]:
    """Return the dotted name of a module, and whether it is a package."""
    parts = path.with_suffix("").parts
    package = parts[-1] == "__init__"
    return ".".join(parts[:-1] if package else parts), package


def imported_modules(module: str, source: str, known: set[str]) -> set[str]:
    """Return which known modules are loaded as soon as a module is."""
    at_once = ast.Module(parsed(source).body, [])
    names = [node for node in at_once.body if isinstance(node, ast.Import | ast.ImportFrom)]
    found = {name for node in names for name in _imported(node, module.rpartition(".")[0])}
    return {own for name in found for own in (name, name.rpartition(".")[0]) if own in known}


def longest_chain(graph: dict[str, set[str]]) -> list[str]:
    """Return the longest way from a module down its imports; ValueError if the imports go round in a circle."""
    chains: dict[str, list[str]] = {}

    def chain(module: str, above: tuple[str, ...]) -> list[str]:
        if module in above:
            raise ValueError(f"a circle: {' -> '.join([*above, module])}")
        if module not in chains:
            below = (chain(other, (*above, module)) for other in sorted(graph[module]))
            chains[module] = [module, *max(below, key=len, default=[])]
        return chains[module]

    return max((chain(module, ()) for module in sorted(graph)), key=len)


def test_every_module_keeps_to_its_layer():
    told = []
    for path in MODULES:
        module, package = module_of(path)
        rules = broken_rules(module, (ROOT / path).read_text(encoding="utf-8"), package=package)
        told += [f"{path}: {rule}" for rule in rules]
    assert told == []


def test_no_import_goes_in_a_circle_and_no_chain_is_long():
    sources = {module_of(path)[0]: (ROOT / path).read_text(encoding="utf-8") for path in MODULES}
    graph = {module: imported_modules(module, source, set(sources)) for module, source in sources.items()}
    chain = longest_chain(graph)
    assert len(chain) <= LONGEST_CHAIN, " -> ".join(chain)


def test_a_circle_and_a_chain_are_seen():
    assert longest_chain({"a": {"b", "c"}, "b": {"c"}, "c": set()}) == ["a", "b", "c"]
    with pytest.raises(ValueError, match="a -> b -> a"):
        longest_chain({"a": {"b"}, "b": {"a"}})


def test_there_are_as_many_modules_as_one_can_know():
    named = [path for path in MODULES if path.name != "__init__.py"]
    assert len(named) <= MOST_MODULES


def test_every_module_is_in_a_layer():
    layers = {path.parts[1].removesuffix(".py") for path in MODULES}
    assert layers - {"__init__"} <= {*RANK, *WING}
    assert len(MODULES) > 50


# the proof that each rule can fail: a source that breaks it, and what is said about it
BROKEN = [
    ("panel.errors", "from panel.stats import reml", "errors imports panel.stats.reml, which is to its right"),
    ("panel.stats.reml", "import panel.study.study", "stats imports panel.study.study, which is to its right"),
    (
        "panel.study.study",
        "from panel.plan.codes import codes",
        "study imports panel.plan.codes.codes, which is to its",
    ),
    (
        "panel.plan.codes",
        "from panel.checks import finding",
        "plan imports panel.checks.finding, which is to its right",
    ),
    ("panel.checks.scores", "from panel import models", "checks imports panel.models, which is to its right"),
    ("panel.models.decision", "from ..claims import verdict", "models imports panel.claims.verdict, which is to its"),
    ("panel.models.emollients.swaps", "from ...views import x", "models imports panel.views.x, which is to its right"),
    ("panel.claims.verdict", "def f():\n    import panel.views.maps", "claims imports panel.views.maps, which is"),
    ("panel.views.maps", "from panel.report import pdf", "views imports panel.report.pdf, which is to its right"),
    ("panel.report.pdf", "from panel.store import events", "report imports panel.store.events, which is to its right"),
    ("panel.plan.codes", "from panel.store import events", "plan imports panel.store.events, which is to its right"),
    ("panel.store.events", "from panel.ballots import server", "store imports panel.ballots.server, which is to its"),
    ("panel.store.events", "from panel.report import pdf", "store imports panel.report.pdf, which is to its right"),
    ("panel.store.events", "from panel.checks import scores", "store imports panel.checks.scores, which is to its"),
    ("panel.ballots.server", "from panel.views import maps", "ballots imports panel.views.maps, which is to its right"),
    ("panel.ballots.server", "from panel import app", "ballots imports panel.app, which is to its right"),
    ("panel.ballots.server", "from panel.cli import main", "ballots imports panel.cli.main, which is to its right"),
    (
        "panel.checks.scores",
        "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from panel.models import map",
        "checks imports panel.models.map, which is to its right",
    ),
    (
        "panel.checks.scores",
        "import importlib\nimportlib.import_module('panel.models.map')",
        "checks imports panel.models.map, which is to its right",
    ),
    ("panel.checks.scores", "from panel.helpers import x", "panel.helpers.x is in no layer"),
    ("panel", "from panel.errors import PanelError", "panel imports panel.errors.PanelError, which is to its right"),
    ("panel.views.maps", "import streamlit as st", "views imports streamlit, which only app may"),
    ("panel.cli", "import streamlit.web.cli", "cli imports streamlit, which only app may"),
    ("panel.app.widgets", "import seaborn", "app imports seaborn, which only views may"),
    ("panel.models.map", "from matplotlib.figure import Figure", "models imports matplotlib, which only views may"),
    ("panel.study.folder", "from sqlalchemy import text", "study imports sqlalchemy, which only store may"),
    ("panel.app.state", "from starlette.responses import Response", "app imports starlette, which only ballots may"),
    (
        "panel.views.maps",
        "from panel.stats.comparing.multiplicity import below",
        "views decides by a p-value, which models do",
    ),
    ("panel.stats.reml", "import pandas as pd", "stats imports pandas, which it never may"),
    ("panel.stats.reml", "def f():\n    from pandas import Series", "stats imports pandas, which it never may"),
    ("panel.report.pdf", "with open('x') as file:\n    pass", "report opens a file in line 1, which only study may"),
    (
        "panel.cli",
        "from pathlib import Path\nPath('x').read_text()",
        "cli opens a file in line 2, which only study may",
    ),
    ("panel.app.study_forms", "path.write_bytes(b'')", "app opens a file in line 1, which only study may"),
    ("panel.views.svg", "path.write_text('')", "views opens a file in line 1, which only study may"),
    ("panel.models.map", "path.read_bytes()", "models opens a file in line 1, which only study may"),
    ("panel.models.map", "path.open('rb')", "models opens a file in line 1, which only study may"),
]


@pytest.mark.parametrize(("module", "source", "words"), BROKEN, ids=[f"{case[0]}-{i}" for i, case in enumerate(BROKEN)])
def test_a_source_that_breaks_a_rule_is_caught(module, source, words):
    (told,) = broken_rules(module, source)
    assert told.startswith(words)


def test_a_package_is_as_bound_as_its_modules():
    assert broken_rules("panel.stats", "from ..study import study", package=True)
    assert broken_rules("panel.stats", "from .reml import fit\nfrom . import strata", package=True) == []


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("panel.app.pages.result", "import streamlit as st\nfrom panel.views import maps\nfrom panel.cli import main"),
        ("panel.cli", "import panel\nfrom panel import __version__\nfrom panel.app import launch"),
        ("panel.views.maps", "import seaborn as sns\nimport matplotlib.pyplot as plt"),
        ("panel.store.events", "from sqlalchemy import text\nfrom panel.study.study import Study"),
        ("panel.ballots.server", "from starlette.applications import Starlette\nfrom panel.store import events"),
        ("panel.study.folder", "import pandas as pd\nPath('x').read_text()\nopen('x')"),
        ("panel.stats.reml", "import numpy as np\nfrom scipy import linalg\nfrom panel.errors import ModelError"),
        ("panel.app.launch", "import webbrowser\nwebbrowser.open('http://localhost')"),
        ("panel.errors", "class PanelError(Exception):\n    pass"),
    ],
)
def test_a_source_that_keeps_the_rules_passes(module, source):
    assert broken_rules(module, source) == []


def test_the_order_is_the_one_that_is_drawn():
    arrow = " ".join(line for line in __doc__.splitlines() if "->" in line)
    drawn = [name for step in arrow.split("->") for name in step.strip().split(", ")]
    assert drawn == [layer for layers in ORDER for layer in layers if layer != "__main__"]
