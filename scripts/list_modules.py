"""Bring the list of modules in DEVELOPERS.md in line with the first sentence of each module's docstring."""

from __future__ import annotations

import ast
import sys
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parents[1]
BEGIN, END = "<!-- modules: begin -->\n", "<!-- modules: end -->\n"


def module_list() -> str:
    """Return the list as Markdown, a heading per package and a line per module."""
    lines: list[str] = []
    for package in sorted({path.parent for path in (CHECKOUT / "panel").rglob("*.py")}, key=_layer):
        own = [path for path in sorted(package.glob("*.py")) if path.name != "__init__.py"]
        if own:
            lines += ["", f"**{package.relative_to(CHECKOUT).as_posix()}/**", ""]
        lines += [f"- `{path.relative_to(CHECKOUT).as_posix()}`: {_first_sentence(path)}" for path in own]
    return "\n".join(lines[1:]) + "\n"


def _layer(package: Path) -> tuple[int, str]:
    order = [
        "",
        "stats",
        "study",
        "plan",
        "checks",
        "models",
        "claims",
        "views",
        "report",
        "store",
        "ballots",
        "cli",
        "app",
    ]
    parts = package.relative_to(CHECKOUT / "panel").parts
    return order.index(parts[0] if parts else ""), "/".join(parts)


def _first_sentence(path: Path) -> str:
    docstring = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
    return " ".join(docstring.split("\n\n")[0].split())


if __name__ == "__main__":
    page = CHECKOUT / "DEVELOPERS.md"
    before, rest = page.read_text(encoding="utf-8").split(BEGIN)
    wanted = before + BEGIN + module_list() + END + rest.split(END)[1]
    if "--check" in sys.argv[1:]:
        sys.exit(
            0 if wanted == page.read_text(encoding="utf-8") else "DEVELOPERS.md: run python scripts/list_modules.py"
        )
    page.write_text(wanted, encoding="utf-8")
