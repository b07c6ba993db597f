"""The evidence file as PDF, looked at with pypdf, an outside reader of PDF files.

ISO 14289-1 (PDF/UA-1) and ISO 19005-2 (PDF/A-2) say what has to be there: marked content, a structure tree, a language,
a title that is shown, alternative text for every figure, header cells, embedded fonts, and both identifiers in the XMP.
"""

from __future__ import annotations

import io
import re
import time
from functools import cache

import pytest
from pypdf import PdfReader

from panel.errors import StudyError
from panel.report import pdf
from panel.report.contents.blocks import said
from panel.report.html import Sheet, items, leads
from panel.report.pdf import TOO_LARGE, WIDTH, WIDTH_TURNED, _best_size, _set, _width, fitting, room_for
from panel.views.told import Picture
from tests.report.evidence_studies import FORMULA, MADE_ON, bytes_of, demo_report, demo_results
from tests.studies import small_study

MOST_BYTES = 2_000_000  # set for the demo: to be sent by mail
# A page of A4 in points, ISO 216.
A4 = (595.28, 841.89)
POINT = 0.02


def reader(name):
    return PdfReader(io.BytesIO(bytes_of(".pdf", name)))


@cache
def pages_of(name):
    """Return the text of each page without blanks: a line may end anywhere, and long words may be broken."""
    return tuple(without_blanks(page.extract_text()) for page in reader(name).pages)


def without_blanks(text):
    return re.sub(r"[\s\u200b]+", "", text)


def structure(name):
    """Return every element of the structure tree."""
    found, open_ones = [], [reader(name).trailer["/Root"]["/StructTreeRoot"]]
    while open_ones:
        element = open_ones.pop()
        found.append(element)
        children = element.get("/K", [])
        children = children.get_object() if hasattr(children, "get_object") else children
        for child in children if isinstance(children, list) else [children]:
            child = child.get_object() if hasattr(child, "get_object") else child
            if hasattr(child, "get") and child.get("/S"):
                open_ones.append(child)
    return found


@pytest.mark.parametrize("name", ["small", "hostile"])
def test_it_is_tagged_and_says_its_language_and_title(name):
    root = reader(name).trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"].value is True
    assert root["/Lang"].startswith("en")
    assert root["/StructTreeRoot"]["/Type"] == "/StructTreeRoot"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"].value is True
    assert reader(name).metadata.title.startswith("Evidence file: ")


@pytest.mark.parametrize("name", ["small", "hostile"])
def test_the_metadata_say_which_standards_it_keeps(name):
    xmp = reader(name).trailer["/Root"]["/Metadata"].get_data().decode()
    assert re.search(r"pdfuaid:part>\s*1\s*<|pdfuaid:part=\"1\"", xmp)
    assert re.search(r"pdfaid:part>\s*2\s*<|pdfaid:part=\"2\"", xmp)
    assert re.search(r"pdfaid:conformance>\s*A\s*<|pdfaid:conformance=\"A\"", xmp)


def test_every_figure_has_words_and_tables_have_header_cells():
    elements = structure("small")
    figures = [element for element in elements if element.get("/S") == "/Figure"]
    assert len(figures) >= 4
    assert all(str(figure.get("/Alt", "")).strip() for figure in figures)
    kinds = {str(element.get("/S")) for element in elements}
    assert {"/Table", "/TH", "/TD", "/H1", "/H2", "/L", "/LI"} <= kinds


def test_every_font_is_embedded():
    for page in reader("hostile").pages:
        for font in page["/Resources"].get("/Font", {}).values():
            (below,) = font.get_object()["/DescendantFonts"]
            described = below.get_object()["/FontDescriptor"]
            assert any(key in described for key in ("/FontFile2", "/FontFile3"))


def test_every_page_carries_title_mark_hash_and_its_number():
    pages, report = pages_of("demo"), demo_report()
    for number, text in enumerate(pages, start=1):
        assert without_blanks(report.title) in text
        assert without_blanks(report.mark) in text
        assert report.data_hash in text
        assert f"page{number}of{len(pages)}" in text


def test_it_holds_every_part_and_the_ids_of_its_rows():
    text = "".join(pages_of("demo"))
    for section in demo_report().sections:
        assert without_blanks(f"{section.number}. {section.heading}") in text
    tables = {table.code: table for table in demo_report().tables}
    row = tables["D"].shown_ids.index("D-AF_GREASE-P4-P1")
    for name in (tables["D"].printed_ids[row], tables["H"].printed_ids[0], tables["F"].printed_ids[-3]):
        assert name in text
    assert "%28%" not in text
    assert "A-AF_GREASE-P4-P1" not in text


def test_the_case_takes_two_pages_each_claim_one_and_the_annex_25_at_the_most():
    pages, claims = pages_of("demo"), len(demo_report().claims)
    first = next(number for number, text in enumerate(pages) if "1.Claimsheet" in text and number > 1)
    assert claims == 10
    assert first == 2 + claims
    for number in range(1, claims + 1):
        assert f"Claim{number}“" in pages[1 + number]
    assert len(pages) <= 2 + claims + 25


def test_the_list_of_contents_names_the_pages_on_which_the_parts_begin():
    pages, first = pages_of("demo"), reader("demo").pages[0].extract_text()
    for section in demo_report().sections:
        (listed,) = re.findall(rf"^{re.escape(section.title)} (\d+)$", first, re.MULTILINE)
        assert without_blanks(section.title) in pages[int(listed) - 1]


def letters_of(name):
    """Return every size of letters in points with a text in it, pictures too, as pypdf's text visitor sees them."""
    sizes = {}

    def visit(text, user, matrix, _font, size):
        if text.strip():
            sizes.setdefault(round(size * abs(matrix[3]) * abs(user[3]), 2), text)

    for page in reader(name).pages:
        page.extract_text(visitor_text=visit)
    return sizes


@pytest.mark.parametrize("name", ["demo", "small"])
def test_nothing_is_set_under_seven_points(name):
    sizes = letters_of(name)
    assert len(sizes) >= 4
    assert min(sizes) >= 7, sizes[min(sizes)]


def test_no_word_and_no_number_of_a_table_is_broken():
    # a zero-width blank is where a word wider than its column may be broken
    for section in demo_report().all_sections:
        for item in items(section):
            for laid in _set(item) if isinstance(item, Sheet) else ():
                cells = [cell for row in laid["rows"] for cell in (row[0][0], *row[1:])]
                assert not [cell for cell in (*cells, *laid["headings"]) if "\u200b" in cell]


def test_letters_are_as_wide_as_the_font_says():
    # outside value: the widths in the font program that the PDF embeds, in thousandths, read by pypdf (ISO 32000-2,
    # 9.7.4.3); the letters here are measured before anything is set
    fonts = [font.get_object() for page in reader("small").pages for font in page["/Resources"]["/Font"].values()]
    below = [font["/DescendantFonts"][0].get_object() for font in fonts]
    plain = next(font for font in below if font["/BaseFont"].endswith("+DejaVuSans"))
    embedded = {float(width) for width in plain["/W"][2::3]}  # written as first, last, width
    for sign in "aeimM08%":
        own = 1000 * _width(sign)
        assert min(abs(own - value) for value in embedded) < 0.5, sign


def test_the_same_study_and_day_give_the_same_bytes_and_another_day_does_not():
    from panel.report.contents.evidence import evidence_report
    from panel.report.pdf import pdf_bytes

    made = pdf_bytes(evidence_report(small_study({"title": "small"}), made_on=MADE_ON))
    assert made == bytes_of(".pdf", "small")
    assert made != pdf_bytes(evidence_report(small_study({"title": "small"}), made_on="2026-02-04"))
    assert reader("small").metadata.creation_date.date().isoformat() == MADE_ON


def test_the_demo_is_small_enough_to_be_sent():
    assert len(bytes_of(".pdf", "demo")) < MOST_BYTES


def test_what_people_typed_is_shown_and_does_nothing():
    text = "".join(pages_of("hostile"))
    for typed in (FORMULA, "<script>alert(1)</script>", '#eval("1 + 1") $x^2$ \\ @label *bold* `code` ]#panic() //'):
        assert without_blanks(typed) in text
    assert "Ελληνικά" in text
    assert "Кириллица" in text
    content = bytes_of(".pdf", "hostile")
    for sign in (b"/JavaScript", b"/JS", b"/Launch", b"/URI", b"/OpenAction", b"/AA"):
        # a name ends before a sign that is no letter; a font whose tag happens to begin with JS is none of these
        assert re.search(re.escape(sign) + rb"(?![A-Za-z+])", content) is None
    assert all(page.get("/Annots") is None for page in reader("hostile").pages)


def test_no_page_is_wider_than_paper():
    for page in reader("demo").pages:
        size = (float(page.mediabox.width), float(page.mediabox.height))
        assert sorted(size) == pytest.approx(A4, abs=POINT)


def test_columns_fit_the_page_and_are_split_where_they_do_not():
    cells = tuple(f"{number} of 58 (84.4 %)" for number in range(30))
    wide = Sheet("wide", tuple(f"Heading {number}" for number in range(30)), (cells, cells), ("W-1", "W-2"))
    size = _best_size(wide, 480, (7.5, 6.0))
    parts = fitting(wide, 480, size)
    assert len(parts) > 1
    seen = []
    for part, widths in parts:
        assert sum(widths) == pytest.approx(480, abs=1) or sum(widths) < 480
        assert part.headings[0] == "Heading 0"
        assert len(part.headings) == len(widths) > 1
        seen += part.headings[1:]
    assert seen == list(wide.headings[1:])
    narrow = Sheet("narrow", ("A", "B"), (("1", "2"),), ("",))
    assert len(fitting(narrow, 480, 7.5)) == 1


def test_a_page_is_set_in_seconds():
    # the limit for the demo is 5 s on an idle machine; what is measured here is what setting alone takes
    from panel.report.pdf import pdf_bytes

    bytes_of(".pdf", "demo")  # pictures are drawn by then
    began = time.process_time()
    pdf_bytes(demo_report())
    assert time.process_time() - began < 5
    assert not any(isinstance(block, Picture) for block in demo_report().summary.blocks)
    assert demo_results().study.facts["title"] == demo_report().title


def test_a_page_that_cannot_be_set_says_why(tmp_path):
    template = tmp_path / "broken.typ"
    template.write_text("#let", encoding="utf-8")
    with pytest.raises(StudyError, match=r"The evidence file could not be set: .*expected"):
        pdf._typeset(template, {})


def test_words_in_pictures_are_text_to_be_searched():
    # "Per cent of the emollient part" stands under a picture and nowhere else; "Band: up to 8" likewise
    text = "".join(pages_of("demo"))
    assert "Percentoftheemollientpart" in text
    assert "Band:upto8." in text


@pytest.mark.parametrize(
    ("wide", "high", "expected"),
    [
        (400, 300, (400, False)),  # never made larger
        (547.2, 500, (WIDTH, False)),
        (860, 300, (WIDTH_TURNED, True)),
        (860, 500, None),  # on its side it would have to shrink to 410 / 500
        (547.2, 1500, None),
        (950, 300, None),
    ],
)
def test_a_picture_whose_letters_would_get_too_small_is_laid_on_its_side_or_left_out(wide, high, expected):
    # the small letters of a picture have 8 points in its own size, and none may come out under 7: 7 / 8 = 0.875
    found = room_for(wide, high)
    assert found == (pytest.approx(expected[0]), expected[1]) if expected else found is None


def test_a_picture_too_large_for_a_page_says_where_it_is():
    class Tall(Picture):
        printed_svg = '<svg width="500pt" height="2000pt">'

    (laid,) = _set(Tall("p", "Very tall", "alt", pytest.fail))
    assert laid == {"kind": "paragraph", "texts": [f"Very tall: {TOO_LARGE}"]}


def test_words_that_announce_stay_with_what_they_announce():
    signed, other = said("sign-off", "analyst", "I did it.", ""), said("points", "one")
    assert leads(said("paragraph", "Other notes:"), other)
    assert leads(said("paragraph", "Each signs."), signed)
    assert not leads(said("paragraph", "Each signs."), other)
    assert not leads(said("paragraph", "The last words."), None)
    assert not leads(said("points", "a list:"), signed)


def test_a_number_with_its_interval_stays_on_one_line_where_there_is_room():
    interval = "\u221214.1 (\u221221.8 to \u22126.4)"
    sheet = Sheet("one", ("Attribute", "Difference", "In words"), (("greasy film", interval, "differs " * 9),), ("",))
    ((_, widths),) = fitting(sheet, 300, 8.0)
    assert widths[1] >= 8.0 * _width(interval)
