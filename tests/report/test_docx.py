"""The evidence file as a text document, reopened with python-docx and looked at as Office Open XML (ECMA-376)."""

from __future__ import annotations

import io
import re
import zipfile

import numpy as np
import pytest
from docx import Document
from docx.enum.text import WD_ALIGN_PARAGRAPH
from docx.oxml.ns import qn
from lxml import etree
from matplotlib.figure import Figure
from PIL import Image

from panel.report.contents.blocks import Report, Section
from panel.report.pdf import ON_ITS_SIDE, as_png
from panel.views import told as views
from panel.views.pictures import PRINTED, png_bytes
from panel.words import _SHOWN_INSTEAD
from tests.report.evidence_studies import FORMULA, SCRIPT, SIGNS, bytes_of, demo_report, small_report


def opened(name):
    return Document(io.BytesIO(bytes_of(".docx", name)))


def all_text(name):
    document = opened(name)
    cells = [t.text or "" for t in document.element.body.iter(qn("w:t"))]
    return "\n".join(cells)


def test_headings_follow_the_parts():
    headings = [p.text for p in opened("demo").paragraphs if p.style.name == "Heading 1"]
    assert headings == [*(part.title for part in demo_report().all_sections), ON_ITS_SIDE]


def test_a_list_of_contents_points_to_the_headings():
    document = opened("demo")
    fields = [field.get(qn("w:instr")) for field in document.element.body.iter(qn("w:fldSimple"))]
    marks = {mark.get(qn("w:name")) for mark in document.element.body.iter(qn("w:bookmarkStart"))}
    assert len(fields) == 2 + len(demo_report().sections)  # the case, the claims together, the parts
    assert {field.removeprefix("PAGEREF ") for field in fields} <= marks


def test_wide_tables_lie_on_their_side_and_numbers_stand_on_the_right():
    document = opened("demo")
    assert [(s.orientation, s.page_width > s.page_height) for s in document.sections] == [(0, False), (1, True)]
    (readings,) = [table for table in document.tables if table.rows[0].cells[0].text.startswith("Measure")]
    sides = [cell.paragraphs[0].alignment for cell in readings.rows[1].cells]
    assert sides[0] is None
    assert set(sides[-3:]) == {WD_ALIGN_PARAGRAPH.RIGHT}


def test_no_letters_are_smaller_than_seven_points():
    sizes = [int(size.get(qn("w:val"))) / 2 for size in opened("demo").element.body.iter(qn("w:sz"))]
    assert min(sizes) >= 7


def test_the_empty_picture_of_the_library_is_not_in_it():
    with zipfile.ZipFile(io.BytesIO(bytes_of(".docx", "small"))) as packed:
        assert not [name for name in packed.namelist() if "thumbnail" in name]


def test_header_rows_repeat_and_rows_stay_whole():
    tables = opened("small").tables
    assert len(tables) > 10
    for table in tables:
        first, *rest = table.rows
        assert first._tr.trPr is not None
        assert first._tr.trPr.find(qn("w:tblHeader")) is not None
        assert all(row._tr.trPr is None or row._tr.trPr.find(qn("w:tblHeader")) is None for row in rest)


def test_every_picture_has_words():
    shapes = opened("small").inline_shapes
    assert len(shapes) >= 4
    assert all(shape._inline.docPr.get("descr") for shape in shapes)


def test_a_picture_shows_what_another_program_draws():
    # matplotlib's own Agg draws the same figure into dots; blocks of twelve dots of both are equally dark
    def draw(width):
        figure = Figure(figsize=(width, 3))
        axes = figure.add_axes((0.2, 0.2, 0.7, 0.7))
        axes.bar([0, 1, 2], [3, 1, 2], color=["#000000", "#d55e00", "#56b4e9"], hatch="//")
        axes.set_xlabel("Äthyl é < & > words", fontsize=14)
        return figure

    own = views.Picture("p", "Title", "Words for it", draw)
    part = Section("1", "Part", (own,))
    made = as_png(Report("Title", "", "", "2026-02-03", "hash", "1", part, (), ()))["p"]
    dots = [_dark(data) for data in (made, png_bytes(own.figure(PRINTED), dots_per_inch=150))]
    assert dots[0].shape == dots[1].shape == (3 * 150 // 12, int(PRINTED * 150) // 12)
    assert np.corrcoef(dots[0].ravel(), dots[1].ravel())[0, 1] > 0.95


def _dark(data):
    dots = np.asarray(Image.open(io.BytesIO(data)).convert("L"), dtype=float)
    high, wide = (length // 12 for length in dots.shape)
    return dots[: 12 * high, : 12 * wide].reshape(high, 12, wide, 12).mean(axis=(1, 3))


def test_the_language_is_said_and_every_page_carries_the_hash():
    document = opened("small")
    languages = {element.get(qn("w:val")) for element in document.styles.element.iter(qn("w:lang"))}
    assert languages == {"en-GB"}
    header = "\n".join(p.text for p in document.sections[0].header.paragraphs)
    assert small_report().data_hash in header
    assert small_report().title in header
    fields = [field.get(qn("w:instr")) for field in document.sections[0].footer._element.iter(qn("w:fldSimple"))]
    assert fields == ["PAGE", "NUMPAGES"]


def test_a_mark_stands_on_every_page():
    header = "\n".join(p.text for p in opened("demo").sections[0].header.paragraphs)
    assert demo_report().mark in header


def test_the_ids_of_rows_stand_in_small_print():
    text = all_text("demo")
    tables = {table.code: table for table in demo_report().tables}
    assert f" {tables['D'].printed_ids[tables['D'].shown_ids.index('D-AF_GREASE-P4-P1')]}\n" in text
    assert " H1\n" in text


@pytest.mark.parametrize("name", ["small", "hostile"])
def test_every_part_of_the_file_is_xml_and_leads_nowhere(name):
    with zipfile.ZipFile(io.BytesIO(bytes_of(".docx", name))) as packed:
        assert packed.testzip() is None
        assert {member.date_time for member in packed.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        for member in packed.namelist():
            if member.endswith((".xml", ".rels")):
                tree = etree.fromstring(packed.read(member))
                modes = [element.get("TargetMode") for element in tree.iter() if element.get("TargetMode")]
                assert "External" not in modes
        document = etree.fromstring(packed.read("word/document.xml"))
    assert not list(document.iter(qn("w:hyperlink")))
    assert not list(document.iter(qn("w:instrText")))


def test_what_people_typed_is_shown_and_does_nothing():
    text = all_text("hostile")
    for typed in (FORMULA, SCRIPT, SIGNS):
        assert typed in text
    assert _SHOWN_INSTEAD in text  # control signs are seen, not obeyed
    assert not re.search(r"[\x00-\x08\x0b\x0c\x0e-\x1f\u202e]", text)
