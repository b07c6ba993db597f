"""The evidence file as a web page, read by an outside parser (lxml): nothing fetched, nothing run, no markup typed."""

from __future__ import annotations

import re

import pytest
from lxml import html

from panel.report.html import _inline_svg
from panel.views.pictures import text_width
from tests.report.evidence_studies import FORMULA, MARKUP, SCRIPT, SIGNS, bytes_of, demo_report

LOADING = ("src", "srcset", "data", "poster", "background", "formaction", "action", "xlink:href")


def page(name):
    return html.fromstring(bytes_of(".html", name).decode())


@pytest.mark.parametrize("name", ["demo", "hostile"])
def test_nothing_is_fetched_and_nothing_runs(name):
    tree = page(name)
    tags = {str(element.tag) for element in tree.iter() if isinstance(element.tag, str)}
    assert not tags & {"script", "iframe", "object", "embed", "link", "base", "form", "img", "foreignobject", "animate"}
    for element in tree.iter():
        for attribute, value in element.attrib.items():
            assert not attribute.startswith("on"), attribute
            assert attribute not in LOADING, attribute
            if attribute == "href":
                assert value.startswith("#")
            assert not re.search(r"url\((?!#)", value)


def test_the_demo_holds_no_address_at_all():
    text = bytes_of(".html", "demo").decode()
    assert not re.search(r"https?:|//[a-z]+\.[a-z]|@import", text)
    assert "default-src 'none'" in text


def test_what_people_typed_is_shown_as_text():
    text = page("hostile").text_content()
    for typed in (FORMULA, MARKUP, SCRIPT, SIGNS):
        assert typed in text


@pytest.mark.parametrize("name", ["demo", "hostile"])
def test_no_two_parts_have_the_same_name_and_links_within_lead_somewhere(name):
    tree = page(name)
    names = tree.xpath("//@id")
    assert len(names) == len(set(names))
    for target in tree.xpath("//@href"):
        assert target[1:] in set(names)


def test_it_says_its_language_and_tables_their_headers():
    tree = page("demo")
    assert tree.get("lang") == "en-GB"
    assert tree.findtext(".//title").startswith("Evidence file: ")
    for table in tree.iter("table"):
        assert table.findtext("caption")
        assert all(cell.get("scope") == "col" for cell in table.find("thead").iter("th"))
    for drawing in tree.iter("svg"):
        assert drawing.get("role") == "img"
        assert drawing.get("aria-label")


def test_a_row_can_be_pointed_at_by_its_id():
    table = next(table for table in demo_report().tables if table.code == "D")
    place = table.shown_ids.index("D-AF_GREASE-P4-P1")
    (row,) = page("demo").xpath(f"//tr[@id='D{place + 1}']")
    assert row.text_content().startswith("greasy film")


def test_the_mark_stands_at_both_ends_and_every_part_is_there():
    tree = page("demo")
    assert [element.text for element in tree.find_class("mark")] == [demo_report().mark] * 2
    headings = [element.text for element in tree.iter("h2")]
    assert headings == [part.title for part in demo_report().all_sections]


def test_parts_of_a_picture_get_names_of_their_own():
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" width="5pt">'
        '<metadata>x</metadata><style type="text/css">*{a:b}</style><g id="a"><use xlink:href="#p" fill="url(#c)"/></g>'
        "</svg>"
    )
    assert _inline_svg(svg, "map") == (
        '<svg width="5pt"><g id="map-a"><use href="#map-p" fill="url(#map-c)"/></g></svg>'
    )


def test_a_broad_picture_is_moved_within_its_frame_on_a_phone():
    # its letters would be too small to read at the width of a phone; what scrolls can be reached by keys (WCAG 2.1.1)
    for drawing in page("demo").xpath("//figure//svg"):
        frame = drawing.getparent()
        assert (frame.get("class"), frame.get("tabindex")) == ("wide", "0")
        assert frame.get("aria-label")
    assert "figure svg { min-width: 36rem; }" in page("demo").findtext(".//style")


KERNING = 0.03  # of a width: signs that lie closer beside each other


def test_words_of_pictures_keep_their_width_in_other_letters():
    # second computation: matplotlib lays the words out, with what lies closer beside each other
    words = page("demo").xpath("//figure//svg//text[normalize-space()]")
    assert len(words) > 100
    for each in words:
        assert each.get("lengthadjust") == "spacingAndGlyphs"
        if "font-weight" not in each.get("style"):
            size = float(re.search(r"font-size: ([\d.]+)px", each.get("style"))[1])
            measured = text_width(each.text, size)
            assert float(each.get("textlength")) == pytest.approx(measured, rel=KERNING, abs=0.05 + KERNING * size)
