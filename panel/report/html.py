"""The evidence file as one web page that needs nothing from outside and runs no program."""

from __future__ import annotations

import re
from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from panel.report.contents.blocks import Report, Section
from panel.report.pages import Drawn, Item, Sheet, Words, items, page_facts

_ABOUT_ITSELF = re.compile(r"\s*<metadata>.*?</metadata>|\s*<style type=\"text/css\">.*?</style>", re.DOTALL)
_NAMESPACES = re.compile(r'\s+xmlns(?::\w+)?="[^"]*"')
_NAMED = re.compile(r'(\bid="|\bhref="#|url\(#)')


def html_bytes(report: Report) -> bytes:
    """Return the evidence file as HTML; the same study and version give the same bytes."""
    sections = [_section(section) for section in report.all_sections]
    page = _templates().get_template("evidence.html")
    return page.render(facts=page_facts(report), sections=sections).encode()


def inline_svg(svg: str, name: str) -> str:
    """Return a picture to stand within a page: without what only a file needs, its parts named apart from others'."""
    bare = _NAMESPACES.sub("", _ABOUT_ITSELF.sub("", svg)).replace("xlink:href=", "href=")
    return _NAMED.sub(lambda found: f"{found[1]}{name}-", bare)


def _section(section: Section) -> dict[str, Any]:
    heading = f"{section.number}. {section.heading}" if section.number else section.heading
    return {"heading": heading, "parts": [_item(item) for item in items(section)]}


def _item(item: Item) -> dict[str, Any]:
    match item:
        case Words(kind, texts):
            return {"kind": kind, "texts": texts}
        case Drawn():
            # our own drawing, in which every word of the study is escaped (panel.views.drawing.svg)
            drawn = Markup(inline_svg(item.svg, item.name))  # noqa: S704  # the one thing on the page that is markup
            return {"kind": "picture", "title": item.title, "svg": drawn}
        case Sheet():
            return {"kind": "sheet", "sheet": item}


@cache
def _templates() -> Environment:
    loader = PackageLoader("panel.report", "templates")
    return Environment(loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
