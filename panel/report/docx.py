"""The evidence file as a text document (DOCX): headings, tables whose header repeats, pictures with words for them."""

from __future__ import annotations

import io
import zipfile
from typing import Any

from docx import Document
from docx.shared import Pt

from panel.report.contents.blocks import Report
from panel.report.docx_parts import add_picture, add_signature, add_table, in_bold, set_up
from panel.report.pages import Drawn, Item, Sheet, Words, items, page_facts
from panel.report.zip_bytes import zip_of_files

_BADGES = {"gap": "Gap: ", "caution": "Caution: "}


def docx_bytes(report: Report) -> bytes:
    """Return the evidence file as DOCX; the same study and version give the same bytes."""
    document = Document()
    facts = page_facts(report)
    set_up(document, facts)
    document.add_heading(f"Evidence file: {facts['title']}", 0)
    for section in report.all_sections:
        heading = document.add_heading(f"{section.number}. {section.heading}" if section.number else section.heading, 1)
        heading.paragraph_format.page_break_before = section.number == "1"  # the summary stands on pages of its own
        for item in items(section):
            _put(document, item)
    saved = io.BytesIO()
    document.save(saved)
    with zipfile.ZipFile(saved) as packed:  # packed again: the program that packs it writes the time of day
        return zip_of_files({name: packed.read(name) for name in packed.namelist()})


def _put(document: Any, item: Item) -> None:
    match item:
        case Words("subheading", texts):
            document.add_heading(texts[0], 2)
        case Words("points", texts):
            for text in texts:
                document.add_paragraph(text, style="List Bullet").paragraph_format.space_after = Pt(2)
        case Words("sign-off", texts):
            add_signature(document, texts)
        case Words(kind, texts) if kind in _BADGES:
            in_bold(document.add_paragraph(), _BADGES[kind], texts[0])
        case Words(_, texts):
            document.add_paragraph(texts[0])
        case Sheet():
            add_table(document, item)
        case Drawn():
            add_picture(document, item)
