"""A study of names that are markup, formulas, mathematics, paths and turning signs goes through every command, form and
page without an error, and every name is shown as it is. What came out is judged by other readers than ours."""

from __future__ import annotations

import io
import json
import re
import zipfile
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from click.testing import CliRunner
from matplotlib.figure import Figure
from streamlit.testing.v1 import AppTest

from panel.app.state import STUDY_VARIABLE
from panel.app.widgets import csv_bytes, plain
from panel.cli import main
from panel.report.archive import writer_of
from panel.report.contents.evidence import evidence_report
from panel.study.folder import write_study
from panel.study.open_study import study_of_bytes, workbook_bytes, zip_bytes
from panel.views.pictures import png_bytes, svg_text
from tests.app.running import PAGES, part_of_app, with_open_drawers
from tests.hostile_study import HOSTILE, hostile_study

pytestmark = pytest.mark.usefixtures("asked_once")
COMMANDS = ("check", "panel", "compare", "map", "trace", "decide", "consumers", "forced-choice", "claim", "plan")
STEERING = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\u200e\u200f\u202a-\u202e\u2066-\u2069]")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("hostile") / "study"
    write_study(hostile_study(), place)
    return place


@pytest.fixture(scope="module")
def report(asked_once: None) -> Any:
    return evidence_report(hostile_study(), rng_seed=1)


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_answers_and_cannot_steer_the_terminal(command: str, folder: Path):
    for more in ([], ["--json"]):
        told = CliRunner().invoke(main, [command, str(folder), *more], catch_exceptions=False)
        assert told.exit_code == 0
        assert STEERING.search(told.output) is None
        if more:
            json.loads(told.stdout)


def test_json_holds_the_names_themselves(folder: Path):
    told = CliRunner().invoke(main, ["map", str(folder), "--json"])
    assert {row["prototype"] for row in json.loads(told.stdout)["prototypes"]} == set(HOSTILE[:8])


class Page(HTMLParser):
    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def test_html_holds_the_names_as_words_and_asks_nobody(report: Any):
    page = Page(writer_of("x.html")(report).decode())
    assert not [tag for tag, _ in page.tags if tag == "script"]
    for tag, attributes in page.tags:
        assert not [name for name in attributes if name.startswith("on")]
        to = [attributes.get(name) or "" for name in ("src", "href", "xlink:href", "action")]
        assert all(one.startswith(("#", "data:image/")) or not one for one in to), (tag, to)
    words = "".join(page.words)
    for name in (HOSTILE[0], HOSTILE[1], HOSTILE[3], HOSTILE[4]):
        assert name in words


def test_workbook_form_calculates_nothing(report: Any):
    with zipfile.ZipFile(io.BytesIO(writer_of("x.xlsx")(report))) as archive:
        sheets = [archive.read(name) for name in archive.namelist() if name.startswith("xl/worksheets/sheet")]
        texts = archive.read("xl/sharedStrings.xml").decode()
        rels = b"".join(archive.read(name) for name in archive.namelist() if name.endswith(".rels"))
    assert sheets
    assert not any(b"<f>" in sheet or b"<f " in sheet for sheet in sheets)
    assert "P$5 and $9" in texts
    assert b"External" not in rels


def test_docx_holds_the_names_as_words(report: Any):
    with zipfile.ZipFile(io.BytesIO(writer_of("x.docx")(report))) as archive:
        body = archive.read("word/document.xml").decode()
        rels = archive.read("word/_rels/document.xml.rels")
    assert "P$5 and $9" in body
    assert "&lt;script&gt;" in body
    assert not re.search(r"<w:(?:instrText|fldSimple)[^>]*>[^<]*(?:HYPERLINK|evil)", body)
    assert b"evil" not in rels


def test_pdf_holds_no_program_and_no_link_outside(report: Any):
    content = writer_of("x.pdf")(report)
    assert content.startswith(b"%PDF")
    assert not re.search(rb"/(?:JavaScript|JS|URI|Launch)\b", content)


@pytest.mark.parametrize("pack", [zip_bytes, workbook_bytes])
def test_the_study_comes_back_as_it_went(pack: Any):
    assert study_of_bytes(pack(hostile_study()), "f").content_hash == hostile_study().content_hash


def elements(block: Any) -> Iterator[Any]:
    for part in block.children.values():
        yield part
        if hasattr(part, "children"):
            yield from elements(part)


def formatted(app: AppTest) -> Iterator[str]:
    """Yield every text of a page that Streamlit reads as markdown: words, labels, choices that stand open."""
    words = ("markdown", "caption", "warning", "info", "success", "error", "header", "title", "subheader")
    for part in elements(app._tree):
        if part.type in words:
            yield part.value
        if isinstance(label := getattr(part, "label", None), str):
            yield label
        if part.type in ("radio", "button_group"):
            yield from part.options


@pytest.mark.parametrize("page", PAGES)
def test_every_page_shows_the_names_as_they_are(page: str, folder: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv(STUDY_VARIABLE, str(folder))
    app = with_open_drawers(part_of_app(page))
    assert not app.exception
    marked = [name for name in HOSTILE if plain(name) != name and len(name) > 4]
    assert [text for text in formatted(app) if any(name in text for name in marked)] == []
    assert any(plain(HOSTILE[0] + HOSTILE[4]) in text for text in formatted(app))  # the title: it is this study


@pytest.mark.parametrize("name", HOSTILE)
def test_a_name_is_drawn_as_it_is(name: str):
    """Two dollar signs are no formula. The same words without any are drawn with the same letters."""
    figure = Figure(figsize=(3, 2))
    axes = figure.subplots()
    axes.set_title(name[:40])
    axes.set_xticks([0, 1], [name[:40], "b"])
    svg = svg_text(figure, title=name, description=name, text_as_paths=False)
    assert png_bytes(figure, dots_per_inch=20).startswith(b"\x89PNG")
    assert "italic" not in svg.split("</desc>")[1]
    if name == "P$5 and $9":
        assert svg.count(">P$5 and $9</text>") == 2


@pytest.mark.parametrize(
    ("cell", "safe"),
    [
        ("=1+1", "'=1+1"),
        ("+1+1", "'+1+1"),
        ("-2+3", "'-2+3"),
        ("-2+cmd|' /C calc'!A0", "'-2+cmd|' /C calc'!A0"),
        ("@SUM(1)", "'@SUM(1)"),
        ("\t=1", "'\t=1"),
        ("-2.5", "-2.5"),
        ("+3,5", "+3,5"),
        ("-1e-5", "-1e-5"),
        ("-2.1 to 3.4", "-2.1 to 3.4"),
        ("-12 %", "-12 %"),
        ("a=1", "a=1"),
    ],
)  # OWASP, CSV Injection: a cell that begins with = + - @ tab or carriage return may be calculated
def test_a_table_for_a_spreadsheet_calculates_nothing(cell: str, safe: str):
    frame = pd.read_csv(io.BytesIO(csv_bytes(pd.DataFrame({cell: [cell]}))), dtype=str, encoding="utf-8-sig")
    assert (frame.columns[0], frame.iloc[0, 0]) == (safe, safe)


def test_an_address_in_a_name_is_no_link():
    """GFM makes a link of `http://`, `www.` and an address with `@`, also where they are escaped."""
    for words in ("http://evil.example", "see HTTPS://evil.example", "www.evil.example", "a.b@evil.example"):
        shown = plain(words).replace("\\", "")
        assert not re.search(r"https?://|www\.|\w@", shown, re.IGNORECASE)
        assert shown.replace("\u2060", "") == words
