"""README and docs: short, no dead link, every command and every column of a study told."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import pytest
from markdown_it import MarkdownIt

from panel.cli import main

ROOT = Path(__file__).resolve().parents[1]
PAGES = sorted((ROOT / "docs" / "pages").glob("*.md"))
WRITTEN = [ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / "CHANGELOG.md", *PAGES]
MOST_WORDS = 450


def links(page: Path) -> list[str]:
    """Return where the links and pictures of a page lead."""
    found = []
    for token in MarkdownIt().enable("table").parse(page.read_text(encoding="utf-8")):
        for inner in token.children or []:
            found += [str(inner.attrs[name]) for name in ("href", "src") if name in inner.attrs]
    return found


@pytest.mark.parametrize("page", WRITTEN, ids=lambda page: page.name)
def test_no_link_is_dead(page: Path):
    own = [link for link in links(page) if not link.startswith(("https://", "http://"))]
    assert [link for link in own if not (page.parent / link.partition("#")[0]).exists()] == []


def test_the_readme_is_short_and_opens_with_the_job_and_two_commands():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert len(re.findall(r"[A-Za-z0-9][^\s|]*", re.sub(r"!\[[^]]*\]\([^)]*\)|\]\([^)]*\)", "]", text))) <= MOST_WORDS
    commands = re.findall(r"^    (.+)$", text, re.MULTILINE)
    assert [command.rpartition(" ")[2] for command in commands] == ["scripts/open_demo.py", "scripts/run_tests.py"]


def test_every_page_is_in_the_table_of_contents():
    contents = (ROOT / "docs" / "mkdocs.yml").read_text(encoding="utf-8")
    assert sorted(re.findall(r"\S+\.md", contents)) == [page.name for page in PAGES]


def test_every_command_is_told():
    told = (ROOT / "docs" / "pages" / "commands.md").read_text(encoding="utf-8")
    assert [name for name in main.commands if f"afterfeel {name}" not in told] == []


def test_the_format_of_a_study_is_what_its_tables_say(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.syspath_prepend(str(ROOT / "scripts"))
    import write_format

    sys.modules.pop("write_format")
    assert write_format.PAGE.read_text(encoding="utf-8") == write_format.page()
