"""What is told of one answer, the same on a page, by a command and in the evidence file; each only lays it out.

One sentence that answers, one picture, at most three sentences to mind; everything else lies in drawers.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

from panel.study.naming import Naming
from panel.study.shown import Shown, Table
from panel.views.pictures import BROAD, NARROW, PRINTED, png_bytes, svg_text

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_MOST_TO_MIND = 3
ELSE_TO_MIND = "What else to mind"
_HOW = "How it was computed, and what it cannot show"


@dataclass(frozen=True, eq=False)
class Picture:
    """A picture, its title, and the words for those who cannot see it; drawn when it is asked for.

    Parameters
    ----------
    name
        Name of its file, without ending.
    title, alt
        What stands over it, and what is heard instead of it.
    draw
        Draws it for a width in inches.
    """

    name: str
    title: str
    alt: str
    draw: Callable[[float], Figure] = field(repr=False)

    def figure(self, width: float = BROAD) -> Figure:
        """Return the picture drawn for a width in inches."""
        return self.draw(width)

    @cached_property
    def svg(self) -> str:
        """The picture as SVG text; the same figure always gives the same text."""
        return svg_text(self.figure(), title=self.title, description=self.alt)

    @cached_property
    def narrow_svg(self) -> str:
        """The picture drawn for a phone, as SVG text."""
        return svg_text(self.figure(NARROW), title=self.title, description=self.alt)

    @cached_property
    def printed_svg(self) -> str:
        """The picture drawn for a sheet of paper as SVG text, its words kept as text."""
        return svg_text(self.figure(PRINTED), title=self.title, description=self.alt, text_as_paths=False)

    def png(self) -> bytes:
        """Return the picture as PNG."""
        return png_bytes(self.figure())


Item = str | Picture | Table | Shown
"""A sentence, a picture, or a table: of the answer itself, or with the answer it is about."""


@dataclass(frozen=True, eq=False)
class Drawer:
    """What lies closed until it is asked for: its title, and its items from top to bottom."""

    title: str
    items: tuple[Item, ...]


def drawer(title: str, *items: Item) -> Drawer:
    """Return a drawer with these items."""
    return Drawer(title, items)


@dataclass(frozen=True, eq=False)
class Told:
    """What is told of one answer.

    Parameters
    ----------
    result, names
        The answer, and the words of the study.
    headline
        The sentence that answers.
    picture
        The picture that shows it, if there is one.
    mind
        What to mind before believing it, the weightiest first: what limits the answer before what adds to it. The
        first three stay; others lie in a drawer.
    table
        The table that holds the answer, if there is one: a command prints it under the headline.
    drawers
        Everything else; how it was computed (method and notes of the answer) and what it cannot show come last.
    cannot
        What a reader must not take from it.
    """

    result: Any
    names: Naming
    headline: str
    picture: Picture | None = None
    mind: tuple[str, ...] = ()
    table: Table | None = None
    drawers: tuple[Drawer, ...] = ()
    cannot: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if rest := self.mind[_MOST_TO_MIND:]:
            object.__setattr__(self, "mind", self.mind[:_MOST_TO_MIND])
            object.__setattr__(self, "drawers", (*self.drawers, drawer(ELSE_TO_MIND, *rest)))

    def every_drawer(self) -> Iterator[Drawer]:
        """Yield its drawers, those without items left out, the one on how it was computed last."""
        yield from (each for each in self.drawers if each.items)
        yield Drawer(_HOW, (self.result.method, *self.result.notes, *self.cannot))

    def shown(self, table: Table | Shown) -> Shown:
        """Return a table with the answer it is about."""
        return table if isinstance(table, Shown) else Shown(table, self.result, self.names)
