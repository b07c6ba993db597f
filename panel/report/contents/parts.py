"""Small ways to put a part of the evidence file together: a table or why it is not there, a fact, a picture, points."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterable
from functools import cache, partial
from typing import Any, TypeVar

from panel.report.contents.blocks import Block, Gap, Numbers, Paragraph, Picture, Points
from panel.report.contents.results import NotThere
from panel.study.study import Study
from panel.views.drawing.png import png_bytes

T = TypeVar("T")

PRINT_DOTS = 150  # to the inch, for pictures in a text document: sharp on paper, and the file stays small


def or_gap(found: Numbers | NotThere) -> Block:
    """Return a table, or what stands in its place: a gap, or that the study was not about it."""
    return not_there(found) if isinstance(found, NotThere) else found


def not_there(found: NotThere) -> Block:
    """Return what is said in place of a result: a gap, or that the study was not about it."""
    return Paragraph(found.why) if found.not_part else Gap(found.why)


def points(lines: Iterable[str]) -> tuple[Block, ...]:
    """Return sentences as a list; nothing for none."""
    told = tuple(line for line in lines if line)
    return (Points(told),) if told else ()


def picture(name: str, title: str, alt: str, svg: Callable[[], str], figure: Callable[[], Any]) -> Picture:
    """Return a picture that is drawn once, when it is asked for."""
    png = partial(_quietly, lambda: png_bytes(figure(), dots_per_inch=PRINT_DOTS))
    return Picture(name, title, alt, cache(partial(_quietly, svg)), cache(png))


def _quietly(draw: Callable[[], T]) -> T:
    """Draw without the drawing library's remark on every sign that its font lacks; a box stands in its place."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        return draw()


def fact(study: Study, name: str) -> str:
    """Return what people typed for a fact of the study; empty if nothing."""
    value = study.facts.get(name)
    if isinstance(value, list | tuple):
        return "; ".join(str(item) for item in value if str(item).strip())
    if isinstance(value, dict):
        return "; ".join(f"{key}: {_told(item)}" for key, item in value.items())
    return str(value).strip() if value is not None else ""


def stated(study: Study, name: str, label: str, missing: str) -> Block:
    """Return a fact of the study behind its label, or the gap that it leaves."""
    text = fact(study, name)
    return Paragraph(f"{label}: {text}") if text else Gap(missing)


def _told(item: object) -> str:
    return " to ".join(str(part) for part in item) if isinstance(item, list | tuple) else str(item)
