"""The evidence file as a text document (DOCX): headings, tables whose header repeats, pictures with words for them."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from html import escape
from itertools import zip_longest
from typing import Any, TypeGuard

from docx import Document
from docx.enum.section import WD_ORIENT, WD_SECTION
from docx.enum.text import WD_ALIGN_PARAGRAPH, WD_TAB_ALIGNMENT, WD_TAB_LEADER
from docx.oxml import OxmlElement, parse_xml
from docx.oxml.ns import nsdecls, qn
from docx.shared import Mm, Pt, RGBColor

from panel.report import pdf
from panel.report.archive import zip_of_files
from panel.report.contents.blocks import Report, Words
from panel.report.html import Item, Sheet, holds_numbers, items, leads, page_facts, plain_text
from panel.views.told import Picture

_BADGES = {"gap": "Gap: ", "caution": "Caution: ", "verdict": "Verdict: "}


def docx_bytes(report: Report) -> bytes:
    """Return the evidence file as DOCX; the same study, version and day of making give the same bytes."""
    document = Document()
    facts = page_facts(report)
    _set_up(document, facts)
    _styled(document, f"Evidence file: {facts['title']}", "Title")
    pngs = pdf.as_png(report)
    aside: list[Sheet | Picture] = []
    for place, section in enumerate(report.all_sections):
        heading = _styled(document, plain_text(section.title), "Heading1")
        heading.paragraph_format.page_break_before = section.on_new_page
        _bookmark(heading, place)
        found = list(items(section))
        for item, after in zip_longest(found, found[1:]):
            if _is_wide(item):
                aside.append(item)
                document.add_paragraph(pdf.pointer(plain_text(item.title)))
            elif item == Words("contents", ()):
                _contents(document, pdf.contents_of(report))
            else:
                _put(document, item, pngs, leading=leads(item, after))
    if aside:
        page = document.add_section(WD_SECTION.NEW_PAGE)
        page.orientation, page.page_width, page.page_height = WD_ORIENT.LANDSCAPE, Mm(297), Mm(210)
        page.left_margin = page.right_margin = Mm(10)
        _styled(document, pdf.ON_ITS_SIDE, "Heading1")
        for item in aside:
            _put(document, item, pngs, pdf.WIDTH_TURNED)
    saved = io.BytesIO()
    document.save(saved)
    with zipfile.ZipFile(saved) as packed:  # packed again: the program that packs it writes the time of day
        return zip_of_files({name: packed.read(name) for name in packed.namelist()})


def _is_wide(item: Item) -> TypeGuard[Sheet | Picture]:
    if isinstance(item, Picture):
        return (pdf.room_for(*pdf.size_of(item.printed_svg)) or (0, False))[1]
    return isinstance(item, Sheet) and pdf.lying(item)[1]


def _put(
    document: Any, item: Item, pngs: Mapping[str, bytes], across: float = pdf.WIDTH, *, leading: bool = False
) -> None:
    match item:
        case Words("subheading", texts):
            _styled(document, texts[0], "Heading2")
        case Words("sentence", texts):
            _in_bold(document.add_paragraph(), texts[0], "", size=14)
        case Words("points", texts):
            for text in texts:
                _styled(document, text, "ListBullet").paragraph_format.space_after = Pt(2)
        case Words("sign-off", texts):
            _add_signature(document, texts)
        case Words(kind, texts) if kind in _BADGES:
            _in_bold(document.add_paragraph(), _BADGES[kind], texts[0])
        case Words(_, texts):
            document.add_paragraph(texts[0]).paragraph_format.keep_with_next = leading or None
        case Sheet():
            _add_table(document, item, across)
        case Picture():
            _add_picture(document, item, pngs[item.name])


# The parts of a text document that need more than one call: page, header and footer, tables, pictures, signatures.


_FONT, _LANGUAGE = "DejaVu Sans", "en-GB"
_GREY = RGBColor(0x5A, 0x5A, 0x5A)


def _set_up(document: Any, facts: Mapping[str, str]) -> None:
    page = document.sections[0]
    page.page_width, page.page_height = Mm(210), Mm(297)
    page.left_margin = page.right_margin = Mm(20)
    page.top_margin, page.bottom_margin = Mm(27), Mm(20)
    style = document.styles["Normal"]
    style.font.name, style.font.size = _FONT, Pt(9)
    style.element.rPr.rFonts.set(qn("w:eastAsia"), _FONT)
    _language(document)
    for name in ("Title", "Heading 1", "Heading 2"):
        heading = document.styles[name]
        heading.font.name, heading.font.color.rgb = _FONT, RGBColor(0, 0, 0)
        heading.element.rPr.rFonts.attrib.pop(qn("w:asciiTheme"), None)
        heading.element.rPr.rFonts.attrib.pop(qn("w:hAnsiTheme"), None)
    document.styles["Title"].font.size = Pt(16)
    header = page.header.paragraphs[0]
    mark = f"    {facts['mark']}" if facts["mark"] else ""
    _in_bold(header, "", facts["title"], mark, size=7)
    _small(page.header.add_paragraph(), f"Data SHA-256 {facts['hash']}")
    footer = page.footer.paragraphs[0]
    _small(footer, f"Evidence file, {facts['version']}    page ")
    _field(footer, "PAGE")
    _small(footer, " of ")
    _field(footer, "NUMPAGES")
    _properties(document, facts)


def _properties(document: Any, facts: Mapping[str, str]) -> None:
    properties = document.core_properties
    for name, relation in list(document.part.package.rels.items()):
        if relation.reltype.endswith("/thumbnail"):  # the picture of an empty page that the library brings along
            document.part.package.rels.pop(name)
    day = datetime.fromisoformat(facts["made_on"]).replace(tzinfo=UTC)
    properties.title = f"Evidence file: {facts['title']}"[:255]
    properties.author, properties.last_modified_by = "Afterfeel", "Afterfeel"
    properties.comments = f"Data SHA-256 {facts['hash']}"
    properties.language, properties.revision = _LANGUAGE, 1
    properties.created = properties.modified = properties.last_printed = day.replace(tzinfo=None)


def _language(document: Any) -> None:
    defaults = document.styles.element.find(f"{qn('w:docDefaults')}/{qn('w:rPrDefault')}/{qn('w:rPr')}")
    told = defaults.find(qn("w:lang"))
    if told is None:
        told = OxmlElement("w:lang")
        defaults.append(told)
    told.set(qn("w:val"), _LANGUAGE)


def _styled(document: Any, text: str, style: str) -> Any:
    """Add a paragraph in a style by its id: by its name, python-docx looks through all styles for each paragraph."""
    paragraph = document.add_paragraph(text)
    paragraph._p.style = style
    return paragraph


def _in_bold(paragraph: Any, bold: str, text: str, bold_after: str = "", size: float | None = None) -> None:
    for words, strong in ((bold, True), (text, False), (bold_after, True)):
        if words:
            run = paragraph.add_run(words)
            run.bold = strong
            run.font.size = Pt(size) if size else None


def _small(paragraph: Any, text: str) -> None:
    run = paragraph.add_run(text)
    run.font.size, run.font.color.rgb = Pt(7), _GREY


def _bookmark(heading: Any, place: int) -> None:
    for tag in ("bookmarkStart", "bookmarkEnd"):
        mark = OxmlElement(f"w:{tag}")
        mark.set(qn("w:id"), str(place))
        if tag == "bookmarkStart":
            mark.set(qn("w:name"), f"part{place}")
        heading._p.append(mark)


def _contents(document: Any, listed: Sequence[Mapping[str, Any]]) -> None:
    for entry in listed:
        line = document.add_paragraph()
        line.paragraph_format.space_after = Pt(1)
        line.paragraph_format.tab_stops.add_tab_stop(Pt(pdf.WIDTH), WD_TAB_ALIGNMENT.RIGHT, WD_TAB_LEADER.DOTS)
        line.add_run(f"{entry['words']}\t")
        _field(line, f"PAGEREF part{entry['place']}")


def _field(paragraph: Any, name: str) -> None:
    """Write a field, such as the page number, that the reader's program fills in."""
    field = OxmlElement("w:fldSimple")
    field.set(qn("w:instr"), name)
    field.set(qn("w:dirty"), "true")  # what stands in it is out of date until it is filled in
    run, properties, size, text = (OxmlElement(f"w:{tag}") for tag in ("r", "rPr", "sz", "t"))
    size.set(qn("w:val"), "14")  # half points
    text.text = "1"
    properties.append(size)
    run.append(properties)
    run.append(text)
    field.append(run)
    paragraph._p.append(field)


def _add_table(document: Any, sheet: Sheet, across: float) -> None:
    size, _ = pdf.lying(sheet)
    for part, widths in pdf.fitting(sheet, across, size):
        _caption(document, part.title)
        _fill(document, part, widths, size)
        _small(document.add_paragraph(), part.note)


def _caption(document: Any, title: str) -> None:
    """Write what stands over a table or a picture, on the same page."""
    caption = document.add_paragraph()
    _in_bold(caption, title, "")
    caption.paragraph_format.keep_with_next = True
    caption.paragraph_format.space_after = Pt(2)


def _fill(document: Any, sheet: Sheet, widths: list[float], size: float) -> None:
    """Write a table by its XML: python-docx's own way takes seconds for the tables of a study."""
    wide = [Pt(width).twips for width in widths]
    starts = [
        f'<w:tc><w:tcPr><w:tcW w:type="dxa" w:w="{width}"/></w:tcPr><w:p><w:pPr><w:spacing w:after="0"/>'
        f"{_ON_THE_RIGHT if holds_numbers(sheet, column) else ''}</w:pPr>"
        for column, width in enumerate(wide)
    ]
    rows = []
    for place, (cells, name) in enumerate(zip([sheet.headings, *sheet.rows], ("", *sheet.ids), strict=True)):
        runs = [_run(text, size, bold=place == 0) for text in cells]
        runs[0] += _run(f" {name}", pdf.SMALLEST_LETTERS, bold=False) if name else ""
        told = "".join(f"{start}{run}</w:p></w:tc>" for start, run in zip(starts, runs, strict=True))
        rows.append(f"<w:tr><w:trPr><w:cantSplit/>{'' if place else '<w:tblHeader/>'}</w:trPr>{told}</w:tr>")
    columns = "".join(f'<w:gridCol w:w="{width}"/>' for width in wide)
    table = f"{_TABLE}<w:tblGrid>{columns}</w:tblGrid>{''.join(rows)}</w:tbl>"
    document.element.body.insert_element_before(parse_xml(table), "w:sectPr")


_ON_THE_RIGHT = '<w:jc w:val="right"/>'
_EDGE = (
    f'w:w="{10 * pdf.PADDING:.0f}" w:type="dxa"'  # twentieths of a point: what the widths were computed for, in halves
)
_TABLE = (
    f'<w:tbl {nsdecls("w")}><w:tblPr><w:tblStyle w:val="TableGrid"/><w:tblW w:type="auto" w:w="0"/>'
    '<w:tblLayout w:type="fixed"/><w:tblLook w:firstColumn="1" w:firstRow="1" w:lastColumn="0" w:lastRow="0" '
    'w:noHBand="0" w:noVBand="1" w:val="04A0"/>'
    f"<w:tblCellMar><w:left {_EDGE}/><w:right {_EDGE}/></w:tblCellMar></w:tblPr>"
)


def _run(text: str, size: float, *, bold: bool) -> str:
    look = f'{"<w:b/>" if bold else ""}<w:sz w:val="{2 * size:.0f}"/>'  # half points
    return f'<w:r><w:rPr>{look}</w:rPr><w:t xml:space="preserve">{escape(text)}</w:t></w:r>'


def _add_picture(document: Any, drawn: Picture, png: bytes) -> None:
    """Add a picture as large as the page allows, its title over it, with words for those who cannot see it."""
    found = pdf.room_for(*pdf.size_of(drawn.printed_svg))
    if found is None:
        document.add_paragraph(f"{plain_text(drawn.title)}: {pdf.TOO_LARGE}")
        return
    _caption(document, plain_text(drawn.title))
    shape = document.add_paragraph().add_run().add_picture(io.BytesIO(png), width=Pt(found[0]))
    told = shape._inline.docPr
    told.set("descr", plain_text(drawn.alt))
    told.set("name", drawn.name)


def _add_signature(document: Any, texts: tuple[str, ...]) -> None:
    role, states, named = texts
    heading = document.add_paragraph()
    _in_bold(heading, role[:1].upper() + role[1:], f" (named in the study: {named})" if named else "")
    heading.paragraph_format.keep_with_next = True
    said = document.add_paragraph(states)
    said.paragraph_format.keep_with_next = True
    table = document.add_table(rows=2, cols=3)
    table._tbl.tblStyle_val = "TableGrid"
    for column, words in enumerate(("Name", "Date", "Signature")):
        table.cell(0, column).text = words
        table.cell(0, column).paragraphs[0].alignment = WD_ALIGN_PARAGRAPH.LEFT
    table.rows[0]._tr.get_or_add_trPr().append(OxmlElement("w:tblHeader"))
    table.rows[1].height = Mm(12)
    document.add_paragraph()
