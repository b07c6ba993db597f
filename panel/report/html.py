"""The evidence file as one web page that needs nothing from outside and runs no program."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, lru_cache
from html import unescape
from typing import TYPE_CHECKING, Any

import pandas as pd

from panel.report.contents.blocks import Block, Numbers, Report, Section, TextTable, Words
from panel.views.pictures import sign_width
from panel.views.told import Picture
from panel.words import counted, plain_text

if TYPE_CHECKING:
    from jinja2 import Environment

_ABOUT_ITSELF = re.compile(r"\s*<metadata>.*?</metadata>|\s*<style type=\"text/css\">.*?</style>", re.DOTALL)
_NAMESPACES = re.compile(r'\s+xmlns(?::\w+)?="[^"]*"')
_NAMED = re.compile(r'(\bid="|\bhref="#|url\(#)')
_WORDS = re.compile(r'(<text style="(font-weight: [67]00; )?font-size: ([\d.]+)px[^>]*)>([^<]+)')


def html_bytes(report: Report) -> bytes:
    """Return the evidence file as HTML; the same study, version and day of making give the same bytes."""
    sections = [
        {"heading": plain_text(section.title), "parts": [_item(item) for item in items(section)]}
        for section in report.all_sections
    ]
    page = _templates().get_template("evidence.html")
    return page.render(facts=page_facts(report), sections=sections).encode()


def _inline_svg(svg: str, name: str) -> str:
    """Return a picture to stand within a page: without what only a file needs, its parts named apart from others'."""
    bare = _NAMESPACES.sub("", _ABOUT_ITSELF.sub("", svg)).replace("xlink:href=", "href=")
    return _WORDS.sub(_as_wide, _NAMED.sub(rf"\1{name}-", bare))


def _as_wide(found: re.Match[str]) -> str:
    """Return words of a picture with their width, which they keep in other letters where the reader lacks ours."""
    start, bold, size, words = found.groups()
    wide = float(size) * sum(sign_width(sign, bold=bool(bold)) for sign in unescape(words))
    return f'{start} textLength="{wide:.1f}" lengthAdjust="spacingAndGlyphs">{words}'


def _item(item: Item) -> dict[str, Any]:
    match item:
        case Words(kind, texts):
            return {"kind": kind, "texts": texts}
        case Picture():
            from markupsafe import Markup

            # our own drawing, in which every word of the study is escaped (panel.views.pictures)
            drawn = Markup(_inline_svg(item.printed_svg, item.name))  # noqa: S704  # the one thing on the page that is markup
            return {"kind": "picture", "title": plain_text(item.title), "svg": drawn}
        case Sheet():
            columns = range(len(item.headings))
            return {"kind": "sheet", "sheet": item, "right": [holds_numbers(item, column) for column in columns]}


@cache
def _templates() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined  # only for this form of the file

    loader = PackageLoader("panel.report", "templates")
    return Environment(loader=loader, autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)


# The report as plain texts in order, for the writers of pages: every word made safe once, every table measured.


_SIGN_BEFORE = re.compile(r"([<>±]) (?=\d)")


@dataclass(frozen=True, slots=True)
class Sheet:
    """A table as texts.

    Parameters
    ----------
    ids
        What is written small under the first cell of each row; empty where there is no id.
    note
        What is written under the table.
    """

    title: str
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    ids: tuple[str, ...]
    note: str = ""


Item = Words | Sheet | Picture


def items(section: Section) -> Iterator[Item]:
    """Yield what stands in a section; which tables are in the workbook only is said once, at its end."""
    others: list[str] = []
    for block in section.blocks:
        for item in _items(block):
            if isinstance(item, Words) and item.kind == "elsewhere":
                others += item.texts
            else:
                yield item
    if others:
        yield Words("paragraph", (f"In the workbook only: {'; '.join(others)}.",))


def leads(item: Item, after: Item | None) -> bool:
    """Return whether words have to stand on the page of what follows: a list they announce, a line to sign."""
    if not isinstance(item, Words) or item.kind != "paragraph":
        return False
    return item.texts[0].endswith(":") or (isinstance(after, Words) and after.kind == "sign-off")


def page_facts(report: Report) -> dict[str, str]:
    """Return what stands on every page."""
    return {
        "title": plain_text(report.title),
        "mark": plain_text(report.mark),
        "made_on": report.made_on,
        "data_as_of": report.data_as_of,
        "hash": report.data_hash,
        "version": plain_text(report.version),
    }


def _items(block: Block) -> Iterator[Item]:
    match block:
        case Words(kind, texts):
            yield Words(kind, tuple(map(plain_text, texts)))
        case Picture():
            yield block
        case TextTable(title, shown, ids):
            yield _sheet(plain_text(title), shown, ids or ("",) * len(shown), "")
        case Numbers():
            yield _numbers(block)


def _numbers(table: Numbers) -> Item:
    title = plain_text(f"{table.code}. {table.title}")
    if not table.printed:
        return Words("elsewhere", (f"{title} ({counted(len(table.full), 'row')})",))
    places = range(len(table.shown)) if table.on_paper is None else table.on_paper
    ids = tuple(table.printed_ids[place] for place in places)
    note = ""
    if table.on_paper is not None:
        all_rows = counted(len(table.shown), "row")
        note = f"{len(ids)} of {all_rows}: those of prototypes that claims are about. The workbook has them all."
    return _sheet(title, table.shown.iloc[list(places)], ids, note)


_NUMBER = re.compile(r"[-+\u2212<>\u2013]?[\s\u00a0]?[\d.,]+([ \u00a0]%)?|\u2013|")
_PARTS = re.compile(r"\s(?:to|±)\s|\s?\(|\)")  # of an interval, of a mean with its scatter or its interval


def holds_numbers(sheet: Sheet, column: int) -> bool:
    """Return True for a column of numbers or intervals, which stand on the right."""
    return column > 0 and _all_numbers(tuple([row[column] for row in sheet.rows]))


@lru_cache(maxsize=1000)  # every form of the file asks
def _all_numbers(cells: tuple[str, ...]) -> bool:
    if not any(any(map(str.isdigit, cell)) for cell in cells):
        return False
    return all(all(_NUMBER.fullmatch(part) for part in _PARTS.split(cell) if part) for cell in cells)


def _sheet(title: str, shown: pd.DataFrame, ids: tuple[str, ...], note: str) -> Sheet:
    def together(cell: object) -> str:  # a number stays on one line with its per cent sign and the sign before it
        return _SIGN_BEFORE.sub("\\1\u00a0", plain_text(cell).replace(" %", "\u00a0%"))

    headings = tuple(plain_text(name) for name in shown.columns)
    rows = tuple(zip(*(map(together, own.tolist()) for _, own in shown.items()), strict=True))
    return Sheet(title, headings, rows, tuple(map(plain_text, ids)), note)


# Long words made fit for narrow columns.


def with_breaks(text: str, longest: int) -> str:
    """Return text in which a word longer than a line may be broken, by invisible signs at even distances."""
    step, words = max(longest, 1), text.split(" ")
    return " ".join(
        "\u200b".join(word[start : start + step] for start in range(0, max(len(word), 1), step)) for word in words
    )
